"""A plane green: its speed, its slope, and whether a ball comes to rest on it."""

from dataclasses import dataclass

import numpy as np

from putlab.errors import PutlabError, UsageError
from putlab.flat_green.flat import deceleration_ft_s2
from putlab.settings import STIMP_FT

# Standard gravity, 9.80665 m/s² (3rd General Conference on Weights and Measures, 1901).
GRAVITY_FT_S2 = 9.80665 / 0.3048


class NeverStops(PutlabError):
    """The slope is steeper than this green can hold a ball on."""


@dataclass(frozen=True)
class Green:
    """A plane green: how fast it is and how steep.

    Attributes
    ----------
    stimp_ft : float
        Green speed: roll-out in feet from a Stimpmeter on the flat.
    slope_pct : float
        Steepness of the plane, 100 × tangent of its angle, at least 0.

    Raises
    ------
    UsageError
        The green speed is not above 0 or the slope is below 0, or either is not finite.
    """

    stimp_ft: float = STIMP_FT
    slope_pct: float = 0.0

    def __post_init__(self):
        """Refuse what is not a green."""
        if not (np.isfinite(self.stimp_ft) and self.stimp_ft > 0):
            raise UsageError(
                f"green speed: got {self.stimp_ft:g} ft; expected a Stimpmeter reading above 0."
            )
        if not (np.isfinite(self.slope_pct) and self.slope_pct >= 0):
            raise UsageError(
                f"slope: got {self.slope_pct:g} %; expected 0 or more. Which way it falls is "
                "given by slope_to_deg (0 downhill, 90 to the right, 180 uphill)."
            )

    @property
    def deceleration_ft_s2(self):
        """Slowing by rolling friction, a, in ft/s²."""
        return deceleration_ft_s2(self.stimp_ft)

    @property
    def pull_ft_s2(self):
        """Gravity's pull down the slope on a rolling ball, b, in ft/s²."""
        return 5 / 7 * GRAVITY_FT_S2 * np.sin(np.arctan(self.slope_pct / 100))

    @property
    def holds(self):
        """Whether a ball comes to rest on it."""
        return bool(self.pull_ft_s2 < self.deceleration_ft_s2)

    @property
    def ratio(self):
        """Pull over friction, β, below 1; raises `NeverStops` where it is not."""
        if not self.holds:
            sine = self.deceleration_ft_s2 / (5 / 7 * GRAVITY_FT_S2)
            steepest = f"{100 * np.tan(np.arcsin(sine)):.2f} %" if sine < 1 else "any slope"
            raise NeverStops(
                f"a slope of {self.slope_pct:g} % at a green speed of {self.stimp_ft:g} ft: "
                f"the ball would not stop. This green holds a ball on less than {steepest}; "
                "give a gentler slope or a slower green."
            )
        return self.pull_ft_s2 / self.deceleration_ft_s2

    def start_speed_ft_s(self, roll_flat_ft):
        """Return the speed that on the flat rolls a given distance.

        Parameters
        ----------
        roll_flat_ft : array_like
            Flat roll-out in feet, at least 0.

        Returns
        -------
        ndarray
            Speed in ft/s, same shape.
        """
        return np.sqrt(2 * self.deceleration_ft_s2 * np.asarray(roll_flat_ft, dtype=float))
