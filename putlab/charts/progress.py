"""Spread from visit to visit, and what was changed on the way."""

import numpy as np
import pandas as pd
from matplotlib.ticker import MaxNLocator

from putlab.charts.chart import (
    COLOUR,
    GREY,
    MARKER,
    MOST_MARKS,
    Chart,
    drawing,
    interval_marks,
    label_of,
    legend_below,
)
from putlab.charts.spread import COLUMN
from putlab.design import REFERENCE_FT
from putlab.golfer import summary
from putlab.pages.wording import counted, interval, quantity

TITLE = {
    "line": f"Line spread at {REFERENCE_FT:g} ft, °",
    "pace": f"Pace spread at {REFERENCE_FT:g} ft, %",
}


def progress_table(golfer):
    """Return the spread within each visit, at the middle length of the kit.

    Parameters
    ----------
    golfer : putlab.golfer.Golfer
        One player's posterior.

    Returns
    -------
    pandas.DataFrame
        ``session, condition`` and ``line_sd_deg, pace_sd_pct`` at 10 ft with ``_lo`` and
        ``_hi``: the player's level, the trend so far, the visit's form and its condition.
        A visit of several conditions has the mean of their effects, by share of putts.
    """
    visits, shown = _shown(golfer)
    table = visits.loc[shown, ["session"]].reset_index(drop=True)
    for component, name in COLUMN.items():
        shares = _condition_shares(golfer, component).reindex(table["session"], fill_value=0.0)
        table["condition"] = _labels(shares)
        ends = summary(np.exp(_log_spread(golfer, component, shares)))
        for end, values in zip(("", "_lo", "_hi"), ends, strict=True):
            table[name + end] = values
    return table


def _shown(golfer):
    """Return the visits of the fit, and which are the player's with readings, if any are."""
    visits = golfer.fit.designs["line"].sessions
    mine = visits["player"] == golfer.player
    rows = pd.concat([design.rows for design in golfer.fit.designs.values()])
    read = mine & visits["session"].isin(rows.loc[rows["player"] == golfer.player, "session"])
    return visits, (read if read.any() else mine).to_numpy()


def _condition_shares(golfer, component):
    """Return the share of each condition in each visit's putts; no columns where none is."""
    rows = golfer.fit.designs[component].rows
    mine = rows[rows["player"] == golfer.player]
    counts = mine.pivot_table(
        index="session", columns="condition", values="count", aggfunc="sum", fill_value=0
    )
    return counts.div(counts.sum(axis=1), axis=0)


def _labels(shares):
    """Name the condition of each visit; blank where the log names none."""
    held = [
        [name for name in shares.columns if row[name] > 0 and name]
        for _, row in shares.iterrows()
    ]
    return [" and ".join(names) for names in held]


def _log_spread(golfer, component, shares):
    """Return log spread at 10 ft, shape (draws, visits)."""
    visits, shown = _shown(golfer)
    practised = visits["practised"].to_numpy(float)[shown]
    level = golfer.draws(component, "base")[:, None]
    level = level + golfer.draws(component, "trend")[:, None] * practised
    level = level + golfer.draws(component, "form")[:, shown]
    known = golfer.fit.designs[component].conditions
    own = np.flatnonzero(known["player"] == golfer.player)
    effect = golfer.draws(component, "effect")[:, own]
    # A condition may have been held on a green alone.
    held = shares.reindex(columns=known["condition"].iloc[own], fill_value=0.0)
    return level + effect @ held.to_numpy().T


def progress_chart(player, table, *, measured=("line", "pace")):
    """Draw spread from visit to visit.

    Parameters
    ----------
    player : str
        Label.
    table : pandas.DataFrame
        From `progress_table`.
    measured : collection of str
        Components of which there are readings; the other is what was believed beforehand.

    Returns
    -------
    Chart
        A panel for line and one for pace.
    """
    named = (table["condition"] != "").any()
    with drawing(2.5 if named else 2.2, columns=2) as (figure, axes):
        for axis, component in zip(axes[0], COLUMN, strict=True):
            _panel(axis, component, table)
            if component not in measured:
                axis.set_title(f"{component.capitalize()} spread: not read")
        if named:
            legend_below(figure, axes[0, 0])
    return Chart(
        name="progress",
        title="Progress over visits",
        alt=_alt(player, table),
        reading=f"Spread within each visit at {REFERENCE_FT:g} ft, with its 90 % interval; a "
        "change of condition shows in how the marks are filled.",
        figure=figure,
        table=table,
    )


# Conditions are told apart by how their mark is filled: full, hollow, upper half, ...
FILLS = ("full", "none", "top", "left")


def _panel(axis, component, table):
    name = COLUMN[component]
    visit = np.arange(1, len(table) + 1)
    axis.plot(visit, table[name], "-", color=GREY, linewidth=0.8)
    for i, (condition, rows) in enumerate(table.groupby("condition", sort=False)):
        interval_marks(
            axis, visit[rows.index], rows, name, color=COLOUR[component], linestyle="",
            marker=MARKER[component], fillstyle=FILLS[i % len(FILLS)],
            label=label_of(condition or "no condition named"),
        )  # fmt: skip
    axis.set_title(TITLE[component])
    axis.set_ylim(0, 1.15 * table[name + "_hi"].max())
    axis.set_xlabel("Visit")
    axis.set_xlim(0.4, len(table) + 0.6)
    if len(table) <= MOST_MARKS:
        axis.set_xticks(visit)
    else:
        axis.xaxis.set_major_locator(MaxNLocator(integer=True))


def _alt(player, table):
    first, last = table.iloc[0], table.iloc[-1]
    said = [
        f"{component} spread at {REFERENCE_FT:g} ft was {quantity(first[name], name)} at the "
        f"first visit and {quantity(last[name], name)} "
        f"({interval(last[name + '_lo'], last[name + '_hi'], name)}) at the last"
        for component, name in COLUMN.items()
    ]
    return f"Progress of {player} over {counted(len(table), 'visit')}: {'; '.join(said)}."
