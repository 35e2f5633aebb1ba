"""How a ball rolls on a plane green, in closed form, and where to start it.

Directions are degrees clockwise, seen from above, from the line ball to hole: + is right.
``slope_to_deg`` is the direction of downhill: 0 is a downhill putt, 90 falls to the right.
A *flat roll-out* is how far the same blow would send the ball on the flat. Where friction
cannot hold a ball every function here raises `NeverStops` instead of returning a number.
"""

# The ball rolls without slipping on a plane. Two things change its velocity: rolling
# friction, of size a = 6.00² / (2 S) ft/s² against the motion (a Stimpmeter reading of S feet
# is a roll-out of S from 6.00 ft/s), and gravity along the plane, b = (5/7) g sin(slope)
# downhill (5/7 because a solid ball that rolls must also be spun up).
#
# Let v be the speed and φ the angle of the velocity from downhill. Then
#
#     dv/dt = −a + b cos φ          v dφ/dt = −b sin φ.
#
# Dividing the two gives the speed as a function of direction. It is written best through the
# speed *across* the slope, v sin φ, as a share q of what it was at the start: q falls from 1
# to 0 while the ball rolls. With β = b/a, C = cos(φ₀/2), S = sin(φ₀/2) and start speed v₀,
#
#     tan(φ/2) = tan(φ₀/2) q^β
#     v        = v₀ (C² q^(1−β) + S² q^(1+β)).
#
# So a putt is a part C² that behaves as if straight downhill and a part S² that behaves as if
# straight uphill. Integrating v dt, with w(p) = (1 − q^p) / p and L = v₀² / (2a), the flat
# roll-out,
#
#     downhill = 2 L (C⁴ w(2−2β) − S⁴ w(2+2β))
#     across   = 4 L C S (C² w(2−β) + S² w(2+β)).
#
# The ball stops at q = 0, where w(p) = 1/p. Nothing is singular as the slope vanishes (β = 0)
# or as the putt runs straight up (C = 0) or down (S = 0): those are ordinary values of the
# same expressions, accurate to rounding. All putts started in one direction have one shape,
# magnified by L.

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import boxcox

from putlab.base.errors import PutlabError, expect
from putlab.base.late import elementwise
from putlab.base.settings import STIMP_FT
from putlab.green.flat import deceleration_ft_s2

# Standard gravity, 9.80665 m/s² (3rd General Conference on Weights and Measures, 1901).
GRAVITY_FT_S2 = 9.80665 / 0.3048

# Half a bracket, in radians, around directions that may be roots themselves.
NUDGE = 1e-9

# Two arrays that belong together: along and right, line and roll-out, direction and speed.
Pair = tuple[np.ndarray, np.ndarray]


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

    Examples
    --------
    >>> Green(10, 2).holds, Green(13, 7).holds
    (True, False)
    """

    stimp_ft: float = STIMP_FT
    slope_pct: float = 0.0

    def __post_init__(self) -> None:
        expect(0 < self.stimp_ft < np.inf, "stimp_ft", self.stimp_ft, "a reading above 0")
        falls = "0 or more; which way it falls is slope_to_deg (0 downhill, 90 right, 180 uphill)"
        expect(0 <= self.slope_pct < np.inf, "slope_pct", self.slope_pct, falls)

    @property
    def deceleration_ft_s2(self) -> float:
        """Slowing by rolling friction, a."""
        return deceleration_ft_s2(self.stimp_ft)

    @property
    def pull_ft_s2(self) -> float:
        """Gravity's pull down the slope on a rolling ball, b."""
        return 5 / 7 * GRAVITY_FT_S2 * np.sin(np.arctan(self.slope_pct / 100))

    @property
    def holds(self) -> bool:
        """Whether a ball comes to rest on it."""
        return bool(self.pull_ft_s2 < self.deceleration_ft_s2)

    @property
    def ratio(self) -> float:
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

    def start_speed_ft_s(self, roll_flat_ft: ArrayLike) -> np.ndarray:
        """Return the speed that on the flat rolls a given distance."""
        return np.sqrt(2 * self.deceleration_ft_s2 * np.asarray(roll_flat_ft, dtype=float))


def displacement(heading_rad: ArrayLike, share: ArrayLike, ratio: float) -> np.ndarray:
    """Return feet downhill + i across per foot of flat roll-out.

    ``heading_rad`` is φ₀, clockwise from downhill; ``share`` is q: 1 at the start, 0 at rest.
    """
    down, side, up = _parts(heading_rad)
    downhill = 2 * (down**2 * _spent(share, 2 - 2 * ratio) - up**2 * _spent(share, 2 + 2 * ratio))
    across = 4 * side * (down * _spent(share, 2 - ratio) + up * _spent(share, 2 + ratio))
    return downhill + 1j * across


def velocity(heading_rad: ArrayLike, share: ArrayLike, ratio: float) -> Pair:
    """Return the unit vector of motion, downhill + i across, and speed over start speed.

    At rest the direction is its limit: straight downhill, unless flat or straight uphill.
    """
    down, side, up = _parts(heading_rad)
    share = np.asarray(share, dtype=float)
    turned = share**ratio
    total = down + up * turned**2
    # Straight uphill at rest, 0/0: the ball has not turned.
    still_up = total == 0
    total = np.where(still_up, 1.0, total)
    downhill = np.where(still_up, -1.0, (down - up * turned**2) / total)
    return downhill + 2j * side * turned / total, total * share ** (1 - ratio) * ~still_up


def _parts(heading_rad: ArrayLike) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    # C², C S and S² of a start direction.
    half = np.asarray(heading_rad, dtype=float) / 2
    cosine, sine = np.cos(half), np.sin(half)
    return cosine * cosine, cosine * sine, sine * sine


def _spent(share: ArrayLike, power: float) -> np.ndarray:
    # w(p) = (1 - q^p) / p, accurate for small p too.
    return -boxcox(np.asarray(share, dtype=float), power)


def floats(*values: ArrayLike) -> tuple[np.ndarray, ...]:
    """Return numbers as arrays of one shape."""
    return np.broadcast_arrays(*(np.asarray(value, dtype=float) for value in values))


def root(function: Callable, ends: Pair, *putts: np.ndarray, within: float) -> np.ndarray:
    """Return where a function of a number and of putts is 0, putt by putt; NaN if nowhere."""
    tolerances = {"xatol": within, "xrtol": within}
    return elementwise.find_root(function, ends, args=putts, tolerances=tolerances).x


def stop_ft(
    green: Green, line_deg: ArrayLike, roll_flat_ft: ArrayLike, *, slope_to_deg: ArrayLike = 0.0
) -> Pair:
    """Return where putts come to rest, along and right of the line, hole covered."""
    line, roll, to = floats(line_deg, roll_flat_ft, slope_to_deg)
    place = displacement(np.radians(line - to), 0.0, green.ratio) * _from_downhill(to) * roll
    return place.real, place.imag


def _from_downhill(slope_to_deg: np.ndarray) -> np.ndarray:
    # What turns downhill + i across to along + i right of the line ball to hole.
    return np.exp(1j * np.radians(slope_to_deg))


def break_ft(
    green: Green,
    distance_ft: ArrayLike,
    roll_flat_ft: ArrayLike,
    *,
    line_deg: ArrayLike = 0.0,
    slope_to_deg: ArrayLike = 0.0,
) -> np.ndarray:
    """Return how far right a putt is where it first passes a distance; NaN if it never does."""
    distance, roll, line, to = floats(distance_ft, roll_flat_ft, line_deg, slope_to_deg)
    heading, turn = np.radians(line - to), _from_downhill(to) * roll
    # A ball only gains distance until its direction is square to the line ball to hole.
    farthest = share_square_to(heading, -np.radians(to), green.ratio)
    power = 1 / (1 - green.ratio)

    def gone(pace: np.ndarray, heading: np.ndarray, turn: np.ndarray) -> np.ndarray:
        return displacement(heading, pace**power, green.ratio) * turn

    def beyond(pace: np.ndarray, *putt: np.ndarray) -> np.ndarray:
        heading, turn, distance = putt
        return gone(pace, heading, turn).real - distance

    slowest, start = farthest ** (1 / power), np.ones_like(to)
    pace = root(beyond, (slowest, start), heading, turn, distance, within=1e-15)
    return gone(pace, heading, turn).imag


def share_square_to(heading_rad: ArrayLike, hole_rad: ArrayLike, ratio: float) -> np.ndarray:
    """Return the share at which a ball has turned square to the hole's direction; 0 if never."""
    facings = (np.add(hole_rad, side * np.pi / 2) for side in (1, -1))
    return np.maximum(*(share_facing(heading_rad, facing, ratio) for facing in facings))


def share_facing(heading_rad: ArrayLike, facing_rad: ArrayLike, ratio: float) -> np.ndarray:
    """Return the share at which a ball has turned to a direction; 0 if it never does."""
    with np.errstate(divide="ignore", invalid="ignore"):
        turned = np.tan(np.asarray(facing_rad) / 2) / np.tan(np.asarray(heading_rad) / 2)
        return np.where((turned > 0) & (turned <= 1), turned, 0.0) ** np.divide(1, ratio)


# For every pace there is one line over the middle of the hole: firm putts take one near the
# hole, soft ones a higher one. It is found for a place on the way: the start direction for
# which the ball, with a share q of its speed across the slope left, lies in the hole's
# direction; the pace then follows from the distance.


def through_hole(
    green: Green, distance_ft: ArrayLike, share: ArrayLike, *, slope_to_deg: ArrayLike = 0.0
) -> Pair:
    """Return the line and flat roll-out over the hole's centre with a share left; 0 dies in it."""
    distance, share, to = floats(distance_ft, share, slope_to_deg)
    hole = _half_turn(-np.radians(to))
    side, hole = np.where(hole < 0, -1.0, 1.0), np.abs(hole)

    def beside(heading: np.ndarray, hole: np.ndarray, share: np.ndarray) -> np.ndarray:
        return -(displacement(heading, share, green.ratio) * np.exp(-1j * hole)).imag

    # The ball only falls off its line, so the start lies between the hole and straight up.
    top = np.pi + np.where(hole > np.pi / 2, NUDGE, -NUDGE)
    heading = root(beside, (hole - NUDGE, top), hole, share, within=1e-14)
    roll = distance / np.abs(displacement(heading, share, green.ratio))
    return np.degrees(_half_turn(side * heading + np.radians(to))), roll


def _half_turn(angle_rad: np.ndarray) -> np.ndarray:
    # To (-π, π].
    return np.pi - (np.pi - angle_rad) % (2 * np.pi)


def aim_past(
    green: Green, distance_ft: ArrayLike, past_ft: ArrayLike, *, slope_to_deg: ArrayLike = 0.0
) -> Pair:
    """Return the line and flat roll-out over the middle that stop so far past the hole."""
    distance, past, to = floats(distance_ft, past_ft, slope_to_deg)
    power = 1 / (1 - green.ratio)

    def beyond(pace: np.ndarray, *putt: np.ndarray) -> np.ndarray:
        distance, past, to = putt
        line, roll = through_hole(green, distance, pace**power, slope_to_deg=to)
        here, rest = (
            displacement(np.radians(line - to), share, green.ratio) for share in (pace**power, 0.0)
        )
        return np.abs(rest - here) * roll - past

    none, all_of_it = np.zeros_like(distance), np.full_like(distance, 1 - 1e-9)
    pace = root(beyond, (none, all_of_it), distance, past, to, within=1e-12)
    return through_hole(green, distance, pace**power, slope_to_deg=to)
