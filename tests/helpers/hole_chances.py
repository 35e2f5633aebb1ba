"""Chances of holing and of leaves of a golfer given by spreads, and the hole of other models."""

from dataclasses import dataclass

import numpy as np
import pytensor.tensor as pt

from putlab.base.settings import PAST_FT
from putlab.model.hole_chance import Hole, Scatter, event_chance, leave_strips, made_strips


@dataclass(frozen=True)
class PlainHole:
    """A hole of a width, that takes any ball which would roll a bounded way past it.

    As in Gelman (2019): the ball's whole width inside the hole's.
    """

    half_width_ft: float = (4.25 - 1.68) / 24
    shortest_ft: float = 0.0
    longest_ft: float = 3.0

    def drops_ft(self, along_ft, offset_ft):
        """Return the softest and the hardest roll-out that drop, as `Hole` does."""
        distance_ft = np.hypot(along_ft, offset_ft)
        return distance_ft + self.shortest_ft, distance_ft + self.longest_ft

    def widest_drop_ft(self, past_ft):
        """Return the offset at which a ball so hard just drops."""
        return np.where(np.asarray(past_ft) < self.longest_ft, self.half_width_ft, 0.0)


def made_chance(distance_ft, line_sd_deg, pace_sd_pct, *, hole=None, **options):
    """Return the chance that putts drop."""
    distance_ft = np.atleast_1d(np.asarray(distance_ft, dtype=float))
    strips = made_strips(distance_ft, hole or Hole())
    scatters = scatters_of(distance_ft, line_sd_deg, pace_sd_pct, **options)
    return event_chance(strips, *scatters, distance_ft.size)


def leave_chance(distance_ft, low_ft, high_ft, line_sd_deg, pace_sd_pct, *, hole=None, **options):
    """Return the chance that putts miss and come to rest between two distances."""
    distance_ft, low_ft, high_ft = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(v, dtype=float)) for v in (distance_ft, low_ft, high_ft))
    )
    strips = leave_strips(distance_ft, low_ft, high_ft, hole or Hole())
    scatters = scatters_of(distance_ft, line_sd_deg, pace_sd_pct, **options)
    return event_chance(strips, *scatters, distance_ft.size)


def scatters_of(
    distance_ft, line_sd_deg, pace_sd_pct, *, past_ft=PAST_FT, line_bias_deg=0.0, pace_bias_pct=0.0
):
    """Return how direction and roll-out scatter, from spreads in a golfer's units."""
    each = np.ones_like(distance_ft)

    def scatter(mean, sd):
        mean, sd = pt.as_tensor(mean * each), pt.as_tensor(sd * each)
        return Scatter(mean[:, None], sd[:, None], pt.ones((1, 1)))

    line, pace = scatter(line_bias_deg, line_sd_deg), scatter(pace_bias_pct, pace_sd_pct)
    target_ft = distance_ft + past_ft
    return line.in_unit(np.pi / 180), pace.in_unit(target_ft[:, None] / 100, 100)
