"""How a ball rolls on a plane green, in closed form.

The ball rolls without slipping on a plane. Two things change its velocity: rolling friction,
of size a = 6.00² / (2 S) ft/s² against the motion (a Stimpmeter reading of S feet is a
roll-out of S from 6.00 ft/s), and gravity along the plane, b = (5/7) g sin(slope) downhill
(5/7 because a solid ball that rolls must also be spun up).

Let v be the speed and φ the angle of the velocity from downhill. Then

    dv/dt = −a + b cos φ          v dφ/dt = −b sin φ.

Dividing the two gives the speed as a function of direction. It is written best through the
speed *across* the slope, v sin φ, as a share q of what it was at the start: q falls from 1
to 0 while the ball rolls. With β = b/a, C = cos(φ₀/2), S = sin(φ₀/2) and start speed v₀,

    tan(φ/2) = tan(φ₀/2) q^β
    v        = v₀ (C² q^(1−β) + S² q^(1+β)).

So a putt is a part C² that behaves as if straight downhill and a part S² that behaves as if
straight uphill. Integrating v dt, with w(p) = (1 − q^p) / p and L = v₀² / (2a), the distance
that the same blow sends the ball on the flat (its *flat roll-out*),

    downhill = 2 L (C⁴ w(2−2β) − S⁴ w(2+2β))
    across   = 4 L C S (C² w(2−β) + S² w(2+β))
    length   = 2 L (C⁴ w(2−2β) + 2 C² S² w(2) + S⁴ w(2+2β))
    time     = (v₀/a) (C² w(1−β) + S² w(1+β)).

The ball stops at q = 0, where w(p) = 1/p. Nothing is singular as the slope vanishes (β = 0)
or as the putt runs straight up (C = 0) or down (S = 0): those are ordinary values of the
same expressions, accurate to rounding. All putts started in one direction have one shape,
magnified by L.

Where b ≥ a friction cannot hold the ball on the slope, whichever way it is struck: it never
comes to rest, and every function here says so instead of returning a number.

Directions are degrees clockwise, seen from above, from the line ball to hole: + is right.
``slope_to_deg`` is the direction of downhill: 0 is a downhill putt, 90 falls to the right.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize.elementwise import find_root
from scipy.special import boxcox


def displacement(heading_rad, share, ratio):
    """Return where the ball is, per foot of flat roll-out, in the frame of the slope.

    Parameters
    ----------
    heading_rad : array_like
        Start direction φ₀ from downhill, clockwise, in radians.
    share : array_like
        Speed across the slope as a share q of its start: 1 at the start, 0 at rest.
    ratio : float
        Pull over friction, β.

    Returns
    -------
    downhill, across : ndarray
        Feet per foot of flat roll-out, shape of heading and share broadcast together.
    """
    down, side, up = _parts(heading_rad)
    downhill = 2 * (down**2 * _spent(share, 2 - 2 * ratio) - up**2 * _spent(share, 2 + 2 * ratio))
    across = 4 * side * (down * _spent(share, 2 - ratio) + up * _spent(share, 2 + ratio))
    return downhill, across


def velocity(heading_rad, share, ratio):
    """Return the direction of the ball and its speed as a share of the start speed.

    Parameters
    ----------
    heading_rad, share, ratio
        As for `displacement`.

    Returns
    -------
    downhill, across : ndarray
        Unit vector of the direction. At rest it is the limit: straight downhill, unless
        the green is flat or the putt straight uphill.
    speed : ndarray
        Speed over start speed, 0 to 1.
    """
    down, side, up = _parts(heading_rad)
    share = np.asarray(share, dtype=float)
    turned = share**ratio
    total = down + up * turned**2
    # Straight uphill at rest, 0/0: the ball has not turned.
    still_up = total == 0
    total = np.where(still_up, 1.0, total)
    downhill = np.where(still_up, -1.0, (down - up * turned**2) / total)
    return downhill, 2 * side * turned / total, total * share ** (1 - ratio) * ~still_up


def _parts(heading_rad):
    """Return C², C S and S² of a start direction."""
    half = np.asarray(heading_rad, dtype=float) / 2
    cosine, sine = np.cos(half), np.sin(half)
    return cosine * cosine, cosine * sine, sine * sine


def _spent(share, power):
    """Return w(p) = (1 - q^p) / p, accurate for small p too."""
    return -boxcox(np.asarray(share, dtype=float), power)


def _to_putt_frame(downhill, across, slope_to_deg):
    """Turn (downhill, across) into (along, right) of the line ball to hole."""
    turn = np.radians(slope_to_deg)
    along = downhill * np.cos(turn) - across * np.sin(turn)
    return along, downhill * np.sin(turn) + across * np.cos(turn)


@dataclass(frozen=True)
class Path:
    """Points along a putt, for a figure seen from above or a check.

    Attributes
    ----------
    along_ft, right_ft : ndarray
        Where the ball is, along and right of the line ball to hole.
    speed_ft_s, time_s, length_ft : ndarray
        Its speed, the time since it was struck and the length rolled.
    """

    along_ft: np.ndarray
    right_ft: np.ndarray
    speed_ft_s: np.ndarray
    time_s: np.ndarray
    length_ft: np.ndarray


def path(green, line_deg, roll_flat_ft, *, slope_to_deg=0.0, share=None, points=201):
    """Return the course of putts from the blow to rest, as if there were no hole.

    Parameters
    ----------
    green : Green
        Its speed and slope.
    line_deg : array_like
        Start direction, degrees from the line ball to hole, + right.
    roll_flat_ft : array_like
        How far the same blow would roll on the flat, in feet.
    slope_to_deg : array_like
        Direction of downhill, degrees clockwise from the line ball to hole.
    share : array_like, optional
        Where on the course: speed across the slope as a share of its start, 1 at the start,
        0 at rest. Broadcasts against the others. Default: a last axis of ``points`` values.
    points : int
        Points on each course where ``share`` is not given.

    Returns
    -------
    Path
        Arrays; with the default ``share`` of shape (..., points).

    Raises
    ------
    NeverStops
        The green is too steep to hold a ball.

    Examples
    --------
    >>> from putlab.green.aim import Green
    >>> uphill = path(Green(10, 2), 0, 10, slope_to_deg=180)
    >>> float(uphill.along_ft[-1].round(3))
    7.966
    """
    if share is None:
        share = np.linspace(1, 0, points)
        line_deg, roll_flat_ft, slope_to_deg = (
            np.asarray(value, dtype=float)[..., None]
            for value in (line_deg, roll_flat_ft, slope_to_deg)
        )
    ratio = green.ratio
    heading = np.radians(np.asarray(line_deg, dtype=float) - slope_to_deg)
    start = green.start_speed_ft_s(roll_flat_ft)
    along, right = _to_putt_frame(*displacement(heading, share, ratio), slope_to_deg)
    down, side, up = _parts(heading)
    seconds = down * _spent(share, 1 - ratio) + up * _spent(share, 1 + ratio)
    length = 2 * (
        down**2 * _spent(share, 2 - 2 * ratio)
        + 2 * side**2 * _spent(share, 2.0)
        + up**2 * _spent(share, 2 + 2 * ratio)
    )
    return Path(
        along * roll_flat_ft,
        right * roll_flat_ft,
        start * velocity(heading, share, ratio)[2],
        seconds * start / green.deceleration_ft_s2,
        length * roll_flat_ft,
    )


def stop_ft(green, line_deg, roll_flat_ft, *, slope_to_deg=0.0):
    """Return where putts come to rest, as if there were no hole.

    Parameters
    ----------
    green, line_deg, roll_flat_ft, slope_to_deg
        As for `path`; the arrays broadcast together.

    Returns
    -------
    along_ft, right_ft : ndarray
        Along and right of the line ball to hole, in feet from where the ball was struck.

    Raises
    ------
    NeverStops
        The green is too steep to hold a ball.
    """
    ratio = green.ratio
    heading = np.radians(np.asarray(line_deg, dtype=float) - slope_to_deg)
    along, right = _to_putt_frame(*displacement(heading, 0.0, ratio), slope_to_deg)
    return along * roll_flat_ft, right * roll_flat_ft


def break_ft(green, distance_ft, roll_flat_ft, *, line_deg=0.0, slope_to_deg=0.0):
    """Return how far sideways a putt is where it first passes a distance.

    Parameters
    ----------
    green : Green
        Its speed and slope.
    distance_ft : array_like
        Distance along the line ball to hole, in feet, above 0.
    roll_flat_ft : array_like
        How far the same blow would roll on the flat, in feet.
    line_deg : array_like
        Start direction; 0 starts the ball straight at the hole.
    slope_to_deg : array_like
        Direction of downhill, degrees clockwise from the line ball to hole.

    Returns
    -------
    ndarray
        Feet right of the line; NaN where the ball never gets that far. The root is found to
        1e-12 of the share of speed left, so the value is good to 1e-9 ft.

    Raises
    ------
    NeverStops
        The green is too steep to hold a ball.
    """
    ratio = green.ratio
    distance, roll, heading, to = np.broadcast_arrays(
        np.asarray(distance_ft, dtype=float),
        roll_flat_ft,
        np.radians(np.asarray(line_deg, dtype=float) - slope_to_deg),
        slope_to_deg,
    )
    farthest = _farthest_share(heading, to, ratio)

    def beyond(share, roll, heading, to, distance):
        along, _ = _to_putt_frame(*displacement(heading, share, ratio), to)
        return along * roll - distance

    arguments = (roll, heading, to, distance)
    reaches = beyond(farthest, *arguments) >= 0
    # Where it does not reach, solve something harmless in its place: passing the start.
    distance = np.where(reaches, distance, 0.0)
    found = find_root(
        beyond,
        (farthest, np.ones_like(farthest)),
        args=(roll, heading, to, distance),
        tolerances={"xrtol": 1e-13},
    )
    _, right = _to_putt_frame(*displacement(heading, found.x, ratio), to)
    return np.where(reaches, right * roll, np.nan)


def _farthest_share(heading, slope_to_deg, ratio):
    """Return the share at which the ball is farthest along the line ball to hole.

    There its direction is square to that line: φ = ±90° − slope_to. Before it the ball only
    gains distance, so the first time it passes a distance lies between the start and there.
    """
    to = np.radians(slope_to_deg)
    sides = (share_facing(heading, side * np.pi / 2 - to, ratio) for side in (1, -1))
    return np.maximum(*sides)


def share_facing(heading_rad, facing_rad, ratio):
    """Return the share at which a ball has turned to a direction; 0 if it never does.

    Parameters
    ----------
    heading_rad, facing_rad : array_like
        Start direction and the direction asked for, from downhill, clockwise, in radians.
    ratio : float
        Pull over friction, β.

    Returns
    -------
    ndarray
        Shares from 0 to 1: (tan(facing/2) / tan(heading/2))^(1/β).
    """
    if ratio == 0:
        return np.zeros(np.broadcast_shapes(np.shape(heading_rad), np.shape(facing_rad)))
    with np.errstate(divide="ignore", invalid="ignore"):
        turned = np.tan(np.asarray(facing_rad) / 2) / np.tan(np.asarray(heading_rad) / 2)
        return np.where((turned > 0) & (turned <= 1), turned, 0.0) ** (1 / ratio)
