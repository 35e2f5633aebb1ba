"""Where to start a putt, and how hard, so that it runs over the middle of the hole.

For every pace there is one line that does. Firm putts take a line near the hole, soft ones a
higher one. The line is found for a place on the course (see `putlab.green.roll`): the start
direction for which the ball, with a share q of its speed across the slope left, lies in the
hole's direction; the pace then follows from the distance.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize.elementwise import find_root

from putlab.base.errors import PutlabError, UsageError
from putlab.base.settings import STIMP_FT
from putlab.green.roll import displacement, velocity
from putlab.green.strike import deceleration_ft_s2

# A plane green: its speed, its slope, and whether a ball comes to rest on it.


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


# Where to aim on it.

# Half a bracket, in radians, around directions that may be roots themselves.
NUDGE = 1e-9


def through_hole(green, distance_ft, share, *, slope_to_deg=0.0):
    """Return the line and pace that pass the hole's centre at a place on the course.

    Parameters
    ----------
    green : Green
        Its speed and slope.
    distance_ft : array_like
        Distance from ball to hole, in feet.
    share : array_like
        Speed across the slope at the hole, as a share of its start: 0 dies in the hole.
    slope_to_deg : array_like
        Direction of downhill, degrees clockwise from the line ball to hole.

    Returns
    -------
    line_deg, roll_flat_ft : ndarray
        Start direction from the line ball to hole, + right, and flat roll-out.

    Raises
    ------
    NeverStops
        The green is too steep to hold a ball.
    """
    distance, share, to = np.broadcast_arrays(
        *(np.asarray(value, dtype=float) for value in (distance_ft, share, slope_to_deg))
    )
    ratio = green.ratio
    hole = _half_turn(-np.radians(to))
    side, hole = np.where(hole < 0, -1.0, 1.0), np.abs(hole)

    def beside(heading, hole, share):
        x, y = displacement(heading, share, ratio)
        return x * np.sin(hole) - y * np.cos(hole)

    # The ball only falls off its line, so the start lies between the hole and straight up.
    top = np.pi + np.where(hole > np.pi / 2, NUDGE, -NUDGE)
    heading = find_root(
        beside,
        (hole - NUDGE, top),
        args=(hole, share),
        tolerances={"xatol": 1e-14, "xrtol": 1e-14},
    ).x
    roll = distance / np.hypot(*displacement(heading, share, ratio))
    return np.degrees(_half_turn(side * heading + np.radians(to))), roll


def _half_turn(angle_rad):
    """Bring angles to (-π, π]."""
    return np.pi - (np.pi - angle_rad) % (2 * np.pi)


def arrival(green, line_deg, roll_flat_ft, share, *, slope_to_deg=0.0):
    """Return the speed at a place on the course, and how far on the ball would finish.

    Parameters
    ----------
    green, line_deg, roll_flat_ft, slope_to_deg
        As for `putlab.green.roll.path`.
    share : array_like
        The place.

    Returns
    -------
    speed_ft_s, past_ft : ndarray
        Speed there, and the straight distance from there to where the ball comes to rest.
    """
    heading = np.radians(np.asarray(line_deg, dtype=float) - slope_to_deg)
    speed = velocity(heading, share, green.ratio)[2] * green.start_speed_ft_s(roll_flat_ft)
    here, rest = (displacement(heading, at, green.ratio) for at in (share, 0.0))
    return speed, np.hypot(rest[0] - here[0], rest[1] - here[1]) * roll_flat_ft


def aim_past(green, distance_ft, past_ft, *, slope_to_deg=0.0):
    """Return the line and pace over the middle of the hole that finish a distance past it.

    Parameters
    ----------
    green : Green
        Its speed and slope.
    distance_ft : array_like
        Distance from ball to hole, in feet.
    past_ft : array_like
        Straight distance from the hole to where the ball would come to rest, 0 or more.
    slope_to_deg : array_like
        Direction of downhill, degrees clockwise from the line ball to hole.

    Returns
    -------
    line_deg, roll_flat_ft : ndarray
        Start direction from the line ball to hole, + right, and flat roll-out.

    Raises
    ------
    NeverStops
        The green is too steep to hold a ball.

    Examples
    --------
    >>> from putlab.green.aim import Green
    >>> line_deg, roll_flat_ft = aim_past(Green(10, 2), 10, 1, slope_to_deg=180)
    >>> float(roll_flat_ft.round(3))
    13.807
    """
    distance, past, to = np.broadcast_arrays(
        *(np.asarray(value, dtype=float) for value in (distance_ft, past_ft, slope_to_deg))
    )
    power = 1 / (1 - green.ratio)

    def beyond(pace, distance, past, to):
        line, roll = through_hole(green, distance, pace**power, slope_to_deg=to)
        return arrival(green, line, roll, pace**power, slope_to_deg=to)[1] - past

    pace = find_root(
        beyond,
        (np.zeros(distance.shape), np.full(distance.shape, 1 - 1e-9)),
        args=(distance, past, to),
        tolerances={"xatol": 1e-12, "xrtol": 1e-12},
    ).x
    return through_hole(green, distance, pace**power, slope_to_deg=to)
