"""The chance of what a putt comes to, as one PyTensor expression of a golfer's spread.

An event (a putt drops, or comes to rest so far from the hole) is cut into strips: ranges of
direction and, for each direction, the roll-outs that lead to it. Roll-out is integrated in
closed form, direction by Gauss-Legendre quadrature. As in `putlab.green.flat` the weights of
a range are scaled to its exact probability, so that only the mean over a range carries error,
however narrow the spread.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.polynomial.legendre import leggauss

from putlab.base.late import gradient, pt
from putlab.base.settings import STIMP_FT
from putlab.green.flat import past_limit_ft, rim_ft
from putlab.green.published import HOLE_RADIUS_FT
from putlab.model.spread import interval_probability

# Gauss-Legendre directions in each range.
NODES = 6

# Where a hole's half-width is parted, as shares of it: putts of a steady pace stop dropping
# within a few hundredths of it, somewhere beyond the middle.
HOLE_PARTS = (0.0, 0.3, 0.55, 0.75, 0.9, 1.0)

# Directions beyond this are not putts at the hole.
WIDEST_RAD = np.radians(75.0)

# A roll-out that no putt reaches.
FAR_FT = 1e6

# From along and offset of each direction, shape (putts, ranges, nodes), to ends of roll-outs.
Rolls = Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]


@dataclass(frozen=True)
class Scatter:
    """How a component scatters over putts: a mixture of normals, ordinary putts and mishits."""

    mean: Any  # shape (events, kinds), as all three
    sd: Any
    share: Any

    def in_unit(self, factor: Any, start: float = 0.0) -> Scatter:
        """Return the scatter in another unit."""
        return Scatter((self.mean + start) * factor, self.sd * factor, self.share)

    def mirrored(self) -> Scatter:
        """Return the scatter of either side: density and chance of a value or its opposite."""
        mean = pt.concatenate([self.mean, -self.mean], axis=1)
        sd, share = (pt.concatenate([part, part], axis=1) for part in (self.sd, self.share))
        return Scatter(mean, sd, share)

    def at(self, event: Any) -> Scatter:
        """Return the scatter of each range's event."""
        parts = (self.mean, self.sd, self.share * pt.ones_like(self.sd))
        return Scatter(*(part[event][:, None] for part in parts))

    def shares(self, value: Any, weight: Any) -> Any:
        """Return how a range's probability is shared among its directions, shape (ranges, nodes).

        In logs, and from the likeliest down: where a range lies so many spreads away that every
        density of it is nought, the nearest direction holds it, and gradients stay finite.
        """
        z = (value[..., None] - self.mean) / self.sd
        log_density = pt.log(self.share / self.sd) - 0.5 * z**2
        top = log_density.max(axis=(1, 2), keepdims=True)
        parts = weight * pt.exp(log_density - gradient.disconnected_grad(top)).sum(axis=-1)
        return parts / parts.sum(axis=1, keepdims=True)

    def between(self, low: Any, high: Any) -> Any:
        """Return the probability of an interval."""
        low, high = (end[..., None] - self.mean for end in (low, high))
        return (self.share * interval_probability(low, high, self.sd)).sum(axis=-1)


def event_chance(strips: Strips, line: Scatter, pace: Scatter, events: Any) -> Any:
    """Return the chance of each event, of direction in radians and roll-out in feet."""
    line, pace = line.mirrored().at(strips.event), pace.at(strips.event)
    weight = line.shares(strips.line_rad, strips.weight)
    rolled = pace.between(strips.roll_ft[..., 0], strips.roll_ft[..., 1])
    started = line.between(strips.edge_rad[:, :1], strips.edge_rad[:, 1:])[:, 0]
    mean = (weight * rolled).sum(axis=1)
    return pt.zeros(events)[strips.event].inc(started * mean)


@dataclass(frozen=True)
class Hole:
    """The hole as it is: wide enough for the ball's centre, and slow enough to drop."""

    stimp_ft: Any = STIMP_FT  # or an array, one an event
    half_width_ft = HOLE_RADIUS_FT

    def drops_ft(self, along_ft: Any, offset_ft: Any) -> tuple[np.ndarray, np.ndarray]:
        """Return the softest and the hardest roll-out that drop."""
        stimp_ft: Any = np.asarray(self.stimp_ft, dtype=float)
        stimp_ft = stimp_ft.reshape(stimp_ft.shape + (1,) * (np.ndim(offset_ft) - stimp_ft.ndim))
        return along_ft - rim_ft(offset_ft), along_ft + past_limit_ft(offset_ft, stimp_ft)

    def widest_drop_ft(self, past_ft: np.ndarray) -> np.ndarray:
        """Return the offset at which a ball so hard just drops."""
        share = past_ft / past_limit_ft(0.0, self.stimp_ft)
        return HOLE_RADIUS_FT * np.sqrt(1 - np.sqrt(np.clip(share, 0, 1)))


@dataclass(frozen=True)
class Strips:
    """Ranges of direction and the roll-outs that lead to each of several events."""

    event: Any  # shape (ranges,)
    edge_rad: Any  # shape (ranges, 2)
    line_rad: Any  # shape (ranges, nodes)
    weight: Any  # shape (ranges, nodes)
    roll_ft: Any  # shape (ranges, nodes, 2)

    @classmethod
    def join(cls, parts: list[Strips]) -> Strips:
        """Return several strips as one; each part's events keep their numbers."""
        names = cls.__dataclass_fields__
        joined = [np.concatenate([getattr(part, name) for part in parts]) for name in names]
        # Rounding leaves hairs of ranges: a billionth of a radian holds nothing.
        kept = np.diff(joined[1], axis=1)[:, 0] > 1e-9
        kept &= np.any(joined[4][..., 1] > joined[4][..., 0], axis=1)
        return cls(*(column[kept] for column in joined))


def made_strips(distance_ft: np.ndarray, hole: Hole) -> Strips:
    """Return the strips of putts that drop, an event a putt."""
    edges = np.multiply.outer(np.array(HOLE_PARTS), np.full(distance_ft.shape, 1.0))
    return _strips(distance_ft, edges * hole.half_width_ft, hole.drops_ft)


def leave_strips(
    distance_ft: np.ndarray, low_ft: np.ndarray, high_ft: np.ndarray, hole: Hole
) -> Strips:
    """Return the strips of misses that come to rest between two distances from the hole."""
    low = np.maximum(low_ft, hole.half_width_ft)
    zero = np.zeros_like(low)
    turns = [np.minimum(hole.widest_drop_ft(left), low) for left in (high_ft, low_ft)]

    def short(along: np.ndarray, offset: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        softest, _ = _drops(hole, along, offset)
        stop = [along - _chord(left, offset) for left in (high_ft, low_ft)]
        # A ball that does not move at all is the softest there is.
        start = np.where(stop[0] <= 1e-9, -FAR_FT, np.minimum(stop[0], softest))
        return start, np.minimum(stop[1], softest)

    def past(along: np.ndarray, offset: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        _, hardest = _drops(hole, along, offset)
        stop = [np.maximum(along + _chord(left, offset), hardest) for left in (low_ft, high_ft)]
        return stop[0], stop[1]

    def beside(along: np.ndarray, offset: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return along - _chord(high_ft, offset), along + _chord(high_ft, offset)

    # Softer balls drop within the first turn, harder ones miss beyond the second.
    edges = [*turns, np.maximum(turns[1], np.minimum(low, 2 * hole.half_width_ft)), low]
    pieces = {short: [zero, low], past: edges, beside: [low, high_ft]}
    return Strips.join([_strips(distance_ft, np.array(e), rolls) for rolls, e in pieces.items()])


def _strips(distance_ft: np.ndarray, edges_ft: np.ndarray, rolls_ft: Rolls) -> Strips:
    """Lay out ranges between rising offsets, shape (edges, putts)."""
    share = np.minimum(edges_ft / distance_ft, 1.0)
    edge = np.minimum(np.arcsin(share), WIDEST_RAD)
    x, w = leggauss(NODES)
    low, high = edge[:-1].T, np.maximum(edge[1:], edge[:-1]).T
    middle, half = (low + high) / 2, (high - low) / 2
    line = middle[..., None] + half[..., None] * x
    distance = distance_ft[:, None, None]
    bounds = rolls_ft(distance * np.cos(line), distance * np.sin(line))
    return Strips(
        np.repeat(np.arange(distance_ft.size), len(edge) - 1),
        np.stack([low, high], axis=-1).reshape(-1, 2),
        line.reshape(-1, NODES),
        (half[..., None] * w).reshape(-1, NODES),
        np.stack(bounds, axis=-1).reshape(-1, NODES, 2),
    )


def _chord(left_ft: np.ndarray, offset_ft: np.ndarray) -> np.ndarray:
    """Return how far from the closest approach a ball this far from the hole stops."""
    left = left_ft.reshape(-1, *(1,) * (offset_ft.ndim - 1))
    return np.sqrt(np.maximum(left**2 - offset_ft**2, 0.0))


def _drops(hole: Hole, along: np.ndarray, offset: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the roll-outs that drop, which past the hole's edge are none."""
    inside = offset < hole.half_width_ft
    softest, hardest = hole.drops_ft(along, np.where(inside, offset, 0.0))
    return np.where(inside, softest, along), np.where(inside, hardest, along)
