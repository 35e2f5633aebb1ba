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

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from putlab.base.late import elementwise
from putlab.green.flat import capture_limit_ft_s
from putlab.green.published import HOLE_RADIUS_FT
from putlab.green.slope import Green, Pair, displacement, floats, root, share_square_to, velocity

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


@dataclass(frozen=True)
class Putts:
    """Putts on one green, every start direction free in pace; both arrays have one shape."""

    green: Green
    heading_rad: np.ndarray  # clockwise from downhill
    hole_ft: np.ndarray  # where the hole is, downhill + i across

    def __getitem__(self, rows: Any) -> "Putts":
        return Putts(self.green, self.heading_rad[rows], self.hole_ft[rows])

    def ahead(self, share: np.ndarray) -> tuple[np.ndarray, ...]:
        """Return direction and speed at a share, and as seen along it hole and way gone."""
        facing, speed = velocity(self.heading_rad, share, self.green.ratio)
        gone = displacement(self.heading_rad, share, self.green.ratio)
        return facing, speed, self.hole_ft * np.conj(facing), gone * np.conj(facing)

    def nearest(self, share: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return margin, flat roll-out and offset of balls that are closest at a share.

        The margin is the capture limit less the speed: 0 or more drops. No ball is closest
        there if it would need a roll-out below 0: margin -1, offset NaN.
        """
        facing, speed, hole, gone = self.ahead(share)
        possible = hole.real * gone.real > 0
        roll = np.where(possible, hole.real, 0.0) / np.where(possible, gone.real, 1.0)
        offset = gone.imag * roll - hole.imag
        limit = capture_limit_ft_s(offset, slope_pct=self.green.slope_pct, cos_heading=facing.real)
        margin = np.where(possible, limit - speed * self.green.start_speed_ft_s(roll), -1.0)
        return margin, roll, np.where(possible, offset, np.nan)

    def part(self, number: int, sign: int = 1) -> Callable[..., np.ndarray]:
        """Return a part of what `nearest` does as a function of share, heading and hole."""
        return lambda share, *putts: sign * Putts(self.green, *putts).nearest(share)[number]

    def zero(self, number: int, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """Return the share between two at which a part of what `nearest` returns is 0."""
        return root(self.part(number), (low, high), self.heading_rad, self.hole_ft, within=1e-10)


def captured_rolls(
    green: Green, distance_ft: ArrayLike, line_deg: ArrayLike, *, slope_to_deg: ArrayLike = 0.0
) -> np.ndarray:
    """Return softest and hardest flat roll-outs that drop, of up to three stretches (..., 3, 2).

    Rising and apart; an empty one has equal ends. Ends are solved to 1e-9 of their length.
    """
    distance, line, to = floats(distance_ft, line_deg, slope_to_deg)
    hole = distance * np.exp(-1j * np.radians(to))
    putts = Putts(green, np.radians(line - to).ravel(), hole.ravel())
    pieces = [_stretches(putts[i : i + CHUNK]) for i in range(0, max(line.size, 1), CHUNK)]
    return np.concatenate(pieces).reshape(*line.shape, STRETCHES, 2)


def places(ratio: float, count: int = PLACES) -> np.ndarray:
    """Return shares to look at along a path, falling from 1: even in q, as many in q^(1 - β)."""
    even = np.linspace(1, 1 / count, count)
    slow = np.linspace(1 - 0.5 / count, AT_REST, count) ** (1 / (1 - ratio))
    return np.sort(np.concatenate([even, slow]))[::-1]


def _stretches(putts: Putts) -> np.ndarray:
    shares, margin, roll = _along_paths(putts)
    drops = margin >= 0
    # The fastest place never drops; the slowest may be inside a stretch.
    drops[:, 0] = False
    put, place, order = _first_few(np.diff(drops, axis=1, append=False), 2 * (STRETCHES - 1))
    edge = shares[put, place]
    inner = np.flatnonzero(place < shares.shape[1] - 1)
    among, after = put[inner], place[inner] + 1
    edge[inner] = putts[among].zero(0, shares[among, after], edge[inner])
    edges = putts[put].nearest(edge)[1]
    put, order, first, last = put[::2], order[::2] // 2, place[::2] + 1, place[1::2]
    within = putts[put], shares[put], roll[put], (first, last)
    ends = [edges[::2], edges[1::2], *(_extreme(*within, sign) for sign in (1, -1))]
    stretches = np.zeros((len(shares), STRETCHES, 2))
    stretches[put, order] = np.stack([np.min(ends, 0), np.max(ends, 0)], axis=-1)
    stretches[:, -1] = _stopped(putts, shares[:, -1])
    return _apart(stretches)


def _first_few(marked: np.ndarray, most: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    # Row, column and number within the row of the first marks in each row.
    row, column = np.nonzero(marked)
    order = np.arange(row.size) - np.searchsorted(row, row)
    few = order < most
    return row[few], column[few], order[few]


def _along_paths(putts: Putts) -> list[np.ndarray]:
    # Shares, margins and roll-outs at places on each path, falling in share. Places are even,
    # with some put in where they matter. Where the ball turns square to the hole's direction
    # the roll-out runs through zero, and no stretch may reach across. Where the path changes
    # sides of the hole from one place to the next without dropping at either, it may drop in
    # between: on a long steep putt a stretch is narrow.
    even = places(putts.green.ratio)[1:]
    margin, roll, offset = putts[:, None].nearest(even)
    square = share_square_to(putts.heading_rad, np.angle(putts.hole_ft), putts.green.ratio)
    square = np.where(square > even[-1], square, 1.0)
    added = np.column_stack([square, _middles(putts, even, margin < 0, offset, square)])
    # At a share of 1 no ball is closest, and where it turns square none moves: neither drops.
    parts = zip((added, *putts[:, None].nearest(added)), (even, margin, roll), strict=False)
    joined = [np.column_stack([new, np.broadcast_to(old, roll.shape)]) for new, old in parts]
    order = np.argsort(-joined[0], axis=1, kind="stable")
    return [np.take_along_axis(part, order, axis=1) for part in joined]


def _middles(
    putts: Putts, shares: np.ndarray, out: np.ndarray, offset: np.ndarray, square: np.ndarray
) -> np.ndarray:
    # Up to two shares (putts, 2) at which a path runs over the middle between two places: only
    # where neither drops and the ball does not turn square between them; 1 elsewhere.
    cross = (offset[:, 1:] * offset[:, :-1] < 0) & out[:, 1:] & out[:, :-1]
    cross &= (square[:, None] <= shares[1:]) | (square[:, None] >= shares[:-1])
    put, place, order = _first_few(cross, 2)
    middle = np.ones((len(offset), 2))
    middle[put, order] = putts[put].zero(2, shares[place + 1], shares[place])
    return middle


def _extreme(
    putts: Putts, shares: np.ndarray, roll: np.ndarray, places: Pair, sign: int
) -> np.ndarray:
    # The least (sign 1) or greatest (-1) roll-out within stretches of places. It is at an end
    # unless a ball curls back: then a stretch folds, and the fold is solved.
    index, (first, last) = np.arange(shares.shape[1]), places
    within = (index >= first[:, None]) & (index <= last[:, None])
    best = np.argmin(np.where(within, sign * roll, np.inf), axis=1)
    found = roll[np.arange(best.size), best]
    fold = np.flatnonzero((best > first) & (best < last))
    if fold.size:
        some, around = putts[fold], [shares[fold, best[fold] + step] for step in (1, 0, -1)]
        rows = some.heading_rad, some.hole_ft
        solved = elementwise.find_minimum(putts.part(1, sign), around, args=rows)
        found[fold] = sign * solved.f_x
    return found


def _stopped(putts: Putts, share: np.ndarray) -> np.ndarray:
    # The roll-outs that stop inside the rim while still drawing nearer.
    _, _, hole, gone = putts.ahead(share)
    run, along = np.abs(gone) ** 2, (hole * np.conj(gone)).real
    inside = along**2 - run * (np.abs(hole) ** 2 - HOLE_RADIUS_FT**2)
    half = np.sqrt(np.maximum(inside, 0.0))
    low, high = (along - half) / run, (along + half) / run
    turn = hole.real / np.where(gone.real == 0, 1.0, gone.real)
    low = np.where(gone.real < 0, np.maximum(low, turn), low)
    high = np.where(gone.real > 0, np.minimum(high, turn), high)
    return np.stack([np.maximum(low, 0.0), high], axis=-1)


def _apart(stretches: np.ndarray) -> np.ndarray:
    # Join stretches that overlap or touch, so that each roll-out counts once.
    real = stretches[..., 0] < stretches[..., 1]
    order = np.argsort(np.where(real, stretches[..., 0], np.inf), axis=1)
    stretches = np.where(real[..., None], stretches, 0.0)
    low, high = np.moveaxis(np.take_along_axis(stretches, order[..., None], axis=1), -1, 0)
    reached = np.maximum.accumulate(high, axis=1)
    apart = low[:, 1:] > reached[:, :-1] * (1 + TOUCHING)
    first = np.pad(apart, ((0, 0), (1, 0)), constant_values=True)
    last = np.pad(apart, ((0, 0), (0, 1)), constant_values=True)
    number = np.cumsum(first, axis=1) - 1
    joined = np.zeros_like(stretches)
    joined[np.nonzero(first)[0], number[first]] = np.column_stack([low[first], reached[last]])
    return joined
