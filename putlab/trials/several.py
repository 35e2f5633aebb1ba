"""Several changes at once: a table with shrinkage, not a hunt for the best.

Whoever tries eight putters and keeps the best of eight estimates keeps mostly luck. Here the
changes of one player share a scale, learned from all of them: where they hardly differ, each
is drawn to the common middle, and the luckiest the most.

    effect[k] ~ Normal(middle, scale), scale ~ half-Normal(the fit's own prior scale)

The fit's posterior is taken as normal and its fixed prior scale taken out of it; the rest is
the normal hierarchical model (A. Gelman and others, *Bayesian Data Analysis*, 3rd ed. 2013,
section 5.4), summed over a grid of scales.
"""

import numpy as np
import pandas as pd

from putlab.errors import UsageError
from putlab.golfer import choose_player
from putlab.settings import interval_probabilities
from putlab.trials.arms import arm_table, choose_arms, putt_counts
from putlab.trials.cautions import label
from putlab.trials.contrast import condition_index, contrast
from putlab.trials.looking import REGION_PCT

GRID = 60
DRAWS = 8000


def change_table(fit, reference=None, *, player=None, component="line", region_pct=REGION_PCT):
    """Return every condition of a player against one of them, shrunk together.

    Parameters
    ----------
    fit : putlab.golfer.SpreadFit
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
    fit : putlab.golfer.SpreadFit
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
