"""Putts to hole out on a plane slope, for a golfer who rolls every putt so far past the hole.

Spread of pace is relative to the flat roll-out of the blow: the hands scatter alike uphill
and down, the green does the rest (an assumption of this kit; on the flat it is the same).
A miss is played next from where it lies, on the same slope, now seen from another direction:
M(k), the chance that more than k putts are taken, is a function of distance and direction
held on a polar grid, and M(k + 1) is the mean of M(k) over the misses. No simulation.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline
from scipy.ndimage import map_coordinates

from putlab.base.errors import UsageError
from putlab.green.hole_out import MOST_PUTTS
from putlab.green.lies import DROPPING, NODES, Lies, SlopeScatter
from putlab.green.published import HOLE_RADIUS_FT
from putlab.green.skill import SKILL_QUANTITIES, Skill
from putlab.green.slope import Green, Pair, aim_past

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

# Leave in feet and direction of downhill in degrees, to a chance.
OfLie = Callable[[np.ndarray, np.ndarray], np.ndarray]


@dataclass(frozen=True)
class PolarGrid:
    """Distances, even in log, by directions of downhill; values have shape (n * m,)."""

    distance_ft: np.ndarray  # shape (n,)
    slope_to_deg: np.ndarray  # shape (m,), round the whole circle

    @classmethod
    def up_to(cls, longest_ft: float, *, refine: int = 1) -> "PolarGrid":
        """Return a grid; whatever lies beyond its end counts as lying there."""
        distances = np.geomspace(NEAREST_FT, longest_ft, (DISTANCES - 1) * refine + 1)
        return cls(distances, np.linspace(0, 360, DIRECTIONS * refine, endpoint=False))

    def places(self) -> Pair:
        """Return distance and direction of every place, each of shape (n * m,)."""
        distance, to = np.meshgrid(self.distance_ft, self.slope_to_deg, indexing="ij")
        return distance.ravel(), to.ravel()

    def function(self, values: np.ndarray) -> OfLie:
        """Return a cubic spline in log distance and direction, kept within the values."""
        count, turns = self.distance_ft.size, self.slope_to_deg.size
        finer = np.linspace(0, count - 1, (count - 1) * FINER + 1)
        table = CubicSpline(np.arange(count), values.reshape(count, turns))(finer)
        closed = np.column_stack([table, table[:, :1]])
        spline = CubicSpline(np.arange(turns + 1), closed, axis=1, bc_type="periodic")
        table = spline(np.linspace(0, turns, turns * FINER + 1))
        # A spline may swing beyond its values beside a steep step.
        table = np.clip(table, values.min(), values.max())
        log_step = np.log(self.distance_ft[1] / self.distance_ft[0]) / FINER
        per_degree = turns * FINER / 360

        def at(leave_ft: np.ndarray, slope_to_deg: np.ndarray) -> np.ndarray:
            row = np.log(np.maximum(leave_ft, NEAREST_FT) / NEAREST_FT) / log_step
            column = (slope_to_deg % 360) * per_degree
            return map_coordinates(table, [row, column], order=1, mode="nearest")

        return at


@dataclass(frozen=True)
class Misses:
    """Where the misses of one draw stop: share (lies,), and places (lies, n) with chances."""

    share: np.ndarray
    leave_ft: np.ndarray
    slope_to_deg: np.ndarray
    chance: np.ndarray  # below 0 for putts that drop; see `Lies.stopping_places`

    @classmethod
    def of(cls, lies: Lies, aims: SlopeScatter, *, refine: int = 1) -> "Misses":
        """Return the misses of putts from lies."""
        across, along = ((count - 1) * refine + 1 for count in NODES)
        places = lies.stopping_places(aims, nodes=(across, along), dropping=DROPPING * refine)
        return cls(1 - lies.holed_chance(aims), *places)

    def more(self, function: OfLie, fewer: np.ndarray) -> np.ndarray:
        """Return the chance of more putts than so many, from that of one fewer at the next lie.

        ``fewer`` is the chance here of more than one putt fewer, which it cannot exceed.
        """
        mean = np.sum(self.chance * function(self.leave_ft, self.slope_to_deg), axis=-1)
        return np.clip(mean, 0.0, fewer)


# Refined twice, for spreads of 0.2 to 4 degrees and 2 to 25 % and up to 60 ft, one-putt
# chances move by less than 0.0005 and three-putt chances and average putts by less than
# 0.0015 on slopes up to 0.6 of the steepest that holds a ball (4.7 % at a green speed of
# 10 ft), and by 0.001 and 0.004 up to 0.8 of it. A slope takes a second or two to solve, and
# each further draw half a second.
@dataclass
class SlopePutts:
    """A golfer's putts from everywhere round the hole on one plane slope.

    Every putt is struck over the middle of the hole to stop ``past_ft`` past it; each draw is
    another golfer. ``refine`` multiplies the grid and the nodes of every integral.
    """

    skill: Skill
    green: Green
    past_ft: float
    longest_ft: float = 60.0
    refine: int = 1
    _grid: PolarGrid = field(init=False, repr=False)
    _chains: list[list[np.ndarray]] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        if not (np.isfinite(self.past_ft) and self.past_ft >= 0):
            raise UsageError(f"past_ft must be 0 or more; got {self.past_ft:g}.")
        longest = max(SHORTEST_GRID_FT, 1.5 * self.longest_ft)
        self._grid = PolarGrid.up_to(longest, refine=self.refine)
        lies = Lies.on(self.green, *self._grid.places())
        self._chains = [self._solve(misses) for misses in self._misses(lies)]

    def _misses(self, lies: Lies) -> Iterator[Misses]:
        # Draw by draw.
        to = lies.slope_to_deg
        aims = aim_past(self.green, lies.distance_ft, self.past_ft, slope_to_deg=to)
        spreads = _spreads(self.skill, lies.distance_ft)
        all_draws = SlopeScatter(*(aim[:, None] for aim in aims), *(part.T for part in spreads))
        fine = lies.around(all_draws, refine=self.refine)
        for draw in zip(*spreads, strict=True):
            yield Misses.of(fine, SlopeScatter(*aims, *draw), refine=self.refine)

    def _solve(self, misses: Misses) -> list[np.ndarray]:
        # M(1) to M(9) at lies that cover the grid.
        chain = [misses.share]
        while len(chain) < MOST_PUTTS - 1 and np.max(chain[-1]) > NEGLIGIBLE:
            chain.append(misses.more(self._grid.function(chain[-1]), chain[-1]))
        return chain + [np.zeros_like(misses.share)] * (MOST_PUTTS - 1 - len(chain))

    def more_than(self, distance_ft: ArrayLike, *, slope_to_deg: ArrayLike = 0.0) -> np.ndarray:
        """Return the chance that more than 0 to 9 putts are taken, shape (10, draws, n)."""
        distance, to = _lies_asked_for(distance_ft, slope_to_deg, self.longest_ft)
        lies = Lies.on(self.green, distance, to)
        found = self._misses(lies)
        draws = []
        for misses, chain in zip(found, self._chains, strict=True):
            more = [np.ones(distance.size), misses.share]
            for part in chain[:-1]:
                more.append(misses.more(self._grid.function(part), more[-1]))
            draws.append(more)
        return np.stack(draws, axis=1)


def _spreads(skill: Skill, distance_ft: np.ndarray) -> list[np.ndarray]:
    # A skill's four arrays at distances in any order, each of shape (draws, n).
    wanted, place = np.unique(distance_ft, return_inverse=True)
    there = skill.at(wanted)
    return [getattr(there, name)[:, place] for name in SKILL_QUANTITIES]


def _lies_asked_for(distance_ft: ArrayLike, slope_to_deg: ArrayLike, longest_ft: float) -> Pair:
    distance, to = np.broadcast_arrays(
        np.atleast_1d(np.asarray(distance_ft, dtype=float)), np.asarray(slope_to_deg, dtype=float)
    )
    if not (np.all(distance > HOLE_RADIUS_FT) and np.all(distance <= longest_ft)):
        raise UsageError(
            f"distance_ft: got {distance.min():g} to {distance.max():g}; expected more than "
            f"the hole's radius, {HOLE_RADIUS_FT:.3f} ft, and at most longest_ft, "
            f"{longest_ft:g} ft."
        )
    if not np.all(np.isfinite(to)):
        raise UsageError("slope_to_deg must be finite numbers.")
    return distance, to
