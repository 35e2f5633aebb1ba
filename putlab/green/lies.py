"""Putts waiting to be struck on a slope: chances of dropping, and means over where they stop.

A *lie* is a distance from the hole and the direction of downhill seen from there. For each
lie a fan of start directions is laid over all that can drop, with the paces that drop in each
(`putlab.green.capture`). Those do not depend on the golfer. A golfer scatters
direction and pace about an aim; the chance of dropping is then, for each direction, a
difference of normal probabilities, summed over the fan with the exact normal probability of
each direction's cell.

The mean of a function of where a *miss* stops is its mean over all putts, hole covered, less
its mean over those that drop; both are smooth, so a few nodes serve.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.polynomial.legendre import leggauss
from scipy.special import ndtr

from putlab.green.aim import arrival, through_hole
from putlab.green.capture import holing_rolls
from putlab.green.published import CAPTURE_FT_S, HOLE_RADIUS_FT
from putlab.green.roll import stop_ft

# Spreads from the aim that carry everything: 1 - 4e-7 of the putts.
REACH = 5.0
# Directions of the fan over each lie: all that can drop, or those that one aim can take.
ALL_DIRECTIONS, DIRECTIONS = 48, 96
# Even nodes of direction and of pace over ± REACH. For a normal either spacing integrates
# smooth functions to rounding; pace has more because its feet spread wider past the hole.
NODES = (31, 81)
# Gauss-Legendre nodes in each stretch of pace that drops.
DROPPING = 10


@dataclass(frozen=True)
class Strike:
    """Where putts are meant to go and how they scatter; one entry a lie.

    Attributes
    ----------
    line_deg, roll_flat_ft : ndarray, shape (lies, ...)
        Aim and pace: start direction from the hole, and flat roll-out.
    line_sd_deg, line_bias_deg, pace_sd_pct, pace_bias_pct : ndarray
        Spread and mean error of direction, and of flat roll-out in percent of it; they
        broadcast against the aim.
    """

    line_deg: np.ndarray
    roll_flat_ft: np.ndarray
    line_sd_deg: np.ndarray
    line_bias_deg: np.ndarray
    pace_sd_pct: np.ndarray
    pace_bias_pct: np.ndarray

    @property
    def mean_line_deg(self):
        """Mean start direction."""
        return self.line_deg + self.line_bias_deg

    @property
    def mean_roll_ft(self):
        """Mean flat roll-out."""
        return self.roll_flat_ft * (1 + self.pace_bias_pct / 100)

    @property
    def roll_sd_ft(self):
        """Standard deviation of flat roll-out."""
        return self.roll_flat_ft * self.pace_sd_pct / 100

    def each(self, axes):
        """Return the strike with last axes added, to broadcast against nodes."""
        names = self.__dataclass_fields__
        tail = (1,) * axes
        parts = {name: np.asarray(getattr(self, name), dtype=float) for name in names}
        return Strike(**{name: part.reshape(part.shape + tail) for name, part in parts.items()})


@dataclass(frozen=True)
class Lies:
    """Lies on one green, each with its fan of directions.

    Attributes
    ----------
    green : Green
        Its speed and slope.
    distance_ft, slope_to_deg : ndarray, shape (lies,)
        Distance to the hole; direction of downhill from the line ball to hole.
    line_deg : ndarray, shape (lies, directions)
        Middles of the fan's cells.
    cell_deg : ndarray, shape (lies, 1)
        Their width.
    rolls_ft : ndarray, shape (lies, directions, 3, 2)
        Flat roll-outs that drop.
    """

    green: object
    distance_ft: np.ndarray
    slope_to_deg: np.ndarray
    line_deg: np.ndarray
    cell_deg: np.ndarray
    rolls_ft: np.ndarray

    @classmethod
    def on(cls, green, distance_ft, slope_to_deg, *, directions=ALL_DIRECTIONS):
        """Return lies with fans over every direction in which a putt can drop.

        Parameters
        ----------
        green : Green
            Its speed and slope.
        distance_ft, slope_to_deg : array_like, shape (lies,)
            Distances, more than the hole's radius; directions of downhill.
        directions : int
            Cells of each fan.

        Returns
        -------
        Lies
            The lies.

        Raises
        ------
        NeverStops
            The green is too steep to hold a ball.
        """
        distance, to = np.broadcast_arrays(
            np.atleast_1d(np.asarray(distance_ft, dtype=float)),
            np.asarray(slope_to_deg, dtype=float),
        )
        shares = np.linspace(1 - 1e-6, 0, 24) ** (1 / (1 - green.ratio))
        lines, _ = through_hole(green, distance[:, None], shares, slope_to_deg=to[:, None])
        lines = np.degrees(np.unwrap(np.radians(lines), axis=1))
        half = np.degrees(np.arcsin(np.minimum(HOLE_RADIUS_FT / distance, 1.0)))
        low, high = lines.min(axis=1) - 4 * half, lines.max(axis=1) + 4 * half
        wide = cls._fan(green, distance, to, low, high, directions)
        return wide._closer(directions)

    @classmethod
    def _fan(cls, green, distance, to, low, high, directions):
        cell = (high - low)[:, None] / directions
        lines = low[:, None] + cell * (np.arange(directions) + 0.5)
        rolls = holing_rolls(green, distance[:, None], lines, slope_to_deg=to[:, None])
        return cls(green, distance, to, lines, cell, rolls)

    def _closer(self, directions):
        """Return the lies with fans drawn in to the directions that can drop."""
        drops = (self.rolls_ft[..., 1] > self.rolls_ft[..., 0]).any(axis=-1)
        first = np.argmax(drops, axis=1)
        last = drops.shape[1] - 1 - np.argmax(drops[:, ::-1], axis=1)
        rows, cell = np.arange(first.size), self.cell_deg[:, 0]
        low, high = self.line_deg[rows, first] - cell, self.line_deg[rows, last] + cell
        return self._fan(self.green, self.distance_ft, self.slope_to_deg, low, high, directions)

    def around(self, strike, *, refine=1):
        """Return the lies with fans drawn in to the directions these strikes may take.

        Parameters
        ----------
        strike : Strike
            One aim a lie; further axes (draws) may follow.
        refine : int
            Multiplies the cells of each fan.

        Returns
        -------
        Lies
            The same lies, finer fans.
        """
        axes = tuple(range(1, np.ndim(strike.mean_line_deg)))
        reach = REACH * np.asarray(strike.line_sd_deg)
        low = np.min(np.broadcast_to(strike.mean_line_deg - reach, reach.shape), axis=axes)
        high = np.max(np.broadcast_to(strike.mean_line_deg + reach, reach.shape), axis=axes)
        edge = self.cell_deg[:, 0] / 2
        left, right = self.line_deg[:, 0] - edge, self.line_deg[:, -1] + edge
        low, high = np.clip(low, left, right - edge), np.clip(high, left + edge, right)
        where = self.distance_ft, self.slope_to_deg
        return self._fan(self.green, *where, low, high, DIRECTIONS * refine)

    def __getitem__(self, rows):
        """Return some of the lies."""
        names = ("distance_ft", "slope_to_deg", "line_deg", "cell_deg", "rolls_ft")
        return replace(self, **{name: getattr(self, name)[rows] for name in names})

    def holed_chance(self, strike):
        """Return the chance that each strike drops.

        Parameters
        ----------
        strike : Strike
            Arrays of shape (lies,) or (lies, aims).

        Returns
        -------
        ndarray
            Same shape as the strikes.
        """
        chance, low, high = self._masses(strike)
        return np.sum(chance * np.sum(ndtr(high) - ndtr(low), axis=-1), axis=-1)

    def _masses(self, strike):
        """Return each cell's probability and its dropping stretches in spreads of pace."""
        aims = np.ndim(strike.mean_line_deg) - 1
        lines, cell = (_spread_out(part, aims) for part in (self.line_deg, self.cell_deg))
        one = strike.each(1)
        z = (lines - one.mean_line_deg) / one.line_sd_deg
        half = cell / 2 / one.line_sd_deg
        chance = ndtr(z + half) - ndtr(z - half)
        rolls = _spread_out(self._used_rolls(), aims)
        two = strike.each(3)
        edges = (rolls - two.mean_roll_ft) / two.roll_sd_ft
        return chance, edges[..., 0], edges[..., 1]

    def _used_rolls(self):
        """Return the stretches without those that are empty everywhere."""
        used = (self.rolls_ft[..., 1] > self.rolls_ft[..., 0]).any(axis=(0, 1))
        used[-1] |= not used.any()
        return self.rolls_ft[:, :, used]

    def rests(self, strike, *, nodes=NODES, dropping=DROPPING, reach=REACH):
        """Return where putts stop, hole covered, with the chance that each place stands for.

        Parameters
        ----------
        strike : Strike
            Arrays of shape (lies,) or (lies, aims).
        nodes : tuple of int
            Nodes of direction, and of pace.
        dropping : int
            Nodes of each stretch of pace that drops.
        reach : float
            How many spreads from the mean the nodes of direction and pace go.

        Returns
        -------
        leave_ft, slope_to_deg, chance : ndarray, shape (..., places)
            Distance left and direction of downhill from there; chance, below 0 for the
            putts that drop, so that ``(chance * f).sum(-1)`` is the mean of f over misses
            times the share of misses.
        """
        parts = self._everywhere(strike, nodes, reach), self._dropped(strike, dropping)
        return [np.concatenate(pair, axis=-1) for pair in zip(*parts, strict=True)]

    def _everywhere(self, strike, nodes, reach):
        """Return places for all putts: even nodes of direction by even nodes of pace."""
        across, along = (np.linspace(-reach, reach, count) for count in nodes)
        shares = [np.exp(-z * z / 2) for z in (across, along)]
        two = strike.each(2)
        line = two.mean_line_deg + two.line_sd_deg * across[:, None]
        roll = np.maximum(two.mean_roll_ft + two.roll_sd_ft * along, 0.0)
        chance = np.outer(*(share / share.sum() for share in shares))
        return self._places(line, roll, chance, 2)

    def _dropped(self, strike, dropping):
        """Return places for putts that drop, chances below 0: the fan by nodes of pace."""
        chance, low, high = self._masses(strike)
        x, w = leggauss(dropping)
        start, stop = (np.clip(edge, -REACH, REACH)[..., None] for edge in (low, high))
        z = (start + stop) / 2 + (stop - start) / 2 * x
        share = w * np.exp(-z * z / 2)
        mass = (ndtr(high) - ndtr(low)) * chance[..., None]
        share *= -mass[..., None] / share.sum(axis=-1, keepdims=True)
        two = strike.each(3)
        aims = np.ndim(strike.mean_line_deg) - 1
        line = _spread_out(self.line_deg, aims)[..., None, None]
        return self._places(line, two.mean_roll_ft + two.roll_sd_ft * z, share, 3)

    def _places(self, line, roll, chance, nodes):
        """Return leaves, directions of downhill and chances, the last axes joined."""
        tail = (1,) * (roll.ndim - 1)
        distance, to = (part.reshape(-1, *tail) for part in (self.distance_ft, self.slope_to_deg))
        # One foot of flat roll-out first: the shape of a putt depends on its direction only.
        along, right = stop_ft(self.green, line, 1.0, slope_to_deg=to)
        gap, right = distance - along * roll, right * roll
        turned = to + np.degrees(np.arctan2(right, gap))
        columns = np.broadcast_arrays(np.sqrt(gap * gap + right * right), turned, chance)
        shape = columns[0].shape[: roll.ndim - nodes]
        return [part.reshape(*shape, -1) for part in columns]


def _spread_out(part, aims):
    """Put axes for aims after the lies' axis."""
    return part.reshape(part.shape[:1] + (1,) * aims + part.shape[1:])


# The aim and pace a golfer would choose for a putt on a slope.


# First look: arrival speeds as shares of the capture limit, and lines in units of the spread.
SPEEDS = np.linspace(0.06, 0.9, 10)
OFFSETS = np.linspace(-1, 1, 7)
# Then the eight about the best and itself, each time half as far away.
NEAR = np.stack(np.meshgrid([-1, 0, 1], [-1, 0, 1]), -1).reshape(-1, 2)
ROUNDS = 4
# Candidates × lies worked on at once.
CHUNK = 4000


@dataclass(frozen=True)
class Middle:
    """Lines and paces over the middle of the hole, one a lie and arrival speed.

    Attributes
    ----------
    speed : ndarray, shape (lies, places)
        Arrival speed as a share of the capture limit at the middle, rising.
    line_deg, log_roll : ndarray, shape (lies, places)
        Start direction and logarithm of flat roll-out.
    """

    speed: np.ndarray
    line_deg: np.ndarray
    log_roll: np.ndarray

    @classmethod
    def of(cls, lies, places=48):
        """Return the lines and paces for lies, from dying in the hole to the capture limit."""
        power = 1 / (1 - lies.green.ratio)
        distance, to = lies.distance_ft[:, None], lies.slope_to_deg[:, None]
        shares = np.linspace(0, 1 - 1e-3, places) ** power
        line, roll = through_hole(lies.green, distance, shares, slope_to_deg=to)
        speed, _ = arrival(lies.green, line, roll, shares, slope_to_deg=to)
        # Again, with the places spread over the speeds that matter.
        wanted = np.linspace(0, 1, places)
        pace = _look_up(wanted, speed / CAPTURE_FT_S, np.broadcast_to(shares, speed.shape))
        line, roll = through_hole(lies.green, distance, pace, slope_to_deg=to)
        speed, _ = arrival(lies.green, line, roll, pace, slope_to_deg=to)
        line = np.degrees(np.unwrap(np.radians(line), axis=1))
        return cls(speed / CAPTURE_FT_S, line, np.log(roll))

    def at(self, speed):
        """Return line and flat roll-out at arrival speeds, shape (lies, ...)."""
        line = _look_up(speed, self.speed, self.line_deg)
        return line, np.exp(_look_up(speed, self.speed, self.log_roll))

    def lean(self, speed, pace_sd_pct):
        """Return by how much the right line changes for a spread of pace, in degrees."""
        line, roll = self.at(speed)
        firmer = np.log(roll * (1 + pace_sd_pct / 100))
        return np.abs(_look_up(firmer, self.log_roll, self.line_deg) - line)


def _look_up(wanted, known, values):
    """Interpolate row by row, level outside."""
    wanted = np.broadcast_to(wanted, (known.shape[0], *np.shape(wanted)[-1:]))
    rows = zip(wanted, known, values, strict=True)
    return np.stack([np.interp(*row) for row in rows])


def choose(lies, line_sd_deg, pace_sd_pct, *, next_putts=None):
    """Return the aim and pace that drop most often, or that need the fewest putts.

    Parameters
    ----------
    lies : Lies
        Where the putts lie.
    line_sd_deg, pace_sd_pct : ndarray, shape (lies,)
        The golfer's spreads there.
    next_putts : callable, optional
        ``next_putts(leave_ft, slope_to_deg)``: mean putts still to come from where a miss
        stops. Where it is given the fewest putts are sought, otherwise the most holed.

    Returns
    -------
    line_deg, roll_flat_ft : ndarray, shape (lies,)
        Aim and pace. The best found is within 1e-4 of the best there is in what it seeks.
    """
    size = max(1, CHUNK // (SPEEDS.size * OFFSETS.size))
    count = lies.distance_ft.size
    line_sd, pace_sd = (np.broadcast_to(part, (count,)) for part in (line_sd_deg, pace_sd_pct))
    pieces = [
        _choose(lies[i : i + size], line_sd[i : i + size], pace_sd[i : i + size], next_putts)
        for i in range(0, count, size)
    ]
    return tuple(np.concatenate(column) for column in zip(*pieces, strict=True))


def _choose(lies, line_sd, pace_sd, next_putts):
    middle = Middle.of(lies)
    line_sd, pace_sd = line_sd[:, None], pace_sd[:, None]
    speeds, offsets = (part.ravel() for part in np.meshgrid(SPEEDS, OFFSETS))
    speeds, offsets = (np.tile(part, (lies.distance_ft.size, 1)) for part in (speeds, offsets))
    step = np.array([SPEEDS[1] - SPEEDS[0], OFFSETS[1] - OFFSETS[0]])
    rows = np.arange(lies.distance_ft.size)
    for _ in range(ROUNDS + 1):
        line, roll = middle.at(speeds)
        line = line + offsets * np.hypot(line_sd, middle.lean(speeds, pace_sd))
        best = np.argmin(_cost(lies, line, roll, line_sd, pace_sd, next_putts), axis=1)
        step /= 2
        near = NEAR * step
        speeds = np.clip(speeds[rows, best][:, None] + near[:, 0], 0.005, 0.99)
        offsets = offsets[rows, best][:, None] + near[:, 1]
    return line[rows, best], roll[rows, best]


def _cost(lies, line, roll, line_sd, pace_sd, next_putts):
    none = np.zeros_like(line_sd)
    strike = Strike(line, roll, line_sd, none, pace_sd, none)
    if next_putts is None:
        return -lies.holed_chance(strike)
    leave, to, chance = lies.rests(strike, nodes=(15, 29), dropping=3, reach=4.2)
    return np.sum(chance * next_putts(leave, to), axis=-1)
