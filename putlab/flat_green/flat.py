"""A putt on a flat green: how it slows down, and which roll-outs the hole takes."""

import numpy as np

from putlab.published import CAPTURE_FT_S, HOLE_RADIUS_FT
from putlab.settings import STIMPMETER_FT_S


def deceleration_ft_s2(stimp_ft):
    """Return the constant deceleration of a rolling ball, in ft/s².

    Parameters
    ----------
    stimp_ft : float
        Green speed: how far the ball rolls from the Stimpmeter's 6.00 ft/s, in feet.

    Returns
    -------
    float
        v² / (2 · roll-out).
    """
    return STIMPMETER_FT_S**2 / (2 * stimp_ft)


def past_limit_ft(offset_ft, stimp_ft):
    """Return how far past the hole the hardest putt that still drops would have rolled.

    Parameters
    ----------
    offset_ft : array_like
        Closest approach of the ball's line to the hole's centre, in feet, inside the hole.
    stimp_ft : float
        Green speed in feet.

    Returns
    -------
    ndarray
        Feet beyond the closest approach, had there been no hole (Penner 2002).
    """
    limit_ft_s = CAPTURE_FT_S * (1 - (np.asarray(offset_ft) / HOLE_RADIUS_FT) ** 2)
    return limit_ft_s**2 / (2 * deceleration_ft_s2(stimp_ft))


def rim_ft(offset_ft):
    """Return how far before the closest approach the ball's centre meets the near rim.

    Parameters
    ----------
    offset_ft : array_like
        Closest approach of the ball's line to the hole's centre, in feet, inside the hole.

    Returns
    -------
    ndarray
        Half the chord of the hole at that offset, in feet.
    """
    return np.sqrt(np.maximum(HOLE_RADIUS_FT**2 - np.asarray(offset_ft) ** 2, 0.0))
