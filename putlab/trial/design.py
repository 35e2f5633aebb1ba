"""Design of a trial: how many putts a condition, in how many visits, to see a change.

Two conditions of n exact normal readings at one length are the textbook's case: the ratio of
their variances follows F, and the number needed is exact (`f_test_putts`). What a real trial
has on top is added in the open: checking after every visit (`CHECKING`); readings in steps and
mishits, so that each tells less (`reading_share`); lengths and visits, each with a mean of its
own, which costs a putt.
"""

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import fdtr, fdtrc, fdtri

from putlab.base.errors import UsageError, expect
from putlab.base.result import Result
from putlab.base.settings import SEED
from putlab.base.words import percent, sure
from putlab.green.skill import Skill
from putlab.log.rules import ReadingRules
from putlab.model.priors import PRIORS
from putlab.model.readings import COMPONENTS
from putlab.posterior.player import Golfer
from putlab.practice.targets import reading_share
from putlab.rounds.first_putts import shipped_mix
from putlab.trial.boundary import CHANCE, CHECKING, SESSION_PUTTS, TWO_SIDED, chance_of_helped
from putlab.trial.conditions import Plan, rows_of
from putlab.trial.contrast import round_skill, strokes_slopes, usual_green

# A trial lies in this many visits at least, so that no one day decides it.
FEWEST_SESSIONS = 4

MOST_PUTTS = 1_000_000

# What a verdict can be on, in words.
METRICS = {"line": "line spread", "pace": "pace spread", "strokes": "both spreads, by strokes"}

# Columns of the schedule that the player fills in.
READINGS = ("line_deg", "roll_ft")

# Putts in a row with one condition, at most: five to ten go to one length (common practice),
# and shorter blocks spread both conditions better over a visit.
BLOCK = 5

# The model learns of mishits, first putts and form from the same putts, which leaves this
# share for the change: measured on simulated trials (`tests/calibration/trial_designs.py`).
FOR_THE_CHANGE = 0.96


@dataclass(frozen=True)
class Assumptions:
    """What is known of readings and golfer; the defaults are the textbook's case."""

    # What one putt tells of the change relative to an exact reading of one component, over
    # the lengths of the trial. Strokes draw on both, so it may be above 1.
    share: float = 1.0
    visit_means: bool = False  # whether every visit has an offset of its own
    source: str = "exact readings of a steady golfer; give a log to allow for yours"


@dataclass(frozen=True)
class TrialDesign(Result):
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
        Putts a condition by the exact F-test: one length, one check, exact readings.
    putts_a_condition : int
        Putts a condition that this trial needs.
    sessions, putts_each : int
        Visits, and putts of each condition at each length in a visit.
    table : pandas.DataFrame
        ``sessions, putts_a_condition, chance``: chance of ``helped`` by then if the change is
        as large as that.
    assumptions : Assumptions
        What was allowed for.
    seed : int
        Seed of chances and schedule.
    """

    distances_ft: tuple[float, ...]
    detect_pct: float
    metric: str
    f_test_putts: int
    putts_a_condition: int
    sessions: int
    putts_each: int
    table: pd.DataFrame = field(repr=False)
    assumptions: Assumptions
    seed: int

    @property
    def scheduled_a_condition(self) -> int:
        """Putts a condition as laid out: the need, rounded up to equal blocks."""
        return self.sessions * len(self.distances_ft) * self.putts_each

    @property
    def plan(self) -> Plan:
        """The plan as `putlab.trial.compare.compare` knows it again."""
        return Plan(self.metric, self.detect_pct, 2 * self.scheduled_a_condition, self.sessions)

    @property
    def sentence(self) -> str:
        """The design in plain words."""
        chance = self.table["chance"].iloc[-1]
        return (
            f"To see a cut of {self.detect_pct:g} % in {METRICS[self.metric]}: "
            f"{self.putts_a_condition:,} putts a condition, laid out as {self.sessions} visits of "
            f"{2 * len(self.distances_ft) * self.putts_each} putts (both conditions, "
            f"{self.scheduled_a_condition:,} each). Chance of seeing it: {sure(chance)}, "
            "with a check after every visit; one condition after the other could tell at no size."
        )

    def schedule(
        self, before: str = "A", after: str = "B", player: str = "player", seed: int | None = None
    ) -> pd.DataFrame:
        """Lay out the trial putt by putt, in shuffled blocks.

        Each length is struck in turns of two blocks, A B and later B A or the other way
        round, so that warming up and tiring fall on both conditions alike. Which goes first
        is dealt evenly over visits and lengths, in shuffled order.

        Parameters
        ----------
        before, after : str
            Labels of the two conditions.
        player : str
            Label of the player.
        seed : int, optional
            Seed of the shuffling; default: the design's.

        Returns
        -------
        pandas.DataFrame
            A log without readings: ``player, session, putt, distance_ft, condition, drill,
            trial`` and empty `READINGS`.
        """
        rng = np.random.default_rng(self.seed if seed is None else seed)
        blocks = pd.DataFrame(self._blocks(rng), columns=["visit", "distance_ft", "after", "putts"])
        table = blocks.loc[blocks.index.repeat(blocks["putts"])].reset_index(drop=True)
        width = len(str(self.sessions))
        return pd.DataFrame(
            {
                "player": player,
                "session": "visit " + table["visit"].astype(str).str.zfill(width),
                "putt": table.groupby("visit").cumcount() + 1,
                "distance_ft": table["distance_ft"],
                "condition": np.where(table["after"] == 0, before, after),
                "drill": "both" if self.metric == "strokes" else self.metric,
                "trial": self.plan.words,
                **dict.fromkeys(READINGS, np.nan),
            }
        )

    def _blocks(self, rng: np.random.Generator) -> Iterator[tuple[int, float, int, int]]:
        """Visit, length, whether it is after (0 or 1) and putts of every block, in order."""
        lengths = len(self.distances_ft)
        turns = 2 * int(np.ceil(self.putts_each / (2 * BLOCK)))
        sizes = [len(part) for part in np.array_split(np.arange(self.putts_each), turns)]
        # Which condition goes first: as often the one as the other in all.
        deck = np.arange(self.sessions * turns // 2 * lengths) % 2
        rng.shuffle(deck)
        for visit, first in enumerate(deck.reshape(self.sessions, -1, lengths), 1):
            for turn, putts in enumerate(sizes):
                for place in rng.permutation(lengths):
                    # Every second turn is the reverse of the one before.
                    leads = (first[turn // 2, place] + turn) % 2
                    yield visit, self.distances_ft[place], leads, putts
                    yield visit, self.distances_ft[place], 1 - leads, putts


def design_trial(
    distances_ft: Sequence[float],
    detect_pct: float,
    *,
    metric: str = "line",
    golfer: Golfer | None = None,
    rules: ReadingRules | None = None,
    assumptions: Assumptions | None = None,
    sessions: int | None = None,
    session_putts: int = SESSION_PUTTS,
    seed: int = SEED,
) -> TrialDesign:
    """Design a trial of two conditions, shuffled within every visit.

    Parameters
    ----------
    distances_ft : sequence of float
        Lengths in feet.
    detect_pct : float
        Cut of spread to be seen, percent.
    metric : {"line", "pace", "strokes"}
        What the verdict will be on.
    golfer : putlab.posterior.player.Golfer, optional
        Whose own spread, readings and visits are allowed for; default: the textbook's case,
        or for strokes a golfer at large, read exactly.
    rules : putlab.log.rules.ReadingRules, optional
        How the golfer's readings are made; default: as assumed where a log does not say.
    assumptions : Assumptions, optional
        What to allow for, in place of all this.
    sessions : int, optional
        Visits; default: as many as `session_putts` asks for.
    session_putts : int
        Putts of one visit, both conditions together, where `sessions` is not given.
    seed : int
        Seed of chances and schedule.

    Returns
    -------
    TrialDesign
        Putts, visits and chances.

    Raises
    ------
    UsageError
        A length, size, metric or number that can't be, or a golfer without readings.
    """
    lengths = tuple(sorted({float(d) for d in distances_ft}))
    expect(min(lengths, default=0) > 0, "distances_ft", lengths, "lengths in feet above 0")
    expect(0 < detect_pct < 100, "detect_pct", detect_pct, "percent above 0 and below 100")
    expect(metric in METRICS, "metric", metric, f"one of {', '.join(METRICS)}")
    expect(sessions is None or sessions >= 1, "sessions", sessions, "1 or more")
    fewest, why = 2 * len(lengths), f"for two conditions at {len(lengths)} lengths"
    expect(session_putts >= fewest, "session_putts", session_putts, f"{fewest} or more, {why}")
    cut = detect_pct / 100
    how = (np.array(lengths), rules or ReadingRules())
    assumptions = assumptions or _assumptions(metric, cut, golfer, *how)
    exact = f_test_putts(cut)
    larger = f"a change that takes no more than {MOST_PUTTS:,} putts a condition to see"
    expect(exact < MOST_PUTTS, "detect_pct", detect_pct, larger)
    base = exact * CHECKING / assumptions.share
    visits = sessions or max(int(np.ceil(2 * base / session_putts)), FEWEST_SESSIONS)
    means = (len(lengths) - 1) / 2 + assumptions.visit_means * visits / 2
    needed = round(base + means)
    each = int(np.ceil(needed / (visits * len(lengths))))
    return TrialDesign(
        distances_ft=lengths,
        detect_pct=float(detect_pct),
        metric=metric,
        f_test_putts=exact,
        putts_a_condition=needed,
        sessions=visits,
        putts_each=each,
        table=_chances(visits, each * len(lengths), base, means, seed),
        assumptions=assumptions,
        seed=seed,
    )


def _chances(visits: int, putts_a_visit: int, base: float, means: float, seed: int) -> pd.DataFrame:
    """Chance of having said helped by the end of each visit."""
    sessions = np.arange(1, visits + 1)
    putts = sessions * putts_a_visit
    informative = np.maximum(putts - means * sessions / visits, 1.0)
    # At `base` putts the information is that of the design.
    chance = chance_of_helped(informative / base, seed=seed)
    return pd.DataFrame({"sessions": sessions, "putts_a_condition": putts, "chance": chance})


def f_test_power(putts: ArrayLike, cut: float) -> Any:
    """Exact chance that an F-test of so many putts a condition sees a cut of spread (0.2)."""
    # Under the cut the ratio of sample variances is (1 - cut)² times an F variable.
    freedom = np.asarray(putts) - 1
    low, high = (fdtri(freedom, freedom, p) for p in (TWO_SIDED / 2, 1 - TWO_SIDED / 2))
    times = (1 - cut) ** 2
    return fdtr(freedom, freedom, low / times) + fdtrc(freedom, freedom, high / times)


def f_test_putts(cut: float) -> int:
    """The least putts a condition, up to the most, with which an F-test sees a cut (0.2)."""
    return 2 + bisect_left(range(2, MOST_PUTTS), CHANCE, key=lambda n: f_test_power(n, cut))


# What a golfer's own spread and readings mean for the size of a trial.


def _assumptions(
    metric: str, cut: float, golfer: Golfer | None, lengths_ft: np.ndarray, rules: ReadingRules
) -> Assumptions:
    if metric != "strokes" and golfer is None:
        return Assumptions()
    read = COMPONENTS if metric == "strokes" else (metric,)
    shares = {name: _own_share(golfer, name, lengths_ft, rules) for name in read if golfer}
    if metric == "strokes":
        saved, share = _strokes_share(cut, golfer, shares)
        said = f"{100 * cut:g} % off both spreads saves {saved:.2f} strokes a round on a real green"
    else:
        share, said = shares[metric], f"a reading tells {percent(shares[metric])} of an exact one"
    who = "a golfer at large, read exactly"
    if golfer:
        who = f"{golfer.player}'s own spread, readings and visits"
    return Assumptions(share, visit_means=golfer is not None, source=f"{who}; {said}")


def _own_share(
    golfer: Golfer, component: str, lengths_ft: np.ndarray, rules: ReadingRules
) -> float:
    if rows_of(golfer.fit, golfer.player, component).empty:
        raise UsageError(f"{golfer.player} has no {component} readings in this log.")
    unit, step, noise = np.array(1.0), rules.line_step_deg, rules.line_noise_deg
    if component == "pace":
        unit, step, noise = 100 / lengths_ft, rules.roll_step_ft, rules.roll_noise_ft
    spread = np.exp(golfer.log_spread_and_bias(component, lengths_ft)[0]).mean(axis=0)
    mishits = golfer.draws(component, "mishit_share").mean()
    readings = np.broadcast(spread, (step or 0) * unit, (noise or 0) * unit)
    shares = [reading_share(sd, step=s, noise=n, mishit_share=mishits) for sd, s, n in readings]
    return float(np.mean(shares)) * FOR_THE_CHANGE


def _strokes_share(
    cut: float, golfer: Golfer | None, shares: dict[str, float]
) -> tuple[float, float]:
    """Strokes a round that cuts of both spreads save, and the share of a trial judged by them."""
    # The change of strokes a round is taken as straight in both log ratios and both changes
    # of bias; its variance adds up what n putts a condition leave unknown of each. The share
    # makes the one-component design that of strokes.
    mix, skill = shipped_mix(), Skill.constant(*(PRIORS[name].sd_median for name in COMPONENTS))
    if golfer is not None:
        skill = round_skill(golfer, mix).mean
    narrower = -np.log1p(-cut)
    saved, by_spread, by_bias = strokes_slopes(skill, narrower, mix, usual_green(golfer))
    spread = np.exp([np.log(sd).mean() for sd in (skill.line_sd_deg, skill.pace_sd_pct)])
    share = np.array([shares.get(name, 1.0) for name in COMPONENTS])
    variance = np.sum(by_spread**2 / share + 2 * (by_bias * spread) ** 2)
    return saved, float(saved**2 / (narrower**2 * variance))
