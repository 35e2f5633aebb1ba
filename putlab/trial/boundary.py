"""When a trial may speak: a verdict that stands up to being asked after every visit.

Ten checks of a trial of nothing see p < 0.05 about one time in five. So the evidence asked for
depends on t, the information gathered as a share of what the trial was designed for. The
estimate in standard errors must pass, before the full size, FINAL_Z / t (S. K. Wang and A. A.
Tsiatis, "Approximately optimal one-parameter boundaries for group sequential trials",
Biometrics 43, 1987, shape -1/2); at full size, FINAL_Z; beyond,
sqrt(FINAL_Z² + 2 BEYOND log t). Of several conditions any pair may be the lucky one, so the
chance of error is shared out among the pairs. ``tests/calibration/trial_designs.py`` measures the
false verdicts of the whole procedure.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

# Set by simulating trials of nothing: however often one checks (up to 60 times) and however
# long one goes on (up to three times the designed size), at most 5 % of them say helped or hurt.
# A trial checked once asks for 1.96. Were the fit's estimate as normal as the theory has it,
# 2.10 would do; of whole trials, fit and all, 6.9 % said something at 2.15.
FINAL_Z = 2.3
BEYOND = 6.0

# Beyond so many times its designed size no trial is planned, and the above was not tried.
LONGEST = 3.0

# The design's own terms, as in most textbooks: 80 % chance, two-sided 5 %.
CHANCE = 0.80
TWO_SIDED = 0.05

# Putts of one visit, both conditions together: about half an hour (common practice).
SESSION_PUTTS = 60

# Standard errors that a change must span to be seen: 2.80 = 1.96 (5 %) + 0.84 (80 %).
DESIGN_Z = ndtri(CHANCE) - ndtri(TWO_SIDED / 2)

# What checking after every visit costs in putts over one check at the end. It keeps the
# chance at 77 to 80 % (`chance_of_helped`), against the 80 % of a single check.
CHECKING = 1.20

# What practice alone may do between the conditions of a plain before-and-after, in place of
# the fit's 0.1: putting five times as much behind oneself may halve or double the spread. It
# is wide on purpose, for nothing in such a design speaks against it.
WIDE_TREND_SD = 0.3

# What warming up and tiring may do between the first putt of a visit and its last: narrow or
# widen the spread by a third (assumption).
WIDE_DRIFT_SD = 0.3

# Chance that a change is too small to matter, to say so.
SMALL_ENOUGH = 0.90

# Too small to matter: 5 % of spread, and what that is worth. To a golfer in the middle of the
# priors 5 % off the line spread saves 0.13 strokes a round on a real green, off the pace spread
# 0.11 (`putlab.trial.design`). Both are assumptions of what matters; a golfer may set others.
TOO_SMALL_PCT = 5.0
TOO_SMALL_STROKES = 0.1

# Size of change that a trial is meant to see, where nothing is said: `putlab trial` designs
# for the same, and the two should agree.
DETECT_PCT = 20.0

HELPED, HURT = "helped", "hurt"
NO_DIFFERENCE, CANNOT_TELL = "no difference that matters", "cannot tell yet"

# Where something else than the change always went along with it, no number of putts can tell.
NOT_BY_DESIGN = "cannot tell from this design"

# A verdict so near its bar, in standard errors or in the quantile of a probability, may turn
# with the draws of the fit: between two fits the greatest distance in 30 logs was 0.11.
NEAR = 0.4

# Further putts tried when asking how many are needed, as shares of the designed information.
GRID = np.geomspace(0.02, LONGEST, 60)
FUTURES = 2000

# Trials simulated to know a chance to half a percent.
PATHS = 20_000

Numbers = float | np.ndarray


@dataclass(frozen=True)
class Boundary:
    """What a verdict asks for, on the scale of the change judged (below 0 is better)."""

    too_small: float  # a change within plus or minus this does not matter
    detect: float  # size of the change that the trial is meant to see
    prior_sd: float = np.inf  # of the prior in the estimate; infinity where unknown: cautious
    pairs: int = 1  # of conditions that might have been compared

    @property
    def designed_information(self) -> float:
        """Information (1 / variance) of a trial of the designed size."""
        return CHECKING * (DESIGN_Z / self.detect) ** 2

    def information(self, sd: Numbers) -> Numbers:
        """Information of the data alone, without the prior's part, given the posterior's sd."""
        gathered = 1 / np.square(sd) - 1 / np.square(self.prior_sd)
        return np.maximum(gathered, 1e-6 * self.designed_information)

    def z_needed(self, sd: Numbers, sd_fit: Numbers | None = None) -> Numbers:
        """Standard deviations that the posterior's mean must be off nought.

        The fit's own sd says how far the trial has come; `sd` may be widened for what putts
        can't tell.
        """
        t = self.information(sd if sd_fit is None else sd_fit) / self.designed_information
        gathered = self.information(sd)
        # The prior pulls z towards nought by a known factor, which is taken out of the bar.
        pulled = gathered / (gathered + 1 / np.square(self.prior_sd))
        return z_needed(t, self.pairs) * np.sqrt(pulled)

    def p_needed(self, sd: Numbers, sd_fit: Numbers | None = None) -> Numbers:
        """The same as a probability of improvement that must be passed to say helped."""
        return ndtr(self.z_needed(sd, sd_fit))

    def p_too_small(self, mean: Numbers, sd: Numbers) -> Numbers:
        """Probability that a change is too small to matter."""
        return p_below(mean, sd, self.too_small) - p_below(mean, sd, -self.too_small)

    def verdict(self, mean: Numbers, sd: Numbers, sd_fit: Numbers | None = None) -> np.ndarray:
        """Helped, hurt, no difference that matters or cannot tell yet, for each change."""
        z, needed = -mean / sd, self.z_needed(sd, sd_fit)
        small = self.p_too_small(mean, sd) >= SMALL_ENOUGH
        cases = [small, z >= needed, z <= -needed]
        return np.select(cases, [NO_DIFFERENCE, HELPED, HURT], CANNOT_TELL)

    def near(self, mean: float, sd: float, sd_fit: float) -> bool:
        """Whether other draws might give another verdict."""
        off = np.abs(mean) / sd - self.z_needed(sd, sd_fit)
        small = ndtri(self.p_too_small(mean, sd)) - ndtri(SMALL_ENOUGH)
        return min(abs(off), abs(small)) < NEAR

    def putts_to_verdict(
        self, mean: float, sd: float, *, sd_fit: float, per_putt: float
    ) -> int | None:
        """Further putts, both conditions together, until a verdict has chance `CHANCE`; 0: now.

        A putt brings so much information. None where the whole trial would be longer than
        `LONGEST` times its designed size.
        """
        if self.verdict(mean, sd, sd_fit) != CANNOT_TELL:
            return 0
        # What will be believed after so many more putts, at even ranks of its distribution now.
        more = GRID * self.designed_information
        variance = 1 / (1 / sd**2 + more)
        ranks = ndtri((np.arange(FUTURES) + 0.5) / FUTURES)[:, None]
        means = mean + np.sqrt(sd**2 - variance) * ranks
        then_fit = 1 / np.sqrt(1 / sd_fit**2 + more)
        decided = self.verdict(means, np.sqrt(variance), then_fit) != CANNOT_TELL
        # Smoothed upwards: more putts never make a verdict less likely in the long run.
        chance = np.maximum.accumulate(decided.mean(axis=0))
        if chance[-1] < CHANCE:
            return None
        putts = two_figures(np.exp(np.interp(CHANCE, chance, np.log(more))) / per_putt)
        most = LONGEST * self.designed_information - self.information(sd_fit)
        return putts if putts * per_putt <= most else None


def z_needed(t: ArrayLike, pairs: int = 1) -> np.ndarray:
    """Standard errors that an estimate must pass, by share of the designed information."""
    t = np.asarray(t, dtype=float)
    early = FINAL_Z / np.minimum(t, 1)
    beyond = np.sqrt(FINAL_Z**2 + 2 * BEYOND * np.log(np.maximum(t, 1)))
    bar = np.where(t < 1, early, beyond)
    return bar if pairs == 1 else -ndtri(ndtr(-bar) / pairs)


def p_below(mean: Numbers, sd: Numbers, value: float = 0.0) -> Numbers:
    """Probability that a change is below a value."""
    # Changes of log spread and of strokes are close to normal, and the normal tail is smooth
    # where counted draws run out.
    return ndtr((value - mean) / sd)


def two_figures(putts: float) -> int:
    """Putts rounded up to two figures: no forecast of putts is finer than that."""
    step = 10 ** max(int(np.floor(np.log10(putts))) - 1, 0)
    return int(np.ceil(putts / step) * step)


def chance_of_helped(t: ArrayLike, *, effect: float = 1.0, seed: int) -> np.ndarray:
    """Chance that a trial has said helped by each check; t, shape (checks,), rises.

    The true change is in units of the one that the trial is designed for.
    """
    t = np.asarray(t, dtype=float)
    steps = np.diff(t, prepend=0.0)
    noise = np.random.default_rng(seed).standard_normal((PATHS, t.size)) * np.sqrt(steps)
    drift = effect * DESIGN_Z * np.sqrt(CHECKING)
    score = np.cumsum(noise + drift * steps, axis=1)
    helped = score / np.sqrt(t) >= z_needed(t)
    return np.maximum.accumulate(helped, axis=1).mean(axis=0)
