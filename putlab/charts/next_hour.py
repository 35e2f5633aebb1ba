"""What the next hour buys: strokes a round saved, by length, for line and for pace."""

import numpy as np

from putlab.charts.chart import (
    COLOUR,
    INK,
    MARKER,
    Chart,
    drawing,
    interval_marks,
    legend_below,
    length_axis,
)
from putlab.pages.wording import sure

SAVED = "saved_next_hour"

# Line and pace of one length stand side by side.
ASIDE = {"line": -0.14, "pace": 0.14}
STYLE = {"line": "-", "pace": "--"}


def next_hour_chart(advice):
    """Draw what the time to come would save wherever it is spent.

    Parameters
    ----------
    advice : putlab.decision.advice.Advice
        From `putlab.worth.advise`.

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
        alt=_alt(advice),
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


def _alt(advice):
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
