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

from putlab.design import REFERENCE_FT
from putlab.holeout import hole_out
from putlab.priors import SpreadPriors
from putlab.readings import COMPONENTS
from putlab.skill import Skill

# What practice alone may do between the arms of a plain before-and-after, in place of the
# fit's 0.1: putting five times as much behind oneself may halve or double the spread. It is
# wide on purpose, for nothing in such a design speaks against it.
WIDE_TREND_SD = 0.3

SPREADS, BIASES = ("line_sd_deg", "pace_sd_pct"), ("line_bias_deg", "pace_bias_pct")

# Putts that follow start from here to there, whatever the first putts were.
ENDS_FT = (2.0, 60.0)

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
    prior_sd : float
        Sd of the prior of ``log_ratio``.
    """

    log_ratio: np.ndarray
    log_ratio_at: np.ndarray
    distance_ft: np.ndarray
    shift: np.ndarray
    moved: np.ndarray
    prior_sd: float


def arm_table(fit, player):
    """Return how many readings each condition of a player has, and where.

    Parameters
    ----------
    fit : putlab.golfer.SpreadFit
        Fitted log.
    player : str
        Label.

    Returns
    -------
    pandas.DataFrame
        ``component, condition, session, length, putts``.
    """
    tables = []
    for component in COMPONENTS:
        rows = fit.designs[component].rows
        rows = rows[rows["player"] == player]
        keys = ["condition", "session", "length"]
        counts = rows.groupby(keys, sort=False)["count"].sum().rename("putts").reset_index()
        tables.append(counts.assign(component=component))
    return pd.concat(tables, ignore_index=True)


def contrast(fit, player, component, before, after):
    """Return the change of one component between two conditions.

    Parameters
    ----------
    fit : putlab.golfer.SpreadFit
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
        prior_sd=float(
            np.sqrt(2)
            * np.hypot(
                design.data["priors"][EFFECT], design.data["priors"][EFFECT_SLOPE] * middle
            )
        ),
    )


def condition_index(design, player, condition):
    """Return the place of a player's condition among the fitted effects.

    Parameters
    ----------
    design : putlab.design.Design
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


def strokes_change(fit, player, before, after, moved, mix, *, stimp_ft, past_ft):
    """Return the change of strokes a round, all else equal.

    Parameters
    ----------
    fit : putlab.golfer.SpreadFit
        Fitted log.
    player, before, after : str
        Labels.
    moved : dict of str to ndarray
        `Contrast.moved` of the components that have both conditions.
    mix : putlab.rounds.RoundMix
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
        hole_out(
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
    fit : putlab.golfer.SpreadFit
        Fitted log.
    player, condition : str
        Labels.
    pct : float
        Cut of line and pace spread, percent.
    mix : putlab.rounds.RoundMix
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
    fit : putlab.golfer.SpreadFit
        Fitted log.
    player, condition : str
        Labels.
    distance_ft : ndarray
        Distances in feet, rising.

    Returns
    -------
    putlab.skill.Skill
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
