"""What the choice leans on: what it gives away under other assumptions."""

import numpy as np

from putlab.charts.chart import BLUE, GREY, INK, VERMILION, Chart, drawing, legend_below
from putlab.decision.advice import at_least_shown, named

# How a row is drawn: still the choice, another one that is as good, another one.
LOOK = {
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
    sensitivity : putlab.sensitivity.Sensitivity
        From `putlab.sensitivity.sensitivity`.

    Returns
    -------
    Chart
        A row an assumption varied, those that cost most on top.
    """
    table = sensitivity.table.iloc[1:].sort_values("costs", kind="stable", ignore_index=True)
    kind = np.where(table["flips"], np.where(table["tied"], *list(LOOK)[1:]), list(LOOK)[0])
    with drawing(1.1 + 0.17 * len(table)) as (figure, axes):
        axis = axes[0, 0]
        axis.hlines(table.index, 0, table["costs"], color=GREY, linewidth=0.8)
        for name, look in LOOK.items():
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
        alt=_alt(sensitivity, table),
        reading="One assumption at a time is made another; a cross is where a better choice "
        "would be another one.",
        figure=figure,
        table=table,
    )


def _alt(sensitivity, table):
    if table.empty:
        return "No assumption was varied."
    worst, flips = table.iloc[-1], int((table["flips"] & ~table["tied"]).sum())
    return (
        f"Of {len(table)} other assumptions {flips} would make another choice than "
        f"{named(sensitivity.choice)}; the most costly is {worst['assumption']} "
        f"{worst['value']}, {at_least_shown(worst['costs'])} strokes a round given away."
    )
