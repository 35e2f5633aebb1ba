"""What the next hour of practice is worth, by stretch of distance and component.

Options are stretches of distance x line or pace, whichever lengths the log holds. What the
next hour saves a round has two parts: a bias that is corrected, and a scatter that narrows, at
the lengths practised and, less, at their neighbours (`putlab.practice.learning`). As all of it
is a posterior, so is the choice.
"""

from dataclasses import dataclass
from functools import cached_property
from html import escape
from typing import Any, ClassVar

import numpy as np
import pandas as pd

from putlab.base.errors import expect
from putlab.base.result import Result
from putlab.base.settings import PAST_FT, SEED, STIMP_FT
from putlab.base.words import listed, minus, sure, with_interval
from putlab.green.skill import Skill
from putlab.posterior.player import Golfer, with_ends
from putlab.practice import saving
from putlab.practice.case import Case, GolferState, assumption_table, make_case
from putlab.practice.learning import Learning
from putlab.practice.split import SHORTEST_SESSION, Split, split_minutes
from putlab.rounds.first_putts import RoundMix
from putlab.rounds.reference import Reference, ReferenceGolfer
from putlab.rounds.strokes import STRETCHES, StrokesLost, stretch_words

# The longer horizon, beside the next hour.
HOURS, WEEKS = 10.0, 10

# So many putts know a spread to within a quarter or so (90 %: 1.645 / sqrt(2 x 20) in log); a
# stretch with fewer is guessed from its neighbours, and a log without one says "measure first".
MEASURED_PUTTS = 20
MEASURED_STRETCHES = 4  # beyond them few putts are struck

LOST = "strokes_lost"

CAUTION = "This is statistics from one log, not coaching: a coach who sees you decides."

COLUMNS = [
    "player", "stretch", "from_ft", "to_ft", "component", "measured_putts", "strokes_lost",
    "strokes_lost_lo", "strokes_lost_hi", "saved_next_hour", "saved_next_hour_lo",
    "saved_next_hour_hi", "saved_by_middle", "saved_by_scatter", "p_best", "expected_regret",
]  # fmt: skip


@dataclass(frozen=True)
class Advice(Result):
    """Which stretch deserves the time of one golfer, for line or for pace.

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
    savings: saving.Savings

    caution: ClassVar[str] = CAUTION

    @property
    def player(self) -> str:
        """Label of the golfer."""
        return self.case.golfer.player

    @property
    def reference(self) -> str:
        """Who strokes are lost to."""
        return self.case.round.reference.name

    @property
    def lost(self) -> StrokesLost:
        """Strokes lost now, by stretch and cause."""
        return self.case.lost

    @cached_property
    def table(self) -> pd.DataFrame:
        """A row an option: `COLUMNS`.

        Strokes are of a round of 18 holes; saved by `minutes` of practice on that option alone.
        Lost is what line, or pace, loses there but for the reading of a green.
        """
        savings, measured = self.savings, self.case.golfer.measured
        rows = [
            (self.player, stretch_words(*STRETCHES[i]), *STRETCHES[i], component, measured[i])
            for i, component in saving.OPTIONS
        ]
        table = pd.DataFrame(rows, columns=COLUMNS[:6])
        lost = np.stack([self.lost.by_practice(name)[:, i] for i, name in saving.OPTIONS], axis=1)
        parts = (savings.middle.mean(axis=0), savings.scatter.mean(axis=0))
        return table.assign(
            **with_ends({LOST: lost, saving.SAVED: savings.saved}),
            **dict(zip(COLUMNS[12:14], parts, strict=True)),
            p_best=savings.p_best,
            expected_regret=savings.expected_regret,
        )

    @property
    def choice(self) -> saving.Option:
        """Stretch (its place among `STRETCHES`) and component that save most on average."""
        return saving.OPTIONS[self.savings.best]

    @property
    def chosen(self) -> list[saving.Option]:
        """The choice with the neighbours that can't be told from it, by distance."""
        return [saving.OPTIONS[i] for i in self.savings.together]

    @property
    def p_chosen(self) -> float:
        """Chance that the best option is among these, or one as good to `ALIKE` strokes."""
        return saving.chance_among(self.savings.saved, self.savings.together)

    @property
    def others(self) -> list[saving.Option]:
        """Options elsewhere that can't be told from the choice."""
        return [saving.OPTIONS[i] for i in self.savings.ties if i not in self.savings.together]

    @property
    def row(self) -> pd.Series:
        """The choice's row of the table."""
        return self.table.iloc[self.savings.best]

    @property
    def measured(self) -> bool:
        """Whether the log holds enough putts from any stretch to choose by."""
        return bool(self.case.golfer.measured.max() >= MEASURED_PUTTS)

    @cached_property
    def assumptions(self) -> pd.DataFrame:
        """What the advice rests on: ``name, meaning, value, from, source``."""
        return assumption_table(self.case)

    @property
    def sentence(self) -> str:
        """The answer in plain words, with its certainty and what it saves."""
        parts = (self.answer, self.gain, self.open) if self.measured else (self.answer,)
        return " ".join(filter(None, parts))

    @property
    def answer(self) -> str:
        """The choice with its neighbours, how sure that is, and what else it may be."""
        if not self.measured:
            most = int(self.case.golfer.measured.max())
            return (
                f"Measure first: no stretch has {MEASURED_PUTTS} putts in the log yet (the most "
                f"is {most}), too few to choose by. Strike {MEASURED_PUTTS} from each of several "
                "lengths, short to long, both readings written down; until then, what practice "
                "would save is mostly what it would save golfers at large."
            )
        said = (
            f"{saving.named(self.chosen, start=True)} is the best use of the next "
            f"{saving.time_words(self.minutes)}, or within {saving.ALIKE:g} strokes a round of "
            f"the best, with a chance of {sure(self.p_chosen)}."
        )
        if self.others:
            said += (
                f" It may be {listed([saving.named(one) for one in self.others], 'or')} instead."
            )
        if self.row["measured_putts"] < MEASURED_PUTTS:
            said += (
                f" That stretch is hardly measured ({self.row['measured_putts']} putts): strike "
                f"{MEASURED_PUTTS} there first."
            )
        return said

    @property
    def gain(self) -> str:
        """What the choice saves, and by what."""
        said, (stretch, component) = f"It saves {self.savings.words}", self.choice
        if self.row["saved_by_middle"] <= self.row["saved_by_scatter"]:
            return f"{said}."
        middle = self.case.golfer.middle_words(component, saving.LENGTHS_FT[stretch])
        return f"{said}, which lies {middle}."

    @property
    def open(self) -> str:
        """Whether the log or what is known of practice leaves the choice open, in words."""
        if self.p_chosen >= 0.8 and not self.others:
            return ""
        by_skill = self.case.savings_by_skill(self.minutes)
        if saving.chance_among(by_skill, self.savings.together) >= 0.8:
            return "The log tells enough; what is open is how practice works, which nobody knows."
        return "What is open is the skill itself: more putts in the log would tell."

    def later(self, hours: float = HOURS, weeks: int = WEEKS) -> saving.Savings:
        """What so many hours spread over weeks would save at their end, all on one option."""
        good = 0 < hours < np.inf and weeks >= 1
        expect(good, "hours and weeks", (hours, weeks), "numbers above 0")
        # What a week added fades until the last.
        kept = self.case.learning.retention(7.0 * np.arange(weeks)).mean()
        return self.case.savings(60 * hours * float(kept))

    def later_sentence(self, hours: float = HOURS, weeks: int = WEEKS) -> str:
        """The longer horizon in plain words."""
        later = self.later(hours, weeks)
        where = saving.named([saving.OPTIONS[i] for i in later.together])
        return f"Over {weeks} weeks, {hours:g} hours in all: {where}, {later.words}."

    def split(self, minutes: float | None = None) -> Split:
        """Return the best split of one session.

        Parameters
        ----------
        minutes : float, optional
            Length of the session, warm-up and game included; default: the advice's.

        Returns
        -------
        Split
            Options with time, and what it saves.

        Raises
        ------
        UsageError
            No time is left after warm-up and game.
        """
        return split_minutes(self.case, self.minutes if minutes is None else minutes)

    def says(self, *, hours: float = HOURS, weeks: int = WEEKS) -> list[str]:
        """All of the advice, a sentence each."""
        said = [self.sentence, self.lost.sentence, self.own_sentence]
        if self.measured:
            said.append(self.later_sentence(hours, weeks))
            if self.minutes >= SHORTEST_SESSION:
                said.append(f"Best split: {self.split().sentence}")
        return [text for text in said if text]

    @property
    def own_sentence(self) -> str:
        """Which lengths are out of line with the golfer's others; empty where none is known."""
        curve = self.case.golfer.own_curve
        return "" if curve is None else curve.sentence

    def _repr_html_(self) -> str:
        player, caution = escape(self.player), escape(self.caution)
        return f"<p><b>{player}</b></p>{super()._repr_html_()}<p>{caution}</p>"

    @property
    def shown(self) -> pd.DataFrame:
        """The table as a person reads it: text, rounded, with intervals, best first."""
        table = self.table.sort_values("expected_regret")
        rows = table.to_dict("records")
        return pd.DataFrame(
            {
                "Stretch": list(table["stretch"]),
                "Line or pace": list(table["component"]),
                "Putts in the log": [f"{n:d}" for n in table["measured_putts"]],
                "Strokes a round lost now": [with_interval(row, LOST) for row in rows],
                "Strokes a round saved": [with_interval(row, saving.SAVED) for row in rows],
                "by correcting the middle": [minus(f"{s:.2f}") for s in table["saved_by_middle"]],
                "Chance of being best": [sure(p) for p in table["p_best"]],
                "Price if wrong, on average": list(
                    map(saving.at_least_shown, table["expected_regret"])
                ),
            }
        )


def advise(
    golfer: Golfer | GolferState,
    *,
    minutes: float = 60.0,
    experience: str | float | None = None,
    learning: Learning | None = None,
    reference: Reference | Skill | ReferenceGolfer | str | None = None,
    mix: RoundMix | None = None,
    stimp_ft: float = STIMP_FT,
    past_ft: float = PAST_FT,
    green: tuple[float, float] | None = None,
    seed: int = SEED,
) -> Advice:
    """Say which stretch deserves the next hour, line or pace, and how sure that is.

    Parameters
    ----------
    golfer : putlab.posterior.player.Golfer or putlab.practice.case.GolferState
        One player's posterior.
    minutes : float
        Time that goes to one option.
    experience : str or float, optional
        Putts this golfer had struck from a length before the log: "new", "season", "club",
        "professional" or a number; default: wide.
    learning : putlab.practice.learning.Learning, optional
        What practice does.
    reference : str, Reference or Skill, optional
        Who the golfer is compared with, as `putlab.strokes_lost` takes it.
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
        Table, choice, sentence and assumptions.

    Raises
    ------
    UsageError
        The time is not above 0, or an experience or reference is unknown.
    FitError
        The player struck no putt that tells about practice.
    """
    expect(0 < minutes < np.inf, "minutes", minutes, "a time above 0")
    learning = (learning or Learning()).with_experience(experience)
    where: dict[str, Any] = {"stimp_ft": stimp_ft, "past_ft": past_ft, "green": green}
    case = make_case(golfer, learning=learning, seed=seed, reference=reference, mix=mix, **where)
    return advise_case(case, minutes=minutes)


def advise_case(case: Case, *, minutes: float) -> Advice:
    """The advice for a case."""
    return Advice(case, float(minutes), case.savings(minutes))
