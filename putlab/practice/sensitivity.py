"""What would change the choice: other assumptions, and more readings before practising."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from putlab.base.result import Result
from putlab.base.words import length_words, listed
from putlab.green.skill import SPREAD_AND_BIAS
from putlab.practice.case import Case
from putlab.practice.saving import (
    ALIKE,
    LENGTHS_FT,
    OPTIONS,
    TIE_CHANCE,
    Option,
    at_least_shown,
    kept_strokes,
    named,
    time_words,
)
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
ROLLS_FT = {"stimp_ft": ("green speed", (8.0, 12.0)), "past_ft": ("aim past the hole", (0.5, 2.0))}

# Putts at one length that a person would strike only to measure.
PUTTS = (20, 50, 100)

SENSITIVITY_COLUMNS = [
    "assumption", "value", "choice", "p_best", "flips", "tied", "costs",
]  # fmt: skip
MEASURING_COLUMNS = ["distance_ft", "putts", "minutes", "p_changes", "gain", "net"]


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
    choice: Option
    table: pd.DataFrame

    @property
    def flipped(self) -> pd.DataFrame:
        """Rows that turn the choice into one it is not even tied with."""
        return self.table[self.table["flips"] & ~self.table["tied"]]

    @property
    def sentence(self) -> str:
        """Which assumptions the choice hangs on, in plain words."""
        flipped, start = self.flipped, named(self.choice, start=True)
        if flipped.empty:
            worst = self.table.iloc[self.table["costs"].argmax()]
            held = f"{start} stays the choice, or tied with it, under every assumption varied"
            if worst["costs"] < 0.005:
                return f"{held}, and gives nothing away."
            return (
                f"{held}; at worst ({worst['assumption']} {worst['value']}) it gives away "
                f"{at_least_shown(worst['costs'])} strokes a round."
            )
        columns = ["assumption", "value", "choice", "costs"]
        by_costs = flipped.sort_values("costs", ascending=False)[columns]
        flips = [
            f"{name} {value} ({choice}, better by {at_least_shown(costs)} strokes a round)"
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
        tied = (found.saved[:, first] > found.saved[:, best]).mean() >= TIE_CHANCE
        costs = float(mean[best] - mean[first])
        said = (assumption, value, named(OPTIONS[best]), float(found.p_best[best]))
        rows.append((*said, best != first, bool(tied or costs < ALIKE), costs))
    table = pd.DataFrame(rows, columns=SENSITIVITY_COLUMNS)
    return Sensitivity(advice.player, advice.choice, table)


def _with_draws(case: Case, draws: int, **changes: Any) -> Case:
    """The case with fewer draws, and perhaps something of its round or green changed."""
    setting = replace(case.round, **changes)
    strokes = kept_strokes(case.golfer.skill.thinned(draws), setting)
    return replace(case, round=setting, strokes=strokes)


def _changed(case: Case, draws: int) -> Iterator[tuple[str, str, Case]]:
    """Cases of another learning, which keep the strokes, and of another round or green."""
    for name, (words, factors) in LEARNING_FACTORS.items():
        for value in (factor * getattr(case.learning, name) for factor in factors):
            learning = replace(case.learning, **{name: value})
            yield words, f"{value:.3g}", replace(case, learning=learning)
    exponential = replace(case.learning, exponential=1.0)
    yield "curve of practice", "exponential", replace(case, learning=exponential)
    for factor in READING_FACTORS:
        line, pace = (factor * spread for spread in case.round.green)
        words = f"{line:.1f}°, {pace:.0f} %"
        yield "reading the green", words, _with_draws(case, draws, green=(line, pace))
    for name, (words, values) in ROLLS_FT.items():
        for value in values:
            shown = f"{value:g} ft" if name == "stimp_ft" else length_words(value)
            yield words, shown, _with_draws(case, draws, **{name: value})
    for mix in map(shipped_mix, LEVELS):
        if mix.level != case.round.mix.level:
            yield "first putts of", mix.level, _with_draws(case, draws, mix=mix)


# Is it worth measuring before practising? What more putts at a length would be worth.


@dataclass(frozen=True)
class MeasuringValue(Result):
    """What measuring first is worth, in a time for measuring and practice together."""

    minutes: float
    # A row a length and number of putts: `MEASURING_COLUMNS`. Gain: strokes a round that knowing
    # adds to all of the time as practice; net: the same after the minutes that the readings take.
    table: pd.DataFrame

    @property
    def sentence(self) -> str:
        """Whether to measure first, in plain words."""
        pays = self.table["net"].max() > 0
        row = self.table.loc[self.table["net" if pays else "gain"].idxmax()]
        where = f"{row['putts']:.0f} putts at {length_words(row['distance_ft'])}"
        chance = f"change the choice with a chance of {100 * row['p_changes']:.0f} %"
        if pays:
            return (
                f"Measure first: {where} would {chance}, worth {at_least_shown(row['net'])} "
                f"strokes a round even after the {row['minutes']:.0f} minutes they take."
            )
        return (
            f"Practise now: even {where}, the most telling, would {chance}; knowing that is "
            f"worth {at_least_shown(row['gain'])} strokes a round, less than the "
            f"{row['minutes']:.0f} minutes of the {time_words(self.minutes)} they take."
        )


def value_of_measuring(advice: "Advice", *, putts: Sequence[int] = PUTTS) -> MeasuringValue:
    """What measuring before practising is worth, by length and putts."""
    # Putts struck to measure are counted as no practice at all, which is hard on them; that
    # they lie in one visit, whose offset is not the golfer's own, is left out, which is kind.
    case, rng = advice.case, np.random.default_rng([advice.case.seed, 7])
    choice, now = advice.savings.best, advice.case.savings_by_skill(advice.minutes)
    rows = []
    for distance_ft in (lengths[1] for lengths in LENGTHS_FT):
        for count in putts:
            taken = count / float(case.learning.putts_a_minute(distance_ft))
            readings = drawn_readings(case, distance_ft, count, rng)
            changes, gain = value_of(readings, now, choice)
            # Savings go with time nearly in proportion over such a part of it.
            left = max(1 - taken / advice.minutes, 0.0)
            net = left * (gain + now[:, choice].mean()) - now[:, choice].mean()
            rows.append((distance_ft, count, taken, changes, gain, net))
    return MeasuringValue(advice.minutes, pd.DataFrame(rows, columns=MEASURING_COLUMNS))


def drawn_readings(
    case: Case, distance_ft: float, putts: int, rng: np.random.Generator
) -> np.ndarray:
    """What so many putts at one length would show, a row a draw of the skill, (draws, 8)."""
    # Log of the sample's spread and its mean, of line and pace, in standard units, and squares.
    skill = case.golfer.skill.thinned(len(case.strokes.visits)).at([distance_ft])
    columns = []
    for names in SPREAD_AND_BIAS.values():
        sd, bias = (getattr(skill, name)[:, 0] for name in names)
        # The log of a sample's sd scatters by 1 / sqrt(2 (n - 1)), its mean by sd / sqrt(n).
        noise = rng.standard_normal((2, len(sd)))
        columns.append(np.log(sd) + noise[0] / np.sqrt(2 * (putts - 1)))
        columns.append(bias + sd / np.sqrt(putts) * noise[1])
    found = np.stack(columns, axis=1)
    found = (found - found.mean(axis=0)) / np.maximum(found.std(axis=0), 1e-12)
    return np.concatenate([found, found**2 - 1], axis=1)


def value_of(readings: np.ndarray, saved: np.ndarray, choice: int) -> tuple[float, float]:
    """How often readings change a choice, and the mean gain over keeping to it, at least 0."""
    # Readings (draws, features) are seen with each draw of what options save (draws, options);
    # one half of the draws judges the other, so that what is fitted to chance gains nothing.
    design = np.column_stack([np.ones(len(readings)), readings])
    half = np.arange(len(saved)) % 2 == 1
    best = np.empty(len(saved), dtype=int)
    for judged in (half, ~half):
        weights = np.linalg.lstsq(design[~judged], saved[~judged], rcond=None)[0]
        best[judged] = (design[judged] @ weights).argmax(axis=1)
    gain = saved[np.arange(len(saved)), best] - saved[:, choice]
    return float((best != choice).mean()), max(float(gain.mean()), 0.0)
