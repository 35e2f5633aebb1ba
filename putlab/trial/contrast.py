"""Two conditions of one player set against each other: what the fit says of the change.

The ratio of spreads, condition after to condition before, at distance d is

    exp(effect[after] - effect[before] + (effect_slope[after] - effect_slope[before]) x)

with x = log(d / 10 ft). Both conditions share everything else in the model: level, form of
the visit, practice trend. Where they share visits, a good day cannot pose as the change.
Where one came before the other, trend and change look alike, and the fit's mild prior on
the trend would hand most of the trend to the change; `trend_undone` takes that prior out.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import xarray as xr

from putlab.base.errors import UsageError
from putlab.base.settings import interval_probabilities
from putlab.green.hole_out import hole_out, kept_putts
from putlab.green.skill import Skill
from putlab.model.design import REFERENCE_FT
from putlab.model.priors import SpreadPriors
from putlab.posterior.player import choose_player
from putlab.trial.boundary import REGION_PCT
from putlab.trial.cautions import label
from putlab.trial.conditions import arm_table, choose_arms, putt_counts

# What practice alone may do between the arms of a plain before-and-after, in place of the
# fit's 0.1: putting five times as much behind oneself may halve or double the spread. It is
# wide on purpose, for nothing in such a design speaks against it.
WIDE_TREND_SD = 0.3

TREND = SpreadPriors.names().index("trend_sd")
EFFECT = SpreadPriors.names().index("effect_sd")
EFFECT_SLOPE = SpreadPriors.names().index("effect_slope_sd")


@dataclass(frozen=True)
class Contrast:
    """Change of one component from condition before to condition after.

    Attributes
    ----------
    log_ratio : ndarray, shape (draws,)
        Log ratio of spreads over the lengths both arms share.
    log_ratio_at : ndarray, shape (draws, lengths)
        The same at each length.
    distance_ft : ndarray, shape (lengths,)
        Lengths that both arms share.
    shift : ndarray, shape (draws,)
        Change of bias, degrees or percent.
    moved : ndarray, shape (draws,)
        What undoing the trend's prior added to the fit's own log ratio.
    sd_told : float
        Sd of the fit's own log ratio.
    prior_sd : float
        Sd of the prior of ``log_ratio``.
    """

    log_ratio: np.ndarray
    log_ratio_at: np.ndarray
    distance_ft: np.ndarray
    shift: np.ndarray
    moved: np.ndarray
    sd_told: float
    prior_sd: float


def contrast(fit, player, component, before, after):
    """Return the change of one component between two conditions.

    Parameters
    ----------
    fit : putlab.posterior.player.SpreadFit
        Fitted log.
    player : str
        Label.
    component : {"line", "pace"}
        Component.
    before, after : str
        Conditions; both have readings of the component.

    Returns
    -------
    Contrast
        All posterior draws.
    """
    design = fit.designs[component]
    index = [condition_index(design, player, name) for name in (before, after)]
    x, weight, lengths = _shared_lengths(fit, player, component, before, after)
    effect, slope, shift = (
        np.diff(_draws(fit, component, name)[:, index], axis=1)[:, 0]
        for name in ("effect", "effect_slope", "shift")
    )
    middle = x @ weight
    trend = _draws(fit, component, "trend")[:, design.players.index(player)]
    own = effect + slope * middle
    moved = trend_undone(own, trend, design.data["priors"][TREND]) - own
    return Contrast(
        log_ratio=own + moved,
        log_ratio_at=(effect + moved)[:, None] + slope[:, None] * x,
        distance_ft=lengths,
        shift=shift,
        moved=moved,
        sd_told=float(own.std(ddof=1)),
        prior_sd=float(
            np.sqrt(2)
            * np.hypot(design.data["priors"][EFFECT], design.data["priors"][EFFECT_SLOPE] * middle)
        ),
    )


def condition_index(design, player, condition):
    """Return the place of a player's condition among the fitted effects.

    Parameters
    ----------
    design : putlab.model.design.Design
        Design of the component.
    player, condition : str
        Labels.

    Returns
    -------
    int or None
        None where the component has no readings under it.
    """
    table = design.conditions
    found = np.flatnonzero((table["player"] == player) & (table["condition"] == condition))
    return int(found[0]) if found.size else None


def _draws(fit, component, name):
    values = fit.trees[component]["posterior"][name].values
    return values.reshape(values.shape[0] * values.shape[1], *values.shape[2:])


def _shared_lengths(fit, player, component, before, after):
    """Return x and weight of the lengths that both arms share; all lengths where none is.

    A length tells of the ratio as its scarcer arm allows: weight n m / (n + m).
    """
    table = arm_table(fit, player)
    table = table[table["component"] == component]
    counts = table.pivot_table(
        index="length", columns="condition", values="putts", aggfunc="sum", fill_value=0
    )
    n, m = counts[before].to_numpy(float), counts[after].to_numpy(float)
    shared = n * m > 0
    if not shared.any():
        weight, keep = n + m, n + m > 0
    else:
        weight, keep = n * m / np.maximum(n + m, 1), shared
    lengths = fit.designs[component].lengths_ft[counts.index[keep]]
    return np.log(lengths / REFERENCE_FT), weight[keep] / weight[keep].sum(), lengths


def trend_undone(change, trend, trend_sd, wide_sd=WIDE_TREND_SD):
    """Return draws of a change as under a far wider prior on the practice trend.

    Given the trend the change is close to normal around a straight line of it, so only the
    trend's own posterior needs to be redone: prior precision out, wide precision in. Where
    the arms share their visits the line is flat and nothing moves.
    ``tests/test_contrast.py`` sets this against sampling with the wide prior.

    Parameters
    ----------
    change, trend : ndarray, shape (draws,)
        Posterior draws.
    trend_sd : float
        Sd of the trend's prior in the fit, around nought.
    wide_sd : float
        Sd of the prior to put in its place.

    Returns
    -------
    ndarray, shape (draws,)
        Draws of the change.
    """
    mean, variance = trend.mean(), trend.var()
    told = max(1 / variance - 1 / trend_sd**2, 0.0)
    new_variance = 1 / (told + 1 / wide_sd**2)
    new_mean = new_variance * mean / variance
    new_trend = new_mean + (trend - mean) * np.sqrt(new_variance / variance)
    slope = np.mean((change - change.mean()) * (trend - mean)) / variance
    return change + slope * (new_trend - trend)


def thinned(draws, size):
    """Return the draws that `putlab.posterior.player.Golfer.draws` keeps.

    Parameters
    ----------
    draws : ndarray, shape (draws,)
        All draws.
    size : int
        How many it keeps.

    Returns
    -------
    ndarray, shape (size,)
        Evenly spaced.
    """
    return draws[np.linspace(0, len(draws) - 1, size).astype(int)]


# What a change is worth in strokes: the same golfer, on new days, under each condition.


SPREADS, BIASES = ("line_sd_deg", "pace_sd_pct"), ("line_bias_deg", "pace_bias_pct")

# Putts that follow start from here to there, whatever the first putts were.
ENDS_FT = (2.0, 60.0)


def strokes_change(fit, player, before, after, moved, mix, *, stimp_ft, past_ft):
    """Return the change of strokes a round, all else equal.

    Parameters
    ----------
    fit : putlab.posterior.player.SpreadFit
        Fitted log.
    player, before, after : str
        Labels.
    moved : dict of str to ndarray
        `Contrast.moved` of the components that have both conditions.
    mix : putlab.rounds.first_putts.RoundMix
        First putts of a round.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims.

    Returns
    -------
    ndarray, shape (draws,)
        Strokes a round after, less those before, on new days.
    """
    fit = _with_moved_effects(fit, player, before, after, moved)
    arms = [
        kept_putts(
            arm_skill(fit, player, condition, mix.distance_ft),
            mix.distance_ft,
            stimp_ft=stimp_ft,
            past_ft=past_ft,
        ).average_putts
        for condition in (before, after)
    ]
    return mix.average(arms[1] - arms[0])


def strokes_at_stake(fit, player, condition, pct, mix, *, stimp_ft, past_ft):
    """Return the strokes a round that a cut of both spreads would save this golfer.

    Parameters
    ----------
    fit : putlab.posterior.player.SpreadFit
        Fitted log.
    player, condition : str
        Labels.
    pct : float
        Cut of line and pace spread, percent.
    mix : putlab.rounds.first_putts.RoundMix
        First putts of a round.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims.

    Returns
    -------
    float
        Strokes a round, above 0.
    """
    skill = arm_skill(fit, player, condition, mix.distance_ft)
    typical = {name: np.exp(np.log(getattr(skill, name)).mean(axis=0)) for name in SPREADS}
    biases = {name: getattr(skill, name).mean(axis=0) for name in BIASES}
    putts = [
        hole_out(
            Skill(skill.distance_ft, **{n: v * keep for n, v in typical.items()}, **biases),
            mix.distance_ft,
            stimp_ft=stimp_ft,
            past_ft=past_ft,
        ).average_putts[0]
        for keep in (1.0, 1 - pct / 100)
    ]
    return float(mix.average(putts[0] - putts[1]))


def arm_skill(fit, player, condition, distance_ft):
    """Return a player's new-day skill under one condition.

    Parameters
    ----------
    fit : putlab.posterior.player.SpreadFit
        Fitted log.
    player, condition : str
        Labels.
    distance_ft : ndarray
        Distances in feet, rising.

    Returns
    -------
    putlab.green.skill.Skill
        At these distances, and at short and long ones for the putts that follow.
    """
    now = pd.DataFrame({"player": [player], "condition": [condition], "share": [1.0]})
    at = np.unique([*ENDS_FT, *distance_ft])
    return replace(fit, condition_now=now).golfer(player).skill(at, new_day=True)


def _with_moved_effects(fit, player, before, after, moved):
    """Return the fit with the correction of each log ratio put into its two effects."""
    trees = dict(fit.trees)
    for component, draws in moved.items():
        posterior = trees[component]["posterior"].dataset
        effect = posterior["effect"].copy(deep=True)
        half = draws.reshape(effect.shape[:2]) / 2
        design = fit.designs[component]
        effect.values[..., condition_index(design, player, before)] -= half
        effect.values[..., condition_index(design, player, after)] += half
        trees[component] = xr.DataTree.from_dict({"posterior": posterior.assign(effect=effect)})
    return replace(fit, trees=trees)


# Several changes at once: a table with shrinkage, not a hunt for the best.


GRID = 60
DRAWS = 8000


def change_table(fit, reference=None, *, player=None, component="line", region_pct=REGION_PCT):
    """Return every condition of a player against one of them, shrunk together.

    Parameters
    ----------
    fit : putlab.posterior.player.SpreadFit
        Fitted log.
    reference : str, optional
        Condition that the others are set against; default: the player's first.
    player : str, optional
        Label; may be left out where the log has one player.
    component : {"line", "pace"}
        Component.
    region_pct : float
        A change of spread of less than this percent is too small to matter.

    Returns
    -------
    pandas.DataFrame
        A row a condition, the reference first: ``condition, putts, sessions``, the ratio of
        its spread to the reference's on its own (``alone``) and shrunk (``ratio, lo, hi``),
        ``p_improved, p_too_small_to_matter``, and ``p_narrowest``, the chance that it has
        the narrowest spread of all.

    Raises
    ------
    UsageError
        The player has fewer than two conditions with readings, or not that one.
    """
    player = choose_player(fit.players, player)
    names = conditions_in_order(fit, player, component)
    if len(names) < 2:
        raise UsageError(f"{player} has {component} readings under fewer than two conditions.")
    if reference is not None:
        other = next(name for name in names if label(name) != reference)
        reference = choose_arms(putt_counts(fit), reference, label(other), player).before
    names = _first(names, reference)
    changes = [contrast(fit, player, component, names[0], name) for name in names[1:]]
    draws = np.stack([change.log_ratio for change in changes], axis=1)
    scale = changes[0].prior_sd / np.sqrt(2)
    shrunk = shrink(draws, scale, seed=fit.seed)
    table = _table(_alone(draws, scale), shrunk, np.log1p(region_pct / 100))
    counts = arm_table(fit, player).query("component == @component").groupby("condition")
    table.insert(0, "condition", [label(name) for name in names])
    table.insert(1, "putts", counts["putts"].sum().reindex(names).to_numpy())
    table.insert(2, "sessions", counts["session"].nunique().reindex(names).to_numpy())
    return table


def conditions_in_order(fit, player, component):
    """Return a player's conditions with readings, in the order in which they were tried.

    Parameters
    ----------
    fit : putlab.posterior.player.SpreadFit
        Fitted log.
    player : str
        Label.
    component : {"line", "pace"}
        Component.

    Returns
    -------
    list of str
        Labels; the empty one is putts without a label.
    """
    design = fit.designs[component]
    if player not in set(design.conditions["player"]):
        return []
    counts = putt_counts(fit)
    mine = counts[counts["player"] == player]["condition"].drop_duplicates()
    return [name for name in mine if condition_index(design, player, name) is not None]


def _first(names, reference):
    if reference is None:
        return names
    return [reference, *(name for name in names if name != reference)]


def shrink(draws, prior_scale, *, seed):
    """Return draws of changes that share a scale learned from all of them.

    Parameters
    ----------
    draws : ndarray, shape (draws, changes)
        Posterior of each change against one reference, with independent priors of sd
        ``prior_scale`` on every condition, the reference too.
    prior_scale : float
        That scale.
    seed : int
        Seed of the draws returned.

    Returns
    -------
    ndarray, shape (DRAWS, changes)
        Changes, shrunk.
    """
    changes = draws.shape[1]
    # Differences from one reference: every two share its part.
    together = np.eye(changes) + 1
    precision, pull = _told(draws, prior_scale**2 * together)
    scales = prior_scale * np.geomspace(0.02, 4, GRID)
    means, roots, weights = [], [], []
    for scale in scales:
        prior = np.linalg.inv(scale**2 * together)
        covariance = np.linalg.inv(precision + prior)
        mean = covariance @ pull
        means.append(mean)
        roots.append(np.linalg.cholesky((covariance + covariance.T) / 2))
        fits = pull @ mean + np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(prior)[1]
        # half-Normal on the scale, times the grid's step, which grows with the scale
        weights.append(0.5 * fits - 0.5 * (scale / prior_scale) ** 2 + np.log(scale))
    weights = np.exp(np.array(weights) - np.max(weights))
    rng = np.random.default_rng(seed)
    which = rng.choice(GRID, DRAWS, p=weights / weights.sum())
    noise = rng.standard_normal((DRAWS, changes, 1))
    return np.array(means)[which] + (np.array(roots)[which] @ noise)[..., 0]


def _told(draws, prior):
    """Return precision and pull of the data alone: the posterior's less the prior's."""
    covariance = np.atleast_2d(np.cov(draws, rowvar=False))
    precision = np.linalg.inv(covariance)
    values, vectors = np.linalg.eigh(precision - np.linalg.inv(prior))
    return vectors * np.maximum(values, 0.0) @ vectors.T, precision @ draws.mean(axis=0)


def _alone(draws, prior_scale):
    """Return each change as the data alone have it, without any prior on it."""
    precision, pull = _told(draws, prior_scale**2 * (np.eye(draws.shape[1]) + 1))
    return np.linalg.pinv(precision) @ pull


def _table(alone, shrunk, region):
    low, high = np.quantile(shrunk, interval_probabilities(), axis=0)
    every = np.column_stack([np.zeros(len(shrunk)), shrunk])
    narrowest = np.bincount(every.argmin(axis=1), minlength=every.shape[1]) / len(every)
    rows = pd.DataFrame(
        {
            "alone": np.exp(alone),
            "ratio": np.exp(shrunk.mean(axis=0)),
            "lo": np.exp(low),
            "hi": np.exp(high),
            "p_improved": (shrunk < 0).mean(axis=0),
            "p_too_small_to_matter": (np.abs(shrunk) < region).mean(axis=0),
        }
    )
    itself = pd.DataFrame({"alone": [1.0], "ratio": [1.0]}).reindex(columns=rows.columns)
    both = pd.concat([itself.astype(float), rows], ignore_index=True)
    return both.assign(p_narrowest=narrowest)
