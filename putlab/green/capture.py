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
from scipy.optimize.elementwise import find_minimum, find_root

from putlab.green.published import CAPTURE_FT_S, HOLE_RADIUS_FT
from putlab.green.roll import displacement, share_facing, velocity

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


# Which paces the hole takes, for every start direction.


# A direction can hold up to two stretches on the way past (curling back on a steep slope)
# and one of balls that stop over the hole.
STRETCHES = 3
# Directions worked on at once: keeps the working arrays in a core's cache.
ROLL_CHUNK = 4000
ROLL_PLACES = 96
# Ends of neighbouring stretches this near each other, relatively, are one place.
TOUCHING = 1e-8


def holing_rolls(green, distance_ft, line_deg, *, slope_to_deg=0.0):
    """Return the flat roll-outs with which putts drop.

    Parameters
    ----------
    green : Green
        Its speed and slope.
    distance_ft : array_like
        Distance from ball to hole in feet, more than the hole's radius.
    line_deg : array_like
        Start direction, degrees from the line ball to hole, + right.
    slope_to_deg : array_like
        Direction of downhill, degrees clockwise from the line ball to hole.

    Returns
    -------
    ndarray, shape (..., 3, 2)
        Softest and hardest flat roll-out of up to three stretches, in feet, rising and
        apart; an empty one has equal ends. Ends are solved to 1e-9 of their length, except
        that a ball with a millionth of its roll-out to go counts as stopped.

    Raises
    ------
    NeverStops
        The green is too steep to hold a ball.
    """
    given = (distance_ft, np.radians(np.asarray(line_deg, dtype=float)), slope_to_deg)
    given = np.broadcast_arrays(*(np.asarray(value, dtype=float) for value in given))
    shape = given[0].shape
    distance, line, to = (value.ravel() for value in given)
    hole = -np.radians(to)
    rows = np.array([line + hole, hole, distance])
    pieces = [
        _rolls(green, rows[:, i : i + ROLL_CHUNK]) for i in range(0, max(line.size, 1), ROLL_CHUNK)
    ]
    return np.concatenate(pieces).reshape(*shape, STRETCHES, 2)


def _rolls(green, rows):
    """Return the stretches of some putts given as rows (heading, hole's heading, distance)."""
    shares, margin, roll = _along_courses(green, rows)
    drops = margin >= 0
    # The fastest place never drops; the slowest may be inside a stretch.
    drops[:, 0] = False
    put, place = np.nonzero(np.diff(drops, axis=1, append=False))
    order = np.arange(put.size) - np.searchsorted(put, put)
    kept = order < 2 * (STRETCHES - 1)
    put, place, order = put[kept], place[kept], order[kept]
    edges = _rolls_passing(_solve_edges(green, rows, shares, put, place), *rows[:, put], green)[1]
    put, order, first, last = put[::2], order[::2] // 2, place[::2] + 1, place[1::2]
    ends = [edges[::2], edges[1::2]]
    ends += [_extreme(green, rows, shares, roll, put, first, last, sign) for sign in (1, -1)]
    stretches = np.zeros((rows.shape[1], STRETCHES, 2))
    stretches[put, order] = np.stack([np.min(ends, 0), np.max(ends, 0)], axis=-1)
    stretches[:, -1] = _stopped(shares[:, -1], *rows, green.ratio)
    return _apart(stretches)


def _along_courses(green, rows):
    """Return shares, margins and roll-outs at places on each course, falling in share.

    Places are even, with some put in where they matter. Where the ball turns square to the
    hole's direction the roll-out runs through zero, and no stretch may reach across. Where
    the course changes sides of the hole from one place to the next without dropping at
    either, it may drop in between: on a long steep putt a stretch is narrow.
    """
    shares = places(green.ratio, ROLL_PLACES)[1:]
    margin, roll, offset = _rolls_passing(shares, *rows[..., None], green)
    square = _squares(rows, shares[-1], green.ratio)
    middle = _middles(green, rows, shares, margin, offset, square)
    put_in = np.column_stack([square, middle])
    at_middle = _rolls_passing(middle, *rows[..., None], green)
    none = np.full((len(square), 1), -1.0)
    shares = np.column_stack([put_in, np.broadcast_to(shares, roll.shape)])
    margin = np.column_stack([none, np.where(middle < 1, at_middle[0], -1.0), margin])
    roll = np.column_stack([0 * none, np.where(middle < 1, at_middle[1], 0.0), roll])
    order = np.argsort(-shares, axis=1, kind="stable")
    return tuple(np.take_along_axis(part, order, axis=1) for part in (shares, margin, roll))


def _squares(rows, last, ratio):
    """Return the share at which the ball turns square to the hole; 1 where it does not."""
    heading, hole, _ = rows
    square = share_facing(heading, hole + np.pi / 2, ratio)
    square = np.maximum(square, share_facing(heading, hole - np.pi / 2, ratio))
    return np.where((square < 1) & (square > last), square, 1.0)


def _middles(green, rows, shares, margin, offset, square):
    """Return up to two shares at which a course runs over the middle between two places.

    Only where neither place drops and the ball does not turn square between them; 1
    elsewhere. Shape (putts, 2).
    """
    possible, out = np.isfinite(offset), margin < 0
    cross = offset[:, 1:] * offset[:, :-1] < 0
    cross &= possible[:, 1:] & possible[:, :-1] & out[:, 1:] & out[:, :-1]
    cross &= (square[:, None] <= shares[1:]) | (square[:, None] >= shares[:-1])
    put, place = np.nonzero(cross)
    order = np.arange(put.size) - np.searchsorted(put, put)
    put, place, order = (part[order < 2] for part in (put, place, order))
    middle = np.ones((len(offset), 2))
    if put.size:
        middle[put, order] = find_root(
            lambda q, *given: _rolls_passing(q, *given, green)[2],
            (shares[place + 1], shares[place]),
            args=tuple(rows[:, put]),
            tolerances={"xatol": 1e-8, "xrtol": 1e-8},
        ).x
    return middle


def _extreme(green, rows, shares, roll, put, first, last, sign):
    """Return the least (sign 1) or greatest (-1) roll-out within stretches of places.

    It is at an end unless a ball curls back: then a stretch folds, and the fold is solved.
    """
    index = np.arange(shares.shape[1])
    within = (index >= first[:, None]) & (index <= last[:, None])
    best = np.argmin(np.where(within, sign * roll[put], np.inf), axis=1)
    found = roll[put, best]
    inner = np.flatnonzero((best > first) & (best < last))
    if inner.size:
        put, best = put[inner], best[inner]
        found[inner] = (
            sign
            * find_minimum(
                lambda q, *given: sign * _rolls_passing(q, *given, green)[1],
                tuple(shares[put, best + step] for step in (1, 0, -1)),
                args=tuple(rows[:, put]),
            ).f_x
        )
    return found


def _rolls_passing(share, heading, hole, distance, green):
    """Return margin, flat roll-out and offset of balls that are closest at a share.

    The margin is the capture limit less the speed: 0 or more drops. No ball is closest
    there if it would need a roll-out below 0: margin -1, offset NaN.
    """
    x, y = displacement(heading, share, green.ratio)
    nx, ny, pace = velocity(heading, share, green.ratio)
    hx, hy = distance * np.cos(hole), distance * np.sin(hole)
    toward, gone = hx * nx + hy * ny, x * nx + y * ny
    possible = toward * gone > 0
    roll = np.where(possible, toward, 0.0) / np.where(possible, gone, 1.0)
    offset = (y * roll - hy) * nx - (x * roll - hx) * ny
    limit = slope_limit_ft_s(offset, green.slope_pct / 100, nx)
    margin = np.where(possible, limit - pace * green.start_speed_ft_s(roll), -1.0)
    return margin, roll, np.where(possible, offset, np.nan)


def _solve_edges(green, rows, shares, put, place):
    """Return the share where the margin changes sign just after each place."""
    share = shares[put, place]
    inner = np.flatnonzero(place < shares.shape[1] - 1)
    if inner.size:
        put, place = put[inner], place[inner]
        share[inner] = find_root(
            lambda q, *given: _rolls_passing(q, *given, green)[0],
            (shares[put, place + 1], shares[put, place]),
            args=tuple(rows[:, put]),
            tolerances={"xatol": 1e-10, "xrtol": 1e-10},
        ).x
    return share


def _stopped(share, heading, hole, distance, ratio):
    """Return the roll-outs that stop inside the rim while still drawing nearer."""
    x, y = displacement(heading, share, ratio)
    nx, ny, _ = velocity(heading, share, ratio)
    hx, hy = distance * np.cos(hole), distance * np.sin(hole)
    run, along = x * x + y * y, x * hx + y * hy
    inside = along**2 - run * (distance**2 - HOLE_RADIUS_FT**2)
    half = np.sqrt(np.maximum(inside, 0.0))
    low, high = (along - half) / run, (along + half) / run
    toward, gone = hx * nx + hy * ny, x * nx + y * ny
    turn = toward / np.where(gone == 0, 1.0, gone)
    low = np.where(gone < 0, np.maximum(low, turn), low)
    high = np.where(gone > 0, np.minimum(high, turn), high)
    low = np.maximum(low, 0.0)
    real = (inside > 0) & (high > low)
    return np.stack([np.where(real, low, 0.0), np.where(real, high, 0.0)], axis=-1)


def _apart(stretches):
    """Cut overlaps and join stretches that touch, so that each roll-out counts once."""
    stretches = _rising(np.sort(stretches, axis=-1))
    reached = np.maximum.accumulate(stretches[..., 1], axis=1)
    stretches[:, 1:, 0] = np.maximum(stretches[:, 1:, 0], reached[:, :-1])
    stretches = _rising(stretches)
    for later in (2, 1):
        end = stretches[:, later - 1, 1] * (1 + TOUCHING)
        joined = np.isfinite(stretches[:, later, 0]) & (stretches[:, later, 0] <= end)
        stretches[joined, later - 1, 1] = stretches[joined, later, 1]
        stretches[joined, later] = np.inf
    stretches = _rising(stretches)
    return np.where(np.isfinite(stretches), stretches, 0.0)


def _rising(stretches):
    """Sort stretches by their softest roll-out; empty ones become infinite and go last."""
    empty = ~(stretches[..., 0] < stretches[..., 1])
    stretches = np.where(empty[..., None], np.inf, stretches)
    order = np.argsort(stretches[..., 0], axis=-1)
    return np.take_along_axis(stretches, order[..., None], axis=1)
