"""Two conditions of one player set against each other: what the fit says of the change.

The ratio of spreads, condition after to condition before, at distance d is

    exp(effect[after] - effect[before] + (effect_slope[after] - effect_slope[before]) x)

with x = log(d / 10 ft). Both conditions share everything else in the model: level, form of
the visit, practice trend. Where they share visits, a good day cannot pose as the change.
Where one came before the other, trend and change look alike, and the fit's mild prior on
the trend would hand most of the trend to the change; `with_wide_trend` takes that prior out.
The model knows no drift over the putts of a visit beyond its first few, so where one condition
was struck later in the visit than the other, the change is as unsure as such a drift may be.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from scipy.special import softmax

from putlab.green import published
from putlab.green.hole_out import cached_hole_out, hole_out
from putlab.green.skill import Skill
from putlab.model.design import REFERENCE_FT, Design, places
from putlab.model.priors import by_name
from putlab.model.readings import COMPONENTS
from putlab.posterior.fit import Fit
from putlab.posterior.player import Golfer, green_setting, summary
from putlab.rounds.first_putts import RoundMix
from putlab.trial.boundary import WIDE_DRIFT_SD, WIDE_TREND_SD
from putlab.trial.conditions import Conditions, choose_conditions, label, putt_counts, rows_of

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
    trend_correction: np.ndarray  # (draws,), what allowing for trend and drift added
    sd_fit: float  # of the fit's own log ratio
    prior_sd: float  # of the prior of the log ratio


def contrast(fit: Fit, pair: Conditions, component: str) -> Contrast:
    """The change of one component between two conditions that both have readings of it."""
    design = fit.designs[component]
    index = effect_places(design, pair)
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
    correction = widened(own, trend, prior["trend_sd"], pair.later) - own
    prior_sd = np.sqrt(2) * np.hypot(prior["effect_sd"], prior["effect_slope_sd"] * middle)
    log_ratio_at = (effect + correction)[:, None] + slope[:, None] * x
    sds = (float(own.std(ddof=1)), float(prior_sd))
    return Contrast(own + correction, log_ratio_at, lengths, putts, bias_change, correction, *sds)


def contrasts(fit: Fit, pair: Conditions) -> dict[str, Contrast]:
    """The changes of the components read under both conditions."""
    read = [name for name in COMPONENTS if min(effect_places(fit.designs[name], pair)) >= 0]
    return {name: contrast(fit, pair, name) for name in read}


def effect_places(design: Design, pair: Conditions) -> np.ndarray:
    """Places of both conditions among the fitted effects."""
    asked = pd.DataFrame({"player": pair.player, "condition": [pair.before, pair.after]})
    return places(asked, design.conditions, ["player", "condition"])


def _draws(fit: Fit, component: str, name: str) -> np.ndarray:
    return np.concatenate(np.asarray(fit.posteriors[component]["posterior"][name]))


def _shared_lengths(fit: Fit, pair: Conditions, component: str) -> tuple[np.ndarray, ...]:
    """Feet, putts and weight of the lengths that both conditions share; of all where none is."""
    rows = rows_of(fit, pair.player, component)
    counts = rows.groupby(["length", "condition"])["count"].sum().unstack(fill_value=0)
    putts = counts[[pair.before, pair.after]].to_numpy().T
    n, m = putts.astype(float)
    # A length tells of the ratio as its scarcer condition allows.
    weight, keep = n * m / np.maximum(n + m, 1), n * m > 0
    if not keep.any():
        weight, keep = n + m, n + m > 0
    lengths = fit.designs[component].lengths_ft[counts.index[keep]]
    return lengths, putts[:, keep], weight[keep] / weight[keep].sum()


def widened(change: np.ndarray, trend: np.ndarray, trend_sd: float, later: float) -> np.ndarray:
    """Draws of a change with allowance for practice, and for warming up and tiring."""
    wide = with_wide_trend(change, trend, trend_sd)
    drift = 1 + (WIDE_DRIFT_SD * later) ** 2 / wide.var()
    return wide.mean() + (wide - wide.mean()) * np.sqrt(drift)


def with_wide_trend(change: np.ndarray, trend: np.ndarray, trend_sd: float) -> np.ndarray:
    """Draws of a change, (draws,), as under a far wider prior on the practice trend."""
    # Given the trend the change is close to normal around a straight line of it, so only the
    # trend's own posterior needs to be redone: prior precision out, wide precision in. Where
    # the conditions share their visits the line is flat and nothing moves. The tests set this
    # against sampling with the wide prior.
    mean, variance = trend.mean(), trend.var()
    from_data = max(1 / variance - 1 / trend_sd**2, 0.0)
    wider = 1 / (from_data + 1 / WIDE_TREND_SD**2) / variance
    new_trend = mean * wider + (trend - mean) * np.sqrt(wider)
    slope = np.mean((change - change.mean()) * (trend - mean)) / variance
    return change + slope * (new_trend - trend)


# What a change is worth in strokes: the same golfer, on new days, under each condition, on a
# real green, whose reading adds to both conditions alike.


def strokes_change(
    fit: Fit, pair: Conditions, changes: dict[str, Contrast], mix: RoundMix
) -> np.ndarray | None:
    """Strokes a round after, less those before, (draws,), on new days and on a real green.

    None where nothing was read under both conditions, or line or pace was never read.
    """
    if not changes or any(rows_of(fit, pair.player, name).empty for name in COMPONENTS):
        return None
    fit = _with_trend_corrections(fit, pair, changes)
    skills = [_condition_skill(fit, pair.player, c, mix) for c in (pair.before, pair.after)]
    green = green_setting(fit.golfer(pair.player))["green"]
    on_green = (skill.wider(*green) for skill in skills)
    before, after = (cached_hole_out(s, mix.distance_ft).average_putts for s in on_green)
    return mix.average(after - before)


def strokes_saved(fit: Fit, pair: Conditions, cut_pct: float, mix: RoundMix) -> float:
    """Strokes a round that so many percent off both spreads would save this golfer."""
    now = _condition_skill(fit, pair.player, pair.before, mix).mean
    green = usual_green(fit.golfer(pair.player))
    return strokes_slopes(now, -np.log1p(-cut_pct / 100), mix, green)[0]


def round_skill(golfer: Golfer, mix: RoundMix) -> Skill:
    """A golfer's new-day skill at the round's lengths and the ends."""
    return golfer.skill(np.unique([*ENDS_FT, *mix.distance_ft]), new_day=True)


def usual_green(golfer: Golfer | None = None) -> tuple[Any, ...]:
    """What a real green adds to line and pace: the golfer's own where known, or the published."""
    green = green_setting(golfer)["green"] if golfer else published.green_spread()
    return tuple(map(np.median, green))


def _condition_skill(fit: Fit, player: str, condition: str, mix: RoundMix) -> Skill:
    return round_skill(replace(fit.golfer(player), held={condition: 1.0}), mix)


def _with_trend_corrections(fit: Fit, pair: Conditions, changes: dict[str, Contrast]) -> Fit:
    # The correction of each log ratio is put into its two effects, a half to each.
    posteriors = dict(fit.posteriors)
    for component, change in changes.items():
        posterior = posteriors[component]["posterior"].dataset
        effect = posterior["effect"].copy(deep=True)
        half = change.trend_correction.reshape(*effect.shape[:2], 1) / 2
        index = effect_places(fit.designs[component], pair)
        effect.values[..., index] += half * [-1, 1]
        changed = {"posterior": posterior.assign(effect=effect)}
        posteriors[component] = xr.DataTree.from_dict(changed)
    return replace(fit, posteriors=posteriors)


def strokes_slopes(
    skill: Skill, cut: float, mix: RoundMix, green: tuple[float, float]
) -> tuple[float, np.ndarray, np.ndarray]:
    """Strokes saved by a cut of both log spreads; slopes by log spread, by bias: (line, pace).

    Of one draw, on a real green. Mishits scatter with the spread: they are so many times as wide.
    """
    # log spread of line and pace, bias of line and pace: one changed at a time, both ways
    steps = np.diag([LOG_STEP, LOG_STEP, *BIAS_STEPS])
    changes = np.concatenate([[[0.0] * 4, [-cut, -cut, 0, 0]], steps, -steps])
    times = dict(zip(COMPONENTS, np.exp(changes[:, :2]).T[..., None], strict=True))
    spreads = {name: sd * times[name[:4]] for name, sd in skill.values.items() if "_sd_" in name}
    line, pace = skill.line_bias_deg + changes[:, [2]], skill.pace_bias_pct + changes[:, [3]]
    changed = replace(skill, line_bias_deg=line, pace_bias_pct=pace, **spreads).wider(*green)
    # One by one: together, the mishits of their mean would stand for those of each.
    putts = [hole_out(changed[i : i + 1], mix.distance_ft).average_putts[0] for i in range(10)]
    strokes = mix.average(np.stack(putts))
    slopes = (strokes[2:6] - strokes[6:10]) / (2 * np.diag(steps))
    return float(strokes[0] - strokes[1]), slopes[:2], slopes[2:]


# Several changes at once: a table with shrinkage, not a hunt for the best.


def conditions_in_order(fit: Fit, player: str, component: str) -> list[str]:
    """A player's conditions with readings, by the visits that took them up, then left them."""
    table, counts = fit.designs[component].conditions, putt_counts(fit)
    held = set(table.loc[table["player"] == player, "condition"])
    mine = counts[counts["player"] == player]
    # Two that took turns from the first visit on: the change is the one that stayed.
    visits = mine.assign(visit=pd.factorize(mine["session"])[0]).groupby("condition", sort=False)
    tried = visits["visit"].agg(["min", "max"]).sort_values(["min", "max"], kind="stable").index
    return [name for name in tried if name in held]


def change_table(fit: Fit, player: str, component: str, reference: str) -> pd.DataFrame:
    """Every condition of a player against one of them, shrunk together.

    A row a condition, the reference first: ``condition, putts, sessions``, the ratio of its
    spread to the reference's on its own (``alone``) and shrunk (``ratio, lo, hi``),
    ``p_improved``, and ``p_narrowest``, the chance that it has the narrowest spread of all.
    """
    names = conditions_in_order(fit, player, component)
    names = [reference, *(name for name in names if name != reference)]
    counts, (first, *others) = putt_counts(fit), map(label, names)
    pairs = [choose_conditions(counts, first, name, player) for name in others]
    changes = [contrast(fit, pair, component) for pair in pairs]
    draws = np.stack([change.log_ratio for change in changes], axis=1)
    alone, shrunk = shrink(draws, changes[0].prior_sd / np.sqrt(2), seed=fit.seed)
    # The reference comes first, itself and nothing else.
    against = np.insert(shrunk, 0, 0.0, axis=1)
    readings = rows_of(fit, player, component).groupby("condition")
    shown = zip(("ratio", "lo", "hi"), np.exp(summary(against)), strict=True)
    columns = {
        "condition": [first, *others],
        "putts": readings["count"].sum()[names].to_numpy(),
        "sessions": readings["session"].nunique()[names].to_numpy(),
        "alone": np.exp([0.0, *alone]),
        **dict(shown),
        "p_improved": (against < 0).mean(axis=0),
        "p_narrowest": np.bincount(against.argmin(axis=1), minlength=len(names)) / DRAWS,
    }
    table = pd.DataFrame(columns)
    table.loc[0, ["lo", "hi", "p_improved"]] = np.nan
    return table


def shrink(draws: np.ndarray, prior_scale: float, *, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Changes as the data alone have each, and draws that share a scale learned from all.

    The draws given and returned, (draws, changes), have one reference; those given have
    independent priors of sd `prior_scale` on every condition, the reference too.
    """
    changes = draws.shape[1]
    # Differences from one reference: every two share its part.
    unit = np.linalg.inv(np.eye(changes) + 1)
    # The data's precision is the posterior's less the prior's.
    learned = np.linalg.inv(np.atleast_2d(np.cov(draws, rowvar=False)))
    values, vectors = np.linalg.eigh(learned - unit / prior_scale**2)
    precision = vectors * np.maximum(values, 0.0) @ vectors.T
    pull = learned @ draws.mean(axis=0)
    scales = prior_scale * np.geomspace(0.02, 4, GRID)
    priors = unit / scales[:, None, None] ** 2
    covariances = np.linalg.inv(precision + priors)
    means = covariances @ pull
    fits = means @ pull + np.linalg.slogdet(covariances)[1] + np.linalg.slogdet(priors)[1]
    # half-Normal on the scale, times the grid's step, which grows with the scale
    weights = 0.5 * fits - 0.5 * (scales / prior_scale) ** 2 + np.log(scales)
    rng = np.random.default_rng(seed)
    which = rng.choice(GRID, DRAWS, p=softmax(weights))
    noise = rng.standard_normal((DRAWS, changes, 1))
    roots = np.linalg.cholesky((covariances + covariances.swapaxes(1, 2)) / 2)
    return np.linalg.pinv(precision) @ pull, means[which] + (roots[which] @ noise)[..., 0]
