"""How widely line and pace scatter: by length with the readings behind it, and over visits."""

from collections.abc import Collection
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator
from numpy.typing import ArrayLike

from putlab.base.words import counted, interval, quantity
from putlab.log.read import Log
from putlab.model.design import REFERENCE_FT
from putlab.model.readings import COMPONENTS, lengths_ft, practice_putts
from putlab.model.spread import cell_location
from putlab.pages import chart
from putlab.pages.chart import Chart
from putlab.posterior.player import Golfer, summary

SPREAD_TITLE = {"line": "Line spread, degrees", "pace": "Pace spread, %"}

# Fewer readings than this say next to nothing about a spread.
FEWEST = 4

# A visit with a mishit can lie far above the rest; it must not flatten them.
HEADROOM = 1.5


def with_ends(name: str, draws: np.ndarray) -> dict[str, np.ndarray]:
    """Return columns ``name``, ``name_lo``, ``name_hi`` of draws of shape (draws, n)."""
    return dict(zip((name, name + "_lo", name + "_hi"), summary(draws), strict=True))


def spread_table(
    golfer: Golfer, distance_ft: ArrayLike | None = None, *, new_day: bool = True
) -> pd.DataFrame:
    """Return a player's spread at lengths in feet (default: those practised), a new day's or not.

    Columns ``distance_ft`` and ``line_sd_deg``, ``pace_sd_pct`` with ``_lo`` and ``_hi``.
    """
    known = golfer.practised["distance_ft"].to_numpy() if distance_ft is None else distance_ft
    skill = golfer.skill(known, new_day=new_day)
    columns = {"distance_ft": known}
    for name in chart.SPREAD_COLUMN.values():
        columns |= with_ends(name, getattr(skill, name))
    return pd.DataFrame(columns)


def visit_spreads(log: Log, player: str) -> pd.DataFrame:
    """Return the plain spread of the readings of each visit and length, NaN where they are few.

    Straight from the display: coarse steps, a backstop and mishits are still in it, which is
    why the estimates may differ. Columns ``session, distance_ft, line_sd_deg, pace_sd_pct``.
    """
    putts = practice_putts(log.putts)
    putts = putts.assign(
        distance_ft=lengths_ft(putts["distance_ft"])[putts["length"]],
        pace_pct=100 * (putts["roll_ft"] / putts["target_ft"] - 1),
    )
    groups = putts[putts["player"] == player].groupby(["session", "distance_ft"], sort=False)
    readings = groups[["line_deg", "pace_pct"]]
    table = readings.std().where(readings.count() >= FEWEST)
    return table.set_axis(list(chart.SPREAD_COLUMN.values()), axis=1).reset_index()


READING = "Marks with bars: this player within a visit, with the 90 % interval."
READING_NEW_DAY = " Hollow: on a new day."
READING_VISITS = (
    " Dots: the readings of one visit, as shown, with all their coarseness; a triangle lies "
    "beyond the scale."
)


def spread_chart(
    estimates: pd.DataFrame,
    new_day: pd.DataFrame | None = None,
    visits: pd.DataFrame | None = None,
    *,
    measured: Collection[str] = COMPONENTS,
) -> Chart:
    """Draw spread by distance for line and pace.

    Parameters
    ----------
    estimates : pandas.DataFrame
        One player's spread within a visit, such as rows of `putlab.rounds.estimate`.
    new_day, visits : pandas.DataFrame, optional
        From `spread_table` and `visit_spreads`; what is not given is not drawn.
    measured : collection of str
        Components of which there are readings; the other is what was believed beforehand.

    Returns
    -------
    Chart
        Two panels; its table is the estimates of spread.
    """
    titles = SPREAD_TITLE | chart.not_read(measured)
    with chart.line_and_pace(2.6, titles) as (figure, panels):
        for component, axis in panels.items():
            # The axis ends above the estimates; what lies beyond is marked at its edge.
            name = chart.SPREAD_COLUMN[component]
            highest = [estimates[name + "_hi"].max(), *([] if new_day is None else new_day[name])]
            top = HEADROOM * max(highest)
            if visits is not None:
                _visit_marks(axis, visits["distance_ft"], visits[name], top)
            if new_day is not None:
                _new_day_marks(axis, new_day, component)
            chart.interval_marks(
                axis, estimates["distance_ft"], estimates, name, markersize=5.5, linewidth=1.4,
                label="within a visit", zorder=3, **chart.LOOK[component],
            )  # fmt: skip
            chart.distance_axis(axis, estimates["distance_ft"])
            axis.set_ylim(0, top)
    names = [name + end for name in chart.SPREAD_COLUMN.values() for end in ("", "_lo", "_hi")]
    table = estimates[["distance_ft", *names]].reset_index(drop=True)
    reading = READING + READING_NEW_DAY * (new_day is not None)
    reading += READING_VISITS * (visits is not None)
    return Chart("spread", "Spread by distance", _spread_alt(estimates), reading, figure, table)


def _visit_marks(axis: Axes, distance_ft: pd.Series, spread: pd.Series, top: float) -> None:
    look: dict[str, Any] = {"color": chart.GREY, "linestyle": "", "markersize": 4, "zorder": 1}
    label = "readings of one visit"
    axis.plot(distance_ft, spread, marker=".", alpha=0.6, label=label, **look)
    beyond = distance_ft[spread > top]
    axis.plot(beyond, np.full(len(beyond), 0.98 * top), marker="^", **look)


def _new_day_marks(axis: Axes, new_day: pd.DataFrame, component: str) -> None:
    axis.plot(
        new_day["distance_ft"] * 1.07, new_day[chart.SPREAD_COLUMN[component]], "--", marker="D",
        color=chart.LOOK[component]["color"], markerfacecolor="white", markersize=4.5,
        linewidth=1, label="on a new day", zorder=2,
    )  # fmt: skip


def _spread_alt(estimates: pd.DataFrame) -> str:
    said = []
    for component, name in chart.SPREAD_COLUMN.items():
        values = estimates[name]
        low, high = (estimates.loc[pick()] for pick in (values.idxmin, values.idxmax))
        said.append(
            f"{component} spread is least at {low['distance_ft']:g} ft "
            f"({quantity(low[name], name)}) and most at {high['distance_ft']:g} ft "
            f"({quantity(high[name], name)}, "
            f"{interval(high[name + '_lo'], high[name + '_hi'], name)})"
        )
    return f"Spread by distance for {estimates['player'].iloc[0]}: " + "; ".join(said) + "."


# Spread from visit to visit, and what was changed on the way.


PROGRESS_TITLE = {
    "line": f"Line spread at {REFERENCE_FT:g} ft, °",
    "pace": f"Pace spread at {REFERENCE_FT:g} ft, %",
}

# Conditions are told apart by how their mark is filled: full, hollow, upper half, ...
FILLS = ("full", "none", "top", "left")


def progress_table(golfer: Golfer) -> pd.DataFrame:
    """Return the spread within each visit at 10 ft, and its condition.

    Columns ``session, condition`` and ``line_sd_deg, pace_sd_pct`` with ``_lo`` and ``_hi``:
    the player's level, the trend so far, the visit's form and its condition. A visit of
    several conditions has the mean of their effects, by share of putts.
    """
    rows = pd.concat([design.rows for design in golfer.fit.designs.values()])
    held = rows[(rows["player"] == golfer.player) & (rows["condition"] != "")]
    visits = _visits(golfer, rows)
    labels = held.groupby("session")["condition"].agg(lambda c: " and ".join(sorted(set(c))))
    table = visits[["session"]].reset_index(drop=True)
    table["condition"] = [labels.get(session, "") for session in table["session"]]
    for component, name in chart.SPREAD_COLUMN.items():
        table = table.assign(**with_ends(name, np.exp(_log_spread(golfer, component, visits))))
    return table


def _visits(golfer: Golfer, rows: pd.DataFrame) -> pd.DataFrame:
    # The player's visits with readings or, if there are none, all of them.
    visits = golfer.fit.designs["line"].sessions.reset_index(drop=True)
    visits = visits[visits["player"] == golfer.player]
    read = visits["session"].isin(rows.loc[rows["player"] == golfer.player, "session"])
    return visits[read] if read.any() else visits


def _log_spread(golfer: Golfer, component: str, visits: pd.DataFrame) -> np.ndarray:
    # Log spread at 10 ft, shape (draws, visits).
    design = golfer.fit.designs[component]
    mine = design.rows[design.rows["player"] == golfer.player]
    own = np.flatnonzero(design.conditions["player"] == golfer.player)
    counts = mine.pivot_table(index="session", columns="condition", values="count", aggfunc="sum")
    # A condition may have been held on a green alone.
    shares = counts.div(counts.sum(axis=1), axis=0).reindex(
        index=visits["session"], columns=design.conditions["condition"].iloc[own]
    )
    terms = {
        "level": golfer.draws(component, "base")[:, None],
        "trend": golfer.draws(component, "trend")[:, None],
        "visit_form": golfer.draws(component, "visit_form")[:, visits.index],
        "effect": golfer.draws(component, "effect")[:, own] @ shares.fillna(0.0).to_numpy().T,
    }
    return cell_location(terms, {"practised": visits["practised"].to_numpy(float)})[1]


def progress_chart(
    player: str, table: pd.DataFrame, *, measured: Collection[str] = COMPONENTS
) -> Chart:
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
    titles = PROGRESS_TITLE | chart.not_read(measured)
    height_in, legend = (2.5, 3) if named else (2.2, 0)
    with chart.line_and_pace(height_in, titles, legend=legend) as (figure, panels):
        for component, axis in panels.items():
            _progress_panel(axis, component, table)
    reading = (
        f"Spread within each visit at {REFERENCE_FT:g} ft, with its 90 % interval; a change of "
        "condition shows in how the marks are filled."
    )
    alt = _progress_alt(player, table)
    return Chart("progress", "Progress over visits", alt, reading, figure, table)


def _progress_panel(axis: Axes, component: str, table: pd.DataFrame) -> None:
    name = chart.SPREAD_COLUMN[component]
    visit = np.arange(1, len(table) + 1)
    axis.plot(visit, table[name], "-", color=chart.GREY, linewidth=0.8)
    for i, (condition, rows) in enumerate(table.groupby("condition", sort=False)):
        chart.interval_marks(
            axis, visit[rows.index], rows, name, linestyle="", fillstyle=FILLS[i % len(FILLS)],
            label=chart.label_of(condition or "no condition named"), **chart.LOOK[component],
        )  # fmt: skip
    top = 1.15 * table[name + "_hi"].max()
    axis.set(xlim=(0.4, len(table) + 0.6), ylim=(0, top), xlabel="Visit")
    if len(table) <= chart.MOST_MARKS:
        axis.set_xticks(visit)
    else:
        axis.xaxis.set_major_locator(MaxNLocator(integer=True))


def _progress_alt(player: str, table: pd.DataFrame) -> str:
    first, last = table.iloc[0], table.iloc[-1]
    said = [
        f"{component} spread at {REFERENCE_FT:g} ft was {quantity(first[name], name)} at the "
        f"first visit and {quantity(last[name], name)} "
        f"({interval(last[name + '_lo'], last[name + '_hi'], name)}) at the last"
        for component, name in chart.SPREAD_COLUMN.items()
    ]
    return f"Progress of {player} over {counted(len(table), 'visit')}: {'; '.join(said)}."
