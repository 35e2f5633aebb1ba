"""When the hole takes the ball: offset, speed and slope at the closest approach.

The ball is followed as if the hole were covered. At its closest approach to the hole's
centre it has an offset δ, a speed v and a direction; the hole takes it when its centre comes
inside the rim (|δ| < R) and

    v ≤ 1.63 m/s × (1 − (δ/R)²) × f        (R = 4.25 in / 2).

1.63 m/s is Holmes's limit for a ball that crosses the centre of a hole on the flat
(B. W. Holmes, Am. J. Phys. 59, 1991); the parabola in δ is Penner's fit to it (A. R. Penner,
Can. J. Phys. 80, 2002), as recalled from memory. A ball that stops inside the rim before its
closest approach has v = 0 and is holed. A ball that is not taken rolls on undisturbed.

On a slope two things change. The speed itself is the ball's own on the slope, exact. The
limit changes a little, by f, which is an *assumption* of this kit, not a published figure:
the published limit is scaled as is the speed at which a ball that flies off the near rim
drops by its own radius r before it meets the far rim,

    v t + ½ g sin(slope) cos φ t² = 2R − r,     ½ g cos(slope) t² = r,
    f = √cos(slope) × (1 − tan(slope) cos φ r / (2R − r)).

The drop is square to the plane, and gravity along the plane carries a ball that arrives
downhill (φ = 0) a little farther in the same time. f is exactly 1 on the flat and
1 − 0.0049 for a ball arriving down a 2 % slope: the slope matters through the speed it gives
the ball, hardly through the rim.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize.elementwise import find_root

from putlab.published import CAPTURE_FT_S, HOLE_RADIUS_FT
from putlab.roll import displacement, velocity

# A ball is at least 1.68 in across (Equipment Rules, R&A and USGA).
BALL_RADIUS_FT = 1.68 / 2 / 12

# Places looked at along each course, twice this many: even in the speed across the slope and
# even in a straight downhill putt's speed, so that both quick and creeping arrivals are seen.
PLACES = 64
# A ball that has this share of a downhill putt's speed left is at rest: on the flat it has
# a millionth of its roll-out to go.
AT_REST = 1e-3
# Putts followed at once: keeps the working arrays in a core's cache.
CHUNK = 4000


def capture_limit_ft_s(offset_ft, *, slope_pct=0.0, heading_deg=0.0):
    """Return the fastest speed at which the hole takes a ball.

    Parameters
    ----------
    offset_ft : array_like
        Distance of the ball's course from the hole's centre at the closest approach.
    slope_pct : array_like
        Steepness of the plane, 100 × tangent.
    heading_deg : array_like
        Direction of travel there, degrees from downhill.

    Returns
    -------
    ndarray
        Speed in ft/s; 0 or less where the ball passes outside the rim.
    """
    tangent = np.asarray(slope_pct, dtype=float) / 100
    return slope_limit_ft_s(offset_ft, tangent, np.cos(np.radians(heading_deg)))


def slope_limit_ft_s(offset_ft, tangent, cos_heading):
    reach = BALL_RADIUS_FT / (2 * HOLE_RADIUS_FT - BALL_RADIUS_FT)
    rim = (1 - tangent * cos_heading * reach) / (1 + tangent**2) ** 0.25
    return CAPTURE_FT_S * (1 - (np.asarray(offset_ft) / HOLE_RADIUS_FT) ** 2) * rim


@dataclass(frozen=True)
class Approach:
    """Putts at their closest approach to the hole's centre, the hole covered.

    A ball that curls back on a steep slope may come by twice: then this is the approach at
    which the hole takes it, otherwise the first.

    Attributes
    ----------
    offset_ft : ndarray
        Distance from the hole's centre, + where the ball passes right of it.
    speed_ft_s : ndarray
        Speed there; 0 where the ball stops before it would move away again.
    heading_deg : ndarray
        Direction there, degrees clockwise from downhill.
    holed : ndarray of bool
        Whether the hole takes it.
    """

    offset_ft: np.ndarray
    speed_ft_s: np.ndarray
    heading_deg: np.ndarray
    holed: np.ndarray


def closest_approach(green, distance_ft, line_deg, roll_flat_ft, *, slope_to_deg=0.0):
    """Return where, how fast and which way putts pass the hole, and whether they drop.

    Parameters
    ----------
    green : Green
        Its speed and slope.
    distance_ft : array_like
        Distance from ball to hole in feet, more than the hole's radius.
    line_deg : array_like
        Start direction, degrees from the line ball to hole, + right.
    roll_flat_ft : array_like
        How far the same blow would roll on the flat, in feet, above 0.
    slope_to_deg : array_like
        Direction of downhill, degrees clockwise from the line ball to hole.

    Returns
    -------
    Approach
        Arrays of the arguments' shape broadcast together.

    Raises
    ------
    NeverStops
        The green is too steep to hold a ball.

    Notes
    -----
    Approaches are looked for between 128 places on the course and then solved to 1e-12 of the
    share of speed left: offset within 1e-9 ft and speed within 1e-7 ft/s. Two approaches
    between neighbouring places (a ball curling round the hole within 1 % of its run) count
    as one.
    """
    given = (distance_ft, line_deg, roll_flat_ft, slope_to_deg)
    given = np.broadcast_arrays(*(np.asarray(value, dtype=float) for value in given))
    shape = given[0].shape
    flat = [value.ravel() for value in given]
    pieces = [
        _approach(green, *(value[i : i + CHUNK] for value in flat))
        for i in range(0, max(flat[0].size, 1), CHUNK)
    ]
    joined = [np.concatenate(column).reshape(shape) for column in zip(*pieces, strict=True)]
    return Approach(*joined)


def places(ratio, count=PLACES):
    """Return shares q to look at along a course, from the start down to rest.

    Parameters
    ----------
    ratio : float
        Pull over friction, β.
    count : int
        Places even in q, and as many even in q^(1 - β).

    Returns
    -------
    ndarray, shape (2 * count,)
        Falling, from 1 at the start to where the ball is at rest for all purposes.
    """
    even = np.linspace(1, 1 / count, count)
    slow = np.linspace(1 - 0.5 / count, AT_REST, count) ** (1 / (1 - ratio))
    return np.sort(np.concatenate([even, slow]))[::-1]


def _approach(green, distance, line_deg, roll, slope_to_deg):
    """Return the columns of `Approach`: first approaches, and second ones that drop."""
    hole = -np.radians(slope_to_deg)
    arguments = np.array([np.radians(line_deg) + hole, hole, distance, roll])
    shares = places(green.ratio)
    away = _receding(shares, *arguments[..., None], green.ratio) >= 0
    # An approach ends where the ball begins to move away, or at rest.
    ends = np.column_stack([away[:, :1], away[:, 1:] & ~away[:, :-1], ~away[:, -1:]])
    first = np.argmax(ends, axis=1)
    found = _passing(green, _solve(first, shares, arguments, green.ratio), *arguments)
    ends[np.arange(first.size), first] = False
    again = np.flatnonzero(ends.any(axis=1) & ~found[3])
    if again.size:
        arguments = arguments[:, again]
        second = np.argmax(ends[again], axis=1)
        late = _passing(green, _solve(second, shares, arguments, green.ratio), *arguments)
        for column, value in zip(found, late, strict=True):
            column[again[late[3]]] = value[late[3]]
    return found


def _receding(share, heading, hole, distance, roll, ratio):
    """Return how fast the distance to the hole grows, with the sign that matters."""
    x, y = displacement(heading, share, ratio)
    nx, ny, _ = velocity(heading, share, ratio)
    x, y = x * roll - distance * np.cos(hole), y * roll - distance * np.sin(hole)
    return x * nx + y * ny


def _solve(index, shares, arguments, ratio):
    """Return the share at the approach that ends just before place ``index``."""
    share = np.where(index == 0, 1.0, 0.0)
    turns = np.flatnonzero((index > 0) & (index < shares.size))
    if turns.size:
        share[turns] = find_root(
            lambda q, *given: _receding(q, *given, ratio),
            (shares[index[turns]], shares[index[turns] - 1]),
            args=tuple(arguments[:, turns]),
            tolerances={"xrtol": 1e-13},
        ).x
    return share


def _passing(green, share, heading, hole, distance, roll):
    """Return offset, speed, heading and whether the ball drops, at shares of its course."""
    x, y = displacement(heading, share, green.ratio)
    nx, ny, pace = velocity(heading, share, green.ratio)
    x, y = x * roll - distance * np.cos(hole), y * roll - distance * np.sin(hole)
    offset = np.where(y * nx - x * ny < 0, -1.0, 1.0) * np.hypot(x, y)
    speed = pace * green.start_speed_ft_s(roll)
    limit = slope_limit_ft_s(offset, green.slope_pct / 100, nx)
    holed = (np.abs(offset) < HOLE_RADIUS_FT) & (speed <= limit)
    return offset, speed, np.degrees(np.arctan2(ny, nx)), holed
