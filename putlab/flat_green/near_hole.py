"""How near the hole a missed putt stops: within a circle, and in the area behind the hole."""

import numpy as np
from scipy.special import ndtr

from putlab.errors import UsageError
from putlab.flat_green.fan import Fan
from putlab.flat_green.leaves import in_chunks
from putlab.flat_green.strike import Strikes
from putlab.settings import PAST_FT, STIMP_FT

# Common practice: a missed putt comes to rest past the hole and within three feet of it.
AREA_FT = 3.0

# Directions at the hole in each of three ranges, and on each side of it.
NODES = 24


def leave_within(skill, distance_ft, within_ft, *, stimp_ft=STIMP_FT, past_ft=PAST_FT):
    """Return the chance that a first putt misses and stops within a distance of the hole.

    Parameters
    ----------
    skill : Skill
        The golfer.
    distance_ft : array_like, shape (n,)
        Lengths of the putt in feet, rising.
    within_ft : array_like, shape (m,)
        Distances left, in feet: the distribution of leaves at as many points.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims to roll the ball.

    Returns
    -------
    ndarray, shape (draws, n, m)
        Chances; divided by the chance of a miss they are the distribution of leaves.

    Raises
    ------
    UsageError
        A distance left is not above 0.
    """
    within_ft = np.atleast_1d(np.asarray(within_ft, dtype=float))
    if not np.all(within_ft > 0):
        raise UsageError(f"within_ft must be above 0; got {within_ft}.")
    strikes = Strikes.of(skill.at(distance_ft), past_ft)
    found = [circle_chance(strikes, stimp_ft, radius) for radius in within_ft]
    return np.stack(found, axis=-1).reshape(skill.draws, -1, within_ft.size)


def circle_chance(strikes, stimp_ft, radius_ft):
    """Return the chance of a miss that stops within a circle round the hole.

    Parameters
    ----------
    strikes : Strikes
        The putts.
    stimp_ft : float
        Green speed in feet.
    radius_ft : float
        Radius of the circle in feet.

    Returns
    -------
    ndarray, shape (putts,)
        Chances: roll-out in closed form for each direction, direction by quadrature.
    """
    return _over_fans(strikes, stimp_ft, radius_ft, _short_and_close, _past_and_close)


def area_chance(strikes, stimp_ft, area_ft=AREA_FT):
    """Return the chance of a miss that stops past the hole and close to it.

    Parameters
    ----------
    strikes : Strikes
        The putts.
    stimp_ft : float
        Green speed in feet.
    area_ft : float
        Greatest distance left in feet.

    Returns
    -------
    ndarray, shape (putts,)
        Past means beyond the closest approach to the hole.
    """
    return _over_fans(strikes, stimp_ft, area_ft, _past_and_close)


def _over_fans(strikes, stimp_ft, radius_ft, *parts):
    """Return the sum of parts over all directions that pass through the circle."""

    def work(some):
        fans = [Fan.at_hole(some, stimp_ft, NODES)]
        fans += [Fan.beside(some, side, NODES, within_ft=radius_ft) for side in (0, 1)]
        return (sum(part(fan, radius_ft) for fan in fans for part in parts),)

    (chance,) = in_chunks(work, strikes)
    return chance


def _past_and_close(fan, radius_ft):
    """Return the chance that a ball stops past `far` and inside the circle."""
    end = np.maximum(fan.strikes.roll_edge(fan.along_ft + _depth(fan, radius_ft)), fan.far)
    return np.sum(fan.chance * (ndtr(end) - ndtr(fan.far)), axis=1)


def _short_and_close(fan, radius_ft):
    """Return the chance that a ball stops short of `near` and inside the circle."""
    from_ft = fan.along_ft - _depth(fan, radius_ft)
    # A ball that does not move is inside a circle that reaches the ball.
    start = np.where(from_ft <= 0, -np.inf, fan.strikes.roll_edge(from_ft))
    start = np.minimum(start, fan.near)
    return np.sum(fan.chance * (ndtr(fan.near) - ndtr(start)), axis=1)


def _depth(fan, radius_ft):
    """Return half the chord of the circle along each direction, in feet."""
    return np.sqrt(np.maximum(radius_ft**2 - fan.offset_ft**2, 0.0))
