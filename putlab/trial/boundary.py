"""When a trial may speak: a verdict that stands up to being asked after every session.

Somebody who looks ten times at a trial of nothing sees p < 0.05 about one time in five. So
the evidence asked for depends on how much has been learned. With z the estimate in units of
its standard error and t the share of the information that the trial was designed to gather:

    early, t < 1     z must pass FINAL_Z / t^EARLY  (boundaries of S. K. Wang and A. A.
                     Tsiatis, "Approximately optimal one-parameter boundaries for group
                     sequential trials", Biometrics 43, 1987, here with shape -1/4)
    at full size     z must pass FINAL_Z
    beyond, t > 1    z² must pass FINAL_Z² + 2 BEYOND log t, for looking goes on

The model's prior pulls z towards nought by a known factor, which is taken out of the bar.
``tests/calibration/trials.py`` measures the false alarms of the whole procedure.
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

# Set by simulating trials of nothing: ten looks at a trial that ends at half to five times
# its designed size say helped or hurt in at most 5 % of them, and the last look of a trial
# of designed size asks for little more than the 1.96 of a trial that is looked at once.
FINAL_Z = 2.05
EARLY = 0.75
BEYOND = 4.0

# The design's own terms, as in most textbooks: 80 % chance, two-sided 5 %.
CHANCE = 0.80
TWO_SIDED = 0.05

# Chance that a change lies within the region that is too small to matter, to say so.
SMALL_ENOUGH = 0.90

# Too small to matter: 5 % of spread, and what that is worth. To a golfer in the middle of the
# priors 5 % off the line spread saves 0.27 strokes a round, off the pace spread 0.14
# (`putlab.trial.design`). Both are assumptions of what matters; a golfer may set others.
REGION_PCT = 5.0
REGION_STROKES = 0.2

# Size of change that a trial is meant to see, where nothing is said: `putlab trial` designs
# for the same, and the two should agree.
DETECT_PCT = 20.0

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

    def p_needed(self, sd, *, sd_told=None):
        """Return the probability of improvement that must be passed to say helped.

        Parameters
        ----------
        sd : float or ndarray
            Posterior standard deviation of the change.
        sd_told : float or ndarray, optional
            The same before it was widened for what more putts can't tell; it says how far
            the trial has come. Default: ``sd``.

        Returns
        -------
        ndarray
            Probability.
        """
        t = self.information(sd if sd_told is None else sd_told) / self.designed_information
        told = self.information(sd)
        pulled = told / (told + 1 / np.square(self.prior_sd))
        return stats.norm.cdf(z_needed(t) * np.sqrt(pulled))


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
    early = FINAL_Z / np.minimum(t, 1) ** EARLY
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


def verdict(mean, sd, bar, *, sd_told=None):
    """Return the verdict on a change.

    Parameters
    ----------
    mean, sd : float or ndarray
        Posterior of the change; below 0 is better.
    bar : Bar
        What is asked for.
    sd_told : float or ndarray, optional
        As in `Bar.p_needed`.

    Returns
    -------
    ndarray of str
        ``helped``, ``hurt``, ``no difference that matters`` or ``cannot tell yet``.
    """
    improved, needed = p_below(mean, sd), bar.p_needed(sd, sd_told=sd_told)
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


def putts_to_verdict(mean, sd, bar, *, information_per_putt, seed, sd_told=None):
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
    sd_told : float, optional
        As in `Bar.p_needed`.

    Returns
    -------
    int
        Putts, both arms together, after which the chance of a verdict is `CHANCE`; 0 where
        there is one now.
    """
    if verdict(mean, sd, bar, sd_told=sd_told) != CANNOT_TELL:
        return 0
    rng = np.random.default_rng(seed)
    truth = mean + sd * rng.standard_normal((FUTURES, 1))
    noise = rng.standard_normal((FUTURES, 1))
    more = GRID * bar.designed_information
    seen = truth + noise / np.sqrt(more)
    then = 1 / (1 / sd**2 + more)
    told_then = 1 / np.sqrt(1 / (sd if sd_told is None else sd_told) ** 2 + more)
    means = then * (mean / sd**2 + more * seen)
    told = verdict(means, np.sqrt(then), bar, sd_told=told_then) != CANNOT_TELL
    # Smoothed upwards: more putts never make a verdict less likely in the long run.
    chance = np.maximum.accumulate(told.mean(axis=0))
    if chance[-1] < CHANCE:
        return _whole(GRID[-1] * bar.designed_information / information_per_putt)
    return _whole(np.exp(np.interp(CHANCE, chance, np.log(more))) / information_per_putt)


def _whole(putts):
    """Round up to two figures: no forecast of putts is finer than that."""
    step = 10 ** max(int(np.floor(np.log10(putts))) - 1, 0)
    return int(np.ceil(putts / step) * step)


# Trials simulated to know a chance to half a percent.
PATHS = 20_000


def chance_of_helped(t, *, effect=1.0, seed):
    """Return the chance that a trial has said helped by each of its looks.

    Parameters
    ----------
    t : array_like, shape (looks,)
        Information at each look as a share of the designed; rising.
    effect : float
        True change in units of the one that the trial is designed for; 0 for none.
    seed : int
        Seed of the simulated trials.

    Returns
    -------
    ndarray, shape (looks,)
        Chance, rising.
    """
    t = np.asarray(t, dtype=float)
    steps = np.diff(t, prepend=0.0)
    noise = np.random.default_rng(seed).standard_normal((PATHS, t.size)) * np.sqrt(steps)
    score = np.cumsum(noise + effect * z_of_design() * steps, axis=1)
    helped = score / np.sqrt(t) >= z_needed(t)
    return np.maximum.accumulate(helped, axis=1).mean(axis=0)
