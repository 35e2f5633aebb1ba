"""Putts waiting to be struck on a slope: chances of dropping, and where they stop.

A *lie* is a distance from the hole and the direction of downhill seen from there. Over each
lie start directions are laid out that can drop, with the paces that drop in each
(`putlab.green.capture`). Those do not depend on the golfer, who scatters direction and pace
about an aim; the chance of dropping is then, for each direction, a difference of normal
probabilities, summed with the exact normal probability of each direction's cell.
"""

from dataclasses import dataclass

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import ArrayLike
from scipy.special import ndtr

from putlab.green.capture import captured_rolls
from putlab.green.published import CAPTURE_FT_S, HOLE_RADIUS_FT
from putlab.green.slope import Green, Pair, arrival, stop_ft, through_hole

# Spreads from the aim that carry everything: 1 - 4e-7 of the putts.
REACH = 5.0
# Directions over each lie: all that can drop, or those that one aim can take.
ALL_DIRECTIONS, DIRECTIONS = 48, 96
# Even nodes of direction and of pace over ± REACH. For a normal either spacing integrates
# smooth functions to rounding; pace has more because its feet spread wider past the hole.
NODES = (31, 81)
# Gauss-Legendre nodes in each stretch of pace that drops.
DROPPING = 10

# The search for an aim. First look: arrival speeds as shares of the capture limit, and lines
# in units of the spread. Then the eight about the best and itself, each time half as far away.
SPEEDS = np.linspace(0.06, 0.9, 10)
OFFSETS = np.linspace(-1, 1, 7)
NEAR = np.stack(np.meshgrid([-1, 0, 1], [-1, 0, 1]), -1).reshape(-1, 2)
ROUNDS = 4


@dataclass(frozen=True)
class SlopeScatter:
    """Aims of putts and how they scatter about them; shape (lies, ...), broadcast together."""

    line_deg: np.ndarray  # start direction from the hole
    roll_flat_ft: np.ndarray
    line_sd_deg: np.ndarray
    line_bias_deg: np.ndarray
    pace_sd_pct: np.ndarray  # of the flat roll-out
    pace_bias_pct: np.ndarray

    @property
    def mean_line_deg(self) -> np.ndarray:
        """Mean start direction."""
        return self.line_deg + self.line_bias_deg

    @property
    def mean_roll_ft(self) -> np.ndarray:
        """Mean flat roll-out."""
        return self.roll_flat_ft * (1 + self.pace_bias_pct / 100)

    @property
    def roll_sd_ft(self) -> np.ndarray:
        """Standard deviation of flat roll-out."""
        return self.roll_flat_ft * self.pace_sd_pct / 100

    def with_axes(self, axes: int) -> "SlopeScatter":
        """Return the same with last axes added, to broadcast against nodes."""
        parts = (np.asarray(part, dtype=float) for part in vars(self).values())
        return SlopeScatter(*(part.reshape(part.shape + (1,) * axes) for part in parts))


@dataclass(frozen=True)
class Lies:
    """Lies on one green, each with the directions over it and the paces that drop there."""

    green: Green
    distance_ft: np.ndarray  # shape (lies,)
    slope_to_deg: np.ndarray  # of downhill from the line ball to hole, shape (lies,)
    line_deg: np.ndarray  # middles of the cells of direction, shape (lies, directions)
    cell_deg: np.ndarray  # their width, shape (lies, 1)
    rolls_ft: np.ndarray  # flat roll-outs that drop, shape (lies, directions, 3, 2)

    @classmethod
    def on(
        cls,
        green: Green,
        distance_ft: ArrayLike,
        slope_to_deg: ArrayLike,
        *,
        directions: int = ALL_DIRECTIONS,
    ) -> "Lies":
        """Return lies with directions over all in which a putt can drop."""
        distance, to = np.broadcast_arrays(
            np.atleast_1d(np.asarray(distance_ft, dtype=float)),
            np.asarray(slope_to_deg, dtype=float),
        )
        shares = np.linspace(1 - 1e-6, 0, 24) ** (1 / (1 - green.ratio))
        lines, _ = through_hole(green, distance[:, None], shares, slope_to_deg=to[:, None])
        lines = np.degrees(np.unwrap(np.radians(lines), axis=1))
        half = np.degrees(np.arcsin(np.minimum(HOLE_RADIUS_FT / distance, 1.0)))
        low, high = lines.min(axis=1) - 4 * half, lines.max(axis=1) + 4 * half
        wide = cls._between(green, distance, to, low, high, directions)
        # Drawn in to the directions that can drop.
        drops = (wide.rolls_ft[..., 1] > wide.rolls_ft[..., 0]).any(axis=-1)
        first = np.argmax(drops, axis=1)
        last = drops.shape[1] - 1 - np.argmax(drops[:, ::-1], axis=1)
        rows, cell = np.arange(first.size), wide.cell_deg[:, 0]
        low, high = wide.line_deg[rows, first] - cell, wide.line_deg[rows, last] + cell
        return cls._between(green, distance, to, low, high, directions)

    @classmethod
    def _between(
        cls,
        green: Green,
        distance: np.ndarray,
        to: np.ndarray,
        low: np.ndarray,
        high: np.ndarray,
        directions: int,
    ) -> "Lies":
        cell = (high - low)[:, None] / directions
        lines = low[:, None] + cell * (np.arange(directions) + 0.5)
        rolls = captured_rolls(green, distance[:, None], lines, slope_to_deg=to[:, None])
        return cls(green, distance, to, lines, cell, rolls)

    def around(self, aims: SlopeScatter, *, refine: int = 1) -> "Lies":
        """Return the lies with finer directions, drawn in to those that (lies, draws) may take."""
        axes = tuple(range(1, np.ndim(aims.mean_line_deg)))
        reach = REACH * np.asarray(aims.line_sd_deg)
        low = np.min(np.broadcast_to(aims.mean_line_deg - reach, reach.shape), axis=axes)
        high = np.max(np.broadcast_to(aims.mean_line_deg + reach, reach.shape), axis=axes)
        edge = self.cell_deg[:, 0] / 2
        left, right = self.line_deg[:, 0] - edge, self.line_deg[:, -1] + edge
        low, high = np.clip(low, left, right - edge), np.clip(high, left + edge, right)
        where = self.distance_ft, self.slope_to_deg
        return self._between(self.green, *where, low, high, DIRECTIONS * refine)

    def holed_chance(self, aims: SlopeScatter) -> np.ndarray:
        """Return the chance that putts drop, for aims of shape (lies,) or (lies, aims)."""
        chance, low, high = self._masses(aims)
        return np.sum(chance * np.sum(ndtr(high) - ndtr(low), axis=-1), axis=-1)

    def _masses(self, aims: SlopeScatter) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        # Each cell's probability and its dropping stretches in spreads of pace.
        more = np.ndim(aims.mean_line_deg) - 1
        lines, cell = (_spread_out(part, more) for part in (self.line_deg, self.cell_deg))
        one = aims.with_axes(1)
        z = (lines - one.mean_line_deg) / one.line_sd_deg
        half = cell / 2 / one.line_sd_deg
        chance = ndtr(z + half) - ndtr(z - half)
        # Without the stretches that are empty everywhere.
        used = (self.rolls_ft[..., 1] > self.rolls_ft[..., 0]).any(axis=(0, 1))
        used[-1] |= not used.any()
        rolls = _spread_out(self.rolls_ft[:, :, used], more)
        two = aims.with_axes(3)
        edges = (rolls - two.mean_roll_ft) / two.roll_sd_ft
        return chance, edges[..., 0], edges[..., 1]

    def stopping_places(
        self, aims: SlopeScatter, *, nodes: tuple[int, int] = NODES, dropping: int = DROPPING
    ) -> list[np.ndarray]:
        """Return leave, direction of downhill and chance of places (..., n), hole covered.

        Chances are below 0 for the putts that drop, so that ``(chance * f).sum(-1)`` is the
        mean of f over misses times the share of misses.
        """
        # The mean over misses is that over all putts less that over those that drop; both are
        # smooth, so a few nodes serve.
        parts = self._everywhere(aims, nodes), self._dropped(aims, dropping)
        return [np.concatenate(pair, axis=-1) for pair in zip(*parts, strict=True)]

    def _everywhere(self, aims: SlopeScatter, nodes: tuple[int, int]) -> list[np.ndarray]:
        # All putts: even nodes of direction by even nodes of pace.
        across, along = (np.linspace(-REACH, REACH, count) for count in nodes)
        shares = [np.exp(-z * z / 2) for z in (across, along)]
        two = aims.with_axes(2)
        line = two.mean_line_deg + two.line_sd_deg * across[:, None]
        roll = np.maximum(two.mean_roll_ft + two.roll_sd_ft * along, 0.0)
        chance = np.outer(*(share / share.sum() for share in shares))
        return self._places(line, roll, chance, 2)

    def _dropped(self, aims: SlopeScatter, dropping: int) -> list[np.ndarray]:
        # Putts that drop, chances below 0: the directions by nodes of pace.
        chance, low, high = self._masses(aims)
        x, w = leggauss(dropping)
        start, stop = (np.clip(edge, -REACH, REACH)[..., None] for edge in (low, high))
        z = (start + stop) / 2 + (stop - start) / 2 * x
        share = w * np.exp(-z * z / 2)
        mass = (ndtr(high) - ndtr(low)) * chance[..., None]
        share *= -mass[..., None] / share.sum(axis=-1, keepdims=True)
        two = aims.with_axes(3)
        line = _spread_out(self.line_deg, np.ndim(aims.mean_line_deg) - 1)[..., None, None]
        return self._places(line, two.mean_roll_ft + two.roll_sd_ft * z, share, 3)

    def _places(
        self, line: np.ndarray, roll: np.ndarray, chance: np.ndarray, nodes: int
    ) -> list[np.ndarray]:
        # Leaves, directions of downhill and chances, the last axes joined.
        tail = (1,) * (roll.ndim - 1)
        distance, to = (part.reshape(-1, *tail) for part in (self.distance_ft, self.slope_to_deg))
        # One foot of flat roll-out first: the shape of a putt depends on its direction only.
        along, right = stop_ft(self.green, line, 1.0, slope_to_deg=to)
        gap, right = distance - along * roll, right * roll
        turned = to + np.degrees(np.arctan2(right, gap))
        columns = np.broadcast_arrays(np.sqrt(gap * gap + right * right), turned, chance)
        shape = columns[0].shape[: roll.ndim - nodes]
        return [part.reshape(*shape, -1) for part in columns]


def _spread_out(part: np.ndarray, axes: int) -> np.ndarray:
    # Axes for aims after the lies' axis.
    return part.reshape(part.shape[:1] + (1,) * axes + part.shape[1:])


@dataclass(frozen=True)
class CentreLines:
    """Lines and paces over the middle of the hole, shape (lies, places), by arrival speed."""

    speed: np.ndarray  # as a share of the capture limit at the middle, rising
    line_deg: np.ndarray
    log_roll: np.ndarray  # of the flat roll-out

    @classmethod
    def of(cls, lies: Lies, places: int = 48) -> "CentreLines":
        """Return them from dying in the hole to the capture limit."""
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

    def at(self, speed: np.ndarray) -> Pair:
        """Return line and flat roll-out at arrival speeds, shape (lies, ...)."""
        line = _look_up(speed, self.speed, self.line_deg)
        return line, np.exp(_look_up(speed, self.speed, self.log_roll))

    def line_change_deg(self, speed: np.ndarray, pace_sd_pct: np.ndarray) -> np.ndarray:
        """Return by how much the right line changes for a spread of pace."""
        line, roll = self.at(speed)
        firmer = np.log(roll * (1 + pace_sd_pct / 100))
        return np.abs(_look_up(firmer, self.log_roll, self.line_deg) - line)


def _look_up(wanted: np.ndarray, known: np.ndarray, values: np.ndarray) -> np.ndarray:
    # Row by row, level outside.
    wanted = np.broadcast_to(wanted, (known.shape[0], *np.shape(wanted)[-1:]))
    rows = zip(wanted, known, values, strict=True)
    return np.stack([np.interp(*row) for row in rows])


def best_aim(lies: Lies, line_sd_deg: float, pace_sd_pct: float) -> Pair:
    """Return line and flat roll-out (lies,) that drop most often, to 1e-4 of the best chance."""
    line_sd, pace_sd = (
        np.full((lies.distance_ft.size, 1), sd) for sd in (line_sd_deg, pace_sd_pct)
    )
    centre, none = CentreLines.of(lies), np.zeros_like(line_sd)
    grid = (part.ravel() for part in np.meshgrid(SPEEDS, OFFSETS))
    speeds, offsets = (np.tile(part, (lies.distance_ft.size, 1)) for part in grid)
    step = np.array([SPEEDS[1] - SPEEDS[0], OFFSETS[1] - OFFSETS[0]])
    rows = np.arange(lies.distance_ft.size)
    for _ in range(ROUNDS + 1):
        line, roll = centre.at(speeds)
        line = line + offsets * np.hypot(line_sd, centre.line_change_deg(speeds, pace_sd))
        aims = SlopeScatter(line, roll, line_sd, none, pace_sd, none)
        best = np.argmax(lies.holed_chance(aims), axis=1)
        step /= 2
        near = NEAR * step
        speeds = np.clip(speeds[rows, best][:, None] + near[:, 0], 0.005, 0.99)
        offsets = offsets[rows, best][:, None] + near[:, 1]
    return line[rows, best], roll[rows, best]
