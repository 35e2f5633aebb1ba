"""Strokes: lost by distance and cause, saved by the next hour, given away by the choice."""

import re
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from putlab.base.words import counted, length_words, minus, sure
from putlab.model.design import REFERENCE_FT
from putlab.pages import chart
from putlab.pages.chart import Chart, chart_of
from putlab.practice.advice import Advice
from putlab.practice.saving import OPTIONS, SAVED, at_least_shown, named
from putlab.practice.sensitivity import Sensitivity
from putlab.rounds.strokes import StrokesLost

# Colour and hatching: either alone tells the causes apart.
CAUSE_LOOK: dict[str, Any] = {
    "aim": {"color": chart.SKY, "hatch": "//"},
    "line scatter": {"color": chart.BLUE, "hatch": ""},
    "pace long or short": {"color": chart.ORANGE, "hatch": "xx"},
    "pace scatter": {"color": chart.VERMILION, "hatch": "\\\\"},
    "day to day": {"color": "#999999", "hatch": "--"},
    "wild putts": {"color": "#F0E442", "hatch": "++"},
    "reading the green": {"color": "#DDDDDD", "hatch": "||"},
}
TOTAL = "total"

# A cause of less than this many strokes everywhere is not drawn.
LEAST_DRAWN = 0.0005


@chart_of.register
def strokes_lost_chart(lost: StrokesLost) -> Chart:
    """Draw the strokes lost on a reference, by stretch of distance and cause.

    Parameters
    ----------
    lost : putlab.rounds.strokes.StrokesLost
        From `putlab.rounds.strokes.strokes_lost`.

    Returns
    -------
    Chart
        A bar a stretch, split by cause; its table is the causes.
    """
    causes, reference = lost.table, lost.reference
    stretches = causes[np.isfinite(causes["to_ft"]) | (causes["from_ft"] > 0)]
    wide = stretches.pivot(index="from_ft", columns="cause", values="strokes")
    total = stretches[stretches["cause"] == TOTAL].set_index("from_ft")
    place = np.arange(len(wide))
    with chart.drawing(2.7) as (figure, (axis,)):
        above, below = np.zeros(len(wide)), np.zeros(len(wide))
        for cause in shown_causes(wide):
            strokes = wide[cause].to_numpy()
            bottom = np.where(strokes >= 0, above, below)
            axis.bar(place, strokes, 0.7, bottom=bottom, edgecolor=chart.INK, linewidth=0.5,
                     label=cause, **CAUSE_LOOK[cause])  # fmt: skip
            above, below = above + np.maximum(strokes, 0), below + np.minimum(strokes, 0)
        sums: dict[str, Any] = {"fmt": "D", "color": chart.INK, "markersize": 4, "label": "in all"}
        chart.interval_marks(axis, place + 0.42, total, "strokes", **sums)
        axis.axhline(0, color=chart.INK, linewidth=0.8)
        axis.set_xticks(place, [on_two_lines(stretch) for stretch in total["stretch"]])
        title = f"Strokes a round lost, against the {reference}"
        axis.set(xlabel="Putts struck from", title=title)
    worst = total["strokes"].idxmax()
    cause = wide.loc[worst, list(CAUSE_LOOK)].idxmax()
    alt = (
        f"Strokes lost by {lost.player} against the {reference}, by distance: most a round "
        f"{total.loc[worst, 'stretch']} ({_with_interval(total.loc[worst], 'strokes')}), where "
        f"the largest cause is {cause} ({wide.loc[worst, cause]:.2f})."
    )
    reading = (
        f"Against the {reference}, on a real green: a bar for all putts of a round struck from "
        "each stretch, later putts too. Below nought the player is the better. The mark is the sum."
    )
    return Chart("losses", "Strokes lost by distance and cause", alt, reading, figure, causes)


def shown_causes(wide: pd.DataFrame) -> list[str]:
    """Return the causes that amount to anything, of strokes with a column a cause."""
    return [cause for cause in CAUSE_LOOK if wide[cause].abs().max() >= LEAST_DRAWN]


def _with_interval(row: pd.Series, name: str) -> str:
    return f"{row[name]:.2f}, {row[name + '_lo']:.2f} to {row[name + '_hi']:.2f}"


# Several players side by side.


def players_chart(table: pd.DataFrame) -> Chart:
    """Draw players side by side, a row each.

    Parameters
    ----------
    table : pandas.DataFrame
        ``player`` and ``strokes_lost, line_sd_deg, pace_sd_pct`` with ``_lo`` and ``_hi``.

    Returns
    -------
    Chart
        Three panels; its table is the one given.
    """
    place = -np.arange(len(table))
    titles = {"strokes_lost": "Strokes lost", "line_sd_deg": "Line, °", "pace_sd_pct": "Pace, %"}
    with chart.drawing(0.8 + 0.25 * len(table), 3, legend=0, sharey=True) as (figure, axes):
        for axis, (name, title) in zip(axes, titles.items(), strict=True):
            chart.interval_marks(axis, place, table, name, across=True, fmt="o", color=chart.BLUE)
            low, high = table[f"{name}_lo"].min(), table[f"{name}_hi"].max()
            axis.set(title=title, xlim=(min(0, low), 1.08 * high))
        axes[0].set_yticks(place, [chart.label_of(player) for player in table["player"]])
        axes[0].set_ylim(-len(table) + 0.5, 0.5)
    said = [f"{row.player} {row.strokes_lost:.2f}" for row in table.itertuples()]
    alt = minus(f"Strokes a round lost: {'; '.join(said)}.")
    reading = (
        f"Strokes a round lost on a real green, and spread at {length_words(REFERENCE_FT)} within "
        "a visit; further left is better. With 90 % intervals."
    )
    return Chart("players", "Side by side", alt, reading, figure, table)


# Counted games against what this golfer usually needs.


def games_chart(scores: pd.DataFrame) -> Chart:
    """Draw a player's counted games beside what was to be expected of each.

    Parameters
    ----------
    scores : pandas.DataFrame
        From `putlab.rounds.games.usual_games`.

    Returns
    -------
    Chart
        A mark and a range a game; its table is the scores.
    """
    game = np.arange(1, len(scores) + 1)
    with chart.drawing(2.2) as (figure, (axis,)):
        usual: dict[str, Any] = {"fmt": "_", "color": chart.GREY, "elinewidth": 4, "alpha": 0.6}
        ends = ("expected_score", "expected_lo", "expected_hi")
        chart.interval_marks(axis, game, scores, ends, label="usual, nine in ten", **usual)
        axis.plot(game, scores["score"], "o", color=chart.BLUE, label="this game")
        axis.xaxis.set_major_locator(MaxNLocator(chart.MOST_MARKS, integer=True, min_n_ticks=1))
        axis.set(xlabel="Game", ylabel="Putts")
    gained = scores["gained_on_self"]
    alt = (
        f"{counted(len(scores), 'counted game')} of {scores['player'].iloc[0]}: "
        f"{(gained > 0).sum()} better than usual; {gained.sum():+.1f} putts better in all."
    )
    reading = "Fewer putts are better. A bar is what this golfer's practice makes likely that day."
    return Chart("games", "Counted games", minus(alt), reading, figure, scores)


# What the next hour buys: strokes a round saved, by length, for line and for pace.


# Line and pace of one length stand side by side.
ASIDE = {"line": -0.14, "pace": 0.14}
LINESTYLE = {"line": "-", "pace": "--"}


@chart_of.register
def next_hour_chart(advice: Advice) -> Chart:
    """Draw what the time to come would save wherever it is spent.

    Parameters
    ----------
    advice : putlab.practice.advice.Advice
        From `putlab.practice.advice.advise`.

    Returns
    -------
    Chart
        A mark and interval an option, the choice ringed; its table is the advice's.
    """
    table, an_hour = advice.table, advice.minutes == 60
    stretches = list(table["stretch"].unique())
    with chart.drawing(2.5) as (figure, (axis,)):
        for component, rows in table.groupby("component", sort=False):
            place = np.arange(len(stretches)) + ASIDE[component]
            chart.interval_marks(
                axis, place, rows, SAVED, linestyle=LINESTYLE[component], linewidth=1,
                markersize=5.5, label=component, **chart.LOOK[component],
            )  # fmt: skip
        for stretch, component in advice.chosen if advice.measured else ():
            _ring(axis, stretch, component, advice)
        axis.axhline(0, color=chart.INK, linewidth=0.8)
        axis.set_xticks(range(len(stretches)), [on_two_lines(stretch) for stretch in stretches])
        time = "an hour there" if an_hour else f"{advice.minutes:g} minutes there"
        axis.set(xlabel="Stretch practised", title=f"Strokes a round saved by {time}")
    title = "What the next hour buys" if an_hour else "What the time buys"
    reading = (
        "All of the time spent on one stretch, for line or for pace, with 90 % intervals. The "
        "intervals move together: the chance of being best says how sure the order is."
    )
    return Chart("next-hour", title, _next_hour_alt(advice), reading, figure, table)


def _ring(axis: Axes, stretch: int, component: str, advice: Advice) -> None:
    place = OPTIONS.index((stretch, component))
    axis.plot(
        [stretch + ASIDE[component]], [advice.table[SAVED].iloc[place]], "o", markersize=14,
        fillstyle="none", color=chart.INK, label=f"the choice, {sure(advice.p_chosen)}",
    )  # fmt: skip


def on_two_lines(stretch: str) -> str:
    """Return a stretch that neighbours on an axis leave room for: ``15 to`` over ``25 ft``."""
    return re.sub("(?<=to|de|nd) ", "\n", stretch)


def _next_hour_alt(advice: Advice) -> str:
    row, table = advice.row, advice.table
    other = table.loc[table.drop(row.name)[SAVED].idxmax()]
    first, second = (named(OPTIONS[one.name]) for one in (row, other))
    choice = f"; the choice is best with a chance of {sure(advice.p_chosen)}" * advice.measured
    return (
        f"What {advice.minutes:g} minutes would save {advice.player}, by stretch: most for "
        f"{first} ({_with_interval(row, SAVED)} strokes a round{choice}), then {second} "
        f"({_with_interval(other, SAVED)})."
    )


# What the choice gives away under other assumptions.


# How a row is drawn: still the choice, another one that is as good, another one.
CHOICE_LOOK: dict[str, Any] = {
    "still the choice": {"marker": "o", "color": chart.BLUE},
    "another, but tied": {"marker": "D", "color": chart.GREY},
    "another": {"marker": "X", "color": chart.VERMILION},
}

# The scale goes at least this far, in strokes a round, so that next to nothing looks so.
LEAST_SHOWN = 0.05


@chart_of.register
def sensitivity_chart(sensitivity: Sensitivity) -> Chart:
    """Draw what the choice gives away where an assumption is another.

    Parameters
    ----------
    sensitivity : putlab.practice.sensitivity.Sensitivity
        From `putlab.practice.sensitivity.what_if`.

    Returns
    -------
    Chart
        A row an assumption varied, those that cost most on top.
    """
    table = sensitivity.table.iloc[1:].sort_values("costs", kind="stable", ignore_index=True)
    same, tied, another = CHOICE_LOOK
    kind = np.where(table["flips"], np.where(table["tied"], tied, another), same)
    with chart.drawing(1.1 + 0.17 * len(table)) as (figure, (axis,)):
        axis.hlines(table.index, 0, table["costs"], color=chart.GREY, linewidth=0.8)
        for name, look in CHOICE_LOOK.items():
            rows = table[kind == name]
            axis.plot(rows["costs"], rows.index, linestyle="", label=name, **look)
        axis.axvline(0, color=chart.INK, linewidth=0.8)
        ends = (-0.002, max(LEAST_SHOWN, 1.1 * table["costs"].max()))
        axis.set_yticks(table.index, table["assumption"] + " " + table["value"].astype(str))
        title = f"{named(sensitivity.choice, start=True)}: what it leans on"
        axis.set(xlim=ends, xlabel="Strokes a round given away", title=title)
    reading = (
        "One assumption at a time is made another; a cross is where a better choice would be "
        "another one."
    )
    alt = _sensitivity_alt(sensitivity, table)
    return Chart("sensitivity", "What the choice leans on", alt, reading, figure, table)


def _sensitivity_alt(sensitivity: Sensitivity, table: pd.DataFrame) -> str:
    worst, flips = table.iloc[-1], int((table["flips"] & ~table["tied"]).sum())
    return (
        f"Of {len(table)} other assumptions {flips} would make another choice than "
        f"{named(sensitivity.choice)}; the most costly is {worst['assumption']} "
        f"{worst['value']}, {at_least_shown(worst['costs'])} strokes a round given away."
    )
