"""Where a missed putt comes to rest: chances by side and distance left, for all draws."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from putlab.flat_green.fan import Fan

# Nodes at refinement 1. Directions at the hole, in each of three ranges: for the chances; to
# place the misses that were too soft, and too hard.
AT_HOLE, AT_HOLE_SOFT, AT_HOLE_HARD = 16, 3, 8
# A few nodes, and more for putts that scatter over many feet, as what a leave costs changes
# within a few feet: roll-outs of misses at the hole; directions on each side of the hole, and
# their roll-outs on each side of it.
AT_HOLE_ROLLS, AT_HOLE_ROLLS_PER_FT = 7, 0.5
BESIDE, BESIDE_PER_FT, ROLLS, ROLLS_PER_FT = 5, 0.8, 12, 1.2

# A chance of missing below this is none: rounding.
NO_MISS = 1e-14

# Putts taken at once: arrays of a MB or two, so that they stay in a core's cache.
CHUNK = 384


@dataclass(frozen=True)
class Leaves:
    """What happens to each of many putts.

    Attributes
    ----------
    holed : ndarray, shape (putts,)
        Chance that it drops.
    short, long, left, right : ndarray, shape (putts,)
        Chance that it misses because it never reached the hole; ran over it too fast; went
        by on the left; on the right. The five add up to 1.
    mean_leave_ft : ndarray, shape (putts,)
        Mean distance left after a miss; NaN where nothing is missed.
    cells : ndarray, shape (putts, cells)
        Chance of a miss that stops near each of the distances of `LeaveGrid`: the weights of
        linear interpolation in log distance, so that ``cells @ f`` is the mean of f(leave).
        They come from a few nodes a putt: right for the mean of what is smooth, lumpy as a
        distribution, for which there is `putlab.flat_green.near_hole.leave_within`.
    """

    holed: np.ndarray
    short: np.ndarray
    long: np.ndarray
    left: np.ndarray
    right: np.ndarray
    mean_leave_ft: np.ndarray
    cells: np.ndarray


@dataclass(frozen=True)
class LeaveGrid:
    """Distances left, even in log distance, and how to fill them.

    Attributes
    ----------
    longest_ft : float
        The end of the grid; a longer leave counts as this long.
    """

    longest_ft: float = 160.0

    FIRST_FT = 0.25
    CELLS = 257
    # Chances of holing are computed at every fourth cell, later putts at every eighth.
    HOLING, LATER = 4, 8

    @cached_property
    def cells_ft(self):
        """Distances of the cells, shape (257,)."""
        return np.geomspace(self.FIRST_FT, self.longest_ft, self.CELLS)

    def fill(self, stride):
        """Return the matrix of cubic interpolation, even in log distance, onto the cells.

        Parameters
        ----------
        stride : int
            A smooth function is known at every `stride`-th cell.

        Returns
        -------
        ndarray, shape (257, n)
            Weights of the known values: the cubic through the four nearest (Lagrange).
        """
        known = self.CELLS // stride + 1
        place = np.arange(self.CELLS) / stride
        first = np.clip(place.astype(int) - 1, 0, known - 4)
        weights = np.zeros((self.CELLS, known))
        for j in range(4):
            others = [k for k in range(4) if k != j]
            factors = [(place - first - k) / (j - k) for k in others]
            weights[np.arange(self.CELLS), first + j] = np.prod(factors, axis=0)
        return weights

    def spread_out(self, squared_ft2, chance):
        """Return chances gathered into cells.

        Parameters
        ----------
        squared_ft2, chance : ndarray, shape (putts, nodes)
            Squared distances left, and their probabilities.

        Returns
        -------
        ndarray, shape (putts, cells)
            Each node shared between its two neighbours, linear in log distance.
        """
        rows, size = len(squared_ft2), self.CELLS
        step = np.float32(2 * np.log(self.longest_ft / self.FIRST_FT) / (size - 1))
        start = np.float32(2 * np.log(self.FIRST_FT))
        place = (np.log(np.maximum(squared_ft2, self.FIRST_FT**2)) - start) / step
        np.clip(place, 0, size - 1.001, out=place)
        cell = place.astype(np.int32)
        upper = (place - cell.astype(place.dtype)) * chance
        cell += np.arange(0, rows * size, size, dtype=np.int32)[:, None]
        cell, upper, lower = cell.ravel(), upper.ravel(), (chance - upper).ravel()
        total = np.bincount(cell, lower, rows * size)
        total[1:] += np.bincount(cell, upper, rows * size)[:-1]
        return total.reshape(rows, size)


def holed_chance(strikes, stimp_ft, *, refine=1):
    """Return the chance that each putt drops.

    Parameters
    ----------
    strikes : Strikes
        The putts.
    stimp_ft : float
        Green speed in feet.
    refine : int
        Multiplies the number of directions.

    Returns
    -------
    ndarray, shape (putts,)
        Chances: roll-out in closed form for each direction, direction by quadrature.
    """
    (holed,) = in_chunks(lambda part: _at_hole(part, stimp_ft, refine)[2:3], strikes)
    return holed


def leaves(strikes, stimp_ft, grid, *, refine=1):
    """Return what happens to each putt.

    Parameters
    ----------
    strikes : Strikes
        The putts.
    stimp_ft : float
        Green speed in feet.
    grid : LeaveGrid
        Distances left to gather misses at.
    refine : int
        Multiplies the number of nodes.

    Returns
    -------
    Leaves
        Chances, mean leave and cells of every putt.
    """
    return Leaves(*in_chunks(lambda part: _leaves(part, stimp_ft, grid, refine), strikes))


def in_chunks(work, strikes):
    """Do work on a few putts at a time, putts of like scatter together.

    Parameters
    ----------
    work : callable
        Strikes to a sequence of arrays, a row a putt.
    strikes : Strikes
        The putts.

    Returns
    -------
    list of ndarray
        The arrays for all putts, in their order.
    """
    order = np.argsort(strikes.roll_sd_ft, kind="stable")
    parts = [work(strikes[order[i : i + CHUNK]]) for i in range(0, len(strikes), CHUNK)]
    back = np.argsort(order)
    return [np.concatenate(column)[back] for column in zip(*parts, strict=True)]


def _nodes(least, per_ft, scatter_ft, refine):
    return refine * (least + int(np.ceil(per_ft * scatter_ft.max())))


def _at_hole(strikes, stimp_ft, refine):
    return Fan.at_hole(strikes, stimp_ft, AT_HOLE * refine).chances()


def _leaves(strikes, stimp_ft, grid, refine):
    """Return the columns of `Leaves`."""
    stay, soft, holed, hard = _at_hole(strikes, stimp_ft, refine)
    few = (Fan.at_hole(strikes, stimp_ft, n * refine) for n in (AT_HOLE_SOFT, AT_HOLE_HARD))
    beside = _nodes(BESIDE, BESIDE_PER_FT, strikes.distance_ft * strikes.line_sd_rad, refine)
    rolls = _nodes(ROLLS, ROLLS_PER_FT, strikes.roll_sd_ft, refine)
    at_rolls = _nodes(AT_HOLE_ROLLS, AT_HOLE_ROLLS_PER_FT, strikes.roll_sd_ft, refine)
    left, right = (Fan.beside(strikes, side, beside) for side in (0, 1))
    rests = [
        (strikes.distance_ft[:, None] ** 2, stay[:, None]),
        # A few directions show where misses at the hole stop; many say how likely they are.
        _scaled(*next(few).soft_rests(at_rolls), soft),
        _scaled(*next(few).hard_rests(at_rolls), hard),
        left.all_rests(rolls),
        right.all_rests(rolls),
    ]
    squared, chance = (np.concatenate(part, axis=1) for part in zip(*rests, strict=True))
    missed = chance.sum(axis=1)
    mean_leave_ft = np.sum(chance * np.sqrt(squared), axis=1) / np.where(
        missed > NO_MISS, missed, np.nan
    )
    (stay_l, left_short, _, left_by), (stay_r, right_short, _, right_by) = (
        left.chances(),
        right.chances(),
    )
    short = stay + soft + stay_l + left_short + stay_r + right_short
    cells = grid.spread_out(squared, chance)
    return holed, short, hard, left_by, right_by, mean_leave_ft, cells


def _scaled(squared, chance, total):
    found = np.maximum(chance.sum(axis=1), np.finfo(float).tiny)
    return squared, chance * (total / found)[:, None]
