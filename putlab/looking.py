"""When a trial may speak: a verdict that stands up to being asked after every session.

Somebody who looks ten times at a trial of nothing sees p < 0.05 about one time in five. So
the evidence asked for depends on how much has been learned. With z the estimate in units of
its standard error and t the share of the information that the trial was designed to gather:

    early, t < 1     z must pass FINAL_Z / sqrt(t)  (O'Brien and Fleming, "A multiple
                     testing procedure for clinical trials", Biometrics 35, 1979)
    at full size     z must pass FINAL_Z
    beyond, t > 1    z² must pass FINAL_Z² + 2 BEYOND log t, for looking goes on

The model's prior pulls z towards nought by a known factor, which is taken out of the bar.
``tests/calibration/trials.py`` measures the false alarms of the whole procedure.
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

# Two-sided 5 %, of which looking early takes its part: ten looks at a trial of designed
# size say helped or hurt in 4.9 % of trials of nothing; 1.96 is what one look would take.
FINAL_Z = 2.10
BEYOND = 3.0

# The design's own terms, as in most textbooks: 80 % chance, two-sided 5 %.
CHANCE = 0.80
TWO_SIDED = 0.05

# Chance that a change lies within the region that is too small to matter, to say so.
SMALL_ENOUGH = 0.90

HELPED, HURT = "helped", "hurt"
NO_DIFFERENCE, CANNOT_TELL = "no difference that matters", "cannot tell yet"


@dataclass(frozen=True)
class Bar:
    """What a verdict asks for, on the scale of the change judged (below 0 is better).

    Attributes
    ----------
    region : float
        A change within plus or minus this is too small to matter.
    detect : float
        Size of the change that the trial is meant to see.
    prior_sd : float
        Sd of the prior that the estimate has in it; infinity where that is none or unknown,
        which errs on the side of caution.
    """

    region: float
    detect: float
    prior_sd: float = np.inf

    @property
    def designed_information(self):
        """Information (1 / variance) of a trial of the designed size."""
        return (z_of_design() / self.detect) ** 2

    def information(self, sd):
        """Return what the data alone have told, given the posterior sd.

        Parameters
        ----------
        sd : float or ndarray
            Posterior standard deviation of the change.

        Returns
        -------
        ndarray
            1 / variance, without the prior's part.
        """
        told = 1 / np.square(sd) - 1 / np.square(self.prior_sd)
        return np.maximum(told, 1e-6 * self.designed_information)

    def p_needed(self, sd):
        """Return the probability of improvement that must be passed to say helped.

        Parameters
        ----------
        sd : float or ndarray
            Posterior standard deviation of the change.

        Returns
        -------
        ndarray
            Probability.
        """
        told = self.information(sd)
        pulled = told / (told + 1 / np.square(self.prior_sd))
        return stats.norm.cdf(z_needed(told / self.designed_information) * np.sqrt(pulled))


def z_of_design():
    """Return the standard errors that a change must span to be seen with the chance wanted.

    Returns
    -------
    float
        2.80: 1.96 for a two-sided 5 % and 0.84 for a chance of 80 %.
    """
    return stats.norm.isf(TWO_SIDED / 2) + stats.norm.ppf(CHANCE)


def z_needed(t):
    """Return the standard errors that an estimate must pass.

    Parameters
    ----------
    t : float or ndarray
        Information gathered as a share of what the trial was designed for.

    Returns
    -------
    ndarray
        The bar.
    """
    t = np.asarray(t, dtype=float)
    early = FINAL_Z / np.sqrt(np.minimum(t, 1))
    beyond = np.sqrt(FINAL_Z**2 + 2 * BEYOND * np.log(np.maximum(t, 1)))
    return np.where(t < 1, early, beyond)


def p_below(mean, sd, value=0.0):
    """Return the probability that the change is below a value.

    Changes of log spread and of strokes are close to normal, and the normal tail is smooth
    where counted draws run out.

    Parameters
    ----------
    mean, sd : float or ndarray
        Posterior of the change.
    value : float
        Where to cut.

    Returns
    -------
    ndarray
        Probability.
    """
    return stats.norm.cdf((value - mean) / sd)


def p_small(mean, sd, region):
    """Return the probability that the change is too small to matter.

    Parameters
    ----------
    mean, sd : float or ndarray
        Posterior of the change.
    region : float
        Half width of the region.

    Returns
    -------
    ndarray
        Probability.
    """
    return p_below(mean, sd, region) - p_below(mean, sd, -region)


def verdict(mean, sd, bar):
    """Return the verdict on a change.

    Parameters
    ----------
    mean, sd : float or ndarray
        Posterior of the change; below 0 is better.
    bar : Bar
        What is asked for.

    Returns
    -------
    ndarray of str
        ``helped``, ``hurt``, ``no difference that matters`` or ``cannot tell yet``.
    """
    improved, needed = p_below(mean, sd), bar.p_needed(sd)
    return np.select(
        [
            p_small(mean, sd, bar.region) >= SMALL_ENOUGH,
            improved >= needed,
            improved <= 1 - needed,
        ],
        [NO_DIFFERENCE, HELPED, HURT],
        CANNOT_TELL,
    )


# Further putts tried when asking how many are needed, as shares of a grid of information.
GRID = np.geomspace(0.02, 200, 60)
FUTURES = 2000


def putts_to_verdict(mean, sd, bar, *, information_per_putt, seed):
    """Return the further putts after which a verdict is to be expected.

    What is believed now is the truth of many futures; in each, further putts are struck and
    the verdict asked again.

    Parameters
    ----------
    mean, sd : float
        Posterior of the change.
    bar : Bar
        What is asked for.
    information_per_putt : float
        What one more putt, in a trial that mixes both arms, tells.
    seed : int
        Seed of the futures.

    Returns
    -------
    int
        Putts, both arms together, after which the chance of a verdict is `CHANCE`; 0 where
        there is one now.
    """
    if verdict(mean, sd, bar) != CANNOT_TELL:
        return 0
    rng = np.random.default_rng(seed)
    truth = mean + sd * rng.standard_normal((FUTURES, 1))
    noise = rng.standard_normal((FUTURES, 1))
    more = GRID * bar.designed_information
    seen = truth + noise / np.sqrt(more)
    then = 1 / (1 / sd**2 + more)
    told = verdict(then * (mean / sd**2 + more * seen), np.sqrt(then), bar) != CANNOT_TELL
    # Smoothed upwards: more putts never make a verdict less likely in the long run.
    chance = np.maximum.accumulate(told.mean(axis=0))
    if chance[-1] < CHANCE:
        return _whole(GRID[-1] * bar.designed_information / information_per_putt)
    return _whole(np.exp(np.interp(CHANCE, chance, np.log(more))) / information_per_putt)


def _whole(putts):
    """Round up to two figures: no forecast of putts is finer than that."""
    step = 10 ** max(int(np.floor(np.log10(putts))) - 1, 0)
    return int(np.ceil(putts / step) * step)
