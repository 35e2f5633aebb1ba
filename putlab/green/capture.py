"""Which putts the hole takes, on a slope: the paces that drop, for every start direction.

The ball is followed as if the hole were covered. At its closest approach to the hole's
centre it has an offset δ, a speed v and a direction; the hole takes it when its centre comes
inside the rim (|δ| < R) and v is at most the capture limit there. A ball that stops inside
the rim before its closest approach has v = 0 and is holed. A ball not taken rolls on.
"""

# The limit is `putlab.green.flat.capture_limit_ft_s`,
#
#     v ≤ 1.63 m/s × (1 − (δ/R)²) × f        (R = 4.25 in / 2).
#
# 1.63 m/s is Holmes's limit for a ball that crosses the centre of a hole on the flat
# (B. W. Holmes, Am. J. Phys. 59, 1991); the parabola in δ is Penner's fit to it (A. R. Penner,
# Can. J. Phys. 80, 2002), as recalled from memory.
#
# On a slope two things change. The speed itself is the ball's own on the slope, exact. The
# limit changes a little, by f, which is an *assumption* of this kit, not a published figure:
# the published limit is scaled as is the speed at which a ball that flies off the near rim
# drops by its own radius r before it meets the far rim,
#
#     v t + ½ g sin(slope) cos φ t² = 2R − r,     ½ g cos(slope) t² = r,
#     f = √cos(slope) × (1 − tan(slope) cos φ r / (2R − r)).
#
# The drop is square to the plane, and gravity along the plane carries a ball that arrives
# downhill (φ = 0) a little farther in the same time. f is exactly 1 on the flat and
# 1 − 0.0049 for a ball arriving down a 2 % slope: the slope matters through the speed it gives
# the ball, hardly through the rim.

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize.elementwise import find_minimum, find_root

from putlab.green.flat import capture_limit_ft_s
from putlab.green.published import HOLE_RADIUS_FT
from putlab.green.slope import Green, Three, displacement, share_facing, velocity

# A direction can hold up to two stretches on the way past (curling back on a steep slope)
# and one of balls that stop over the hole.
STRETCHES = 3
# Places looked at along each path, twice this many: even in the speed across the slope and
# even in a straight downhill putt's speed, so that both quick and creeping arrivals are seen.
PLACES = 96
# A ball that has this share of a downhill putt's speed left is at rest: on the flat it has
# a millionth of its roll-out to go.
AT_REST = 1e-3
# Directions worked on at once: keeps the working arrays in a core's cache.
CHUNK = 4000
# Ends of neighbouring stretches this near each other, relatively, are one place.
TOUCHING = 1e-8

# Putts are given below as rows: heading and the hole's heading, both in radians clockwise
# from downhill, and distance; shape (3, putts).


def captured_rolls(
    green: Green, distance_ft: ArrayLike, line_deg: ArrayLike, *, slope_to_deg: ArrayLike = 0.0
) -> np.ndarray:
    """Return softest and hardest flat roll-outs that drop, of up to three stretches (..., 3, 2).

    Rising and apart; an empty one has equal ends. Ends are solved to 1e-9 of their length.
    """
    given = (np.asarray(value, dtype=float) for value in (distance_ft, line_deg, slope_to_deg))
    distance, line, to = np.broadcast_arrays(*given)
    hole = -np.radians(to.ravel())
    rows = np.array([np.radians(line.ravel()) + hole, hole, distance.ravel()])
    pieces = [_stretches(green, rows[:, i : i + CHUNK]) for i in range(0, max(line.size, 1), CHUNK)]
    return np.concatenate(pieces).reshape(*line.shape, STRETCHES, 2)


def places(ratio: float, count: int = PLACES) -> np.ndarray:
    """Return shares to look at along a path, falling from 1: even in q, as many in q^(1 - β)."""
    even = np.linspace(1, 1 / count, count)
    slow = np.linspace(1 - 0.5 / count, AT_REST, count) ** (1 / (1 - ratio))
    return np.sort(np.concatenate([even, slow]))[::-1]


def _stretches(green: Green, rows: np.ndarray) -> np.ndarray:
    shares, margin, roll = _along_paths(green, rows)
    drops = margin >= 0
    # The fastest place never drops; the slowest may be inside a stretch.
    drops[:, 0] = False
    put, place = np.nonzero(np.diff(drops, axis=1, append=False))
    order = np.arange(put.size) - np.searchsorted(put, put)
    kept = order < 2 * (STRETCHES - 1)
    put, place, order = put[kept], place[kept], order[kept]
    edges = _rolls_passing(green, _edges(green, rows, shares, put, place), *rows[:, put])[1]
    put, order, first, last = put[::2], order[::2] // 2, place[::2] + 1, place[1::2]
    ends = [edges[::2], edges[1::2]]
    ends += [_extreme(green, rows, shares, roll, put, first, last, sign) for sign in (1, -1)]
    stretches = np.zeros((rows.shape[1], STRETCHES, 2))
    stretches[put, order] = np.stack([np.min(ends, 0), np.max(ends, 0)], axis=-1)
    stretches[:, -1] = _stopped(green.ratio, shares[:, -1], *rows)
    return _apart(stretches)


def _along_paths(green: Green, rows: np.ndarray) -> Three:
    # Shares, margins and roll-outs at places on each path, falling in share. Places are even,
    # with some put in where they matter. Where the ball turns square to the hole's direction
    # the roll-out runs through zero, and no stretch may reach across. Where the path changes
    # sides of the hole from one place to the next without dropping at either, it may drop in
    # between: on a long steep putt a stretch is narrow.
    even = places(green.ratio)[1:]
    margin, roll, offset = _rolls_passing(green, even, *rows[..., None])
    square = _squares(rows, even[-1], green.ratio)
    middle = _middles(green, rows, even, margin, offset, square)
    at_middle = _rolls_passing(green, middle, *rows[..., None])
    none = np.full((len(square), 1), -1.0)
    shares = np.column_stack([square, middle, np.broadcast_to(even, roll.shape)])
    margin = np.column_stack([none, np.where(middle < 1, at_middle[0], -1.0), margin])
    roll = np.column_stack([0 * none, np.where(middle < 1, at_middle[1], 0.0), roll])
    order = np.argsort(-shares, axis=1, kind="stable")
    shares, margin, roll = (np.take_along_axis(p, order, axis=1) for p in (shares, margin, roll))
    return shares, margin, roll


def _squares(rows: np.ndarray, last: float, ratio: float) -> np.ndarray:
    # The share at which the ball turns square to the hole; 1 where it does not.
    heading, hole, _ = rows
    square = share_facing(heading, hole + np.pi / 2, ratio)
    square = np.maximum(square, share_facing(heading, hole - np.pi / 2, ratio))
    return np.where((square < 1) & (square > last), square, 1.0)


def _middles(
    green: Green,
    rows: np.ndarray,
    shares: np.ndarray,
    margin: np.ndarray,
    offset: np.ndarray,
    square: np.ndarray,
) -> np.ndarray:
    # Up to two shares (putts, 2) at which a path runs over the middle between two places: only
    # where neither drops and the ball does not turn square between them; 1 elsewhere.
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
            lambda q, *given: _rolls_passing(green, q, *given)[2],
            (shares[place + 1], shares[place]),
            args=tuple(rows[:, put]),
            tolerances={"xatol": 1e-8, "xrtol": 1e-8},
        ).x
    return middle


def _extreme(
    green: Green,
    rows: np.ndarray,
    shares: np.ndarray,
    roll: np.ndarray,
    put: np.ndarray,
    first: np.ndarray,
    last: np.ndarray,
    sign: int,
) -> np.ndarray:
    # The least (sign 1) or greatest (-1) roll-out within stretches of places. It is at an end
    # unless a ball curls back: then a stretch folds, and the fold is solved.
    index = np.arange(shares.shape[1])
    within = (index >= first[:, None]) & (index <= last[:, None])
    best = np.argmin(np.where(within, sign * roll[put], np.inf), axis=1)
    found = roll[put, best]
    inner = np.flatnonzero((best > first) & (best < last))
    if inner.size:
        put, best = put[inner], best[inner]
        least = find_minimum(
            lambda q, *given: sign * _rolls_passing(green, q, *given)[1],
            tuple(shares[put, best + step] for step in (1, 0, -1)),
            args=tuple(rows[:, put]),
        )
        found[inner] = sign * least.f_x
    return found


def _rolls_passing(
    green: Green, share: np.ndarray, heading: np.ndarray, hole: np.ndarray, distance: np.ndarray
) -> Three:
    # Margin, flat roll-out and offset of balls that are closest at a share. The margin is the
    # capture limit less the speed: 0 or more drops. No ball is closest there if it would need
    # a roll-out below 0: margin -1, offset NaN.
    x, y = displacement(heading, share, green.ratio)
    nx, ny, pace = velocity(heading, share, green.ratio)
    hx, hy = distance * np.cos(hole), distance * np.sin(hole)
    toward, gone = hx * nx + hy * ny, x * nx + y * ny
    possible = toward * gone > 0
    roll = np.where(possible, toward, 0.0) / np.where(possible, gone, 1.0)
    offset = (y * roll - hy) * nx - (x * roll - hx) * ny
    limit = capture_limit_ft_s(offset, slope_pct=green.slope_pct, cos_heading=nx)
    margin = np.where(possible, limit - pace * green.start_speed_ft_s(roll), -1.0)
    return margin, roll, np.where(possible, offset, np.nan)


def _edges(
    green: Green, rows: np.ndarray, shares: np.ndarray, put: np.ndarray, place: np.ndarray
) -> np.ndarray:
    # The share where the margin changes sign just after each place.
    share = shares[put, place]
    inner = np.flatnonzero(place < shares.shape[1] - 1)
    if inner.size:
        put, place = put[inner], place[inner]
        share[inner] = find_root(
            lambda q, *given: _rolls_passing(green, q, *given)[0],
            (shares[put, place + 1], shares[put, place]),
            args=tuple(rows[:, put]),
            tolerances={"xatol": 1e-10, "xrtol": 1e-10},
        ).x
    return share


def _stopped(
    ratio: float, share: np.ndarray, heading: np.ndarray, hole: np.ndarray, distance: np.ndarray
) -> np.ndarray:
    # The roll-outs that stop inside the rim while still drawing nearer.
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


def _apart(stretches: np.ndarray) -> np.ndarray:
    # Cut overlaps and join stretches that touch, so that each roll-out counts once.
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


def _rising(stretches: np.ndarray) -> np.ndarray:
    # By their softest roll-out; empty ones become infinite and go last.
    empty = ~(stretches[..., 0] < stretches[..., 1])
    stretches = np.where(empty[..., None], np.inf, stretches)
    order = np.argsort(stretches[..., 0], axis=-1)
    return np.take_along_axis(stretches, order[..., None], axis=1)
