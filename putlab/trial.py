"""Design of a trial: how many putts an arm, in how many visits, to see a change.

Two arms of n exact normal readings at one length are the textbook's case: the ratio of their
variances follows F, and the number needed is exact (`f_test_putts`). What a real trial has
on top is added in the open:

    looking after every visit      a few percent more (`LOOKS`)
    readings in steps, mishits     each reading tells less (`putlab.decision.precision`)
    lengths and visits             each has a mean of its own, which costs a putt

What a golfer's own log says of these is in `putlab.trials.trial_golfer`.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy import stats

from putlab.errors import UsageError
from putlab.priors import PRIORS
from putlab.settings import SEED
from putlab.trials import looking
from putlab.trials.contrast import WIDE_TREND_SD
from putlab.trials.looking import CHANCE, TWO_SIDED

# What looking after every visit costs in putts over one look at the end. It keeps the
# chance at 78 to 80 % (`looking.chance_of_helped`), against the 80 % of a single look.
LOOKS = 1.04

# Putts of one visit, both arms together: about half an hour (common practice).
SESSION_PUTTS = 60

# A trial lies in this many visits at least, so that no one day decides it.
FEWEST_SESSIONS = 4

MOST_PUTTS = 1_000_000

NAMES = {"line": "line spread", "pace": "pace spread", "strokes": "both spreads, by strokes"}
METRICS = tuple(NAMES)


@dataclass(frozen=True)
class Conditions:
    """What is known of readings and golfer; the defaults are the textbook's case.

    Attributes
    ----------
    share : float
        What one putt tells of the change relative to an exact reading of one component,
        over the lengths of the trial. Strokes draw on both, so it may be above 1.
    form_sd : float
        Sd of log spread from visit to visit.
    visit_means : bool
        Whether every visit has an offset of its own.
    source : str
        Where these come from, in words.
    """

    share: float = 1.0
    form_sd: float = PRIORS["line"].form_median
    visit_means: bool = False
    source: str = "exact readings of a steady golfer; give a log to allow for yours"


@dataclass(frozen=True)
class TrialDesign:
    """A designed trial.

    Attributes
    ----------
    distances_ft : tuple of float
        Lengths, each with the same number of putts.
    detect_pct : float
        Cut in spread that the trial is meant to see.
    metric : str
        What the verdict will be on.
    f_test_putts : int
        Putts an arm by the exact F-test: one length, one look, exact readings.
    putts_an_arm : int
        Putts an arm that this trial needs.
    sessions, putts_each : int
        Visits, and putts of each arm at each length in a visit.
    chances : pandas.DataFrame
        ``sessions, putts_an_arm, chance``: chance of ``helped`` by then if the change is
        as large as that.
    before_after_chance : float
        The chance of the same putts as a plain before-and-after.
    conditions : Conditions
        What was allowed for.
    seed : int
        Seed of chances and schedule.
    """

    distances_ft: tuple
    detect_pct: float
    metric: str
    f_test_putts: int
    putts_an_arm: int
    sessions: int
    putts_each: int
    chances: pd.DataFrame = field(repr=False)
    before_after_chance: float
    conditions: Conditions
    seed: int

    @property
    def scheduled_an_arm(self):
        """Putts an arm as laid out: the need, rounded up to equal blocks."""
        return self.sessions * len(self.distances_ft) * self.putts_each

    @property
    def sentence(self):
        """The design in plain words."""
        chance = self.chances["chance"].iloc[-1]
        return (
            f"To see a cut of {self.detect_pct:g} % in {NAMES[self.metric]}: "
            f"{self.putts_an_arm:,} putts an arm, laid out as {self.sessions} visits of "
            f"{2 * len(self.distances_ft) * self.putts_each} putts (both arms, "
            f"{self.scheduled_an_arm:,} each). Chance of seeing it: {chance:.0%}; as a plain "
            f"before-and-after of as many putts: {self.before_after_chance:.0%}."
        )

    def to_dict(self):
        """Return the design as plain values.

        Returns
        -------
        dict
            Ready to be written as JSON.
        """
        names = ("distances_ft", "detect_pct", "metric", "f_test_putts", "putts_an_arm")
        names += ("sessions", "putts_each", "scheduled_an_arm", "before_after_chance")
        return {
            **{name: getattr(self, name) for name in names},
            "chances": self.chances.to_dict("records"),
            "reading_share": self.conditions.share,
            "allowed_for": self.conditions.source,
            "seed": self.seed,
            "sentence": self.sentence,
        }


def f_test_power(putts, cut, *, two_sided=TWO_SIDED):
    """Return the exact chance that an F-test of two variances sees a cut of spread.

    Under the cut the ratio of sample variances is (1 - cut)² times an F variable.

    Parameters
    ----------
    putts : int or ndarray
        Putts an arm.
    cut : float
        Cut of the standard deviation, 0.2 for 20 %.
    two_sided : float
        Level of the test.

    Returns
    -------
    ndarray
        Power.
    """
    freedom = np.asarray(putts) - 1
    low, high = (stats.f.ppf(p, freedom, freedom) for p in (two_sided / 2, 1 - two_sided / 2))
    ratio = (1 - cut) ** 2
    return stats.f.cdf(low / ratio, freedom, freedom) + stats.f.sf(
        high / ratio, freedom, freedom
    )


def f_test_putts(cut, *, chance=CHANCE, two_sided=TWO_SIDED):
    """Return the least putts an arm with which an F-test sees a cut of spread.

    Parameters
    ----------
    cut : float
        Cut of the standard deviation, 0.2 for 20 %.
    chance : float
        Power wanted.
    two_sided : float
        Level of the test.

    Returns
    -------
    int
        Putts an arm, exact.

    Raises
    ------
    UsageError
        More than a million putts would be needed.
    """
    low, high = 2, 4
    while f_test_power(high, cut, two_sided=two_sided) < chance:
        low, high = high, 2 * high
        if low > MOST_PUTTS:
            raise UsageError(
                f"a cut of {cut:.2%} would take more than {MOST_PUTTS:,} putts an arm; ask for "
                "a larger one with --detect."
            )
    while high - low > 1:
        middle = (low + high) // 2
        enough = f_test_power(middle, cut, two_sided=two_sided) >= chance
        low, high = (low, middle) if enough else (middle, high)
    return high


def design_trial(
    distances_ft,
    detect_pct,
    *,
    metric="line",
    conditions=None,
    sessions=None,
    session_putts=SESSION_PUTTS,
    seed=SEED,
):
    """Design a trial of two conditions, shuffled within every visit.

    Parameters
    ----------
    distances_ft : sequence of float
        Lengths in feet.
    detect_pct : float
        Cut of spread to be seen, percent.
    metric : {"line", "pace", "strokes"}
        What the verdict will be on.
    conditions : Conditions, optional
        What readings and golfer allow; default: the textbook's case. A trial judged by
        strokes needs `putlab.trials.trial_golfer.strokes_conditions`.
    sessions : int, optional
        Visits; default: as many as `session_putts` asks for.
    session_putts : int
        Putts of one visit, both arms together, where `sessions` is not given.
    seed : int
        Seed of chances and schedule.

    Returns
    -------
    TrialDesign
        Putts, visits and chances.

    Raises
    ------
    UsageError
        A length, size or number that can't be.
    """
    lengths = _checked(distances_ft, detect_pct, sessions, session_putts)
    known = conditions or Conditions()
    cut = detect_pct / 100
    exact = f_test_putts(cut)
    base = exact * LOOKS / known.share
    visits = sessions or max(int(np.ceil(2 * base / session_putts)), FEWEST_SESSIONS)
    means = (len(lengths) - 1) / 2 + known.visit_means * visits / 2
    needed = round(base + means)
    each = int(np.ceil(needed / (visits * len(lengths))))
    return TrialDesign(
        distances_ft=lengths,
        detect_pct=float(detect_pct),
        metric=metric,
        f_test_putts=exact,
        putts_an_arm=needed,
        sessions=visits,
        putts_each=each,
        chances=_chances(visits, each * len(lengths), base, means, seed),
        before_after_chance=_before_after_chance(cut, visits, base / exact, needed, known),
        conditions=known,
        seed=seed,
    )


def _checked(distances_ft, detect_pct, sessions, session_putts):
    lengths = tuple(sorted({float(d) for d in distances_ft}))
    if not lengths or lengths[0] <= 0:
        raise UsageError(f"--distances {distances_ft}: lengths in feet above 0 are expected.")
    if not 0 < detect_pct < 100:
        raise UsageError(f"--detect {detect_pct:g}: expected percent above 0 and below 100.")
    if sessions is not None and sessions < 1:
        raise UsageError(f"--sessions {sessions}: expected 1 or more.")
    if session_putts < 2 * len(lengths):
        raise UsageError(
            f"--session-putts {session_putts}: two arms at {len(lengths)} lengths take at "
            f"least {2 * len(lengths)} putts a visit."
        )
    return lengths


def _chances(visits, putts_a_visit, base, means, seed):
    """Return the chance of having said helped by the end of each visit."""
    sessions = np.arange(1, visits + 1)
    putts = sessions * putts_a_visit
    told = np.maximum(putts - means * sessions / visits, 1.0)
    # At `base` putts the information is that of the design, and a little more for looking.
    chance = looking.chance_of_helped(LOOKS * told / base, seed=seed)
    return pd.DataFrame({"sessions": sessions, "putts_an_arm": putts, "chance": chance})


def _before_after_chance(cut, visits, cost, putts, known):
    """Return the chance of helped when one arm follows the other, asked once at the end.

    A log spread a visit, its form among its noise, is regressed on the arm and on what
    practice alone may have done.
    """
    if visits < 2:
        return 0.0
    per_visit = 2 * putts / visits
    practised = np.log1p(np.arange(visits) * per_visit / 100)
    arm = (np.arange(visits) >= visits / 2).astype(float)
    noise = LOOKS * cost / 2 / per_visit + known.form_sd**2
    columns = np.stack([np.ones(visits), practised, arm], axis=1)
    told = columns.T @ columns / noise + np.diag([0, 1 / WIDE_TREND_SD**2, 0])
    information = 1 / np.linalg.inv(told)[2, 2]
    untroubled = 1 / np.linalg.inv(told[::2, ::2])[1, 1]
    size = -np.log1p(-cut)
    needed = looking.z_needed(untroubled * (size / looking.z_of_design()) ** 2)
    return float(stats.norm.sf(needed - size * np.sqrt(information)))
