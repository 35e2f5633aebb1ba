"""The chance of what a putt comes to, as one PyTensor expression of a golfer's spread.

For each direction of a strip the roll-out is integrated in closed form; over directions by
Gauss-Legendre quadrature. As in `putlab.flat_green.strike` the weights of a range are
scaled to its exact probability, so that only the mean over a range carries error, however
narrow the spread.
"""

from dataclasses import dataclass

import numpy as np
import pytensor.tensor as pt

from putlab.made_missed.strips import PhysicalHole, leave_strips, made_strips
from putlab.settings import PAST_FT
from putlab.spread import interval_probability

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
    strips : putlab.made_missed.strips.Strips
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
