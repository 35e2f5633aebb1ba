"""How widely line and pace scatter at each length, with the readings behind it."""

import numpy as np
import pandas as pd

from putlab.charts.chart import (
    COLOUR,
    GREY,
    MARKER,
    Chart,
    distance_axis,
    drawing,
    interval_marks,
    legend_below,
)
from putlab.golfer import summary
from putlab.pages.wording import interval, quantity
from putlab.readings import lengths_ft, practice_putts

COLUMN = {"line": "line_sd_deg", "pace": "pace_sd_pct"}
TITLE = {"line": "Line spread, degrees", "pace": "Pace spread, %"}

# Fewer readings than this say next to nothing about a spread.
FEWEST = 4

# A visit with a mishit can lie far above the rest; it must not flatten them.
HEADROOM = 1.5


def new_day_table(golfer):
    """Return the spread that a new visit brings, at each length practised.

    Parameters
    ----------
    golfer : putlab.golfer.Golfer
        One player's posterior.

    Returns
    -------
    pandas.DataFrame
        ``distance_ft`` and ``line_sd_deg``, ``pace_sd_pct`` with ``_lo`` and ``_hi``.
    """
    distance_ft = golfer.practised["distance_ft"].to_numpy()
    skill = golfer.skill(distance_ft, new_day=True)
    table = {"distance_ft": distance_ft}
    for name in COLUMN.values():
        ends = summary(getattr(skill, name))
        table |= dict(zip((name, name + "_lo", name + "_hi"), ends, strict=True))
    return pd.DataFrame(table)


def visit_spreads(log, player):
    """Return the plain spread of the readings of each visit and length.

    Straight from the display: coarse steps, a backstop and mishits are still in it, which
    is why the estimates may differ.

    Parameters
    ----------
    log : putlab.log.Log
        The log.
    player : str
        Label.

    Returns
    -------
    pandas.DataFrame
        ``session, distance_ft, line_sd_deg, pace_sd_pct``; NaN where fewer than
        `FEWEST` readings were taken.
    """
    putts = practice_putts(log.putts)
    putts = putts.assign(
        distance_ft=lengths_ft(putts["distance_ft"])[putts["length"]],
        pace_pct=100 * (putts["roll_ft"] / putts["target_ft"] - 1),
    )
    groups = putts[putts["player"] == player].groupby(["session", "distance_ft"], sort=False)
    readings = groups[["line_deg", "pace_pct"]]
    table = readings.std().where(readings.count() >= FEWEST)
    return table.set_axis(COLUMN.values(), axis=1).reset_index()


def spread_chart(estimates, new_day, visits, *, measured=("line", "pace")):
    """Draw spread by distance for line and pace.

    Parameters
    ----------
    estimates : pandas.DataFrame
        One player's rows of `putlab.estimate.estimate_table`.
    new_day : pandas.DataFrame
        From `new_day_table`.
    visits : pandas.DataFrame
        From `visit_spreads`.
    measured : collection of str
        Components of which there are readings; the other is what was believed beforehand.

    Returns
    -------
    Chart
        Two panels; its table is the estimates of spread.
    """
    player = estimates["player"].iloc[0]
    with drawing(2.6, columns=2) as (figure, axes):
        for axis, component in zip(axes[0], COLUMN, strict=True):
            _panel(axis, component, estimates, new_day, visits)
            not_read = f"{component.capitalize()} spread: not read"
            axis.set_title(TITLE[component] if component in measured else not_read)
        legend_below(figure, axes[0, 0])
    columns = ["distance_ft", *(c + end for c in COLUMN.values() for end in ("", "_lo", "_hi"))]
    return Chart(
        name="spread",
        title="Spread by distance",
        alt=_alt(player, estimates),
        reading="Marks with bars: this player within a visit, with the 90 % interval. Hollow: "
        "on a new day. Dots: the readings of one visit, as shown, with all their coarseness; a "
        "triangle lies beyond the scale.",
        figure=figure,
        table=estimates[columns].reset_index(drop=True),
    )


def _panel(axis, component, estimates, new_day, visits):
    name, colour, marker = COLUMN[component], COLOUR[component], MARKER[component]
    axis.plot(
        visits["distance_ft"], visits[name], ".", color=GREY, alpha=0.6, markersize=4,
        label="readings of one visit", zorder=1,
    )  # fmt: skip
    new_at = new_day["distance_ft"] * 1.07
    axis.plot(
        new_at, new_day[name], "--", marker="D", color=colour, markerfacecolor="white",
        markersize=4.5, linewidth=1, label="on a new day", zorder=2,
    )  # fmt: skip
    interval_marks(
        axis, estimates["distance_ft"], estimates, name, color=colour, marker=marker,
        markersize=5.5, linewidth=1.4, label="within a visit", zorder=3,
    )  # fmt: skip
    distance_axis(axis, estimates["distance_ft"])
    axis.set_xlabel("Length, feet")
    _limit(axis, estimates[name + "_hi"], new_day[name], visits, name)


def _limit(axis, high, new_day, visits, name):
    """End the axis above the estimates; what lies beyond is marked at its edge."""
    top = HEADROOM * max(high.max(), new_day.max())
    beyond = visits[visits[name] > top]
    axis.plot(
        beyond["distance_ft"], np.full(len(beyond), 0.98 * top), "^", color=GREY, markersize=4,
        label="_beyond the scale", zorder=1,
    )  # fmt: skip
    axis.set_ylim(0, top)


def _alt(player, estimates):
    said = []
    for component, name in COLUMN.items():
        low, high = (
            estimates.loc[pick(estimates[name])]
            for pick in (pd.Series.idxmin, pd.Series.idxmax)
        )
        said.append(
            f"{component} spread is least at {low['distance_ft']:g} ft "
            f"({quantity(low[name], name)}) and most at {high['distance_ft']:g} ft "
            f"({quantity(high[name], name)}, "
            f"{interval(high[name + '_lo'], high[name + '_hi'], name)})"
        )
    return f"Spread by distance for {player}: " + "; ".join(said) + "."
