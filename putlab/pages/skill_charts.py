"""How widely line and pace scatter, by length, with the readings behind it."""

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from numpy.typing import ArrayLike

from putlab.base.errors import UsageError
from putlab.base.words import interval, length_words, listed, quantity
from putlab.log.read import Log
from putlab.model.readings import lengths_ft, practice_putts
from putlab.pages import chart
from putlab.pages.chart import Chart, chart_of
from putlab.posterior.player import Golfer, summary
from putlab.rounds.estimate import Estimate

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
    estimates: pd.DataFrame, new_day: pd.DataFrame | None = None, visits: pd.DataFrame | None = None
) -> Chart:
    """Draw spread by distance for line and pace.

    Parameters
    ----------
    estimates : pandas.DataFrame
        One player's spread within a visit, such as rows of `putlab.rounds.estimate`.
    new_day, visits : pandas.DataFrame, optional
        From `spread_table` and `visit_spreads`; what is not given is not drawn.

    Returns
    -------
    Chart
        Two panels; its table is the estimates of spread.
    """
    with chart.line_and_pace(2.6, SPREAD_TITLE) as (figure, panels):
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


@chart_of.register
def _(result: Golfer) -> Chart:
    return spread_chart(result.table, spread_table(result))


@chart_of.register
def _(result: Estimate) -> Chart:
    players = result.table["player"].unique()
    if len(players) > 1:
        raise UsageError(
            f"a chart of estimates shows one player; got {listed(players)}. Estimate one of them."
        )
    return spread_chart(result.table)


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
            f"{component} spread is least at {length_words(low['distance_ft'])} "
            f"({quantity(low[name], name)}) and most at {length_words(high['distance_ft'])} "
            f"({quantity(high[name], name)}, "
            f"{interval(high[name + '_lo'], high[name + '_hi'], name)})"
        )
    return f"Spread by distance for {estimates['player'].iloc[0]}: " + "; ".join(said) + "."
