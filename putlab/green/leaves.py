"""Where a missed putt comes to rest: chances by side and distance left, for all draws."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from putlab.green.flat import FlatScatter, normal_nodes, past_limit_ft, rim_ft
from putlab.green.skill import Skill

# Nodes. Directions at the hole, in each of three ranges: for the chances; to
# place the misses that were too soft, and too hard.
AT_HOLE, AT_HOLE_SOFT, AT_HOLE_HARD = 16, 3, 8
# A few nodes, and more for putts that scatter over many feet, as what a leave costs changes
# within a few feet: roll-outs of misses at the hole; directions on each side of the hole, and
# their roll-outs on each side of it.
AT_HOLE_ROLLS, AT_HOLE_ROLLS_PER_FT = 6, 0.5
BESIDE, BESIDE_PER_FT, ROLLS, ROLLS_PER_FT = 4, 0.8, 12, 1.2
# A chance of missing below this is none: rounding.
NO_MISS = 1e-14

# Putts taken at once: arrays of a MB or so, so that they stay in a core's cache.
CHUNK = 384

Columns = tuple[np.ndarray, ...]
# Squared distances left and probabilities, each of shape (putts, places).
Places = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True)
class Leaves:
    """What happens to each of many putts: the chance that it drops, and what a miss leaves."""

    holed: np.ndarray
    mean_leave_ft: np.ndarray  # NaN where nothing is missed
    # Chance of a miss that stops near each distance of `LeaveGrid`, shape (putts, cells): the
    # weights of linear interpolation in log distance, so that cells @ f is the mean of
    # f(leave). They come from a few nodes a putt: right for the mean of what is smooth, lumpy
    # as a distribution.
    cells: np.ndarray


@dataclass(frozen=True)
class LeaveGrid:
    """Distances left, even in log distance; a leave beyond the longest counts as the longest."""

    longest_ft: float = 160.0

    FIRST_FT = 0.25
    CELLS = 257
    # Chances of holing, and the putts of a round, are computed at every eighth cell; where second
    # putts and later ones stop, which few putts follow, at every sixteenth.
    NODES, LATER = 8, 16

    @cached_property
    def cells_ft(self) -> np.ndarray:
        """Distances of the cells, shape (257,)."""
        return np.geomspace(self.FIRST_FT, self.longest_ft, self.CELLS)

    def fill(self, stride: int) -> np.ndarray:
        """Return weights (257, n) that fill all cells from every ``stride``-th: local cubics."""
        known = self.CELLS // stride + 1
        place = np.arange(self.CELLS) / stride
        first = np.clip(place.astype(int) - 1, 0, known - 4)
        weights = np.zeros((self.CELLS, known))
        # The cubic through the four nearest (Lagrange).
        for j in range(4):
            others = [k for k in range(4) if k != j]
            factors = [(place - first - k) / (j - k) for k in others]
            weights[np.arange(self.CELLS), first + j] = np.prod(factors, axis=0)
        return weights

    def spread_out(self, squared_ft2: np.ndarray, chance: np.ndarray) -> np.ndarray:
        """Return chances by cell, each place shared by its neighbours, linear in log distance."""
        rows, size = len(squared_ft2), self.CELLS
        step = np.float32(2 * np.log(self.longest_ft / self.FIRST_FT) / (size - 1))
        place = np.log(np.maximum(squared_ft2, np.float32(self.FIRST_FT**2)))
        place = (place - np.float32(2 * np.log(self.FIRST_FT))) / step
        cell = np.floor(np.minimum(place, np.float32(size - 1.001), out=place))
        upper = ((place - cell) * chance).ravel()
        at = (cell.astype(np.intp) + np.arange(0, rows * size, size)[:, None]).ravel()
        beyond = np.bincount(at, upper, rows * size)
        total = np.bincount(at, chance.ravel(), rows * size) - beyond
        total[1:] += beyond[:-1]
        return total.reshape(rows, size)


def holed_chance(putts: FlatScatter, stimp_ft: float) -> np.ndarray:
    """Return the chance that each putt drops: roll-out in closed form, direction by nodes."""
    (holed,) = _in_chunks(lambda part: _at_hole(part, stimp_ft)[2:3], putts)
    return holed


def leaves(putts: FlatScatter, stimp_ft: float, grid: LeaveGrid) -> Leaves:
    """Return what happens to each putt."""
    return Leaves(*_in_chunks(lambda part: _leaves(part, stimp_ft, grid), putts))


def over_parts(
    skill: Skill, work: Callable[[Skill], np.ndarray], *, mean: Skill | None = None
) -> np.ndarray:
    """Return the mean of something over ordinary putts and mishits, shape (draws, n, ...).

    ``work`` gives it for the putts of a skill in a row, shape (draws * n, ...).
    """
    total: np.ndarray | float = 0.0
    for chance, part in skill.parts(mean):
        found = work(part)
        found = found.reshape(part.draws, part.distance_ft.size, *found.shape[1:])
        total = total + chance.reshape(chance.shape + (1,) * (found.ndim - 2)) * found
    return np.asarray(total)


def leaves_of(
    skill: Skill,
    past_ft: float | np.ndarray,
    stimp_ft: float,
    grid: LeaveGrid,
    *,
    mean: Skill | None = None,
) -> Leaves:
    """Return what happens to a golfer's putts, mishits among them; arrays (draws, n, ...)."""

    def columns(part: Skill) -> np.ndarray:
        found = leaves(FlatScatter.of(part, past_ft), stimp_ft, grid)
        left_ft = np.nan_to_num(found.mean_leave_ft) * found.cells.sum(axis=1)
        return np.column_stack([found.holed, left_ft, found.cells])

    mixed = over_parts(skill, columns, mean=mean)
    holed, left_ft, cells = mixed[..., 0], mixed[..., 1], mixed[..., 2:]
    missed = cells.sum(axis=-1)
    return Leaves(holed, left_ft / np.where(missed > NO_MISS, missed, np.nan), cells)


def _in_chunks(work: Callable[[FlatScatter], Columns], putts: FlatScatter) -> Columns:
    # A few putts at a time, those of like scatter together, given back in their order.
    order = np.argsort(putts.roll_sd_ft, kind="stable")
    parts = [work(putts[order[i : i + CHUNK]]) for i in range(0, len(putts), CHUNK)]
    back = np.argsort(order)
    return tuple(np.concatenate(column)[back] for column in zip(*parts, strict=True))


def _nodes(least: int, per_ft: float, scatter_ft: np.ndarray) -> int:
    return least + int(np.ceil(per_ft * scatter_ft.max()))


def _at_hole(putts: FlatScatter, stimp_ft: float) -> Columns:
    return Directions.at_hole(putts, stimp_ft, AT_HOLE).chances()


def _leaves(putts: FlatScatter, stimp_ft: float, grid: LeaveGrid) -> Columns:
    # The columns of `Leaves`.
    stay, soft, holed, hard = _at_hole(putts, stimp_ft)
    few, some = (Directions.at_hole(putts, stimp_ft, n) for n in (AT_HOLE_SOFT, AT_HOLE_HARD))
    beside = _nodes(BESIDE, BESIDE_PER_FT, putts.distance_ft * putts.line_sd_rad)
    rolls = _nodes(ROLLS, ROLLS_PER_FT, putts.roll_sd_ft)
    at_rolls = _nodes(AT_HOLE_ROLLS, AT_HOLE_ROLLS_PER_FT, putts.roll_sd_ft)
    places = [
        (putts.distance_ft[:, None] ** 2, stay[:, None]),
        # A few directions show where misses at the hole stop; many say how likely they are.
        _scaled(*few.paced(putts.resting_edge, few.near, at_rolls), soft),
        _scaled(*some.paced(some.far, np.inf, at_rolls), hard),
        *(Directions.beside(putts, side, beside).whatever_pace(rolls) for side in (0, 1)),
    ]
    # Single precision, as the nodes have: half the memory.
    squared, chance = (np.hstack(part, dtype=np.float32) for part in zip(*places, strict=True))
    missed = chance.sum(axis=1)
    total_ft = np.sum(chance * np.sqrt(squared), axis=1)
    mean_leave_ft = total_ft / np.where(missed > NO_MISS, missed, np.nan)
    return holed, mean_leave_ft, grid.spread_out(squared, chance)


def _scaled(squared: np.ndarray, chance: np.ndarray, total: np.ndarray) -> Places:
    found = np.maximum(chance.sum(axis=1), np.finfo(float).tiny)
    return squared, chance * (total / found)[:, None]


@dataclass(frozen=True)
class Directions:
    """Some directions of each putt and the roll-outs that drop; arrays (putts, directions)."""

    putts: FlatScatter
    along_ft: np.ndarray  # to the closest approach to the hole's centre
    offset_ft: np.ndarray  # of the closest approach, + right
    chance: np.ndarray  # probability that each direction stands for
    # Roll-outs between these drop, in spreads from the mean. Equal beside the hole, where
    # they part the putts that stop before it from those that go by.
    near: np.ndarray
    far: np.ndarray

    @classmethod
    def at_hole(cls, putts: FlatScatter, stimp_ft: float, nodes: int) -> "Directions":
        """Return ``3 * nodes`` directions at the hole, parted where the chance is steep."""
        low, high = putts.passing_edges()
        inner = putts.steep_edges(stimp_ft)
        edges = np.hstack([low, *inner]), np.hstack([*inner, high])
        along, offset, chance = putts.directions(*edges, nodes)
        rim = rim_ft(offset)
        # From inside the hole's radius a ball that does not move is in the hole.
        near = np.where(along <= rim, -np.inf, putts.roll_edge(along - rim))
        far = putts.roll_edge(along + past_limit_ft(offset, stimp_ft))
        return cls(putts, along, offset, chance, near, far)

    @classmethod
    def beside(cls, putts: FlatScatter, side: int, nodes: int) -> "Directions":
        """Return directions that pass the hole by on a side, 0 left or 1 right."""
        edge = putts.passing_edges()[side]
        endless = np.full_like(edge, np.inf)
        edges = (edge, endless) if side else (-endless, edge)
        along, offset, chance = putts.directions(*edges, nodes)
        level = putts.roll_edge(along)
        return cls(putts, along, offset, chance, level, level)

    def chances(self) -> Columns:
        """Return the chances (putts,) of not moving, of too soft, of dropping and of too hard."""
        near, far = ndtr(self.near), ndtr(self.far)
        stay = np.minimum(ndtr(self.putts.resting_edge), near)
        kinds = stay, near - stay, far - near, 1 - far
        return tuple(np.sum(self.chance * kind, axis=1) for kind in kinds)

    def paced(self, low: ArrayLike, high: ArrayLike, rolls: int) -> Places:
        """Return where the balls come to rest whose roll-outs lie between edges."""
        return self._places(*normal_nodes(low, high, rolls))

    def whatever_pace(self, rolls: int) -> Places:
        """Return where balls of any pace come to rest: so many short of the hole and past it."""
        putts = self.putts
        level = putts.roll_edge(putts.distance_ft[:, None])
        endless = np.full_like(level, np.inf)
        # What a leave costs turns over at the hole: parted there, each side is smooth.
        z, share = normal_nodes(np.hstack([-endless, level]), np.hstack([level, endless]), rolls)
        rows = (len(putts), 1, -1)
        return self._places(z.reshape(rows), share.reshape(rows))

    def _places(self, z: np.ndarray, share: np.ndarray) -> Places:
        along, aside, chance = (
            part[..., None].astype(z.dtype)
            for part in (self.along_ft, self.offset_ft**2, self.chance)
        )
        squared = (self.putts.roll(z) - along) ** 2 + aside
        rows = len(self.putts)
        return squared.reshape(rows, -1), (chance * share).reshape(rows, -1)
