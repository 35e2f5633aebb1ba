"""Putts to hole out from any distance on a flat green, for all posterior draws at once.

With M(k, d) the chance that more than k putts are taken from d: M(0, d) = 1, and
M(k + 1, d) is the mean of M(k, leave) over the misses from d. Everything follows: one putt is
1 - M(1), three or more M(2), average putts the sum of M(0) to M(9), as a hole ends at ten.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np

from putlab.base.cache import kept_or_made, result_key
from putlab.base.errors import UsageError
from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.green.leaves import LeaveGrid, holed_chance, leaves
from putlab.green.skill import Skill
from putlab.green.strike import Strikes

# A hole ends at ten putts, so that an average exists for any skill.
MOST_PUTTS = 10

# Putts solved at once, so that memory stays below 200 MB however many the draws.
PUTTS_AT_ONCE = 10_000


@dataclass(frozen=True)
class HoleOut:
    """Chances and averages of holing out, for each draw and distance.

    Attributes
    ----------
    distance_ft : ndarray, shape (n,)
        Length of the first putt.
    more_than : ndarray, shape (10, draws, n)
        Chance that more than 0, 1, ... 9 putts are taken.
    mean_leave_ft : ndarray, shape (draws, n)
        Mean distance left after a first putt that missed; NaN where none does.
    short, long, left, right : ndarray, shape (draws, n)
        Shares of the first putts that missed, adding up to 1: never reached the hole; ran
        over it too fast; went by on the left; went by on the right.
    """

    distance_ft: np.ndarray
    more_than: np.ndarray
    mean_leave_ft: np.ndarray
    short: np.ndarray
    long: np.ndarray
    left: np.ndarray
    right: np.ndarray

    @property
    def one_putt(self):
        """Chance that the first putt drops, shape (draws, n)."""
        return 1 - self.more_than[1]

    @property
    def three_putt(self):
        """Chance of three putts or more, shape (draws, n)."""
        return self.more_than[2]

    @property
    def average_putts(self):
        """Mean number of putts, at most ten, shape (draws, n)."""
        return self.more_than.sum(axis=0)

    @property
    def putts_chance(self):
        """Chance of exactly 1, 2, ... 10 putts, shape (10, draws, n)."""
        beyond = np.concatenate([self.more_than[1:], np.zeros_like(self.more_than[:1])])
        return self.more_than - beyond

    def table(self):
        """Return the means over draws as a table.

        Returns
        -------
        pandas.DataFrame
            A row a distance: ``distance_ft, one_putt, three_putt, average_putts,
            mean_leave_ft``.
        """
        import pandas as pd

        names = ("one_putt", "three_putt", "average_putts")
        means = {name: getattr(self, name).mean(axis=0) for name in names}
        # The mean over misses, wherever in the posterior they come from.
        missed = np.where(np.isfinite(self.mean_leave_ft), self.more_than[1], 0.0)
        total = missed.sum(axis=0)
        leave = np.sum(missed * np.nan_to_num(self.mean_leave_ft), axis=0)
        leave = leave / np.where(total > 0, total, np.nan)
        return pd.DataFrame({"distance_ft": self.distance_ft, **means, "mean_leave_ft": leave})


def hole_out(skill, distance_ft, *, stimp_ft=STIMP_FT, past_ft=PAST_FT, refine=1):
    """Return the chances of one putt and of three, and average putts, on a flat green.

    Deterministic: no simulation. From 2 to 60 ft, for spreads of 0.2 to 4 degrees and 2 to
    30 %, chances and average putts are within 0.001 of the same integrals with four times
    the nodes, and typically within 0.0001 (`tests/test_holeout.py`).

    Parameters
    ----------
    skill : Skill
        Spread and bias of line and pace; they may vary with distance.
    distance_ft : array_like, shape (n,)
        Lengths of the first putt, in feet, rising.
    stimp_ft : float
        Green speed in feet.
    past_ft : float or array_like, shape (n,)
        How far past the hole the golfer aims to roll the ball; an array gives it for each
        distance, and putts that follow take it from there, straight in log distance.
    refine : int
        Multiplies the nodes of every integral.

    Returns
    -------
    HoleOut
        Arrays of shape (draws, n).

    Raises
    ------
    UsageError
        A distance or the green speed is not above 0, distances do not rise, or the target
        lies behind the ball.
    """
    distance_ft = _distances(distance_ft)
    past_ft = _pasts(past_ft, distance_ft)
    if not np.isfinite(stimp_ft) or stimp_ft <= 0:
        raise UsageError(f"stimp_ft must be above 0; got {stimp_ft:g}.")
    grid = LeaveGrid(max(LeaveGrid.longest_ft, 2.5 * distance_ft[-1]))
    size = max(1, PUTTS_AT_ONCE // (distance_ft.size + grid.CELLS // grid.LATER))

    def solve(start):
        some = _some(skill, slice(start, start + size))
        return _solve(some, distance_ft, stimp_ft, past_ft, grid, refine)

    # Two threads, as numpy lets go of the interpreter while it computes; the order of the
    # draws, and so every result, is the same with one.
    with ThreadPoolExecutor(max_workers=2) as pool:
        parts = list(pool.map(solve, range(0, skill.draws, size)))
    return HoleOut(distance_ft, *(np.concatenate(p, axis=-2) for p in zip(*parts, strict=True)))


def _distances(distance_ft):
    distance_ft = np.atleast_1d(np.asarray(distance_ft, dtype=float))
    good = distance_ft.ndim == 1 and distance_ft.size and np.all(np.isfinite(distance_ft))
    if not good or distance_ft[0] <= 0 or np.any(np.diff(distance_ft) <= 0):
        raise UsageError(f"distance_ft must be above 0 and rising; got {distance_ft}.")
    return distance_ft


def _pasts(past_ft, distance_ft):
    """Return past as a function of distance; refuse a target behind the ball."""
    past_ft = np.broadcast_to(np.asarray(past_ft, dtype=float), distance_ft.shape)
    if not np.all(np.isfinite(past_ft)) or np.any(past_ft < 0):
        raise UsageError(f"past_ft must be 0 or more; got {past_ft.min():g}.")
    return lambda wanted_ft: np.interp(np.log(wanted_ft), np.log(distance_ft), past_ft)


def thinned(skill, most):
    """Return at most so many of a skill's draws, evenly taken.

    Parameters
    ----------
    skill : Skill
        The golfer.
    most : int
        Draws to keep.

    Returns
    -------
    Skill
        The same golfer, cheaper to work with.
    """
    if skill.draws <= most:
        return skill
    return _some(skill, np.linspace(0, skill.draws - 1, most).round().astype(int))


def _some(skill, rows):
    names = ("line_sd_deg", "line_bias_deg", "pace_sd_pct", "pace_bias_pct")
    return Skill(skill.distance_ft, *(getattr(skill, name)[rows] for name in names))


def _solve(skill, distance_ft, stimp_ft, past_ft, grid, refine):
    strikes = Strikes.of(skill.at(distance_ft), past_ft(distance_ft))
    first = leaves(strikes, stimp_ft, grid, refine=refine)
    later = later_putts(skill, grid, stimp_ft=stimp_ft, past_ft=past_ft, refine=refine)
    shape = (skill.draws, distance_ft.size)
    cells = first.cells.reshape(*shape, grid.CELLS)
    missed = (1 - first.holed).reshape(shape)
    beyond = np.moveaxis(cells @ later[..., 1:], -1, 0)
    more_than = np.stack([np.ones(shape), missed, *beyond])
    share = np.maximum(1 - first.holed, np.finfo(float).tiny)
    sides = [getattr(first, name) / share for name in ("short", "long", "left", "right")]
    return more_than, *(part.reshape(shape) for part in (first.mean_leave_ft, *sides))


def later_putts(skill, grid, *, stimp_ft, past_ft, refine=1):
    """Return the chances of more putts than 0, 1, ... 8 from wherever a putt was left.

    Parameters
    ----------
    skill : Skill
        The golfer.
    grid : LeaveGrid
        Distances left.
    stimp_ft : float
        Green speed in feet.
    past_ft : callable
        Distance in feet to how far past the hole the golfer aims.
    refine : int
        Multiplies the nodes of every integral.

    Returns
    -------
    ndarray, shape (draws, cells, 9)
        ``Leaves.cells @`` the sum over the last axis is the mean of the putts still to come.
    """

    def struck(at_ft):
        return Strikes.of(skill.at(at_ft), past_ft(at_ft))

    shape = (skill.draws, -1)
    missed = 1 - holed_chance(struck(grid.cells_ft[:: grid.HOLING]), stimp_ft, refine=refine)
    missed = np.clip(grid.fill(grid.HOLING) @ missed.reshape(*shape, 1), 0.0, 1.0)
    found = leaves(struck(grid.cells_ft[:: grid.LATER]), stimp_ft, grid, refine=refine)
    cells = found.cells.reshape(*shape, grid.CELLS)
    # Smooth in log distance and small: few distances carry the chances of more than one.
    fill = grid.fill(grid.LATER)
    chances, current, step = [np.ones_like(missed), missed], cells @ missed, cells @ fill
    while len(chances) < MOST_PUTTS - 1:
        chances.append(np.maximum(fill @ current, 0.0))
        current = step @ current
    return np.concatenate(chances, axis=-1)


# Hole-out kept on disk, for what is asked of the same golfer again and again.


STROKES = ("one_putt", "three_putt", "average_putts")


def kept_putts(skill, distance_ft, *, stimp_ft, past_ft):
    """Return the putts to hole out on a flat green, from disk where they are known.

    Parameters
    ----------
    skill : putlab.green.skill.Skill
        Posterior draws of spread and bias.
    distance_ft : array_like, shape (distances,)
        Lengths of the first putt in feet.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims.

    Returns
    -------
    types.SimpleNamespace
        `STROKES` of `putlab.green.hole_out.HoleOut`, each of shape (draws, distances).
    """
    options = {"stimp_ft": stimp_ft, "past_ft": past_ft}
    key = result_key("green", "putts", vars(skill), distance_ft, options)

    def solved():
        putts = hole_out(skill, distance_ft, **options)
        return {name: getattr(putts, name) for name in STROKES}

    return SimpleNamespace(**kept_or_made(key, solved))
