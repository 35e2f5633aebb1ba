"""How much one reading tells about spread, as a share of what an exact one would."""

import numpy as np
from scipy import stats

from putlab.spread import MISHIT_TIMES

# An exact reading tells 2 about log spread (Fisher information of a normal's log sd).
EXACT = 2.0

# Places of the true mean between two steps of the display, over which is averaged.
PLACES = 8


def reading_share(sd, *, step=0.0, noise=0.0, mishit_share=0.0):
    """Return what one reading tells about log spread, relative to an exact normal one.

    Fisher information of log spread in the model's own likelihood: intervals as wide as the
    display's step, sensor noise in quadrature, and a share of mishits four times as wide.

    Parameters
    ----------
    sd : float
        Spread.
    step, noise : float
        Step of the display and spread of the sensor, in the unit of ``sd``.
    mishit_share : float
        Share of mishits.

    Returns
    -------
    float
        1 for exact readings without mishits; less for others.
    """
    step = max(step, sd / 50)  # as good as exact
    centres = np.arange(-np.ceil(12 * MISHIT_TIMES * sd / step) - 1, 1)
    edges = np.concatenate([centres, -centres[-2::-1]]) * step
    told = [
        _told(edges - place * step, sd, noise, mishit_share)
        for place in (np.arange(PLACES) + 0.5) / PLACES
    ]
    return float(np.mean(told) / EXACT)


def _told(edges, sd, noise, share):
    """Return the information about log sd in knowing between which edges a reading lies."""
    parts = [(1 - share, 1.0), (share, MISHIT_TIMES)]
    chance = sum(w * np.diff(_cdf(edges, sd * k, noise)) for w, k in parts)
    slope = sum(w * np.diff(_slope(edges, sd * k, noise)) for w, k in parts)
    return np.sum(np.divide(slope**2, chance, out=np.zeros_like(chance), where=chance > 1e-300))


def _cdf(at, sd, noise):
    return stats.norm.cdf(at / np.hypot(sd, noise))


def _slope(at, sd, noise):
    """Derivative of the cdf by log sd; the noise stays."""
    total = np.hypot(sd, noise)
    z = at / total
    return -z * stats.norm.pdf(z) * (sd / total) ** 2
