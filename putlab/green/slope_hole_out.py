"""Putts to hole out on a plane slope, for a golfer who rolls every putt so far past the hole.

Spread of pace is relative to the flat roll-out of the blow: the hands scatter alike uphill
and down, the green does the rest (an assumption of this kit; on the flat it is the same).
A miss is played next from where it lies, on the same slope, now seen from another direction:
M(k), the chance that more than k putts are taken, is a function of distance and direction
held on a polar grid, and M(k + 1) is the mean of M(k) over the misses. No simulation.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline
from scipy.ndimage import map_coordinates

from putlab.green.hole_out import MOST_PUTTS
from putlab.green.lies import Lies, SlopeScatter
from putlab.green.skill import Skill
from putlab.green.slope import Green, Pair, aim_past, floats

# Nearer than this nobody misses; a hole's radius is 0.177 ft.
NEAREST_FT = 0.25
# The grid reaches as far as a leave can matter: half as far again as the putt, or this.
SHORTEST_GRID_FT = 40.0
# Distances, and directions round the whole circle.
DISTANCES, DIRECTIONS = 25, 16
# Places between neighbours at which the spline is tabled before straight lines serve.
FINER = 8
# A chance of more putts below this is none.
NEGLIGIBLE = 1e-9


@dataclass(frozen=True)
class PolarGrid:
    """Distances, even in log, by directions of downhill; values have shape (n * m,).

    Whatever lies beyond its end counts as lying there.
    """

    distance_ft: np.ndarray  # shape (n,)
    slope_to_deg: np.ndarray  # shape (m,), round the whole circle

    def places(self) -> Pair:
        """Return distance and direction of every place, each of shape (n * m,)."""
        distance, to = np.meshgrid(self.distance_ft, self.slope_to_deg, indexing="ij")
        return distance.ravel(), to.ravel()

    def table(self, values: np.ndarray) -> np.ndarray:
        """Return a cubic spline in log distance and direction, at finer places of both."""
        count, turns = self.distance_ft.size, self.slope_to_deg.size
        finer = np.linspace(0, count - 1, (count - 1) * FINER + 1)
        table = CubicSpline(np.arange(count), values.reshape(count, turns))(finer)
        closed = np.column_stack([table, table[:, :1]])
        spline = CubicSpline(np.arange(turns + 1), closed, axis=1, bc_type="periodic")
        table = spline(np.linspace(0, turns, turns * FINER + 1))
        # A spline may swing beyond its values beside a steep step.
        return np.clip(table, values.min(), values.max())

    def coordinates(self, leave_ft: np.ndarray, slope_to_deg: np.ndarray) -> np.ndarray:
        """Return rows and columns of places in a table."""
        log_step = np.log(self.distance_ft[1] / self.distance_ft[0]) / FINER
        row = np.log(np.maximum(leave_ft, NEAREST_FT) / NEAREST_FT) / log_step
        return np.stack([row, (slope_to_deg % 360) * (self.slope_to_deg.size * FINER / 360)])


@dataclass(frozen=True)
class Misses:
    """The misses of one draw: share (lies,), and where they stop (lies, n) with what chances."""

    share: np.ndarray
    coordinates: np.ndarray  # in a table of the grid, shape (2, lies, n)
    chance: np.ndarray  # below 0 for putts that drop; see `Lies.stopping_places`

    def more(self, table: np.ndarray, fewer: np.ndarray) -> np.ndarray:
        """Return the chance of more putts than so many, from that of one fewer at the next lie.

        ``fewer`` is the chance here of more than one putt fewer, which it cannot exceed.
        """
        there = map_coordinates(table, self.coordinates, order=1, mode="nearest")
        return np.clip(np.sum(self.chance * there, axis=-1), 0.0, fewer)


# Refined twice, for spreads of 0.2 to 4 degrees and 2 to 25 % and up to 60 ft, one-putt
# chances move by less than 0.0005 and three-putt chances and average putts by less than
# 0.0015 on slopes up to 0.6 of the steepest that holds a ball (4.7 % at a green speed of
# 10 ft), and by 0.001 and 0.004 up to 0.8 of it. A slope takes a second or two to solve, and
# each further draw half a second.
def slope_more_than(
    skill: Skill,
    green: Green,
    distance_ft: ArrayLike,
    slope_to_deg: ArrayLike = 0.0,
    *,
    past_ft: float,
) -> np.ndarray:
    """Return the chance that more than 0 to 9 putts are taken, shape (10, draws, n).

    Every putt is struck over the middle of the hole to stop ``past_ft`` past it; each draw is
    another golfer.
    """
    distance, to = floats(np.maximum(np.atleast_1d(distance_ft), NEAREST_FT), slope_to_deg)
    distances = np.geomspace(NEAREST_FT, max(SHORTEST_GRID_FT, 1.5 * distance.max()), DISTANCES)
    grid = PolarGrid(distances, np.linspace(0, 360, DIRECTIONS, endpoint=False))
    misses = (
        _misses(skill, green, past_ft, grid, places) for places in (grid.places(), (distance, to))
    )
    return np.stack([_more_than(grid, *draw) for draw in zip(*misses, strict=True)], axis=1)


def _misses(
    skill: Skill, green: Green, past_ft: float, grid: PolarGrid, places: Pair
) -> Iterator[Misses]:
    # Draw by draw.
    distance, to = places
    line, roll = aim_past(green, distance, past_ft, slope_to_deg=to)
    aims = SlopeScatter.of(skill, distance, line[:, None], roll[:, None])
    lies = Lies.on(green, distance, to, aims)
    for draw in range(skill.draws):
        aim = aims[:, [draw]]
        leave, turned, chance = lies.stopping_places(aim)
        where = grid.coordinates(leave[:, 0], turned[:, 0])
        yield Misses(1 - lies.holed_chance(aim)[:, 0], where, chance[:, 0])


def _more_than(grid: PolarGrid, from_grid: Misses, here: Misses) -> np.ndarray:
    # The chance of more than 0 to 9 putts, shape (10, n).
    around = from_grid.share
    more = np.zeros((MOST_PUTTS, here.share.size))
    more[0], more[1] = 1.0, here.share
    for putts in range(2, MOST_PUTTS):
        if np.max(around) <= NEGLIGIBLE:
            break
        table = grid.table(around)
        more[putts] = here.more(table, more[putts - 1])
        around = from_grid.more(table, around)
    return more
