"""How widely line and pace scatter: by length with the readings behind it, and over visits."""

from collections.abc import Collection

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
    with chart.line_and_pace(2.6) as (figure, panels):
        for component, axis in panels.items():
            _spread_panel(axis, component, estimates, new_day, visits)
            not_read = f"{component.capitalize()} spread: not read"
            axis.set_title(SPREAD_TITLE[component] if component in measured else not_read)
    names = [name + end for name in chart.SPREAD_COLUMN.values() for end in ("", "_lo", "_hi")]
    table = estimates[["distance_ft", *names]].reset_index(drop=True)
    reading = READING + READING_NEW_DAY * (new_day is not None)
    reading += READING_VISITS * (visits is not None)
    return Chart("spread", "Spread by distance", _spread_alt(estimates), reading, figure, table)


def _spread_panel(
    axis: Axes,
    component: str,
    estimates: pd.DataFrame,
    new_day: pd.DataFrame | None,
    visits: pd.DataFrame | None,
) -> None:
    name, look = chart.SPREAD_COLUMN[component], chart.LOOK[component]
    if visits is not None:
        axis.plot(
            visits["distance_ft"], visits[name], ".", color=chart.GREY, alpha=0.6, markersize=4,
            label="readings of one visit", zorder=1,
        )  # fmt: skip
    if new_day is not None:
        axis.plot(
            new_day["distance_ft"] * 1.07, new_day[name], "--", marker="D", color=look["color"],
            markerfacecolor="white", markersize=4.5, linewidth=1, label="on a new day", zorder=2,
        )  # fmt: skip
    chart.interval_marks(
        axis, estimates["distance_ft"], estimates, name, markersize=5.5, linewidth=1.4,
        label="within a visit", zorder=3, **look,
    )  # fmt: skip
    chart.distance_axis(axis, estimates["distance_ft"])
    axis.set_xlabel("Length, feet")
    # The axis ends above the estimates; what lies beyond is marked at its edge.
    highest = [estimates[name + "_hi"].max(), *(() if new_day is None else new_day[name])]
    top = HEADROOM * max(highest)
    if visits is not None:
        beyond = visits.loc[visits[name] > top, "distance_ft"]
        axis.plot(
            beyond, np.full(len(beyond), 0.98 * top), "^", color=chart.GREY, markersize=4,
            label="_beyond the scale", zorder=1,
        )  # fmt: skip
    axis.set_ylim(0, top)


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


def progress_table(golfer: Golfer) -> pd.DataFrame:
    """Return the spread within each visit at 10 ft, and its condition.

    Columns ``session, condition`` and ``line_sd_deg, pace_sd_pct`` with ``_lo`` and ``_hi``:
    the player's level, the trend so far, the visit's form and its condition. A visit of
    several conditions has the mean of their effects, by share of putts.
    """
    visits, shown = _shown(golfer)
    table = visits.loc[shown, ["session"]].reset_index(drop=True)
    for component, name in chart.SPREAD_COLUMN.items():
        shares = _condition_shares(golfer, component).reindex(table["session"], fill_value=0.0)
        table["condition"] = _labels(shares)
        spread = np.exp(_log_spread(golfer, component, shares))
        table = table.assign(**with_ends(name, spread))
    return table


def _shown(golfer: Golfer) -> tuple[pd.DataFrame, np.ndarray]:
    # The visits of the fit, and which are the player's with readings, if any are.
    visits = golfer.fit.designs["line"].sessions
    mine = visits["player"] == golfer.player
    rows = pd.concat([design.rows for design in golfer.fit.designs.values()])
    read = mine & visits["session"].isin(rows.loc[rows["player"] == golfer.player, "session"])
    return visits, (read if read.any() else mine).to_numpy()


def _condition_shares(golfer: Golfer, component: str) -> pd.DataFrame:
    # The share of each condition in each visit's putts; no columns where none is.
    rows = golfer.fit.designs[component].rows
    mine = rows[rows["player"] == golfer.player]
    counts = mine.pivot_table(
        index="session", columns="condition", values="count", aggfunc="sum", fill_value=0
    )
    return counts.div(counts.sum(axis=1), axis=0)


def _labels(shares: pd.DataFrame) -> list[str]:
    # The condition of each visit; blank where the log names none.
    held = [
        [name for name in shares.columns if row[name] > 0 and name] for _, row in shares.iterrows()
    ]
    return [" and ".join(names) for names in held]


def _log_spread(golfer: Golfer, component: str, shares: pd.DataFrame) -> np.ndarray:
    # Log spread at 10 ft, shape (draws, visits).
    visits, shown = _shown(golfer)
    practised = visits["practised"].to_numpy(float)[shown]
    terms = {
        "level": golfer.draws(component, "base")[:, None],
        "trend": golfer.draws(component, "trend")[:, None],
        "visit_form": golfer.draws(component, "visit_form")[:, shown],
    }
    known = golfer.fit.designs[component].conditions
    own = np.flatnonzero(known["player"] == golfer.player)
    effect = golfer.draws(component, "effect")[:, own]
    # A condition may have been held on a green alone.
    held = shares.reindex(columns=known["condition"].iloc[own], fill_value=0.0)
    terms["effect"] = effect @ held.to_numpy().T
    return cell_location(terms, {"practised": practised})[1]


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
    with chart.line_and_pace(2.5 if named else 2.2, legend=named) as (figure, panels):
        for component, axis in panels.items():
            _progress_panel(axis, component, table)
            if component not in measured:
                axis.set_title(f"{component.capitalize()} spread: not read")
    reading = (
        f"Spread within each visit at {REFERENCE_FT:g} ft, with its 90 % interval; a change of "
        "condition shows in how the marks are filled."
    )
    alt = _progress_alt(player, table)
    return Chart("progress", "Progress over visits", alt, reading, figure, table)


# Conditions are told apart by how their mark is filled: full, hollow, upper half, ...
FILLS = ("full", "none", "top", "left")


def _progress_panel(axis: Axes, component: str, table: pd.DataFrame) -> None:
    name = chart.SPREAD_COLUMN[component]
    visit = np.arange(1, len(table) + 1)
    axis.plot(visit, table[name], "-", color=chart.GREY, linewidth=0.8)
    for i, (condition, rows) in enumerate(table.groupby("condition", sort=False)):
        chart.interval_marks(
            axis, visit[rows.index], rows, name, linestyle="", fillstyle=FILLS[i % len(FILLS)],
            label=chart.label_of(condition or "no condition named"), **chart.LOOK[component],
        )  # fmt: skip
    axis.set_title(PROGRESS_TITLE[component])
    axis.set_ylim(0, 1.15 * table[name + "_hi"].max())
    axis.set_xlabel("Visit")
    axis.set_xlim(0.4, len(table) + 0.6)
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
