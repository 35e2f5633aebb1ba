"""The chance of what a putt comes to, as one PyTensor expression of a golfer's spread.

For each direction of a strip the roll-out is integrated in closed form; over directions by
Gauss-Legendre quadrature. As in `putlab.green.flat` the weights of a range are
scaled to its exact probability, so that only the mean over a range carries error, however
narrow the spread.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytensor.tensor as pt
from numpy.polynomial.legendre import leggauss
from numpy.typing import ArrayLike

from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.green.flat import past_limit_ft, rim_ft
from putlab.green.published import HOLE_RADIUS_FT
from putlab.model.spread import interval_probability

# Keeps a range without probability from dividing by nought.
TINY = 1e-290


@dataclass(frozen=True)
class Scatter:
    """How a component scatters over putts: a mixture of normals, ordinary putts and mishits."""

    mean: Any
    sd: Any
    share: Any

    @classmethod
    def of(cls, mean: Any, sd: Any) -> Any:
        """Return the scatter of putts of one kind."""
        mean, sd = pt.as_tensor(mean), pt.as_tensor(sd)
        return cls(mean[:, None], sd[:, None], pt.ones((1, 1)))

    def in_unit(self, factor: Any, start: float = 0.0) -> Any:
        """Return the scatter in another unit."""
        return Scatter((self.mean + start) * factor, self.sd * factor, self.share)

    def mirrored(self) -> Any:
        """Return the scatter of either side: density and chance of a value or its opposite."""
        mean = pt.concatenate([self.mean, -self.mean], axis=1)
        sd, share = (pt.concatenate([part, part], axis=1) for part in (self.sd, self.share))
        return Scatter(mean, sd, share)

    def at(self, event: Any) -> Any:
        """Return the scatter of each range's event."""
        parts = (self.mean, self.sd, self.share * pt.ones_like(self.sd))
        return Scatter(*(part[event][:, None] for part in parts))

    def density(self, value: Any) -> Any:
        """Return the probability density, but for a constant factor."""
        z = (value[..., None] - self.mean) / self.sd
        return (self.share / self.sd * pt.exp(-0.5 * z**2)).sum(axis=-1)

    def between(self, low: Any, high: Any) -> Any:
        """Return the probability of an interval."""
        ends = {"lo": low[..., None], "hi": high[..., None]}
        return (self.share * interval_probability(ends, self.mean, self.sd)).sum(axis=-1)


def event_chance(strips: Strips, line: Scatter, pace: Scatter, events: Any) -> Any:
    """Return the chance of each event."""
    line, pace = line.mirrored().at(strips.event), pace.at(strips.event)
    weight = strips.weight * line.density(strips.line_rad)
    rolled = pace.between(strips.roll_ft[..., 0], strips.roll_ft[..., 1])
    started = line.between(strips.edge_rad[:, :1], strips.edge_rad[:, 1:])[:, 0]
    mean = (weight * rolled).sum(axis=1) / (weight.sum(axis=1) + TINY)
    return pt.zeros(events)[strips.event].inc(started * mean)


def made_chance(
    distance_ft: ArrayLike,
    line_sd_deg: Any,
    pace_sd_pct: Any,
    *,
    hole: PhysicalHole | PlainHole | None = None,
    past_ft: float = PAST_FT,
    **biases: Any,
) -> Any:
    """Return the chance that putts drop."""
    distance_ft = np.atleast_1d(np.asarray(distance_ft, dtype=float))
    strips = made_strips(distance_ft, hole or PhysicalHole())
    scatters = scatters_of(distance_ft, line_sd_deg, pace_sd_pct, past_ft=past_ft, **biases)
    return event_chance(strips, *scatters, distance_ft.size)


def leave_chance(
    distance_ft: ArrayLike,
    low_ft: ArrayLike,
    high_ft: ArrayLike,
    line_sd_deg: Any,
    pace_sd_pct: Any,
    *,
    hole: Any = None,
    past_ft: float = PAST_FT,
    **biases: Any,
) -> Any:
    """Return the chance that putts miss and come to rest between two distances."""
    distance_ft, low_ft, high_ft = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(v, dtype=float)) for v in (distance_ft, low_ft, high_ft))
    )
    strips = leave_strips(distance_ft, low_ft, high_ft, hole or PhysicalHole())
    scatters = scatters_of(distance_ft, line_sd_deg, pace_sd_pct, past_ft=past_ft, **biases)
    return event_chance(strips, *scatters, distance_ft.size)


def scatters_of(
    distance_ft: np.ndarray,
    line_sd_deg: Any,
    pace_sd_pct: Any,
    *,
    past_ft: float,
    line_bias_deg: Any = 0.0,
    pace_bias_pct: Any = 0.0,
) -> Any:
    """Return how direction and roll-out scatter, from spreads in a golfer's units."""
    each = np.ones_like(distance_ft)
    target_ft = distance_ft + past_ft
    line = Scatter.of(line_bias_deg * each, line_sd_deg * each)
    pace = Scatter.of(pace_bias_pct * each, pace_sd_pct * each)
    return line.in_unit(np.pi / 180), pace.in_unit(target_ft[:, None] / 100, 100)


# What a putt comes to, as strips: a few start directions, and the roll-outs that do it.


# Gauss-Legendre directions in each range.
NODES = 6

# Where a hole's half-width is parted, as shares of it: putts of a steady pace stop dropping
# within a few hundredths of it, somewhere beyond the middle.
HOLE_PARTS = (0.0, 0.3, 0.55, 0.75, 0.9, 1.0)

# Directions beyond this are not putts at the hole.
WIDEST_RAD = np.radians(75.0)

# A roll-out that no putt reaches.
FAR_FT = 1e6


@dataclass(frozen=True)
class PhysicalHole:
    """The hole as it is: wide enough for the ball's centre, and slow enough to drop."""

    stimp_ft: float | np.ndarray = STIMP_FT
    half_width_ft = HOLE_RADIUS_FT

    def drops_ft(self, along_ft: np.ndarray, offset_ft: np.ndarray) -> Any:
        """Return the softest and the hardest roll-out that drop."""
        stimp_ft = self._like(offset_ft)
        return along_ft - rim_ft(offset_ft), along_ft + past_limit_ft(offset_ft, stimp_ft)

    def widest_drop_ft(self, past_ft: np.ndarray) -> Any:
        """Return the offset at which a ball so hard just drops."""
        share = np.asarray(past_ft) / past_limit_ft(0.0, self.stimp_ft)
        return HOLE_RADIUS_FT * np.sqrt(1 - np.sqrt(np.clip(share, 0, 1)))

    def _like(self, values: Any) -> Any:
        stimp_ft = np.asarray(self.stimp_ft, dtype=float)
        return stimp_ft.reshape(stimp_ft.shape + (1,) * (np.ndim(values) - stimp_ft.ndim))


@dataclass(frozen=True)
class PlainHole:
    """A hole of a width, that takes any ball which would roll a bounded way past it."""

    half_width_ft: float = HOLE_RADIUS_FT - 1.68 / 24
    shortest_ft: float = 0.0
    longest_ft: float = 3.0

    def drops_ft(self, along_ft: np.ndarray, offset_ft: np.ndarray) -> Any:
        """Return the softest and the hardest roll-out that drop, as `PhysicalHole` does."""
        distance_ft = np.hypot(along_ft, offset_ft)
        return distance_ft + self.shortest_ft, distance_ft + self.longest_ft

    def widest_drop_ft(self, past_ft: np.ndarray) -> Any:
        """Return the offset at which a ball so hard just drops."""
        return np.where(np.asarray(past_ft) < self.longest_ft, self.half_width_ft, 0.0)


@dataclass(frozen=True)
class Strips:
    """Ranges of direction and the roll-outs that lead to each of several events."""

    event: np.ndarray
    edge_rad: np.ndarray
    line_rad: np.ndarray
    weight: np.ndarray
    roll_ft: np.ndarray

    @classmethod
    def join(cls, parts: list[Strips]) -> Any:
        """Return several strips as one; each part's events keep their numbers."""
        names = cls.__dataclass_fields__
        joined = [np.concatenate([getattr(part, name) for part in parts]) for name in names]
        # Rounding leaves hairs of ranges: a billionth of a radian holds nothing.
        kept = np.diff(joined[1], axis=1)[:, 0] > 1e-9
        kept &= np.any(joined[4][..., 1] > joined[4][..., 0], axis=1)
        return cls(*(column[kept] for column in joined))


def made_strips(
    distance_ft: np.ndarray, hole: PhysicalHole | PlainHole, *, first_event: int = 0
) -> Any:
    """Return the strips of putts that drop."""
    distance_ft = np.asarray(distance_ft, dtype=float)
    edges = np.multiply.outer(np.array(HOLE_PARTS), np.full(distance_ft.shape, 1.0))
    return _strips(distance_ft, edges * hole.half_width_ft, hole.drops_ft, first_event)


def leave_strips(
    distance_ft: np.ndarray,
    low_ft: np.ndarray,
    high_ft: np.ndarray,
    hole: PhysicalHole | PlainHole,
    *,
    first_event: int = 0,
) -> Any:
    """Return the strips of misses that come to rest between two distances from the hole."""
    distance_ft, low_ft, high_ft = (
        np.asarray(values, dtype=float) for values in (distance_ft, low_ft, high_ft)
    )
    low = np.maximum(low_ft, hole.half_width_ft)
    zero = np.zeros_like(low)
    turns = [np.minimum(hole.widest_drop_ft(left), low) for left in (high_ft, low_ft)]
    past = _past(low_ft, high_ft, hole)
    pieces = [
        ([zero, low], _short(low_ft, high_ft, hole)),
        # Softer balls drop within the first turn, harder ones miss beyond the second.
        ([*turns, np.maximum(turns[1], np.minimum(low, 2 * hole.half_width_ft)), low], past),
        ([low, high_ft], _beside(high_ft)),
    ]
    parts = [_strips(distance_ft, np.array(edges), rolls, first_event) for edges, rolls in pieces]
    return Strips.join(parts)


def _strips(distance_ft: Any, edges_ft: Any, rolls_ft: Any, first_event: Any) -> Strips:
    """Lay out ranges between rising offsets, shape (edges, putts)."""
    share = np.minimum(edges_ft / distance_ft, 1.0)
    edge = np.minimum(np.arcsin(share), WIDEST_RAD)
    x, w = leggauss(NODES)
    ranges, putts = len(edge) - 1, distance_ft.size
    low, high = edge[:-1].T, np.maximum(edge[1:], edge[:-1]).T
    middle, half = (low + high) / 2, (high - low) / 2
    line = middle[..., None] + half[..., None] * x
    distance = distance_ft[:, None, None]
    bounds = rolls_ft(distance * np.cos(line), distance * np.sin(line))
    return Strips(
        np.repeat(first_event + np.arange(putts), ranges),
        np.stack([low, high], axis=-1).reshape(-1, 2),
        line.reshape(-1, NODES),
        (half[..., None] * w).reshape(-1, NODES),
        np.stack(bounds, axis=-1).reshape(-1, NODES, 2),
    )


def _chord(left_ft: Any, offset_ft: Any) -> np.ndarray:
    """Return how far from the closest approach a ball this far from the hole stops."""
    left = left_ft.reshape(-1, *(1,) * (offset_ft.ndim - 1))
    return np.sqrt(np.maximum(left**2 - offset_ft**2, 0.0))


def _short(low_ft: Any, high_ft: Any, hole: Any) -> Any:
    """Return the roll-outs that stop before the hole, between two distances from it."""

    def rolls(along: Any, offset: Any) -> tuple:
        softest, _ = _drops(hole, along, offset)
        stop = [along - _chord(left, offset) for left in (high_ft, low_ft)]
        # A ball that does not move at all is the softest there is.
        start = np.where(stop[0] <= 1e-9, -FAR_FT, np.minimum(stop[0], softest))
        return start, np.minimum(stop[1], softest)

    return rolls


def _past(low_ft: Any, high_ft: Any, hole: Any) -> Any:
    """Return the roll-outs that stop past the hole, between two distances from it."""

    def rolls(along: Any, offset: Any) -> tuple:
        _, hardest = _drops(hole, along, offset)
        return tuple(
            np.maximum(along + _chord(left, offset), hardest) for left in (low_ft, high_ft)
        )

    return rolls


def _beside(high_ft: Any) -> Any:
    """Return the roll-outs that stop within a distance of the hole, short of it or past."""

    def rolls(along: Any, offset: Any) -> tuple:
        return along - _chord(high_ft, offset), along + _chord(high_ft, offset)

    return rolls


def _drops(hole: Any, along: Any, offset: Any) -> tuple:
    """Return the roll-outs that drop, which past the hole's edge are none."""
    inside = offset < hole.half_width_ft
    softest, hardest = hole.drops_ft(along, np.where(inside, offset, 0.0))
    return np.where(inside, softest, along), np.where(inside, hardest, along)
