"""Putts waiting to be struck on a slope: chances of dropping, and where they stop.

A *lie* is a distance from the hole and the direction of downhill seen from there. Over each
lie start directions are laid out that can drop, with the paces that drop in each
(`putlab.green.capture`). Those do not depend on the golfer, who scatters direction and pace
about an aim; the chance of dropping is then, for each direction, a difference of normal
probabilities, summed with the exact normal probability of each direction's cell.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import ArrayLike
from scipy.special import ndtr

from putlab.green.capture import captured_rolls
from putlab.green.published import HOLE_RADIUS_FT
from putlab.green.skill import SKILL_QUANTITIES, Skill
from putlab.green.slope import Green, floats, stop_ft, through_hole

# Spreads from the aim that carry everything: 1 - 4e-7 of the putts.
REACH = 5.0
# Directions over each lie: all that can drop, or those that one aim can take.
ALL_DIRECTIONS, DIRECTIONS = 48, 96
# Even nodes of direction and of pace over ± REACH. For a normal either spacing integrates
# smooth functions to rounding; pace has more because its feet spread wider past the hole.
NODES = (31, 81)
# Gauss-Legendre nodes in each stretch of pace that drops.
DROPPING = 10


@dataclass(frozen=True)
class SlopeScatter:
    """Putts to be struck: how start direction and flat roll-out scatter; shape (lies, aims)."""

    line_deg: np.ndarray  # from the line ball to hole
    line_sd_deg: np.ndarray
    roll_ft: np.ndarray
    roll_sd_ft: np.ndarray

    @classmethod
    def of(
        cls, skill: Skill, distance_ft: np.ndarray, line_deg: ArrayLike, roll_flat_ft: ArrayLike
    ) -> "SlopeScatter":
        """Return a skill's putts from lies (lies,) about aims that go with (lies, draws)."""
        wanted, place = np.unique(distance_ft, return_inverse=True)
        there = skill.at(wanted)
        line_sd, line_bias, pace_sd, pace_bias = (
            getattr(there, name)[:, place].T for name in SKILL_QUANTITIES
        )
        roll = np.asarray(roll_flat_ft)
        mean, sd = roll * (1 + pace_bias / 100), roll * pace_sd / 100
        return cls(*floats(line_deg + line_bias, line_sd, mean, sd))

    def __getitem__(self, index: Any) -> "SlopeScatter":
        return SlopeScatter(*(part[index] for part in vars(self).values()))


@dataclass(frozen=True)
class Lies:
    """Lies on one green, each with the directions over it and the paces that drop there."""

    green: Green
    distance_ft: np.ndarray  # shape (lies,)
    slope_to_deg: np.ndarray  # of downhill from the line ball to hole, shape (lies,)
    low_deg: np.ndarray  # ends of the directions, shape (lies,)
    high_deg: np.ndarray
    directions: int

    @classmethod
    def on(
        cls,
        green: Green,
        distance_ft: ArrayLike,
        slope_to_deg: ArrayLike,
        aims: SlopeScatter | None = None,
    ) -> "Lies":
        """Return lies with directions over all that can drop; finer over those that aims take."""
        distance, to = floats(np.atleast_1d(distance_ft), slope_to_deg)
        low, high = _directions_that_drop(green, distance, to)
        if aims is None:
            return cls(green, distance, to, low, high, ALL_DIRECTIONS)
        reach, edge = REACH * aims.line_sd_deg, (high - low) / (2 * ALL_DIRECTIONS)
        left = np.clip((aims.line_deg - reach).min(axis=1), low, high - edge)
        right = np.clip((aims.line_deg + reach).max(axis=1), low + edge, high)
        return cls(green, distance, to, left, right, DIRECTIONS)

    @property
    def cell_deg(self) -> np.ndarray:
        """Width of the cells of direction, shape (lies, 1)."""
        return (self.high_deg - self.low_deg)[:, None] / self.directions

    @property
    def line_deg(self) -> np.ndarray:
        """Middles of the cells of direction, shape (lies, directions)."""
        return self.low_deg[:, None] + self.cell_deg * (np.arange(self.directions) + 0.5)

    @cached_property
    def rolls_ft(self) -> np.ndarray:
        """Flat roll-outs that drop, shape (lies, directions, 3 or fewer, 2)."""
        distance, to = self.distance_ft[:, None], self.slope_to_deg[:, None]
        rolls = captured_rolls(self.green, distance, self.line_deg, slope_to_deg=to)
        # Without the stretches that are empty everywhere; they come last.
        used = np.flatnonzero((rolls[..., 1] > rolls[..., 0]).any(axis=(0, 1)))
        return rolls[:, :, : max(1, used.size)]

    def holed_chance(self, aims: SlopeScatter) -> np.ndarray:
        """Return the chance (lies, aims) that putts drop."""
        chance, low, high = self._masses(aims)
        return np.sum(chance * np.sum(ndtr(high) - ndtr(low), axis=-1), axis=-1)

    def _masses(self, aims: SlopeScatter) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        # Each cell's probability and its dropping stretches in spreads of pace.
        line, pace = aims[..., None], aims[..., None, None, None]
        z = (self.line_deg[:, None] - line.line_deg) / line.line_sd_deg
        half = self.cell_deg[:, None] / 2 / line.line_sd_deg
        edges = (self.rolls_ft[:, None] - pace.roll_ft) / pace.roll_sd_ft
        return ndtr(z + half) - ndtr(z - half), edges[..., 0], edges[..., 1]

    def stopping_places(self, aims: SlopeScatter) -> list[np.ndarray]:
        """Return leave, direction of downhill and chance of places (lies, aims, n), hole covered.

        Chances are below 0 for the putts that drop, so that ``(chance * f).sum(-1)`` is the
        mean of f over misses times the share of misses.
        """
        # The mean over misses is that over all putts less that over those that drop; both are
        # smooth, so a few nodes serve.
        parts = self._everywhere(aims), self._dropped(aims)
        return [np.concatenate(pair, axis=-1) for pair in zip(*parts, strict=True)]

    def _everywhere(self, aims: SlopeScatter) -> list[np.ndarray]:
        # All putts: even nodes of direction by even nodes of pace.
        across, along = (np.linspace(-REACH, REACH, count) for count in NODES)
        shares = [np.exp(-z * z / 2) for z in (across, along)]
        aims = aims[..., None, None]
        line = aims.line_deg + aims.line_sd_deg * across[:, None]
        roll = np.maximum(aims.roll_ft + aims.roll_sd_ft * along, 0.0)
        return self._places(line, roll, np.outer(*(share / share.sum() for share in shares)))

    def _dropped(self, aims: SlopeScatter) -> list[np.ndarray]:
        # Putts that drop, chances below 0: the directions by nodes of pace.
        chance, low, high = self._masses(aims)
        x, w = leggauss(DROPPING)
        start, stop = (np.clip(edge, -REACH, REACH)[..., None] for edge in (low, high))
        z = (start + stop) / 2 + (stop - start) / 2 * x
        share = w * np.exp(-z * z / 2)
        mass = (ndtr(high) - ndtr(low)) * chance[..., None]
        share *= -mass[..., None] / share.sum(axis=-1, keepdims=True)
        aims = aims[..., None, None, None]
        line = self.line_deg[:, None, :, None, None]
        return self._places(line, aims.roll_ft + aims.roll_sd_ft * z, share)

    def _places(self, line: np.ndarray, roll: np.ndarray, chance: np.ndarray) -> list[np.ndarray]:
        # Leaves, directions of downhill and chances, the axes after the aims' joined.
        tail = (1,) * (roll.ndim - 1)
        distance, to = (part.reshape(-1, *tail) for part in (self.distance_ft, self.slope_to_deg))
        # One foot of flat roll-out first: the shape of a putt depends on its direction only.
        along, right = stop_ft(self.green, line, 1.0, slope_to_deg=to)
        gap, right = distance - along * roll, right * roll
        turned = to + np.degrees(np.arctan2(right, gap))
        columns = np.broadcast_arrays(np.sqrt(gap * gap + right * right), turned, chance)
        return [column.reshape(*column.shape[:2], -1) for column in columns]


def _directions_that_drop(green: Green, distance: np.ndarray, to: np.ndarray) -> list[np.ndarray]:
    # The first and the last: of the lines over the middle and some way aside, drawn in.
    shares = np.linspace(1 - 1e-6, 0, 24) ** (1 / (1 - green.ratio))
    lines, _ = through_hole(green, distance[:, None], shares, slope_to_deg=to[:, None])
    lines = np.unwrap(lines, axis=1, period=360)
    aside = 4 * np.degrees(np.arcsin(np.minimum(HOLE_RADIUS_FT / distance, 1.0)))
    low, high = lines.min(axis=1) - aside, lines.max(axis=1) + aside
    wide = Lies(green, distance, to, low, high, ALL_DIRECTIONS)
    drops = (wide.rolls_ft[..., 1] > wide.rolls_ft[..., 0]).any(axis=-1)
    first, cell = np.argmax(drops, axis=1), wide.cell_deg[:, 0]
    last = ALL_DIRECTIONS - 1 - np.argmax(drops[:, ::-1], axis=1)
    return [low + cell * (first - 0.5), low + cell * (last + 1.5)]
