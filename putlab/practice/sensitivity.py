"""What would change the choice: other assumptions."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from putlab.base.result import Result
from putlab.base.words import length_words, listed
from putlab.practice import saving
from putlab.practice.case import Case
from putlab.rounds.first_putts import shipped_mix
from putlab.rounds.reference import LEVELS

if TYPE_CHECKING:
    from putlab.practice.advice import Advice

# Draws of the skill for each change of round or green: a choice and its cost need fewer than
# a table of chances.
DRAWS = 80

# Factors on an assumption: half and twice what is assumed, or what greens and golfers span.
LEARNING_FACTORS = {
    "experience": ("putts struck before the log", (0.005, 0.25, 5.0)),
    "line_rate": ("learning rate of line", (0.5, 2.0)),
    "pace_rate": ("learning rate of pace", (0.5, 2.0)),
    "line_bias_putts": ("putts that halve a bias of line", (0.5, 2.0)),
    "pace_bias_putts": ("putts that halve a bias of pace", (0.5, 2.0)),
    "carry_range": ("carry-over range", (0.5, 2.0)),
    "other_share": ("line putts counting for pace", (0.0, 2.0)),
    "seconds_per_ft": ("seconds for each foot", (0.0, 3.0)),
}
READING_FACTORS = (0.5, 1.5)

SENSITIVITY_COLUMNS = [
    "assumption", "value", "choice", "p_best", "flips", "tied", "costs",
]  # fmt: skip


@dataclass(frozen=True)
class Sensitivity(Result):
    """What becomes of the choice under other assumptions.

    Attributes
    ----------
    player : str
        Label.
    choice : (int, str)
        Stretch and component chosen under the assumptions made.
    table : pandas.DataFrame
        A row an assumption and value, the first as assumed: `SENSITIVITY_COLUMNS`. The choice if
        the value were so, in words, and its chance of being best; whether it is another one;
        whether the first choice would still be tied with it; strokes a round given away on
        average by the first choice.
    """

    player: str
    choice: saving.Option
    table: pd.DataFrame

    @property
    def flipped(self) -> pd.DataFrame:
        """Rows that turn the choice into one it is not even tied with."""
        return self.table[self.table["flips"] & ~self.table["tied"]]

    @property
    def sentence(self) -> str:
        """Which assumptions the choice hangs on, in plain words."""
        flipped, start = self.flipped, saving.named(self.choice, start=True)
        if flipped.empty:
            worst = self.table.iloc[self.table["costs"].argmax()]
            held = f"{start} stays the choice, or tied with it, under every assumption varied"
            if worst["costs"] < 0.005:
                return f"{held}, and gives nothing away."
            return (
                f"{held}; at worst ({worst['assumption']} {worst['value']}) it gives away "
                f"{saving.at_least_shown(worst['costs'])} strokes a round."
            )
        columns = ["assumption", "value", "choice", "costs"]
        by_costs = flipped.sort_values("costs", ascending=False)[columns]
        flips = [
            f"{name} {value} ({choice}, better by {saving.at_least_shown(costs)} strokes a round)"
            for name, value, choice, costs in by_costs.itertuples(False, None)
        ]
        return f"{start} would no longer be the choice with {listed(flips)}."


def what_if(advice: "Advice", *, draws: int = DRAWS) -> Sensitivity:
    """Make the choice anew over ranges of what it rests on, one assumption at a time.

    Learning rate, bias, carry-over and time: half and twice. Green speed, aim, reading the
    green, mix of first putts: what greens and golfers span. The same draws throughout, so a
    difference is the assumption's.

    Parameters
    ----------
    advice : putlab.practice.advice.Advice
        The advice in question.
    draws : int
        Draws of the skill to use.

    Returns
    -------
    Sensitivity
        Table and sentence.
    """
    case, minutes, savings = advice.case, advice.minutes, advice.savings
    first, few, rows = savings.best, _with_draws(case, draws), []
    # What the few draws say of a change is added to what all draws say as assumed.
    shift = savings.saved.mean(axis=0) - few.savings(minutes).saved.mean(axis=0)
    for assumption, value, other in (("as assumed", "", case), *_changed(case, draws)):
        found = savings if other is case else other.savings(minutes)
        mean = found.saved.mean(axis=0) + (0 if other.round is case.round else shift)
        best = int(mean.argmax())
        tied = (found.saved[:, first] > found.saved[:, best]).mean() >= saving.TIE_CHANCE
        costs = float(mean[best] - mean[first])
        said = (assumption, value, saving.named(saving.OPTIONS[best]), float(found.p_best[best]))
        rows.append((*said, best != first, bool(tied or costs < saving.ALIKE), costs))
    table = pd.DataFrame(rows, columns=SENSITIVITY_COLUMNS)
    return Sensitivity(advice.player, advice.choice, table)


def _with_draws(case: Case, draws: int, **changes: Any) -> Case:
    """The case with fewer draws, and perhaps something of its round or green changed."""
    setting = replace(case.round, **changes)
    strokes = saving.kept_strokes(case.golfer.skill, setting, draws)
    return replace(case, round=setting, strokes=strokes)


def _green_words(green: tuple[Any, ...]) -> str:
    return "{:.1f}°, {:.0f} %".format(*map(np.median, green))


def _changed(case: Case, draws: int) -> Iterator[tuple[str, str, Case]]:
    """Cases of another learning, which keep the strokes, and of another round or green."""
    for name, (words, factors) in LEARNING_FACTORS.items():
        for value in (factor * getattr(case.learning, name) for factor in factors):
            learning = replace(case.learning, **{name: value})
            yield words, f"{value:.3g}", replace(case, learning=learning)
    exponential = replace(case.learning, exponential=1.0)
    yield "curve of practice", "exponential", replace(case, learning=exponential)
    greens = [tuple(factor * spread for spread in case.round.green) for factor in READING_FACTORS]
    mixes = [mix for mix in map(shipped_mix, LEVELS) if mix.level != case.round.mix.level]
    others: dict[str, tuple[str, Sequence[Any], Callable[[Any], str]]] = {
        "green": ("reading the green", greens, _green_words),
        "stimp_ft": ("green speed", (8.0, 12.0), "{:g} ft".format),
        "past_ft": ("aim past the hole", (0.5, 2.0), length_words),
        "mix": ("first putts of", mixes, lambda mix: mix.level),
    }
    for name, (words, values, shown) in others.items():
        for value in values:
            yield words, shown(value), _with_draws(case, draws, **{name: value})
