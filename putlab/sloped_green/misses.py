"""Where putts that miss on a slope come to rest."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from putlab.roll import stop_ft
from putlab.sloped_green.holing_rolls import holing_rolls
from putlab.sloped_green.lies import DROPPING, NODES, REACH

# A share of misses or a chance of more putts below this is none.
NEGLIGIBLE = 1e-9


@dataclass(frozen=True)
class Misses:
    """Where the misses of one draw stop, as nodes and chances (see `Lies.rests`).

    Attributes
    ----------
    share : ndarray, shape (lies,)
        Share of putts that miss.
    leave_ft, slope_to_deg, chance : ndarray, shape (lies, places)
        Nodes; chances are below 0 for putts that drop.
    """

    share: np.ndarray
    leave_ft: np.ndarray
    slope_to_deg: np.ndarray
    chance: np.ndarray

    @classmethod
    def of(cls, lies, strike, *, refine=1):
        """Return the misses of strikes from lies."""
        nodes = [(count - 1) * refine + 1 for count in NODES]
        rests = lies.rests(strike, nodes=nodes, dropping=DROPPING * refine)
        return cls(1 - lies.holed_chance(strike), *rests)

    def more(self, function, fewer):
        """Return the chance of more putts than so many, from that of more than one fewer.

        Parameters
        ----------
        function : callable
            Chance of it at the next lie.
        fewer : ndarray, shape (lies,)
            Chance here of more than one putt fewer, which it cannot exceed.

        Returns
        -------
        ndarray, shape (lies,)
            The mean of the function over misses, times their share.
        """
        mean = np.sum(self.chance * function(self.leave_ft, self.slope_to_deg), axis=-1)
        return np.clip(mean, 0.0, fewer)

    @property
    def mean_leave_ft(self):
        """Mean distance left by a miss; NaN where there is none to speak of."""
        total = np.sum(self.chance * self.leave_ft, axis=-1)
        return total / np.where(self.share > NEGLIGIBLE, self.share, np.nan)


@dataclass(frozen=True)
class MissPlaces:
    """Where the misses of one strike from one lie stop, cell by cell, for a figure.

    Attributes
    ----------
    along_ft, right_ft : ndarray, shape (cells, cells)
        Along and right of the line ball to hole, from where the ball was struck; rows are
        directions, left to right, columns paces, soft to firm.
    chance : ndarray, shape (cells, cells)
        Chance of a miss that stops there; they add up to the share of misses.
    leave_ft : ndarray, shape (cells, cells)
        Distance left.
    """

    along_ft: np.ndarray
    right_ft: np.ndarray
    chance: np.ndarray
    leave_ft: np.ndarray

    def leave_quantile_ft(self, probability):
        """Return the distance that a share of the misses leave at most.

        Parameters
        ----------
        probability : array_like
            Shares of the misses, 0 to 1.

        Returns
        -------
        ndarray
            Distances in feet, to within a cell.
        """
        order = np.argsort(self.leave_ft, axis=None)
        reached = np.cumsum(self.chance.ravel()[order])
        return np.interp(
            np.asarray(probability) * reached[-1], reached, self.leave_ft.ravel()[order]
        )


def miss_places(green, distance_ft, strike, *, slope_to_deg=0.0, cells=81):
    """Return where the misses of one strike stop.

    Parameters
    ----------
    green : Green
        Its speed and slope.
    distance_ft, slope_to_deg : float
        The lie.
    strike : Strike
        One aim and pace, and how they scatter; every field a number.
    cells : int
        Cells of direction, and of pace.

    Returns
    -------
    MissPlaces
        Cells of equal width over five spreads either side of the mean.

    Raises
    ------
    NeverStops
        The green is too steep to hold a ball.
    """
    edges = np.linspace(-REACH, REACH, cells + 1)
    middle = (edges[1:] + edges[:-1]) / 2
    mass = np.diff(ndtr(edges)) / np.diff(ndtr(edges[[0, -1]]))
    line = strike.mean_line_deg + strike.line_sd_deg * middle
    roll = np.maximum(strike.mean_roll_ft + strike.roll_sd_ft * middle, 0.0)
    drops = holing_rolls(green, distance_ft, line, slope_to_deg=slope_to_deg)
    z = ((drops - strike.mean_roll_ft) / strike.roll_sd_ft)[:, None]
    low = np.maximum(z[..., 0], edges[:-1, None])
    high = np.minimum(z[..., 1], edges[1:, None])
    dropped = np.sum(np.maximum(ndtr(high) - ndtr(low), 0.0) * (high > low), axis=-1)
    chance = mass[:, None] * np.maximum(mass - dropped, 0.0)
    along, right = stop_ft(green, line[:, None], roll, slope_to_deg=slope_to_deg)
    leave = np.hypot(along - distance_ft, right)
    return MissPlaces(along, right, chance, leave)
