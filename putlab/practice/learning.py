"""How practice narrows spread: every assumption in one object that can be replaced.

Power law of practice: over putts struck n, log spread falls by

    rate x log((100 + experience + n) / (100 + experience))

as the spread model's trend does. Experience at a length is the putts struck there plus a
share of those struck at its neighbours.
"""

from dataclasses import dataclass, fields

import numpy as np
import pandas as pd
from scipy import stats
from scipy.stats import norm, rankdata

from putlab.base.errors import UsageError
from putlab.model.spread import MISHIT_TIMES

# The power law of practice (A. Newell and P. S. Rosenbloom, "Mechanisms of skill acquisition
# and the law of practice", in Anderson, Cognitive Skills and Their Acquisition, 1981) fits
# times with exponents of about 0.1 to 0.6 from a first try on. Recalled from memory; spread
# in a skill already practised falls more slowly, so the prior is put lower.
POWER_LAW = "Newell and Rosenbloom (1981), power law of practice; size lowered by assumption"
ASSUMED = "assumption"

MEANINGS = {
    "rate_median": ("fall of log spread per log(1 + putts / 100), median", POWER_LAW),
    "rate_log_sd": ("log sd of that rate over golfers", POWER_LAW),
    "yield_log_sd": ("log sd of what a putt teaches, between lengths and components", ASSUMED),
    "bias_putts": ("putts, seeing where they go, that halve a bias, median", ASSUMED),
    "bias_log_sd": ("log sd of that number over golfers", ASSUMED),
    "carry_range": ("log distance over which carry-over falls to 1/e, median", ASSUMED),
    "carry_log_sd": ("log sd of that range, as it is not well known", ASSUMED),
    "other_share": ("share of a putt's practice that goes to the other component", ASSUMED),
    "half_life_days": ("days without practice after which half of it is lost", ASSUMED),
    "seconds_each": ("seconds a putt of no length takes", ASSUMED),
    "seconds_per_ft": ("further seconds for each foot of length", ASSUMED),
    "start_putts": ("putts that count as struck before the log", "scale of the spread model"),
}


@dataclass(frozen=True)
class Learning:
    """What practice does, until this golfer's own log says otherwise.

    Attributes
    ----------
    rate_median, rate_log_sd : float
        Log-normal prior of the rate: fall of log spread per unit of log(1 + putts / 100).
        yield_log_sd : float
        How much what a putt of practice is worth differs between lengths and components, in
        log: nobody knows that one at 6 ft teaches as much as one at 10 ft.
    bias_putts, bias_log_sd : float
        Putts that halve a bias: median and log sd. Whoever sees where balls go corrects a
        constant error faster than scatter.
    carry_range, carry_log_sd : float
        Carry-over from length a to length b is exp(-|log(a / b)| / carry_range); its median,
        and its log sd, as nobody knows it well.
    other_share : float
        A putt struck for line is also this much of a putt for pace, and the reverse.
    half_life_days : float
        What practice added halves in this time without any.
    seconds_each, seconds_per_ft : float
        Time a putt takes, with collecting the balls: fixed part, and for each foot.
    start_putts : float
        Putts counted as struck before the log; the spread model's trend uses 100.
    """

    rate_median: float = 0.08
    rate_log_sd: float = 0.7
    yield_log_sd: float = 0.4
    bias_putts: float = 150.0
    bias_log_sd: float = 0.7
    carry_range: float = 0.7
    carry_log_sd: float = 0.4
    other_share: float = 0.25
    half_life_days: float = 90.0
    seconds_each: float = 15.0
    seconds_per_ft: float = 0.3
    start_putts: float = 100.0

    def __post_init__(self):
        """Refuse what can't be a golfer."""
        may_be_0 = {
            "yield_log_sd",
            "bias_log_sd",
            "carry_log_sd",
            "other_share",
            "seconds_per_ft",
        }
        for field in fields(self):
            value = getattr(self, field.name)
            if not np.isfinite(value) or value < 0 or (value == 0 and field.name not in may_be_0):
                raise UsageError(f"learning: {field.name} must be above 0; got {value:g}.")

    def carry(self, from_ft, to_ft, carry_range=None):
        """Return the share of a putt at one length that counts at another.

        Parameters
        ----------
        from_ft, to_ft : array_like, shapes (n,) and (m,)
            Lengths in feet.
        carry_range : array_like, optional
            Draws of the range, shape (draws,); default: its median.

        Returns
        -------
        ndarray, shape (n, m) or (draws, n, m)
            1 at the same length, falling with the ratio of lengths.
        """
        apart = np.subtract.outer(np.log(np.atleast_1d(from_ft)), np.log(np.atleast_1d(to_ft)))
        wide = self.carry_range if carry_range is None else carry_range
        return np.exp(-np.abs(apart) / np.asarray(wide)[..., None, None])

    def putts_a_minute(self, distance_ft):
        """Return the putts that a minute holds.

        Parameters
        ----------
        distance_ft : array_like
            Lengths in feet.

        Returns
        -------
        ndarray
            Putts a minute.
        """
        return 60 / (self.seconds_each + self.seconds_per_ft * np.asarray(distance_ft, float))

    def growth(self, experience, putts):
        """Return the growth of log experience that more putts bring.

        Parameters
        ----------
        experience, putts : array_like
            Putts that count so far, and further ones.

        Returns
        -------
        ndarray
            Times the rate: the fall of log spread.
        """
        return np.log1p(np.asarray(putts) / (self.start_putts + np.asarray(experience)))

    def kept(self, days):
        """Return the share of what practice added that is left after days without any.

        Parameters
        ----------
        days : array_like
            Days.

        Returns
        -------
        ndarray
            1 at once, one half after the half-life.
        """
        return 0.5 ** (np.asarray(days, dtype=float) / self.half_life_days)

    def rates(self, trend=None, trend_prior_sd=None):
        """Return draws of the rate: the golfer's own trend, shrunk to the prior.

        The trend's posterior is divided by its own prior, centred on nought, which leaves
        what the log says; that is multiplied by the prior of the rate. A draw keeps its rank.

        Parameters
        ----------
        trend : ndarray, shape (draws,)
            Posterior draws of the change of log spread per unit of log(1 + putts / 100).
        trend_prior_sd : float
            Sd of the prior, centred on nought, that those draws were made with.

        Returns
        -------
        ndarray, shape (draws,)
            Rates above 0.
        """
        said, precision = told_by_log(trend, trend_prior_sd)
        z = np.linspace(-5, 5, 2001)
        rate = self.rate_median * np.exp(self.rate_log_sd * z)
        weight = norm.pdf(z) * np.exp(
            -0.5 * precision * ((rate - said) ** 2 - np.min((rate - said) ** 2))
        )
        cumulative = np.cumsum(weight) - weight / 2
        rank = (rankdata(-np.asarray(trend)) - 0.5) / np.size(trend)
        return np.interp(rank, cumulative / weight.sum(), rate)

    def table(self):
        """Return the assumptions as a table.

        Returns
        -------
        pandas.DataFrame
            ``name, meaning, value, from, source``.
        """
        rows = [
            {
                "name": name,
                "meaning": meaning,
                "value": getattr(self, name),
                "from": "prior",
                "source": source,
            }
            for name, (meaning, source) in MEANINGS.items()
        ]
        return pd.DataFrame(rows)


def told_by_log(trend, trend_prior_sd):
    """Return what a log alone says of the rate, as a normal likelihood.

    Parameters
    ----------
    trend : ndarray, shape (draws,)
        Posterior draws of the trend.
    trend_prior_sd : float
        Sd of its prior, centred on nought.

    Returns
    -------
    tuple of float
        Mean of the rate (minus the trend), and its precision; 0 where the log says nothing.
    """
    mean, precision = -np.mean(trend), 1 / max(np.var(trend), 1e-12)
    added = precision - 1 / trend_prior_sd**2
    # Draws scatter: a posterior a few percent narrower than its prior has learned nothing.
    if added <= 0.05 * precision:
        return 0.0, 0.0
    return mean * precision / added, added


# How much one reading tells about spread, as a share of what an exact one would.


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
