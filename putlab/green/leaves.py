"""Where a missed putt comes to rest: chances by side and distance left, for all draws."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import ndtr

from putlab.base.errors import UsageError
from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.green.strike import Strikes, normal_nodes, past_limit_ft, rim_ft

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
        distribution, for which there is `putlab.green.leaves.leave_within`.
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


# The directions a putt may start in, and for each the roll-outs that drop or miss.


@dataclass(frozen=True)
class Fan:
    """Some directions of each putt, with the softest and hardest roll-out that drop.

    Attributes
    ----------
    strikes : Strikes
        The putts.
    along_ft, offset_ft : ndarray, shape (putts, directions)
        Distance along the line to its closest approach to the hole's centre; how far that
        passes the centre, + right.
    chance : ndarray, shape (putts, directions)
        Probability that each direction stands for.
    near, far : ndarray, shape (putts, directions)
        Roll-outs between these drop, in spreads from the mean. Equal beside the hole, where
        they part the putts that stop before it from those that go by.
    """

    strikes: Strikes
    along_ft: np.ndarray
    offset_ft: np.ndarray
    chance: np.ndarray
    near: np.ndarray
    far: np.ndarray

    @classmethod
    def at_hole(cls, strikes, stimp_ft, nodes):
        """Return directions at the hole, in three ranges parted where the chance is steep.

        Parameters
        ----------
        strikes : Strikes
            The putts.
        stimp_ft : float
            Green speed in feet.
        nodes : int
            Directions in each of the three ranges.

        Returns
        -------
        Fan
            ``3 * nodes`` directions a putt.
        """
        low, high = strikes.hole_edges()
        inner = strikes.steep_edges(stimp_ft)
        edges = np.hstack([low, *inner]), np.hstack([*inner, high])
        along, offset, chance = strikes.directions(*edges, nodes)
        rim = rim_ft(offset)
        # From inside the hole's radius a ball that does not move is in the hole.
        near = np.where(along <= rim, -np.inf, strikes.roll_edge(along - rim))
        far = strikes.roll_edge(along + past_limit_ft(offset, stimp_ft))
        return cls(strikes, along, offset, chance, near, far)

    @classmethod
    def beside(cls, strikes, side, nodes, *, within_ft=np.inf):
        """Return directions that pass the hole by.

        Parameters
        ----------
        strikes : Strikes
            The putts.
        side : {0, 1}
            Left or right.
        nodes : int
            Directions a putt.
        within_ft : float
            Leave out directions that pass the hole farther away than this.

        Returns
        -------
        Fan
            ``nodes`` directions a putt.
        """
        edge = strikes.hole_edges()[side]
        outer = strikes.passing_edges(within_ft)[side]
        edges = (edge, outer) if side else (outer, edge)
        along, offset, chance = strikes.directions(*edges, nodes)
        level = strikes.roll_edge(along)
        return cls(strikes, along, offset, chance, level, level)

    def chances(self):
        """Return the chances of not moving, of too soft, of dropping and of too hard.

        Returns
        -------
        tuple of ndarray, each of shape (putts,)
            They add up to the chance of the fan's directions. From inside the hole's radius
            a ball that does not move has dropped.
        """
        near, far = ndtr(self.near), ndtr(self.far)
        stay = np.minimum(self.strikes.stay_chance[:, None], near)
        kinds = stay, near - stay, far - near, 1 - far
        return tuple(np.sum(self.chance * kind, axis=1) for kind in kinds)

    def soft_rests(self, rolls):
        """Return where the balls that stop before `near` come to rest.

        Parameters
        ----------
        rolls : int
            Roll-outs for each direction.

        Returns
        -------
        tuple of ndarray, each of shape (putts, directions * rolls)
            Squared distance left in ft², and probability.
        """
        return self._rests(*normal_nodes(self.strikes.resting_edge, self.near, rolls))

    def hard_rests(self, rolls):
        """Return where the balls struck harder than `far` come to rest.

        Parameters
        ----------
        rolls : int
            Roll-outs for each direction.

        Returns
        -------
        tuple of ndarray, each of shape (putts, directions * rolls)
            Squared distance left in ft², and probability.
        """
        return self._rests(*normal_nodes(self.far, np.full_like(self.far, np.inf), rolls))

    def all_rests(self, rolls):
        """Return where the balls come to rest whatever their pace.

        Parameters
        ----------
        rolls : int
            Roll-outs short of the hole, and again as many past it, for each direction.

        Returns
        -------
        tuple of ndarray, each of shape (putts, directions * 2 * rolls)
            Squared distance left in ft², and probability.
        """
        strikes = self.strikes
        rest, level = strikes.resting_edge, strikes.roll_edge(strikes.distance_ft[:, None])
        endless = np.full_like(rest, np.inf)
        # What a leave costs turns over at the hole: parted there, each side is smooth.
        z, share = normal_nodes(np.hstack([-endless, level]), np.hstack([level, endless]), rolls)
        rows = (len(strikes), 1, -1)
        return self._rests(z.reshape(rows), share.reshape(rows))

    def _rests(self, z, share):
        along, aside, chance = (
            part[..., None].astype(z.dtype)
            for part in (self.along_ft, self.offset_ft**2, self.chance)
        )
        squared = (self.strikes.roll(z) - along) ** 2 + aside
        rows = len(self.strikes)
        return squared.reshape(rows, -1), (chance * share).reshape(rows, -1)


# How near the hole a missed putt stops: within a circle, and in the area behind the hole.


# Common practice: a missed putt comes to rest past the hole and within three feet of it.
AREA_FT = 3.0

# Directions at the hole in each of three ranges, and on each side of it.
NODES = 24


def leave_within(skill, distance_ft, within_ft, *, stimp_ft=STIMP_FT, past_ft=PAST_FT):
    """Return the chance that a first putt misses and stops within a distance of the hole.

    Parameters
    ----------
    skill : Skill
        The golfer.
    distance_ft : array_like, shape (n,)
        Lengths of the putt in feet, rising.
    within_ft : array_like, shape (m,)
        Distances left, in feet: the distribution of leaves at as many points.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims to roll the ball.

    Returns
    -------
    ndarray, shape (draws, n, m)
        Chances; divided by the chance of a miss they are the distribution of leaves.

    Raises
    ------
    UsageError
        A distance left is not above 0.
    """
    within_ft = np.atleast_1d(np.asarray(within_ft, dtype=float))
    if not np.all(within_ft > 0):
        raise UsageError(f"within_ft must be above 0; got {within_ft}.")
    strikes = Strikes.of(skill.at(distance_ft), past_ft)
    found = [circle_chance(strikes, stimp_ft, radius) for radius in within_ft]
    return np.stack(found, axis=-1).reshape(skill.draws, -1, within_ft.size)


def circle_chance(strikes, stimp_ft, radius_ft):
    """Return the chance of a miss that stops within a circle round the hole.

    Parameters
    ----------
    strikes : Strikes
        The putts.
    stimp_ft : float
        Green speed in feet.
    radius_ft : float
        Radius of the circle in feet.

    Returns
    -------
    ndarray, shape (putts,)
        Chances: roll-out in closed form for each direction, direction by quadrature.
    """
    return _over_fans(strikes, stimp_ft, radius_ft, _short_and_close, _past_and_close)


def area_chance(strikes, stimp_ft, area_ft=AREA_FT):
    """Return the chance of a miss that stops past the hole and close to it.

    Parameters
    ----------
    strikes : Strikes
        The putts.
    stimp_ft : float
        Green speed in feet.
    area_ft : float
        Greatest distance left in feet.

    Returns
    -------
    ndarray, shape (putts,)
        Past means beyond the closest approach to the hole.
    """
    return _over_fans(strikes, stimp_ft, area_ft, _past_and_close)


def _over_fans(strikes, stimp_ft, radius_ft, *parts):
    """Return the sum of parts over all directions that pass through the circle."""

    def work(some):
        fans = [Fan.at_hole(some, stimp_ft, NODES)]
        fans += [Fan.beside(some, side, NODES, within_ft=radius_ft) for side in (0, 1)]
        return (sum(part(fan, radius_ft) for fan in fans for part in parts),)

    (chance,) = in_chunks(work, strikes)
    return chance


def _past_and_close(fan, radius_ft):
    """Return the chance that a ball stops past `far` and inside the circle."""
    end = np.maximum(fan.strikes.roll_edge(fan.along_ft + _depth(fan, radius_ft)), fan.far)
    return np.sum(fan.chance * (ndtr(end) - ndtr(fan.far)), axis=1)


def _short_and_close(fan, radius_ft):
    """Return the chance that a ball stops short of `near` and inside the circle."""
    from_ft = fan.along_ft - _depth(fan, radius_ft)
    # A ball that does not move is inside a circle that reaches the ball.
    start = np.where(from_ft <= 0, -np.inf, fan.strikes.roll_edge(from_ft))
    start = np.minimum(start, fan.near)
    return np.sum(fan.chance * (ndtr(fan.near) - ndtr(start)), axis=1)


def _depth(fan, radius_ft):
    """Return half the chord of the circle along each direction, in feet."""
    return np.sqrt(np.maximum(radius_ft**2 - fan.offset_ft**2, 0.0))
