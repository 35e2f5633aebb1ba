"""Two conditions of one player set against each other: what the fit says of the change.

The ratio of spreads, condition after to condition before, at distance d is

    exp(effect[after] - effect[before] + (effect_slope[after] - effect_slope[before]) x)

with x = log(d / 10 ft). Both conditions share everything else in the model: level, form of
the visit, practice trend. Where they share visits, a good day cannot pose as the change.
Where one came before the other, trend and change look alike, and the fit's mild prior on
the trend would hand most of the trend to the change; `with_wide_trend` takes that prior out.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import ArrayLike

from putlab.base.errors import UsageError
from putlab.base.settings import PAST_FT, STIMP_FT, interval_probabilities
from putlab.green.hole_out import cached_hole_out, hole_out
from putlab.green.skill import Skill
from putlab.model.design import REFERENCE_FT, Design
from putlab.model.priors import PRIORS, by_name
from putlab.model.readings import COMPONENTS
from putlab.posterior.fit import Fit
from putlab.posterior.player import Golfer, choose_player
from putlab.practice.targets import reading_share
from putlab.rounds.first_putts import RoundMix
from putlab.trial.boundary import TOO_SMALL_PCT, WIDE_TREND_SD
from putlab.trial.conditions import Pair, choose_conditions, label, putt_counts, reading_counts

# Putts that follow start from here to there, whatever the first putts were.
ENDS_FT = (2.0, 60.0)

# Steps of the numerical slopes: log spread, then bias in degrees and in percent.
LOG_STEP, BIAS_STEPS = 0.05, (0.1, 1.0)

# Scales tried, and draws returned, where several changes are shrunk together.
GRID = 60
DRAWS = 8000


@dataclass(frozen=True)
class Contrast:
    """Change of one component from condition before to condition after."""

    log_ratio: np.ndarray  # (draws,), of spreads, over the lengths that both share
    log_ratio_at: np.ndarray  # (draws, lengths), at each of these
    distance_ft: np.ndarray  # (lengths,)
    putts: np.ndarray  # (2, lengths), read before and after
    bias_change: np.ndarray  # (draws,), degrees or percent
    trend_correction: np.ndarray  # (draws,), what undoing the trend's prior added
    sd_fit: float  # of the fit's own log ratio
    prior_sd: float  # of the prior of the log ratio


def contrast(fit: Fit, pair: Pair, component: str) -> Contrast:
    """The change of one component between two conditions that both have readings of it."""
    design = fit.designs[component]
    index = np.array([effect_index(design, pair.player, c) for c in (pair.before, pair.after)])
    lengths, putts, weight = _shared_lengths(fit, pair, component)
    x = np.log(lengths / REFERENCE_FT)
    effect, slope, bias_change = (
        np.diff(_draws(fit, component, name)[:, index], axis=1)[:, 0]
        for name in ("effect", "effect_slope", "shift")
    )
    middle = x @ weight
    trend = _draws(fit, component, "trend")[:, design.players.index(pair.player)]
    own = effect + slope * middle
    prior = by_name(design.data["priors"])
    correction = with_wide_trend(own, trend, prior["trend_sd"]) - own
    prior_sd = np.sqrt(2) * np.hypot(prior["effect_sd"], prior["effect_slope_sd"] * middle)
    log_ratio_at = (effect + correction)[:, None] + slope[:, None] * x
    sds = (float(own.std(ddof=1)), float(prior_sd))
    return Contrast(own + correction, log_ratio_at, lengths, putts, bias_change, correction, *sds)


def effect_index(design: Design, player: str, condition: str) -> int | None:
    """Place of a player's condition among the fitted effects; None without readings."""
    table = design.conditions
    found = np.flatnonzero((table["player"] == player) & (table["condition"] == condition))
    return int(found[0]) if found.size else None


def _draws(fit: Fit, component: str, name: str) -> np.ndarray:
    posterior: Any = fit.posteriors[component]["posterior"]
    values = posterior[name].values
    return values.reshape(values.shape[0] * values.shape[1], *values.shape[2:])


def _shared_lengths(fit: Fit, pair: Pair, component: str) -> tuple[np.ndarray, ...]:
    """Feet, putts and weight of the lengths that both conditions share; of all where none is."""
    table = reading_counts(fit, pair.player).query("component == @component")
    counts = table.groupby(["length", "condition"])["putts"].sum().unstack(fill_value=0)
    putts = counts[[pair.before, pair.after]].to_numpy().T
    n, m = putts.astype(float)
    # A length tells of the ratio as its scarcer condition allows.
    weight, keep = n * m / np.maximum(n + m, 1), n * m > 0
    if not keep.any():
        weight, keep = n + m, n + m > 0
    lengths = fit.designs[component].lengths_ft[counts.index[keep]]
    return lengths, putts[:, keep], weight[keep] / weight[keep].sum()


def with_wide_trend(
    change: np.ndarray, trend: np.ndarray, trend_sd: float, wide_sd: float = WIDE_TREND_SD
) -> np.ndarray:
    """Draws of a change, (draws,), as under a far wider prior on the practice trend."""
    # Given the trend the change is close to normal around a straight line of it, so only the
    # trend's own posterior needs to be redone: prior precision out, wide precision in. Where
    # the conditions share their visits the line is flat and nothing moves. The tests set this
    # against sampling with the wide prior.
    mean, variance = trend.mean(), trend.var()
    from_data = max(1 / variance - 1 / trend_sd**2, 0.0)
    new_variance = 1 / (from_data + 1 / wide_sd**2)
    new_mean = new_variance * mean / variance
    new_trend = new_mean + (trend - mean) * np.sqrt(new_variance / variance)
    slope = np.mean((change - change.mean()) * (trend - mean)) / variance
    return change + slope * (new_trend - trend)


# What a change is worth in strokes: the same golfer, on new days, under each condition.


def strokes_change(
    fit: Fit, pair: Pair, contrasts: dict[str, Contrast], mix: RoundMix
) -> np.ndarray:
    """Strokes a round after, less those before, (draws,), all else equal, on new days."""
    fit = _with_trend_corrections(fit, pair, contrasts)
    skills = [_condition_skill(fit, pair.player, c, mix) for c in (pair.before, pair.after)]
    green = {"stimp_ft": STIMP_FT, "past_ft": PAST_FT}
    before, after = (cached_hole_out(s, mix.distance_ft, **green).average_putts for s in skills)
    return mix.average(after - before)


def strokes_saved(fit: Fit, pair: Pair, cut_pct: float, mix: RoundMix) -> float:
    """Strokes a round that so many percent off both spreads would save this golfer."""
    skill = _condition_skill(fit, pair.player, pair.before, mix)
    line_sd = np.exp(np.log(skill.line_sd_deg).mean(axis=0))
    pace_sd = np.exp(np.log(skill.pace_sd_pct).mean(axis=0))
    line_bias, pace_bias = skill.line_bias_deg.mean(axis=0), skill.pace_bias_pct.mean(axis=0)
    putts = []
    for keep in (1.0, 1 - cut_pct / 100):
        typical = Skill(skill.distance_ft, line_sd * keep, line_bias, pace_sd * keep, pace_bias)
        putts.append(hole_out(typical, mix.distance_ft).average_putts[0])
    return float(mix.average(putts[0] - putts[1]))


def round_skill(golfer: Golfer, mix: RoundMix) -> Skill:
    """A golfer's new-day skill at the round's lengths and the ends."""
    return golfer.skill(np.unique([*ENDS_FT, *mix.distance_ft]), new_day=True)


def _condition_skill(fit: Fit, player: str, condition: str, mix: RoundMix) -> Skill:
    now = pd.DataFrame({"player": [player], "condition": [condition], "share": [1.0]})
    return round_skill(replace(fit, condition_now=now).golfer(player), mix)


def _with_trend_corrections(fit: Fit, pair: Pair, contrasts: dict[str, Contrast]) -> Fit:
    # The correction of each log ratio is put into its two effects, a half to each.
    posteriors = dict(fit.posteriors)
    for component, change in contrasts.items():
        posterior = posteriors[component]["posterior"].dataset
        effect = posterior["effect"].copy(deep=True)
        half = change.trend_correction.reshape(effect.shape[:2]) / 2
        for condition, part in ((pair.before, -half), (pair.after, half)):
            effect.values[..., effect_index(fit.designs[component], pair.player, condition)] += part
        changed = {"posterior": posterior.assign(effect=effect)}
        posteriors[component] = xr.DataTree.from_dict(changed)
    return replace(fit, posteriors=posteriors)


def golfer_at_large() -> Skill:
    """A golfer of whom nothing is known, one draw: the middle of the priors."""
    return Skill.constant(*(PRIORS[name].sd_median for name in COMPONENTS))


def strokes_slopes(skill: Skill, cut: float, mix: RoundMix) -> tuple[float, np.ndarray, np.ndarray]:
    """Strokes saved by a cut of both log spreads; slopes by log spread, by bias: (line, pace)."""
    # log spread of line and pace, bias of line and pace: one changed at a time, both ways
    steps = np.diag([LOG_STEP, LOG_STEP, *BIAS_STEPS])
    changes = np.concatenate([[[0.0] * 4, [-cut, -cut, 0, 0]], steps, -steps])
    changed = Skill(
        skill.distance_ft,
        skill.line_sd_deg * np.exp(changes[:, [0]]),
        skill.line_bias_deg + changes[:, [2]],
        skill.pace_sd_pct * np.exp(changes[:, [1]]),
        skill.pace_bias_pct + changes[:, [3]],
    )
    strokes = mix.average(hole_out(changed, mix.distance_ft).average_putts)
    slopes = (strokes[2:6] - strokes[6:10]) / (2 * np.diag(steps))
    return float(strokes[0] - strokes[1]), slopes[:2], slopes[2:]


def share_of_exact(
    golfer: Golfer, component: str, distance_ft: ArrayLike, step: ArrayLike, noise: ArrayLike
) -> float:
    """What a reading of this golfer tells relative to an exact one: the mean over lengths."""
    skill = golfer.skill(distance_ft, new_day=False)
    spread = (skill.line_sd_deg if component == "line" else skill.pace_sd_pct).mean(axis=0)
    mishits = golfer.draws(component, "mishit_share").mean()
    readings = zip(spread, *np.broadcast_arrays(step, noise), strict=True)
    shares = [reading_share(sd, step=s, noise=n, mishit_share=mishits) for sd, s, n in readings]
    return float(np.mean(shares))


# Several changes at once: a table with shrinkage, not a hunt for the best.


def change_table(
    fit: Fit,
    reference: str | None = None,
    *,
    player: str | None = None,
    component: str = "line",
    too_small_pct: float = TOO_SMALL_PCT,
) -> pd.DataFrame:
    """Every condition of a player against one of them (default: the first), shrunk together.

    A row a condition, the reference first: ``condition, putts, sessions``, the ratio of its
    spread to the reference's on its own (``alone``) and shrunk (``ratio, lo, hi``),
    ``p_improved, p_too_small_to_matter``, and ``p_narrowest``, the chance that it has the
    narrowest spread of all.
    """
    player = choose_player(fit.players, player)
    names = conditions_in_order(fit, player, component)
    if len(names) < 2:
        raise UsageError(f"{player} has {component} readings under fewer than two conditions.")
    if reference is not None:
        other = next(name for name in names if label(name) != reference)
        first = choose_conditions(putt_counts(fit), reference, label(other), player).before
        names = [first, *(name for name in names if name != first)]
    changes = [contrast(fit, Pair(player, names[0], name), component) for name in names[1:]]
    draws = np.stack([change.log_ratio for change in changes], axis=1)
    scale = changes[0].prior_sd / np.sqrt(2)
    # As the data alone have each change, without any prior on it.
    precision, pull = _data_alone(draws, scale**2 * (np.eye(len(changes)) + 1))
    alone, shrunk = np.linalg.pinv(precision) @ pull, shrink(draws, scale, seed=fit.seed)
    counts = reading_counts(fit, player).query("component == @component").groupby("condition")
    low, high = np.quantile(shrunk, interval_probabilities(), axis=0)
    too_small = np.log1p(too_small_pct / 100)
    narrowest = np.column_stack([np.zeros(len(shrunk)), shrunk]).argmin(axis=1)
    # The reference comes first, itself and nothing else.
    against = {
        "alone": [1.0, *np.exp(alone)],
        "ratio": [1.0, *np.exp(shrunk.mean(axis=0))],
        "lo": [np.nan, *np.exp(low)],
        "hi": [np.nan, *np.exp(high)],
        "p_improved": [np.nan, *(shrunk < 0).mean(axis=0)],
        "p_too_small_to_matter": [np.nan, *(np.abs(shrunk) < too_small).mean(axis=0)],
    }
    own = {
        "condition": [label(name) for name in names],
        "putts": counts["putts"].sum().reindex(names).to_numpy(),
        "sessions": counts["session"].nunique().reindex(names).to_numpy(),
    }
    last = {"p_narrowest": np.bincount(narrowest, minlength=len(names)) / len(shrunk)}
    return pd.DataFrame(own | against | last)


def conditions_in_order(fit: Fit, player: str, component: str) -> list[str]:
    """A player's conditions with readings, in the order in which they were tried."""
    design, counts = fit.designs[component], putt_counts(fit)
    mine = counts[counts["player"] == player]["condition"].drop_duplicates()
    return [name for name in mine if effect_index(design, player, name) is not None]


def shrink(draws: np.ndarray, prior_scale: float, *, seed: int) -> np.ndarray:
    """Draws of changes, (draws, changes), that share a scale learned from all of them.

    Those given have one reference, and independent priors of sd `prior_scale` on every
    condition, the reference too.
    """
    changes = draws.shape[1]
    # Differences from one reference: every two share its part.
    together = np.eye(changes) + 1
    precision, pull = _data_alone(draws, prior_scale**2 * together)
    means, roots, weights = [], [], []
    for scale in prior_scale * np.geomspace(0.02, 4, GRID):
        prior = np.linalg.inv(scale**2 * together)
        covariance = np.linalg.inv(precision + prior)
        mean = covariance @ pull
        means.append(mean)
        roots.append(np.linalg.cholesky((covariance + covariance.T) / 2))
        fits = pull @ mean + np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(prior)[1]
        # half-Normal on the scale, times the grid's step, which grows with the scale
        weights.append(0.5 * fits - 0.5 * (scale / prior_scale) ** 2 + np.log(scale))
    chance = np.exp(np.array(weights) - np.max(weights))
    rng = np.random.default_rng(seed)
    which = rng.choice(GRID, DRAWS, p=chance / chance.sum())
    noise = rng.standard_normal((DRAWS, changes, 1))
    return np.array(means)[which] + (np.array(roots)[which] @ noise)[..., 0]


def _data_alone(draws: np.ndarray, prior: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Precision and pull of the data alone: the posterior's less the prior's."""
    precision = np.linalg.inv(np.atleast_2d(np.cov(draws, rowvar=False)))
    values, vectors = np.linalg.eigh(precision - np.linalg.inv(prior))
    return vectors * np.maximum(values, 0.0) @ vectors.T, precision @ draws.mean(axis=0)
