"""Strokes lost by distance, and to which cause."""

import numpy as np

from putlab.base.words import sure
from putlab.pages.chart import (
    BLUE,
    COLOUR,
    GREY,
    INK,
    MARKER,
    ORANGE,
    SKY,
    VERMILION,
    Chart,
    drawing,
    interval_marks,
    legend_below,
    length_axis,
)
from putlab.practice.advice import at_least_shown, named

# Colour and hatching: either alone tells the causes apart.
LOSSES_LOOK = {
    "line spread": {"color": BLUE, "hatch": ""},
    "line bias": {"color": SKY, "hatch": "//"},
    "pace spread": {"color": VERMILION, "hatch": "\\\\"},
    "pace bias": {"color": ORANGE, "hatch": "xx"},
    "reading the green": {"color": "#DDDDDD", "hatch": ".."},
}
TOTAL = "total"


def losses_chart(player, causes, reference):
    """Draw the strokes lost on a reference, by distance and cause.

    Parameters
    ----------
    player : str
        Label.
    causes : pandas.DataFrame
        From `putlab.rounds.estimate.Attribution.table`.
    reference : str
        Who the golfer is compared with, such as ``tour average``.

    Returns
    -------
    Chart
        A bar a distance, split by cause; its table is the causes.
    """
    wide = causes.pivot(index="distance_ft", columns="cause", values="strokes")
    total = causes[causes["cause"] == TOTAL].set_index("distance_ft")
    place = np.arange(len(wide))
    with drawing(2.7) as (figure, axes):
        axis = axes[0, 0]
        above, below = np.zeros(len(wide)), np.zeros(len(wide))
        for cause in shown_causes(wide):
            strokes = wide[cause].to_numpy()
            bottom = np.where(strokes >= 0, above, below)
            axis.bar(place, strokes, 0.7, bottom=bottom, edgecolor=INK, linewidth=0.5,
                     label=cause, **LOSSES_LOOK[cause])  # fmt: skip
            above, below = above + np.maximum(strokes, 0), below + np.minimum(strokes, 0)
        mean, low, high = (total[name].to_numpy() for name in _ends())
        axis.errorbar(place + 0.42, mean, [mean - low, high - mean], fmt="D", color=INK,
                      markersize=4, elinewidth=1.2, label="in all")  # fmt: skip
        axis.axhline(0, color=INK, linewidth=0.8)
        length_axis(axis, wide.index)
        axis.set_xlabel("Length of the first putt, feet")
        axis.set_title(f"Strokes a round lost, against the {reference}")
        legend_below(figure, axis)
    return Chart(
        name="losses",
        title="Strokes lost by distance and cause",
        alt=_losses_alt(player, wide, total, reference),
        reading=f"Against the {reference}, on a real green: a bar for the first putts of each "
        "length in a round. Below nought the player is the better. The mark is the sum.",
        figure=figure,
        table=causes,
    )


def shown_causes(wide):
    """Return the causes that amount to anything; what is nought everywhere is not drawn.

    Parameters
    ----------
    wide : pandas.DataFrame
        Strokes with a column a cause.

    Returns
    -------
    list of str
        Causes of 0.0005 strokes or more at some distance.
    """
    return [cause for cause in LOSSES_LOOK if wide[cause].abs().max() >= 0.0005]


def _ends():
    return "strokes", "strokes_lo", "strokes_hi"


def _losses_alt(player, wide, total, reference):
    worst = total["strokes"].idxmax()
    mean, low, high = total.loc[worst, list(_ends())]
    cause = wide.loc[worst, list(LOSSES_LOOK)].idxmax()
    return (
        f"Strokes lost by {player} against the {reference}, by distance: most a round on putts "
        f"from {worst:g} ft ({mean:.2f}, {low:.2f} to {high:.2f}), where the largest cause is "
        f"{cause} ({wide.loc[worst, cause]:.2f})."
    )


# What the next hour buys: strokes a round saved, by length, for line and for pace.


SAVED = "saved_next_hour"

# Line and pace of one length stand side by side.
ASIDE = {"line": -0.14, "pace": 0.14}
STYLE = {"line": "-", "pace": "--"}


def next_hour_chart(advice):
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
    table = advice.table
    lengths = np.sort(table["distance_ft"].unique())
    with drawing(2.5) as (figure, axes):
        axis = axes[0, 0]
        for component, rows in table.groupby("component", sort=False):
            place = np.searchsorted(lengths, rows["distance_ft"]) + ASIDE[component]
            interval_marks(
                axis, place, rows, SAVED, color=COLOUR[component], marker=MARKER[component],
                linestyle=STYLE[component], linewidth=1, markersize=5.5, label=component,
            )  # fmt: skip
        _ring(axis, lengths, advice.row)
        axis.axhline(0, color=INK, linewidth=0.8)
        length_axis(axis, lengths)
        axis.set_xlabel("Length practised, feet")
        axis.set_title(f"Strokes a round saved by {_time(advice.minutes)}")
        legend_below(figure, axis)
    return Chart(
        name="next-hour",
        title="What the next hour buys" if advice.minutes == 60 else "What the time buys",
        alt=_next_hour_alt(advice),
        reading="All of the time spent on one length, for line or for pace, with 90 % "
        "intervals. The intervals move together: the chance of being best says how sure the "
        "order is.",
        figure=figure,
        table=table,
    )


def _ring(axis, lengths, row):
    place = np.searchsorted(lengths, row["distance_ft"]) + ASIDE[row["component"]]
    axis.plot(
        [place], [row[SAVED]], "o", markersize=14, fillstyle="none", color=INK,
        label=f"the choice, {sure(row['p_best'])} sure",
    )  # fmt: skip


def _time(minutes):
    return "an hour there" if minutes == 60 else f"{minutes:g} minutes there"


def _next_hour_alt(advice):
    row, table = advice.row, advice.table
    other = table.loc[table.drop(row.name)[SAVED].idxmax()]
    return (
        f"What {advice.minutes:g} minutes would save {advice.player}, by length: most for "
        f"{_option(row)} ({_saved(row)} strokes a round, best with a chance of "
        f"{sure(row['p_best'])}), then {_option(other)} ({_saved(other)})."
    )


def _option(row):
    return f"{row['component']} at {row['distance_ft']:g} ft"


def _saved(row):
    return f"{row[SAVED]:.2f}, {row[SAVED + '_lo']:.2f} to {row[SAVED + '_hi']:.2f}"


# What the choice leans on: what it gives away under other assumptions.


# How a row is drawn: still the choice, another one that is as good, another one.
LEANS_LOOK = {
    "still the choice": {"marker": "o", "color": BLUE},
    "another, but tied": {"marker": "D", "color": GREY},
    "another": {"marker": "X", "color": VERMILION},
}

# The scale goes at least this far, in strokes a round, so that next to nothing looks so.
LEAST_SHOWN = 0.05


def leans_chart(sensitivity):
    """Draw what the choice gives away where an assumption is another.

    Parameters
    ----------
    sensitivity : putlab.practice.sensitivity.Sensitivity
        From `putlab.practice.sensitivity.sensitivity`.

    Returns
    -------
    Chart
        A row an assumption varied, those that cost most on top.
    """
    table = sensitivity.table.iloc[1:].sort_values("costs", kind="stable", ignore_index=True)
    kind = np.where(
        table["flips"], np.where(table["tied"], *list(LEANS_LOOK)[1:]), list(LEANS_LOOK)[0]
    )
    with drawing(1.1 + 0.17 * len(table)) as (figure, axes):
        axis = axes[0, 0]
        axis.hlines(table.index, 0, table["costs"], color=GREY, linewidth=0.8)
        for name, look in LEANS_LOOK.items():
            rows = table[kind == name]
            axis.plot(rows["costs"], rows.index, linestyle="", label=name, **look)
        axis.axvline(0, color=INK, linewidth=0.8)
        axis.set_xlim(-0.002, max(LEAST_SHOWN, 1.1 * table["costs"].max()))
        axis.set_yticks(table.index, table["assumption"] + " " + table["value"].astype(str))
        axis.set_xlabel("Strokes a round given away")
        axis.set_title(f"{named(sensitivity.choice, start=True)}: what it leans on")
        legend_below(figure, axis)
    return Chart(
        name="leans",
        title="What the choice leans on",
        alt=_leans_alt(sensitivity, table),
        reading="One assumption at a time is made another; a cross is where a better choice "
        "would be another one.",
        figure=figure,
        table=table,
    )


def _leans_alt(sensitivity, table):
    if table.empty:
        return "No assumption was varied."
    worst, flips = table.iloc[-1], int((table["flips"] & ~table["tied"]).sum())
    return (
        f"Of {len(table)} other assumptions {flips} would make another choice than "
        f"{named(sensitivity.choice)}; the most costly is {worst['assumption']} "
        f"{worst['value']}, {at_least_shown(worst['costs'])} strokes a round given away."
    )
