"""What the next hour of practice is worth, by distance and component, and which to choose.

Two lenses. Strokes a round lost now: every putt struck from near a distance, first or later,
against the same putt with the reference's line or pace. Strokes a round that the next hour
saves: spread narrows at the length practised and, less, at its neighbours
(`putlab.practice.learning`), each by a rate that is itself uncertain. As all of it is a
posterior, so is the choice.
"""

from dataclasses import dataclass
from functools import cached_property
from html import escape
from typing import ClassVar

import numpy as np
import pandas as pd

from putlab.base.result import Result
from putlab.base.settings import PAST_FT, SEED, STIMP_FT
from putlab.base.words import minus, sure
from putlab.green.skill import Skill
from putlab.model.readings import COMPONENTS
from putlab.posterior.player import Golfer, summary
from putlab.practice.case import Case, GolferState, make_case
from putlab.practice.learning import ASSUMED, Learning
from putlab.practice.saving import Option, Savings, at_least_shown, named, time_words
from putlab.practice.sensitivity import MeasuringValue, Sensitivity, value_of_measuring, what_if
from putlab.practice.split import SHORTEST_SESSION, Split, check_minutes, split_minutes
from putlab.rounds.first_putts import RoundMix
from putlab.rounds.reference import Reference

# More options than this tied: nothing stands out, and a list of them would not help.
MOST_NAMED = 4
TIED_WORDS = {2: "either of the two", 3: "any of these three", 4: "any of these four"}

# Meaning and source of a learned rate.
RATE = "fall of log spread per log(1 + putts / 100), this golfer's"
RATE_SOURCE = "the log's own trend, shrunk to the prior below"

CAUTION = "This is statistics from one log, not coaching: a coach who sees you decides."

TITLES = {
    "distance_ft": "Distance, ft",
    "component": "Line or pace",
    "strokes_lost": "Strokes a round lost now",
    "saved_next_hour": "Strokes a round saved",
    "p_best": "Chance of being best",
    "expected_regret": "Costs if chosen, on average",
}


@dataclass(frozen=True)
class Advice(Result):
    """Which distance deserves the time of one golfer.

    Attributes
    ----------
    case : putlab.practice.case.Case
        Golfer, learning, round and green.
    minutes : float
        Time that the advice is about.
    savings : putlab.practice.saving.Savings
        The draws behind the table.
    """

    case: Case
    minutes: float
    savings: Savings

    caution: ClassVar[str] = CAUTION

    @property
    def player(self) -> str:
        """Label of the golfer."""
        return self.case.golfer.player

    @property
    def reference(self) -> str:
        """Who strokes are lost to."""
        return self.case.round.reference_name

    @cached_property
    def table(self) -> pd.DataFrame:
        """A row an option.

        ``player, distance_ft, component, strokes_lost, ..._lo, ..._hi, saved_next_hour,
        ..._lo, ..._hi, p_best, expected_regret``; strokes a round of 18 holes, saved by
        `minutes` of practice on that option alone.
        """
        savings = self.savings
        table = pd.DataFrame(savings.options, columns=["distance_ft", "component"])
        table.insert(0, "player", self.player)
        for name, draws in (("strokes_lost", savings.lost), ("saved_next_hour", savings.saved)):
            table[name], table[name + "_lo"], table[name + "_hi"] = summary(draws)
        return table.assign(p_best=savings.p_best, expected_regret=savings.expected_regret)

    @property
    def choice(self) -> Option:
        """Distance in feet and component that save most on average."""
        return self.savings.options[self.savings.best]

    @property
    def ties(self) -> list[Option]:
        """Options the data cannot separate, the choice first."""
        return [self.savings.options[i] for i in self.savings.ties]

    @property
    def row(self) -> pd.Series:
        """The choice's row of the table."""
        return self.table.iloc[self.savings.best]

    @property
    def cost_if_wrong(self) -> float:
        """Strokes a round given away by the choice where it is not the best, on average."""
        wrong = 1 - self.row["p_best"]
        return self.row["expected_regret"] / wrong if wrong > 0 else 0.0

    @cached_property
    def assumptions(self) -> pd.DataFrame:
        """What the advice rests on: ``name, meaning, value, from, source``."""
        return assumption_table(self.case)

    @property
    def sentence(self) -> str:
        """The answer in plain words, with its certainty and what it saves."""
        return f"{self.answer} {self.gain}"

    @property
    def gain(self) -> str:
        """What the choice saves, and what it costs where another is better."""
        row = self.row
        saved, low, high = (row["saved_next_hour" + end] for end in ("", "_lo", "_hi"))
        price = "No draw puts another first."
        if row["p_best"] < 1:
            price = (
                "Where another would have been better, it gives away "
                f"{at_least_shown(self.cost_if_wrong)} strokes a round on average."
            )
        return f"It saves about {saved:.2f} strokes a round ({low:.2f} to {high:.2f}). {price}"

    @property
    def lost_sentence(self) -> str:
        """Where most strokes are lost now, in plain words."""
        row = self.table.iloc[self.table["strokes_lost"].argmax()]
        ends = minus(f"{row['strokes_lost_lo']:.2f} to {row['strokes_lost_hi']:.2f}")
        option = (row["distance_ft"], row["component"])
        if row["strokes_lost"] <= 0:
            return f"Nowhere are strokes lost now to the {self.reference}."
        return (
            f"Most strokes are lost now to {named(option)}: {row['strokes_lost']:.2f} a round "
            f"({ends}) against the {self.reference}."
        )

    @property
    def answer(self) -> str:
        """The choice, what it is tied with, and how sure that is."""
        first, hour = named(self.choice, start=True), time_words(self.minutes)
        best = f"the best use of the next {hour} with a chance of {sure(self.row['p_best'])}"
        ties = self.ties
        if len(ties) == 1:
            return f"{first} is {best}."
        if len(ties) <= MOST_NAMED:
            names = [first, *(named(option) for option in ties[1:])]
            which = " or ".join([", ".join(names[:-1]), names[-1]])
            return (
                f"{which}: {TIED_WORDS[len(names)]}; the data cannot separate them "
                f"(the first is {best})."
            )
        return (
            f"Nothing stands out: {len(ties)} of {len(self.table)} choices cannot be told "
            f"apart. {first} has the edge, {best}."
        )

    def split(self, minutes: float | None = None, *, weeks: int | None = None) -> Split:
        """Return the best split of one session, or of two sessions a week over some weeks.

        Parameters
        ----------
        minutes : float, optional
            Length of each session, warm-up and game included; default: the advice's.
        weeks : int, optional
            Split so many weeks instead of one session, for the average round played in them:
            what a week adds fades by the half-life until the round is played.

        Returns
        -------
        Split
            Options with time, and what it saves; minutes a week, all of its sessions together.

        Raises
        ------
        UsageError
            No time is left after warm-up and game, or fewer than one week.
        """
        return split_minutes(self.case, self.minutes if minutes is None else minutes, weeks=weeks)

    def what_if(self) -> Sensitivity:
        """The choice made anew under other assumptions (`putlab.practice.sensitivity`)."""
        return what_if(self)

    def measuring(self) -> MeasuringValue:
        """What more readings would be worth before practising."""
        return value_of_measuring(self)

    def says(self, weeks: int | None = None) -> list[str]:
        """All of the advice, a sentence each; with ``weeks`` how to split those too."""
        said = [self.sentence, self.lost_sentence, self.measuring().sentence]
        if self.minutes >= SHORTEST_SESSION:
            said.append(f"Best split: {self.split().sentence}")
        if weeks is not None:
            split = self.split(weeks=weeks)
            said.append(f"{weeks} weeks, {split.sessions} sessions: {split.sentence}")
        return said

    @property
    def shown(self) -> pd.DataFrame:
        """The table as a person reads it."""
        return shown_table(self.table)

    def _repr_html_(self) -> str:
        shown = self.shown.to_html(index=False, border=0)
        said = (self.player, f"{self.sentence} {self.lost_sentence}", CAUTION)
        player, answer, caution = (escape(text) for text in said)
        return f"<p><strong>{player}</strong>: {answer}</p>{shown}<p>{caution}</p>"


def advise(
    golfer: Golfer | GolferState,
    *,
    minutes: float = 60.0,
    learning: Learning | None = None,
    reference: Reference | Skill | None = None,
    mix: RoundMix | None = None,
    stimp_ft: float = STIMP_FT,
    past_ft: float = PAST_FT,
    green: tuple[float, float] | None = None,
    seed: int = SEED,
) -> Advice:
    """Say which distance deserves the next hour, line or pace, and how sure that is.

    Parameters
    ----------
    golfer : putlab.posterior.player.Golfer or putlab.practice.case.GolferState
        One player's posterior.
    minutes : float
        Time that goes to one option.
    learning : putlab.practice.learning.Learning, optional
        What practice does.
    reference : putlab.rounds.reference.Reference or putlab.green.skill.Skill, optional
        Average putts of who the golfer is compared with, or spreads on a green of one draw;
        default: the golfer fitted to the tour's published record.
    mix : putlab.rounds.first_putts.RoundMix, optional
        First putts of a round; default: the shipped mix of `putlab.rounds.first_putts.LEVEL`.
        One that is an assumption about golfers at large may be strayed from.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims, in feet.
    green : tuple of float, optional
        Spread added by a real green, line in degrees and pace in percent; default: this
        golfer's own where the log tells of it, else `putlab.green.published.green_spread`.
    seed : int
        Seed of the learning draws.

    Returns
    -------
    Advice
        Table, choice, ties, sentence and assumptions.

    Raises
    ------
    UsageError
        The time is not above 0.
    FitError
        The player struck no putt that tells about practice.
    """
    check_minutes(minutes)
    case = make_case(
        golfer,
        learning=learning,
        seed=seed,
        reference=reference,
        mix=mix,
        stimp_ft=stimp_ft,
        past_ft=past_ft,
        green=green,
    )
    return advise_case(case, minutes=minutes)


def advise_case(case: Case, *, minutes: float) -> Advice:
    """The advice for a case."""
    return Advice(case, float(minutes), case.savings(minutes))


def assumption_table(case: Case) -> pd.DataFrame:
    """What advice rests on, from data or a prior: ``name, meaning, value, from, source``."""
    golfer, learning, round_ = case.golfer, case.learning, case.round
    rows: list[tuple] = []
    for name in COMPONENTS:
        rate = learning.rates(golfer.trend[name], golfer.trend_prior_sd[name])
        share = max(0.0, 1 - np.var(np.log(rate)) / learning.rate_log_sd**2)
        whence = f"data {share:.0%}, prior {1 - share:.0%}"
        rows.append((f"{name}_rate", RATE, float(np.median(rate)), whence, RATE_SOURCE))
    green = ("data" if round_.green_estimated else "prior", round_.green_source)
    line, pace = round_.green
    rows += [
        ("green_line_sd_deg", "line spread that a real green adds", line, *green),
        ("green_pace_sd_pct", "pace spread that a real green adds", pace, *green),
    ]
    given = [
        ("stimp_ft", "green speed", round_.stimp_ft, "given, or an ordinary green"),
        ("past_ft", "how far past the hole the golfer aims", round_.past_ft, ASSUMED),
        ("mix", "first putts of a round", round_.mix.level, round_.mix.source),
        ("mix_log_sd", "how far your own may stray, log sd", round_.mix_log_sd, ASSUMED),
        ("reference", "who strokes are lost to", round_.reference_name, round_.reference_source),
    ]
    rows += [(*row[:3], "prior", row[3]) for row in given]
    table = pd.DataFrame(rows, columns=["name", "meaning", "value", "from", "source"])
    return pd.concat([table, learning.table()], ignore_index=True)


def shown_table(table: pd.DataFrame) -> pd.DataFrame:
    """An advice's table as a person reads it: text, rounded, with intervals, best first."""
    table = table.sort_values("expected_regret")

    def with_interval(name: str) -> list[str]:
        ends = zip(table[name], table[name + "_lo"], table[name + "_hi"], strict=True)
        return [minus(f"{mean:.3f} ({low:.3f} to {high:.3f})") for mean, low, high in ends]

    columns = {
        "distance_ft": [f"{d:g}" for d in table["distance_ft"]],
        "component": list(table["component"]),
        "strokes_lost": with_interval("strokes_lost"),
        "saved_next_hour": with_interval("saved_next_hour"),
        "p_best": [sure(p) for p in table["p_best"]],
        "expected_regret": [at_least_shown(r) for r in table["expected_regret"]],
    }
    return pd.DataFrame(columns).rename(columns=TITLES)
