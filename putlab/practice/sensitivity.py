"""The choice made anew under other assumptions: which of them flips it, and what that costs."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from putlab.base.words import listed
from putlab.green.hole_out import thinned
from putlab.practice.advice import (
    TIE_CHANCE,
    at_least_shown,
    expected_by_skill,
    named,
    time_words,
    weigh,
)
from putlab.practice.case import make_case
from putlab.rounds import first_putts as rounds

# Draws of the skill for each change of round or green: a choice and its cost need fewer than
# a table of chances.
DRAWS = 80

# Factors on an assumption: half and twice what is assumed, or what greens and golfers span.
LEARNING_FACTORS = {
    "rate_median": ("learning rate", (0.5, 2.0)),
    "bias_putts": ("putts that halve a bias", (0.5, 2.0)),
    "carry_range": ("carry-over range", (0.5, 2.0)),
    "other_share": ("line putts counting for pace", (0.0, 2.0)),
    "seconds_per_ft": ("seconds for each foot", (0.0, 3.0)),
}
STIMPS_FT = (8.0, 12.0)
PASTS_FT = (0.5, 2.0)
READING_FACTORS = (0.5, 1.5)


@dataclass(frozen=True)
class Sensitivity:
    """What becomes of the choice under other assumptions.

    Attributes
    ----------
    player : str
        Label.
    minutes : float
        Time decided about.
    choice : (float, str)
        The choice under the assumptions made.
    table : pandas.DataFrame
        ``assumption, value, choice_ft, choice_component, p_best, flips, tied, costs``: the
        choice if the value were so, its chance of being best; whether it is another one;
        whether the first choice would still be tied with it; strokes a round given away on
        average by the first choice. The first row is as assumed.
    """

    player: str
    minutes: float
    choice: tuple
    table: pd.DataFrame

    @property
    def flipped(self):
        """Rows that turn the choice into one it is not even tied with."""
        return self.table[self.table["flips"] & ~self.table["tied"]]

    @property
    def sentence(self):
        """What the choice leans on, in plain words."""
        flipped, start = self.flipped, named(self.choice, start=True)
        if flipped.empty:
            worst = self.table.loc[self.table["costs"].idxmax()]
            held = f"{start} stays the choice, or tied with it, under every assumption varied"
            if worst["costs"] < 0.001:
                return f"{held}, and gives nothing away."
            return (
                f"{held}; at worst ({worst['assumption']} {worst['value']}) it gives away "
                f"{at_least_shown(worst['costs'])} strokes a round."
            )
        flips = [
            f"{row.assumption} {row.value} ({named((row.choice_ft, row.choice_component))}, "
            f"better by {at_least_shown(row.costs)} strokes a round)"
            for row in flipped.sort_values("costs", ascending=False).itertuples()
        ]
        return f"{start} would no longer be the choice with {listed(flips)}."

    def _repr_html_(self):
        from html import escape

        shown = self.table.round({"p_best": 2, "costs": 3})
        return f"<p>{escape(self.sentence)}</p>{shown.to_html(index=False, border=0)}"


def sensitivity(advice, *, draws=DRAWS):
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
    first, whole = advice.worth.choice, advice.worth.saved.mean(axis=0)
    few = _case(advice, draws)
    fewer = weigh(few, minutes=advice.minutes).saved.mean(axis=0)
    rows = [_row("as assumed", "", advice.worth, first)]
    for words, value, case in _learned(advice.case):
        rows.append(_row(words, value, weigh(case, minutes=advice.minutes), first))
    for words, value, case in _placed(few, advice, draws):
        # What the few draws say of the change is added to what all draws say as assumed.
        rows.append(_row(words, value, weigh(case, minutes=advice.minutes), first, whole - fewer))
    return Sensitivity(advice.player, advice.minutes, advice.choice, pd.DataFrame(rows))


def _case(advice, draws, **changes):
    """Return the advice's case with fewer draws and something of its setting changed."""
    case = advice.case
    names = ("mix", "stimp_ft", "past_ft", "green", "reference", "mix_log_sd")
    setting = {name: getattr(case.setting, name) for name in names} | changes
    return make_case(case.who, learning=case.learning, seed=case.seed, draws=draws, **setting)


def _learned(base):
    """Yield cases with something of the learning changed, which keep what is at stake."""
    for name, (words, factors) in LEARNING_FACTORS.items():
        for factor in factors:
            value = factor * getattr(base.learning, name)
            learning = replace(base.learning, **{name: value})
            yield words, f"{value:.3g}", replace(base, learning=learning)


def _placed(base, advice, draws):
    """Yield cases of another round or green."""
    line, pace = base.setting.green
    for factor in READING_FACTORS:
        green = (factor * line, factor * pace)
        words = f"{green[0]:.1f}°, {green[1]:.0f} %"
        yield "reading the green", words, _case(advice, draws, green=green)
    for name, words, values in (
        ("stimp_ft", "green speed", STIMPS_FT),
        ("past_ft", "aim past the hole", PASTS_FT),
    ):
        for value in values:
            yield words, f"{value:g} ft", _case(advice, draws, **{name: value})
    for level in rounds.levels():
        if level != base.setting.mix.level:
            mix = rounds.shipped_mix(level)
            yield "first putts of", level, _case(advice, draws, mix=mix, mix_log_sd=None)


def _row(assumption, value, worth, first, correction=0.0):
    saved = worth.saved.mean(axis=0) + correction
    best = int(saved.argmax())
    distance_ft, component = worth.options[best]
    still = (worth.saved[:, first] > worth.saved[:, best]).mean() >= TIE_CHANCE
    return {
        "assumption": assumption,
        "value": value,
        "choice_ft": distance_ft,
        "choice_component": component,
        "p_best": float(worth.p_best[best]),
        "flips": best != first,
        "tied": bool(still or best == first),
        "costs": float(saved[best] - saved[first]),
    }


def sensitivity_chart(found):
    """Draw what the choice gives away under every assumption, and where it flips.

    Parameters
    ----------
    found : Sensitivity
        From `sensitivity`.

    Returns
    -------
    putlab.pages.chart.Chart
        A row an assumption and value; what flips the choice is marked and named.
    """
    from putlab.pages.chart import BLUE, INK, VERMILION, Chart, drawing

    table = found.table.iloc[1:].iloc[::-1].reset_index(drop=True)
    place = np.arange(len(table))
    looks = [
        ("choice stays", ~table["flips"], {"color": BLUE, "marker": "o"}),
        ("another, tied with it", table["flips"] & table["tied"],
         {"edgecolor": VERMILION, "facecolor": "white", "marker": "s"}),
        ("another choice", table["flips"] & ~table["tied"],
         {"color": VERMILION, "marker": "s"}),
    ]  # fmt: skip
    with drawing(0.9 + 0.24 * len(table)) as (figure, axes):
        axis = axes[0, 0]
        for label, rows, look in looks:
            if rows.any():
                axis.scatter(table.loc[rows, "costs"], place[rows], s=30, zorder=3,
                             label=label, **look)  # fmt: skip
        for i in np.flatnonzero(table["flips"]):
            row = table.loc[i]
            words = " " + named((row["choice_ft"], row["choice_component"]))
            axis.annotate(words, (row["costs"], i), xytext=(5, 0), textcoords="offset points",
                          va="center", fontsize=8, color=INK)  # fmt: skip
        axis.set_yticks(place, table["assumption"] + " " + table["value"])
        axis.set_xlim(
            -0.02 * max(table["costs"].max(), 0.01), 1.6 * max(table["costs"].max(), 0.01)
        )
        axis.grid(False, axis="y")
        axis.set_xlabel("Strokes a round given away")
        axis.set_title(f"{named(found.choice, start=True)}, if this were so")
        figure.legend(loc="outside lower center", ncols=2)
    return Chart(
        name="sensitivity",
        title=f"Which assumption flips the choice for the next {time_words(found.minutes)}",
        alt=f"Strokes a round given away under other assumptions. {found.sentence}",
        reading=(
            "Each row makes the choice anew with one assumption changed. The further to the "
            "right, the more the choice made would give away; squares are another choice."
        ),
        figure=figure,
        table=found.table,
    )


# Is it worth measuring before practising? What more putts at a length would be worth.


# Putts at one length that a person would strike only to measure.
PUTTS = (20, 50, 100)


@dataclass(frozen=True)
class Measuring:
    """What measuring first is worth.

    Attributes
    ----------
    player : str
        Label.
    minutes : float
        Time for measuring and practice together.
    table : pandas.DataFrame
        ``distance_ft, putts, minutes, p_changes, worth, net``: chance that the readings
        change the choice; strokes a round that knowing them adds to a whole `minutes` of
        practice; the same after the minutes the readings take from it.
    """

    player: str
    minutes: float
    table: pd.DataFrame

    @property
    def best(self):
        """The row with the highest net worth."""
        return self.table.loc[self.table["net"].idxmax()]

    @property
    def sentence(self):
        """Whether to measure first, in plain words."""
        row = self.best if self.best["net"] > 0 else self.table.loc[self.table["worth"].idxmax()]
        where = f"{row['putts']:.0f} putts at {row['distance_ft']:g} ft"
        chance = f"change the choice with a chance of {100 * row['p_changes']:.0f} %"
        if self.best["net"] > 0:
            return (
                f"Measure first: {where} would {chance}, worth {at_least_shown(row['net'])} "
                f"strokes a round even after the {row['minutes']:.0f} minutes they take."
            )
        return (
            f"Practise now: even {where}, the most telling, would {chance}; knowing that is "
            f"worth {at_least_shown(row['worth'])} strokes a round, less than the "
            f"{row['minutes']:.0f} minutes of the {time_words(self.minutes)} they take."
        )

    def _repr_html_(self):
        from html import escape

        shown = self.table.round({"minutes": 0, "p_changes": 2, "worth": 4, "net": 4})
        return f"<p>{escape(self.sentence)}</p>{shown.to_html(index=False, border=0)}"


def measuring(advice, *, putts=PUTTS):
    """Return what measuring before practising is worth, by length and putts.

    Putts struck to measure are counted as no practice at all, which is hard on them; that
    they lie in one visit, whose offset is not the golfer's own, is left out, which is kind.

    Parameters
    ----------
    advice : putlab.practice.advice.Advice
        The advice in question.
    putts : sequence of int
        Numbers of putts to consider at each length.

    Returns
    -------
    Measuring
        Table and sentence.
    """
    case, rng = advice.case, np.random.default_rng([advice.case.seed, 7])
    choice = advice.worth.choice
    now = expected_by_skill(case, minutes=advice.minutes)
    rows = []
    for distance_ft in case.who.lengths_ft:
        for count in putts:
            taken = count / float(case.learning.putts_a_minute(distance_ft))
            readings = drawn_readings(case, distance_ft, count, rng)
            changes, gain = value_of(readings, now, choice)
            # Savings go with time nearly in proportion over such a part of it.
            left = max(1 - taken / advice.minutes, 0.0)
            net = left * (gain + now[:, choice].mean()) - now[:, choice].mean()
            rows.append((distance_ft, count, taken, changes, gain, net))
    names = ["distance_ft", "putts", "minutes", "p_changes", "worth", "net"]
    return Measuring(advice.player, advice.minutes, pd.DataFrame(rows, columns=names))


def drawn_readings(case, distance_ft, putts, rng):
    """Return what so many putts at one length would show, a row a draw of the skill.

    Parameters
    ----------
    case : putlab.practice.case.Case
        The golfer.
    distance_ft : float
        Length.
    putts : int
        Putts struck there.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    ndarray, shape (draws, 8)
        Log of the sample's spread and its mean, of line and pace, in standard units, and
        their squares.
    """
    skill = thinned(case.who.skill, len(case.stakes.visits)).at([distance_ft])
    columns = []
    for sd, bias in (
        (skill.line_sd_deg, skill.line_bias_deg),
        (skill.pace_sd_pct, skill.pace_bias_pct),
    ):
        # The log of a sample's sd scatters by 1 / sqrt(2 (n - 1)), its mean by sd / sqrt(n).
        noise = rng.standard_normal((2, len(sd)))
        columns.append(np.log(sd[:, 0]) + noise[0] / np.sqrt(2 * (putts - 1)))
        columns.append(bias[:, 0] + sd[:, 0] / np.sqrt(putts) * noise[1])
    found = np.stack(columns, axis=1)
    found = (found - found.mean(axis=0)) / np.maximum(found.std(axis=0), 1e-12)
    return np.concatenate([found, found**2 - 1], axis=1)


def value_of(readings, saved, choice):
    """Return how often readings would change a choice, and what that gains.

    Parameters
    ----------
    readings : ndarray, shape (draws, features)
        What was seen, with each draw.
    saved : ndarray, shape (draws, options)
        What each option saves.
    choice : int
        The choice without readings.

    Returns
    -------
    tuple of float
        Chance of another choice; mean gain over keeping to the first, not below 0.
    """
    design = np.column_stack([np.ones(len(readings)), readings])
    half = np.arange(len(saved)) % 2 == 1
    best = np.empty(len(saved), dtype=int)
    for judged in (half, ~half):
        weights = np.linalg.lstsq(design[~judged], saved[~judged], rcond=None)[0]
        best[judged] = (design[judged] @ weights).argmax(axis=1)
    gain = saved[np.arange(len(saved)), best] - saved[:, choice]
    return float((best != choice).mean()), max(float(gain.mean()), 0.0)
