"""Putts to hole out from any distance on a flat green, for all posterior draws at once.

With M(k, d) the chance that more than k putts are taken from d: M(0, d) = 1, and
M(k + 1, d) is the mean of M(k, leave) over the misses from d. Everything follows: one putt is
1 - M(1), three or more M(2), average putts the sum of M(0) to M(9), as a hole ends at ten.
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from putlab.base.cache import kept_or_made, result_key
from putlab.base.errors import expect
from putlab.base.result import Result
from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.green.flat import FlatScatter
from putlab.green.leaves import LeaveGrid, holed_chance, leaves_of, over_parts
from putlab.green.skill import Skill, rising

# A hole ends at ten putts, so that an average exists for any skill.
MOST_PUTTS = 10

# Putts solved at once, so that memory stays below 200 MB however many the draws.
PUTTS_AT_ONCE = 10_000

PUTT_OUTCOMES = ("one_putt", "three_putt", "average_putts")


@dataclass(frozen=True)
class HoleOut(Result):
    """Chances and averages of holing out, for each draw and distance.

    Attributes
    ----------
    distance_ft : ndarray, shape (n,)
        Length of the first putt.
    more_than : ndarray, shape (10, draws, n)
        Chance that more than 0, 1, ... 9 putts are taken.
    mean_leave_ft : ndarray, shape (draws, n)
        Mean distance left after a first putt that missed; NaN where none does.
    table : pandas.DataFrame
        A row a distance, means over draws: ``distance_ft, one_putt, three_putt,
        average_putts, mean_leave_ft``.
    """

    distance_ft: np.ndarray
    more_than: np.ndarray
    mean_leave_ft: np.ndarray

    @property
    def one_putt(self) -> np.ndarray:
        """Chance that the first putt drops, shape (draws, n)."""
        return 1 - self.more_than[1]

    @property
    def three_putt(self) -> np.ndarray:
        """Chance of three putts or more, shape (draws, n)."""
        return self.more_than[2]

    @property
    def average_putts(self) -> np.ndarray:
        """Mean number of putts, at most ten, shape (draws, n)."""
        return self.more_than.sum(axis=0)

    @property
    def table(self) -> pd.DataFrame:
        """Means over draws, a row a distance."""
        means = {name: getattr(self, name).mean(axis=0) for name in PUTT_OUTCOMES}
        # The mean over misses, wherever in the posterior they come from.
        known = np.ma.masked_invalid(self.mean_leave_ft)
        leave = np.ma.filled(np.ma.average(known, axis=0, weights=self.more_than[1]), np.nan)
        return pd.DataFrame({"distance_ft": self.distance_ft, **means, "mean_leave_ft": leave})

    @property
    def sentence(self) -> str:
        """What becomes of the longest of the putts."""
        last = self.table.iloc[-1]
        return (
            f"From {last['distance_ft']:g} ft: one putt {last['one_putt']:.1%} of the time, three "
            f"or more {last['three_putt']:.1%}, {last['average_putts']:.2f} putts on average."
        )


def hole_out(
    skill: Skill, distance_ft: ArrayLike, *, stimp_ft: float = STIMP_FT, past_ft: float = PAST_FT
) -> HoleOut:
    """Return the chances of one putt and of three, and average putts, on a flat green.

    Deterministic: no simulation. From 2 to 60 ft, for spreads of 0.2 to 4 degrees and 2 to
    30 %, chances and average putts are within 0.001 of the same integrals with four times
    the nodes, and typically within 0.0001 (`tests/green/test_hole_out.py`).

    Parameters
    ----------
    skill : Skill
        Spread and bias of line and pace; they may vary with distance.
    distance_ft : array_like, shape (n,)
        Lengths of the first putt, in feet, rising.
    stimp_ft : float
        Green speed in feet.
    past_ft : float
        How far past the hole the golfer aims to roll the ball.

    Returns
    -------
    HoleOut
        Arrays of shape (draws, n).

    Raises
    ------
    UsageError
        A distance or the green speed is not above 0, distances do not rise, or the target
        lies behind the ball.

    Examples
    --------
    >>> round(float(hole_out(Skill.constant(1.0, 8.0), [8]).one_putt[0, 0]), 2)
    0.72
    """
    distance_ft = rising("distance_ft", distance_ft)
    expect(0 < stimp_ft < np.inf, "stimp_ft", stimp_ft, "a number above 0")
    expect(0 <= past_ft < np.inf, "past_ft", past_ft, "0 or more")
    grid = LeaveGrid(max(LeaveGrid.longest_ft, 2.5 * distance_ft[-1]))
    mean = skill.mean
    size = max(1, PUTTS_AT_ONCE // (distance_ft.size + grid.CELLS // grid.LATER))

    def solve(rows: slice) -> tuple[np.ndarray, np.ndarray]:
        some, roll = skill[rows], (past_ft, stimp_ft)
        first = leaves_of(some.at(distance_ft), *roll, grid, mean=mean.at(distance_ft))
        later = later_putts(some, grid, stimp_ft=stimp_ft, past_ft=past_ft, mean=mean)
        beyond = np.moveaxis(first.cells @ later[..., 1:], -1, 0)
        more_than = np.stack([np.ones_like(first.holed), 1 - first.holed, *beyond])
        return more_than, first.mean_leave_ft

    return HoleOut(distance_ft, *by_parts(solve, skill.draws, size))


def by_parts(solve: Callable[[slice], Any], draws: int, size: int) -> list[np.ndarray]:
    """Solve so many draws at once; arrays (..., draws, n) are joined."""
    parts = [slice(start, start + size) for start in range(0, draws, size)]
    # Two threads, as numpy lets go of the interpreter while it computes; the order of the
    # draws, and so every result, is the same with one.
    with ThreadPoolExecutor(max_workers=2) as pool:
        columns = zip(*pool.map(solve, parts), strict=True)
        return [np.concatenate(column, axis=-2) for column in columns]


def later_putts(
    skill: Skill, grid: LeaveGrid, *, stimp_ft: float, past_ft: float, mean: Skill | None = None
) -> np.ndarray:
    """Return the chances (draws, cells, 9) of more than 0 to 8 putts from where a putt was left.

    ``Leaves.cells @`` their sum over the last axis is the mean of the putts still to come.
    """
    mean = mean or skill.mean
    solved_ft, later_ft = grid.cells_ft[:: grid.NODES], grid.cells_ft[:: grid.LATER]

    def holed(part: Skill) -> np.ndarray:
        return holed_chance(FlatScatter.of(part, past_ft), stimp_ft)

    missed = 1 - over_parts(skill.at(solved_ft), holed, mean=mean.at(solved_ft))
    missed = np.clip(grid.fill(grid.NODES) @ missed[..., None], 0.0, 1.0)
    cells = leaves_of(skill.at(later_ft), past_ft, stimp_ft, grid, mean=mean.at(later_ft)).cells
    # Smooth in log distance and small: few distances carry the chances of more than one.
    fill = grid.fill(grid.LATER)
    chances, current, step = [np.ones_like(missed), missed], cells @ missed, cells @ fill
    while len(chances) < MOST_PUTTS - 1:
        chances.append(np.maximum(fill @ current, 0.0))
        current = step @ current
    return np.concatenate(chances, axis=-1)


def cached_hole_out(
    skill: Skill, distance_ft: np.ndarray, *, stimp_ft: float = STIMP_FT, past_ft: float = PAST_FT
) -> SimpleNamespace:
    """Return `PUTT_OUTCOMES` of `hole_out`, each (draws, n), from disk where they are known."""
    options: dict[str, Any] = {"stimp_ft": stimp_ft, "past_ft": past_ft}
    key = result_key("green", "putts", vars(skill), distance_ft, options)

    def solved() -> dict[str, np.ndarray]:
        putts = hole_out(skill, distance_ft, stimp_ft=stimp_ft, past_ft=past_ft)
        return {name: getattr(putts, name) for name in PUTT_OUTCOMES}

    return SimpleNamespace(**kept_or_made(key, solved))
