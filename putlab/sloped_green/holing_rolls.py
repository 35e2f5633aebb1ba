"""Which paces the hole takes, for every start direction.

Putts started in one direction all have one shape, magnified by their flat roll-out L (see
`putlab.roll`). So the place on the course can be chosen first and L computed for it: at the
place where the ball has a share q of its speed across the slope left, it is closest to the
hole if

    L(q) = h · n / (ρ · n)        (h the hole, n the direction, ρ the place per foot of L)

and then its offset and speed follow. The roll-outs that drop are the stretches of q where the
capture limit is not exceeded; their ends are solved. A ball that stops over the hole before
its closest approach adds the roll-outs whose stop lies inside the rim. With these stretches
known, a normal spread of pace integrates in closed form.
"""

import numpy as np
from scipy.optimize.elementwise import find_minimum, find_root

from putlab.capture import places, slope_limit_ft_s
from putlab.published import HOLE_RADIUS_FT
from putlab.roll import displacement, share_facing, velocity

# A direction can hold up to two stretches on the way past (curling back on a steep slope)
# and one of balls that stop over the hole.
STRETCHES = 3
# Directions worked on at once: keeps the working arrays in a core's cache.
CHUNK = 4000
PLACES = 96
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
    pieces = [_rolls(green, rows[:, i : i + CHUNK]) for i in range(0, max(line.size, 1), CHUNK)]
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
    edges = _passing(_solve_edges(green, rows, shares, put, place), *rows[:, put], green)[1]
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
    shares = places(green.ratio, PLACES)[1:]
    margin, roll, offset = _passing(shares, *rows[..., None], green)
    square = _squares(rows, shares[-1], green.ratio)
    middle = _middles(green, rows, shares, margin, offset, square)
    put_in = np.column_stack([square, middle])
    at_middle = _passing(middle, *rows[..., None], green)
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
            lambda q, *given: _passing(q, *given, green)[2],
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
                lambda q, *given: sign * _passing(q, *given, green)[1],
                tuple(shares[put, best + step] for step in (1, 0, -1)),
                args=tuple(rows[:, put]),
            ).f_x
        )
    return found


def _passing(share, heading, hole, distance, green):
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
            lambda q, *given: _passing(q, *given, green)[0],
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
