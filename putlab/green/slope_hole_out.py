"""Putts to hole out on a plane slope, and the aim and pace a golfer would choose there.

Each putt is struck at the golfer's spreads for its distance, about an aim and a pace. Spread
of pace is relative to the flat roll-out of the blow: the hands scatter alike uphill and
down, the green does the rest (an assumption of this kit; on the flat it is the same thing).
A miss is played next from where it lies, on the same slope, now seen from another direction:
M(k), the chance that more than k putts are taken, is a function of distance and direction
held on a polar grid, and M(k + 1) is the mean of M(k) over the misses. Average putts are the
sum of M(0) to M(9), as a hole ends at ten.

Everything is deterministic: no simulation.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import map_coordinates
from scipy.special import ndtr

from putlab.base.errors import UsageError
from putlab.base.settings import STIMP_FT
from putlab.green.aim import Green, aim_past
from putlab.green.capture import holing_rolls
from putlab.green.lies import DROPPING, NODES, REACH, Lies, Strike, choose
from putlab.green.published import HOLE_RADIUS_FT
from putlab.green.roll import stop_ft

# Functions of where a ball lies on a slope: distance to the hole, direction of downhill.


# Nearer than this nobody misses; a hole's radius is 0.177 ft.
NEAREST_FT = 0.25
# Distances, and directions round the whole circle.
DISTANCES, DIRECTIONS = 25, 16
# Places between neighbours at which the spline is tabled before straight lines serve.
FINER = 8


@dataclass(frozen=True)
class PolarGrid:
    """Distances, even in log, by directions of downhill, even round the circle.

    Attributes
    ----------
    distance_ft : ndarray, shape (n,)
        Distances to the hole.
    slope_to_deg : ndarray, shape (m,)
        Directions of downhill from the line ball to hole; one is enough on the flat.
    mirrored : bool
        Whether they go only from 0 to 180 because the rest is a mirror image.
    """

    distance_ft: np.ndarray
    slope_to_deg: np.ndarray
    mirrored: bool

    @classmethod
    def up_to(cls, longest_ft, *, flat=False, refine=1):
        """Return a mirrored grid.

        Parameters
        ----------
        longest_ft : float
            Farthest distance; whatever lies beyond counts as lying there.
        flat : bool
            Whether direction does not matter.
        refine : int
            Multiplies the number of distances and directions.

        Returns
        -------
        PolarGrid
            The grid.
        """
        turns = np.zeros(1) if flat else np.linspace(0, 180, DIRECTIONS * refine // 2 + 1)
        distances = np.geomspace(NEAREST_FT, longest_ft, (DISTANCES - 1) * refine + 1)
        return cls(distances, turns, not flat)

    def whole(self):
        """Return the grid round the whole circle."""
        turns = _whole(self.slope_to_deg, 360 - self.slope_to_deg) if self.mirrored else None
        return PolarGrid(self.distance_ft, self.slope_to_deg if turns is None else turns, False)

    def whole_values(self, values, *, sign=1.0):
        """Return values at the places of the whole grid.

        Parameters
        ----------
        values : ndarray, shape (n * m,)
            One value a place of this grid.
        sign : {1, -1}
            Sign of the mirror image: -1 for directions.

        Returns
        -------
        ndarray
            One value a place of `whole`.
        """
        if not self.mirrored:
            return values
        values = values.reshape(self.distance_ft.size, -1)
        return _whole(values, sign * values).ravel()

    def places(self):
        """Return distance and direction of every place, each of shape (n * m,)."""
        distance, to = np.meshgrid(self.distance_ft, self.slope_to_deg, indexing="ij")
        return distance.ravel(), to.ravel()

    def function(self, values):
        """Return a function through values at the grid's places.

        Parameters
        ----------
        values : ndarray, shape (n * m,)
            One value a place, the mirror image alike.

        Returns
        -------
        callable
            ``f(leave_ft, slope_to_deg)``: a cubic spline in log distance and direction,
            kept within the values and level beyond the grid.
        """
        count = self.distance_ft.size
        finer = np.linspace(0, count - 1, (count - 1) * FINER + 1)
        table = self.whole_values(values).reshape(count, -1)
        table = CubicSpline(np.arange(count), table)(finer)
        turns = table.shape[1]
        if turns > 1:
            closed = np.column_stack([table, table[:, :1]])
            spline = CubicSpline(np.arange(turns + 1), closed, axis=1, bc_type="periodic")
            table = spline(np.linspace(0, turns, turns * FINER + 1))
        # A spline may swing beyond its values beside a steep step.
        table = np.clip(table, values.min(), values.max())
        log_step = np.log(self.distance_ft[1] / self.distance_ft[0]) / FINER
        per_degree = turns * FINER / 360 * (turns > 1)

        def at(leave_ft, slope_to_deg):
            row = np.log(np.maximum(leave_ft, NEAREST_FT) / NEAREST_FT) / log_step
            column = (slope_to_deg % 360) * per_degree
            return map_coordinates(table, [row, column], order=1, mode="nearest")

        return at


def _whole(half, image):
    """Complete half a circle, 0 to 180 on the last axis, by its mirror image."""
    return np.concatenate([half, image[..., -2:0:-1]], axis=-1)


# Where putts that miss on a slope come to rest.


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


# What comes of putting on a slope: chances, averages, aim and pace.


@dataclass(frozen=True)
class SlopeHoleOut:
    """Chances and averages of holing out on a slope, for each draw and putt.

    Attributes
    ----------
    distance_ft, slope_to_deg : ndarray, shape (n,)
        Length of the first putt; direction of downhill from the line ball to hole.
    aim_deg, roll_flat_ft : ndarray, shape (n,)
        Where it is started, + right of the hole, and how hard, as a flat roll-out.
    past_ft : ndarray, shape (n,)
        Straight distance from the hole to where the putt as meant would stop, hole covered;
        below 0 where that is short of it.
    more_than : ndarray, shape (10, draws, n)
        Chance that more than 0, 1, ... 9 putts are taken.
    mean_leave_ft : ndarray, shape (draws, n)
        Mean distance left after a first putt that missed.
    """

    distance_ft: np.ndarray
    slope_to_deg: np.ndarray
    aim_deg: np.ndarray
    roll_flat_ft: np.ndarray
    past_ft: np.ndarray
    more_than: np.ndarray
    mean_leave_ft: np.ndarray

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

    def table(self):
        """Return the means over draws as a table.

        Returns
        -------
        pandas.DataFrame
            A row a putt: ``distance_ft, slope_to_deg, aim_deg, roll_flat_ft, past_ft,
            one_putt, three_putt, average_putts, mean_leave_ft``.
        """
        import pandas as pd

        given = ("distance_ft", "slope_to_deg", "aim_deg", "roll_flat_ft", "past_ft")
        found = ("one_putt", "three_putt", "average_putts", "mean_leave_ft")
        columns = {name: getattr(self, name) for name in given}
        return pd.DataFrame(columns | {name: getattr(self, name).mean(axis=0) for name in found})


# As on the flat: a hole ends at ten putts, so that an average exists for any skill.
MOST_PUTTS = 10

# What a golfer may seek: the most putts holed, or the fewest putts taken.
SEEKS = ("holed", "putts")
# Rounds of choosing anew on the putts that the last choice leaves. The first takes almost all
# of the gain over holing most; a second moves no average by 0.001 (see the tests).
SWEEPS = 1
# The grid reaches as far as a leave can matter: half as far again as the putt, or this.
SHORTEST_GRID_FT = 40.0


@dataclass
class SlopePutts:
    """A golfer's putts from everywhere round the hole on one plane slope.

    Parameters
    ----------
    skill : Skill
        Spreads and biases; each draw is another golfer, the aims are chosen once, for the
        means over draws.
    green : Green
        Its speed and slope.
    seek : {"holed", "putts"}, optional
        What the golfer seeks with every putt: the most holed, or the fewest putts.
    past_ft : float, optional
        Instead of seeking: every putt is struck over the middle of the hole to finish this
        far past it, at least 0.
    longest_ft : float
        Longest putt that will be asked for.
    refine : int
        Multiplies the grid and the nodes of every integral.

    Raises
    ------
    NeverStops
        The green is too steep to hold a ball.
    UsageError
        Neither or both of ``seek`` and ``past_ft`` are given, or they make no sense.

    Notes
    -----
    Refined twice, for spreads of 0.2 to 4 degrees and 2 to 25 % and up to 60 ft, one-putt
    chances move by less than 0.0005 and three-putt chances and average putts by less than
    0.0015 on slopes up to 0.6 of the steepest that holds a ball (4.7 % at a green speed of
    10 ft), and by 0.001 and 0.004 up to 0.8 of it. A slope takes a second or two to solve
    (twice that when seeking the fewest putts), and each further draw half a second.
    """

    skill: object
    green: object
    seek: str | None = None
    past_ft: float | None = None
    longest_ft: float = 60.0
    refine: int = 1
    _grid: PolarGrid = field(init=False, repr=False)
    _chains: list = field(init=False, repr=False)
    _next_putts: object = field(init=False, repr=False)

    def __post_init__(self):
        """Choose the aims round the hole and solve for M(k) there, draw by draw."""
        self._check()
        longest = max(SHORTEST_GRID_FT, 1.5 * self.longest_ft)
        flat = self.green.ratio == 0
        self._grid = PolarGrid.up_to(longest, flat=flat, refine=self.refine)
        lies = Lies.on(self.green, *self._grid.places())
        aims = self._settle(lies)
        if np.any(self.skill.line_bias_deg):
            # A bias to one side has no mirror image.
            aims = [
                self._grid.whole_values(part, sign=s) for part, s in zip(aims, (-1, 1), strict=True)
            ]
            self._grid = self._grid.whole()
            lies = Lies.on(self.green, *self._grid.places())
        self._chains = self._solve(lies, aims, _spreads(self.skill, lies.distance_ft))

    def _check(self):
        if (self.seek is None) == (self.past_ft is None):
            raise UsageError("give either seek ('holed' or 'putts') or past_ft, not both.")
        if self.seek is not None and self.seek not in SEEKS:
            raise UsageError(f"seek: got {self.seek!r}; expected one of {SEEKS}.")
        if self.past_ft is not None and not (np.isfinite(self.past_ft) and self.past_ft >= 0):
            raise UsageError(f"past_ft must be 0 or more; got {self.past_ft:g}.")

    def _settle(self, lies):
        """Return the aims round the hole, settled on the putts they leave if need be."""
        if self.seek != "putts":
            return self._aims(lies, self.seek)
        spreads = _choosers(self.skill, lies.distance_ft)
        aims = self._aims(lies, "holed")
        for _ in range(SWEEPS):
            (chain,) = self._solve(lies, aims, spreads)
            self._next_putts = self._grid.function(1 + np.sum(chain, axis=0))
            aims = self._aims(lies, "putts")
        return aims

    def _aims(self, lies, seek):
        """Return aim and pace for lies."""
        if seek is None:
            past, to = self.past_ft, lies.slope_to_deg
            return aim_past(self.green, lies.distance_ft, past, slope_to_deg=to)
        line_sd, _, pace_sd, _ = (part[0] for part in _choosers(self.skill, lies.distance_ft))
        later = self._next_putts if seek == "putts" else None
        return choose(lies, line_sd, pace_sd, next_putts=later)

    def _solve(self, lies, aims, spreads):
        """Return M(1) to M(9) at lies that cover the grid, for every draw."""
        fine = lies.around(_all_draws(aims, spreads), refine=self.refine)
        chains = []
        for strike in _each_draw(aims, spreads):
            misses = Misses.of(fine, strike, refine=self.refine)
            chain = [misses.share]
            while len(chain) < MOST_PUTTS - 1 and np.max(chain[-1]) > NEGLIGIBLE:
                chain.append(misses.more(self._grid.function(chain[-1]), chain[-1]))
            chain += [np.zeros_like(misses.share)] * (MOST_PUTTS - 1 - len(chain))
            chains.append(chain)
        return chains

    def hole_out(self, distance_ft, *, slope_to_deg=0.0, aim_deg=None, roll_flat_ft=None):
        """Return chances and averages from given lies.

        Parameters
        ----------
        distance_ft : array_like, shape (n,)
            Lengths of the first putt, in feet, more than the hole's radius and at most
            ``longest_ft``.
        slope_to_deg : array_like, shape (n,)
            Directions of downhill, degrees clockwise from the line ball to hole.
        aim_deg, roll_flat_ft : array_like, shape (n,), optional
            Aim and pace of the first putt; default: those that the golfer would choose.

        Returns
        -------
        SlopeHoleOut
            One entry a putt.

        Raises
        ------
        UsageError
            A distance is out of range, or only one of aim and pace is given.
        """
        distance, to = _lies_asked_for(distance_ft, slope_to_deg, self.longest_ft)
        if (aim_deg is None) != (roll_flat_ft is None):
            raise UsageError("give both aim_deg and roll_flat_ft, or neither.")
        lies = Lies.on(self.green, distance, to)
        aims = (aim_deg, roll_flat_ft) if aim_deg is not None else self._aims(lies, self.seek)
        aims = tuple(np.broadcast_to(np.asarray(part, dtype=float), to.shape) for part in aims)
        spreads = _spreads(self.skill, distance)
        fine = lies.around(_all_draws(aims, spreads), refine=self.refine)
        more_than, leaves = [], []
        for strike, chain in zip(_each_draw(aims, spreads), self._chains, strict=True):
            misses = Misses.of(fine, strike, refine=self.refine)
            more = [np.ones(distance.size), misses.share]
            for part in chain[:-1]:
                more.append(misses.more(self._grid.function(part), more[-1]))
            more_than.append(more)
            leaves.append(misses.mean_leave_ft)
        return SlopeHoleOut(
            distance,
            to,
            *aims,
            _past(self.green, distance, to, *aims),
            np.stack(more_than, axis=1),
            np.array(leaves),
        )


def _spreads(skill, distance_ft):
    """Return a skill's four arrays at distances in any order, each of shape (draws, n)."""
    wanted, place = np.unique(distance_ft, return_inverse=True)
    there = skill.at(wanted)
    names = ("line_sd_deg", "line_bias_deg", "pace_sd_pct", "pace_bias_pct")
    return [getattr(there, name)[:, place] for name in names]


def _choosers(skill, distance_ft):
    """Return the same for the one golfer who chooses: the mean draw, without biases."""
    line_sd, _, pace_sd, _ = (
        part.mean(axis=0, keepdims=True) for part in _spreads(skill, distance_ft)
    )
    return line_sd, np.zeros_like(line_sd), pace_sd, np.zeros_like(pace_sd)


def _all_draws(aims, spreads):
    """Return strikes of shape (lies, draws)."""
    line_sd, line_bias, pace_sd, pace_bias = (part.T for part in spreads)
    return Strike(aims[0][:, None], aims[1][:, None], line_sd, line_bias, pace_sd, pace_bias)


def _each_draw(aims, spreads):
    """Yield strikes of shape (lies,), draw by draw."""
    for draw in zip(*spreads, strict=True):
        yield Strike(*aims, *draw)


def _lies_asked_for(distance_ft, slope_to_deg, longest_ft):
    distance, to = np.broadcast_arrays(
        np.atleast_1d(np.asarray(distance_ft, dtype=float)),
        np.asarray(slope_to_deg, dtype=float),
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


def _past(green, distance, to, aim_deg, roll_flat_ft):
    """Return how far past the hole the putt as meant would stop; below 0 short of it."""
    along, right = stop_ft(green, aim_deg, roll_flat_ft, slope_to_deg=to)
    return np.where(along < distance, -1.0, 1.0) * np.hypot(along - distance, right)


def best_targets(skill, distance_ft, slope_pct, slope_to_deg, *, stimp_ft=STIMP_FT):
    """Return the best aim, pace and distance past the hole, by distance, slope and direction.

    Parameters
    ----------
    skill : Skill
        Spreads and biases; chances are means over draws.
    distance_ft, slope_pct, slope_to_deg : array_like
        Distances, slopes and directions of downhill: every combination is worked out.
    stimp_ft : float
        Green speed in feet.

    Returns
    -------
    pandas.DataFrame
        The columns of `SlopeHoleOut.table` after ``seek`` (``holed``: dropping most often;
        ``putts``: needing fewest) and ``slope_pct``; about three seconds a slope and draw.

    Raises
    ------
    NeverStops
        A slope is too steep to hold a ball on this green.
    """
    import pandas as pd

    distance, to = (
        part.ravel()
        for part in np.meshgrid(
            np.asarray(distance_ft, dtype=float), np.asarray(slope_to_deg, dtype=float)
        )
    )
    tables = []
    for slope in np.unique(slope_pct):
        for seek in SEEKS:
            green = Green(stimp_ft, float(slope))
            putts = SlopePutts(skill, green, seek=seek, longest_ft=float(distance.max()))
            table = putts.hole_out(distance, slope_to_deg=to).table()
            table.insert(0, "slope_pct", slope)
            table.insert(0, "seek", seek)
            tables.append(table)
    return pd.concat(tables, ignore_index=True)
