"""How much wider a golfer scatters when it counts, learned from the putts taken in games.

Each hole's putts have a chance at every ratio of spread in a game to spread in practice, for
every draw of the golfer in practice. Over all holes of all games the chances multiply within
a draw and are averaged over draws; times the prior that is the posterior of the ratio.
"""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.special import logsumexp
from scipy.stats import norm

from putlab.counted_games.hole_chances import hole_chances
from putlab.settings import interval_probabilities

# Prior of the log ratio: centred on no change, 90 % between 0.66 and 1.5. Golfers say that a
# score tightens them up or focuses them; no published size is agreed on for putting, so the
# prior takes no side (assumption).
PRIOR_LOG_SD = 0.25

# Ratios at which chances are computed, and between which their logarithm runs smoothly.
NODES = np.exp(np.linspace(-0.9, 0.9, 7))
# Log ratios of the answer.
GRID = np.linspace(-0.9, 0.9, 361)

# The least a hole's putts can be thought likely: one putt in a thousand goes wrong in a way
# that no spread explains (a bump, a lapse), and must not settle the ratio alone.
LAPSE = 1e-3


@dataclass(frozen=True)
class CountedRatio:
    """Posterior of spread in a game over spread in practice.

    Attributes
    ----------
    ratio : ndarray, shape (n,)
        Ratios, rising.
    chance, prior : ndarray, shape (n,)
        Posterior and prior probability of each.
    holes : int
        Holes it rests on.
    """

    ratio: np.ndarray
    chance: np.ndarray
    prior: np.ndarray
    holes: int

    @property
    def median(self):
        """Ratio as likely too small as too large."""
        return self.quantile(0.5)

    @property
    def interval(self):
        """Ends of the 90 % equal-tailed interval."""
        return tuple(self.quantile(p) for p in interval_probabilities())

    @property
    def chance_wider(self):
        """Probability that the spread is wider when it counts."""
        return float(self.chance[self.ratio > 1].sum() + self.chance[self.ratio == 1].sum() / 2)

    def quantile(self, probability):
        """Return a quantile of the ratio.

        Parameters
        ----------
        probability : float
            Between 0 and 1.

        Returns
        -------
        float
            Straight in log ratio between grid points.
        """
        below = np.cumsum(self.chance) - self.chance / 2
        return float(np.exp(np.interp(probability, below, np.log(self.ratio))))


def node_chances(skill, holes, **options):
    """Return the chances of 1 to 10 putts on each hole at the nodes of the ratio.

    Parameters
    ----------
    skill : Skill
        The golfer in practice.
    holes : pandas.DataFrame
        Holes played (`putlab.games.played_holes`).
    **options
        Of `putlab.counted_games.hole_chances.hole_chances`.

    Returns
    -------
    ndarray, shape (7, draws, holes, 10)
        For `counted_ratio`; the middle node is the golfer as in practice.
    """
    return hole_chances(skill, holes, ratios=NODES, **options)


def counted_ratio(chances, putts, *, prior_log_sd=PRIOR_LOG_SD):
    """Return what the putts taken say about the ratio.

    Parameters
    ----------
    chances : ndarray, shape (7, draws, holes, 10)
        From `node_chances`.
    putts : array_like, shape (holes,)
        Putts taken on each hole; more than ten count as ten.
    prior_log_sd : float
        Spread of the normal prior of the log ratio, centred on 0.

    Returns
    -------
    CountedRatio
        The posterior on a grid from 0.41 to 2.46.
    """
    putts = np.clip(np.asarray(putts, dtype=int), 1, chances.shape[-1])
    taken = np.take_along_axis(chances, putts[None, None, :, None] - 1, axis=-1)[..., 0]
    by_draw = np.log(np.maximum(taken, 0.0) * (1 - LAPSE) + LAPSE / chances.shape[-1]).sum(-1)
    at_nodes = logsumexp(by_draw, axis=1) - np.log(by_draw.shape[1])
    log_prior = norm.logpdf(GRID, scale=prior_log_sd)
    log_chance = log_prior + CubicSpline(np.log(NODES), at_nodes)(GRID)
    prior, chance = (np.exp(part - logsumexp(part)) for part in (log_prior, log_chance))
    return CountedRatio(np.exp(GRID), chance, prior, putts.size)
