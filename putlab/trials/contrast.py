"""Two conditions of one player set against each other: what the fit says of the change.

The ratio of spreads, condition after to condition before, at distance d is

    exp(effect[after] - effect[before] + (effect_slope[after] - effect_slope[before]) x)

with x = log(d / 10 ft). Both conditions share everything else in the model: level, form of
the visit, practice trend. Where they share visits, a good day cannot pose as the change.
Where one came before the other, trend and change look alike, and the fit's mild prior on
the trend would hand most of the trend to the change; `trend_undone` takes that prior out.
"""

from dataclasses import dataclass

import numpy as np

from putlab.design import REFERENCE_FT
from putlab.priors import SpreadPriors
from putlab.trials.arms import arm_table

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
        sd_told=float(own.std(ddof=1)),
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


def thinned(draws, size):
    """Return the draws that `putlab.golfer.Golfer.draws` keeps.

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
