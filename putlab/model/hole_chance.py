"""The chance of what a putt comes to, as one PyTensor expression of a golfer's spread.

For each direction of a strip the roll-out is integrated in closed form; over directions by
Gauss-Legendre quadrature. As in `putlab.green.strike` the weights of a range are
scaled to its exact probability, so that only the mean over a range carries error, however
narrow the spread.
"""

from dataclasses import dataclass

import numpy as np
import pytensor.tensor as pt
from numpy.polynomial.legendre import leggauss

from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.green.published import HOLE_RADIUS_FT
from putlab.green.strike import past_limit_ft, rim_ft
from putlab.model.spread import interval_probability

# Keeps a range without probability from dividing by nought.
TINY = 1e-290


@dataclass(frozen=True)
class Scatter:
    """How a component scatters over putts: a mixture of normals, ordinary putts and mishits.

    Attributes
    ----------
    mean, sd, share : tensor, shape (events, kinds)
        Mean, standard deviation and share of each kind of putt: direction in radians, or
        roll-out in feet.
    """

    mean: object
    sd: object
    share: object

    @classmethod
    def of(cls, mean, sd):
        """Return the scatter of putts of one kind.

        Parameters
        ----------
        mean, sd : tensor, shape (events,)
            Mean and standard deviation.

        Returns
        -------
        Scatter
            Of one kind.
        """
        mean, sd = pt.as_tensor(mean), pt.as_tensor(sd)
        return cls(mean[:, None], sd[:, None], pt.ones((1, 1)))

    def in_unit(self, factor, start=0.0):
        """Return the scatter in another unit.

        Parameters
        ----------
        factor : float or tensor, shape (events, 1)
            The old unit in the new.
        start : float
            Where the new unit begins to count, in the old.

        Returns
        -------
        Scatter
            Of (value + start) times the factor.
        """
        return Scatter((self.mean + start) * factor, self.sd * factor, self.share)

    def mirrored(self):
        """Return the scatter of either side: density and chance of a value or its opposite.

        Returns
        -------
        Scatter
            With each kind once more, about the opposite mean.
        """
        mean = pt.concatenate([self.mean, -self.mean], axis=1)
        sd, share = (pt.concatenate([part, part], axis=1) for part in (self.sd, self.share))
        return Scatter(mean, sd, share)

    def at(self, event):
        """Return the scatter of each range's event.

        Parameters
        ----------
        event : tensor of int, shape (ranges,)
            Event of each range.

        Returns
        -------
        Scatter
            Values of shape (ranges, 1, kinds).
        """
        parts = (self.mean, self.sd, self.share * pt.ones_like(self.sd))
        return Scatter(*(part[event][:, None] for part in parts))

    def density(self, value):
        """Return the probability density, but for a constant factor.

        Parameters
        ----------
        value : tensor, shape (ranges, nodes)
            Where.

        Returns
        -------
        tensor, shape (ranges, nodes)
            Density.
        """
        z = (value[..., None] - self.mean) / self.sd
        return (self.share / self.sd * pt.exp(-0.5 * z**2)).sum(axis=-1)

    def between(self, low, high):
        """Return the probability of an interval.

        Parameters
        ----------
        low, high : tensor, shape (ranges, nodes)
            Its ends.

        Returns
        -------
        tensor, shape (ranges, nodes)
            Probability.
        """
        ends = {"lo": low[..., None], "hi": high[..., None]}
        return (self.share * interval_probability(ends, self.mean, self.sd)).sum(axis=-1)


def event_chance(strips, line, pace, events):
    """Return the chance of each event.

    Parameters
    ----------
    strips : putlab.model.hole_chance.Strips
        Ranges of direction and roll-outs, as arrays or tensors.
    line : Scatter
        Direction of each event's putt, in radians.
    pace : Scatter
        Its roll-out, in feet.
    events : int or tensor
        Number of events.

    Returns
    -------
    tensor, shape (events,)
        Chances.
    """
    line, pace = line.mirrored().at(strips.event), pace.at(strips.event)
    weight = strips.weight * line.density(strips.line_rad)
    rolled = pace.between(strips.roll_ft[..., 0], strips.roll_ft[..., 1])
    started = line.between(strips.edge_rad[:, :1], strips.edge_rad[:, 1:])[:, 0]
    mean = (weight * rolled).sum(axis=1) / (weight.sum(axis=1) + TINY)
    return pt.zeros(events)[strips.event].inc(started * mean)


def made_chance(distance_ft, line_sd_deg, pace_sd_pct, *, hole=None, past_ft=PAST_FT, **biases):
    """Return the chance that putts drop.

    Parameters
    ----------
    distance_ft : array_like, shape (putts,)
        Distance to the hole's centre, in feet.
    line_sd_deg, pace_sd_pct : float or tensor, alone or of shape (putts,)
        Spread of direction in degrees, of roll-out in percent of the target.
    hole : PhysicalHole or PlainHole, optional
        What the hole takes; default: the physical one on a green of ordinary pace.
    past_ft : float
        How far past the hole the golfer aims to roll the ball.
    **biases
        ``line_bias_deg`` and ``pace_bias_pct``, as the spreads; 0 unless given.

    Returns
    -------
    tensor, shape (putts,)
        Chances; ``.eval()`` gives numbers.

    Examples
    --------
    >>> chances = made_chance([3.0, 8.0], 1.4, 9.0)  # doctest: +SKIP
    >>> chances.eval().round(2)  # doctest: +SKIP
    array([0.97, 0.58])
    """
    distance_ft = np.atleast_1d(np.asarray(distance_ft, dtype=float))
    strips = made_strips(distance_ft, hole or PhysicalHole())
    scatters = scatters_of(distance_ft, line_sd_deg, pace_sd_pct, past_ft=past_ft, **biases)
    return event_chance(strips, *scatters, distance_ft.size)


def leave_chance(
    distance_ft,
    low_ft,
    high_ft,
    line_sd_deg,
    pace_sd_pct,
    *,
    hole=None,
    past_ft=PAST_FT,
    **biases,
):
    """Return the chance that putts miss and come to rest between two distances.

    Parameters
    ----------
    distance_ft : array_like, shape (putts,)
        Distance to the hole's centre, in feet.
    low_ft, high_ft : array_like, shape (putts,)
        Least and greatest distance left, in feet.
    line_sd_deg, pace_sd_pct : float or tensor, alone or of shape (putts,)
        Spread of direction in degrees, of roll-out in percent of the target.
    hole, past_ft, **biases
        As in `made_chance`.

    Returns
    -------
    tensor, shape (putts,)
        Chances.
    """
    distance_ft, low_ft, high_ft = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(v, dtype=float)) for v in (distance_ft, low_ft, high_ft))
    )
    strips = leave_strips(distance_ft, low_ft, high_ft, hole or PhysicalHole())
    scatters = scatters_of(distance_ft, line_sd_deg, pace_sd_pct, past_ft=past_ft, **biases)
    return event_chance(strips, *scatters, distance_ft.size)


def scatters_of(
    distance_ft, line_sd_deg, pace_sd_pct, *, past_ft, line_bias_deg=0.0, pace_bias_pct=0.0
):
    """Return how direction and roll-out scatter, from spreads in a golfer's units.

    Parameters
    ----------
    distance_ft : ndarray, shape (putts,)
        Distance to the hole's centre, in feet.
    line_sd_deg, pace_sd_pct, line_bias_deg, pace_bias_pct : float or tensor
        Spread and mean error of direction, and of roll-out in percent of the target.
    past_ft : float
        How far past the hole the target is.

    Returns
    -------
    tuple of Scatter
        Direction in radians, roll-out in feet.
    """
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
    """The hole as it is: wide enough for the ball's centre, and slow enough to drop.

    Attributes
    ----------
    stimp_ft : float or ndarray, shape (putts,)
        Green speed in feet, of each putt or of all.
    """

    stimp_ft: float | np.ndarray = STIMP_FT
    half_width_ft = HOLE_RADIUS_FT

    def drops_ft(self, along_ft, offset_ft):
        """Return the softest and the hardest roll-out that drop.

        Parameters
        ----------
        along_ft : ndarray, shape (putts, ...)
            Distance along the line to its closest approach to the hole's centre.
        offset_ft : ndarray, shape (putts, ...)
            How far that is from the centre, less than `half_width_ft`.

        Returns
        -------
        tuple of ndarray
            Roll-outs in feet (Holmes 1991, Penner 2002).
        """
        stimp_ft = self._like(offset_ft)
        return along_ft - rim_ft(offset_ft), along_ft + past_limit_ft(offset_ft, stimp_ft)

    def widest_drop_ft(self, past_ft):
        """Return the offset at which a ball so hard just drops.

        Parameters
        ----------
        past_ft : ndarray, shape (putts,)
            How far past the hole it would have come to rest.

        Returns
        -------
        ndarray, shape (putts,)
            Feet from the hole's centre; 0 where it never drops.
        """
        share = np.asarray(past_ft) / past_limit_ft(0.0, self.stimp_ft)
        return HOLE_RADIUS_FT * np.sqrt(1 - np.sqrt(np.clip(share, 0, 1)))

    def _like(self, values):
        stimp_ft = np.asarray(self.stimp_ft, dtype=float)
        return stimp_ft.reshape(stimp_ft.shape + (1,) * (np.ndim(values) - stimp_ft.ndim))


@dataclass(frozen=True)
class PlainHole:
    """A hole of a width, that takes any ball which would roll a bounded way past it.

    The stated assumption of published models: A. Gelman and D. Nolan (2002) for direction
    alone, where every ball in line drops; Gelman (2019) for direction and distance, where it
    drops if it would roll 0 to 3 ft past. Both count only a ball whose whole width is inside.

    Attributes
    ----------
    half_width_ft : float
        Greatest offset that drops.
    shortest_ft, longest_ft : float
        Roll-out less distance between which it drops.
    """

    half_width_ft: float = HOLE_RADIUS_FT - 1.68 / 24
    shortest_ft: float = 0.0
    longest_ft: float = 3.0

    def drops_ft(self, along_ft, offset_ft):
        """Return the softest and the hardest roll-out that drop, as `PhysicalHole` does.

        Parameters
        ----------
        along_ft, offset_ft : ndarray, shape (putts, ...)
            Closest approach.

        Returns
        -------
        tuple of ndarray
            Roll-outs in feet; they count from the hole's distance, not the closest approach.
        """
        distance_ft = np.hypot(along_ft, offset_ft)
        return distance_ft + self.shortest_ft, distance_ft + self.longest_ft

    def widest_drop_ft(self, past_ft):
        """Return the offset at which a ball so hard just drops.

        Parameters
        ----------
        past_ft : ndarray, shape (putts,)
            How far past the hole it would have come to rest.

        Returns
        -------
        ndarray, shape (putts,)
            The hole's half-width, or 0 for a ball too hard.
        """
        return np.where(np.asarray(past_ft) < self.longest_ft, self.half_width_ft, 0.0)


@dataclass(frozen=True)
class Strips:
    """Ranges of direction and the roll-outs that lead to each of several events.

    Attributes
    ----------
    event : ndarray of int, shape (ranges,)
        The event that a range belongs to.
    edge_rad : ndarray, shape (ranges, 2)
        Where the range begins and ends, as angle from the line to the hole's centre, either
        side.
    line_rad, weight : ndarray, shape (ranges, nodes)
        Directions inside it and their Gauss-Legendre weights.
    roll_ft : ndarray, shape (ranges, nodes, 2)
        Bounds of the roll-out for each direction.
    """

    event: np.ndarray
    edge_rad: np.ndarray
    line_rad: np.ndarray
    weight: np.ndarray
    roll_ft: np.ndarray

    @classmethod
    def join(cls, parts):
        """Return several strips as one; each part's events keep their numbers.

        Parameters
        ----------
        parts : list of Strips
            Strips.

        Returns
        -------
        Strips
            Ranges that hold no putt are left out.
        """
        names = cls.__dataclass_fields__
        joined = [np.concatenate([getattr(part, name) for part in parts]) for name in names]
        # Rounding leaves hairs of ranges: a billionth of a radian holds nothing.
        kept = np.diff(joined[1], axis=1)[:, 0] > 1e-9
        kept &= np.any(joined[4][..., 1] > joined[4][..., 0], axis=1)
        return cls(*(column[kept] for column in joined))


def made_strips(distance_ft, hole, *, first_event=0):
    """Return the strips of putts that drop.

    Parameters
    ----------
    distance_ft : ndarray, shape (putts,)
        Distance to the hole's centre, in feet; from inside the hole's radius every direction
        is at the hole.
    hole : PhysicalHole or PlainHole
        What it takes.
    first_event : int
        Number of the first putt's event.

    Returns
    -------
    Strips
        An event a putt, in order.
    """
    distance_ft = np.asarray(distance_ft, dtype=float)
    edges = np.multiply.outer(np.array(HOLE_PARTS), np.full(distance_ft.shape, 1.0))
    return _strips(distance_ft, edges * hole.half_width_ft, hole.drops_ft, first_event)


def leave_strips(distance_ft, low_ft, high_ft, hole, *, first_event=0):
    """Return the strips of misses that come to rest between two distances from the hole.

    Parameters
    ----------
    distance_ft : ndarray, shape (putts,)
        Length of the putt in feet.
    low_ft, high_ft : ndarray, shape (putts,)
        Least and greatest distance left.
    hole : PhysicalHole or PlainHole
        What it takes.
    first_event : int
        Number of the first putt's event.

    Returns
    -------
    Strips
        An event a putt, in order; nothing is left inside the hole.
    """
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


def _strips(distance_ft, edges_ft, rolls_ft, first_event):
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


def _chord(left_ft, offset_ft):
    """Return how far from the closest approach a ball this far from the hole stops."""
    left = left_ft.reshape(-1, *(1,) * (offset_ft.ndim - 1))
    return np.sqrt(np.maximum(left**2 - offset_ft**2, 0.0))


def _short(low_ft, high_ft, hole):
    """Return the roll-outs that stop before the hole, between two distances from it."""

    def rolls(along, offset):
        softest, _ = _drops(hole, along, offset)
        stop = [along - _chord(left, offset) for left in (high_ft, low_ft)]
        # A ball that does not move at all is the softest there is.
        start = np.where(stop[0] <= 1e-9, -FAR_FT, np.minimum(stop[0], softest))
        return start, np.minimum(stop[1], softest)

    return rolls


def _past(low_ft, high_ft, hole):
    """Return the roll-outs that stop past the hole, between two distances from it."""

    def rolls(along, offset):
        _, hardest = _drops(hole, along, offset)
        return tuple(
            np.maximum(along + _chord(left, offset), hardest) for left in (low_ft, high_ft)
        )

    return rolls


def _beside(high_ft):
    """Return the roll-outs that stop within a distance of the hole, short of it or past."""

    def rolls(along, offset):
        return along - _chord(high_ft, offset), along + _chord(high_ft, offset)

    return rolls


def _drops(hole, along, offset):
    """Return the roll-outs that drop, which past the hole's edge are none."""
    inside = offset < hole.half_width_ft
    softest, hardest = hole.drops_ft(along, np.where(inside, offset, 0.0))
    return np.where(inside, softest, along), np.where(inside, hardest, along)
