"""How widely line and pace scatter at each length, with the readings behind it."""

import numpy as np
import pandas as pd
from matplotlib.ticker import MaxNLocator

from putlab.base.words import counted, interval, quantity
from putlab.model.design import REFERENCE_FT
from putlab.model.readings import lengths_ft, practice_putts
from putlab.pages.chart import (
    COLOUR,
    GREY,
    MARKER,
    MOST_MARKS,
    Chart,
    distance_axis,
    drawing,
    interval_marks,
    label_of,
    legend_below,
)
from putlab.posterior.player import summary

COLUMN = {"line": "line_sd_deg", "pace": "pace_sd_pct"}
SPREAD_TITLE = {"line": "Line spread, degrees", "pace": "Pace spread, %"}

# Fewer readings than this say next to nothing about a spread.
FEWEST = 4

# A visit with a mishit can lie far above the rest; it must not flatten them.
HEADROOM = 1.5


def new_day_table(golfer):
    """Return the spread that a new visit brings, at each length practised.

    Parameters
    ----------
    golfer : putlab.posterior.player.Golfer
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
    log : putlab.log.read.Log
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
        One player's rows of `putlab.rounds.estimate.estimate_table`.
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
            _spread_panel(axis, component, estimates, new_day, visits)
            not_read = f"{component.capitalize()} spread: not read"
            axis.set_title(SPREAD_TITLE[component] if component in measured else not_read)
        legend_below(figure, axes[0, 0])
    columns = ["distance_ft", *(c + end for c in COLUMN.values() for end in ("", "_lo", "_hi"))]
    return Chart(
        name="spread",
        title="Spread by distance",
        alt=_spread_alt(player, estimates),
        reading="Marks with bars: this player within a visit, with the 90 % interval. Hollow: "
        "on a new day. Dots: the readings of one visit, as shown, with all their coarseness; a "
        "triangle lies beyond the scale.",
        figure=figure,
        table=estimates[columns].reset_index(drop=True),
    )


def _spread_panel(axis, component, estimates, new_day, visits):
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


def _spread_alt(player, estimates):
    said = []
    for component, name in COLUMN.items():
        low, high = (
            estimates.loc[pick(estimates[name])] for pick in (pd.Series.idxmin, pd.Series.idxmax)
        )
        said.append(
            f"{component} spread is least at {low['distance_ft']:g} ft "
            f"({quantity(low[name], name)}) and most at {high['distance_ft']:g} ft "
            f"({quantity(high[name], name)}, "
            f"{interval(high[name + '_lo'], high[name + '_hi'], name)})"
        )
    return f"Spread by distance for {player}: " + "; ".join(said) + "."


# Spread from visit to visit, and what was changed on the way.


PROGRESS_TITLE = {
    "line": f"Line spread at {REFERENCE_FT:g} ft, °",
    "pace": f"Pace spread at {REFERENCE_FT:g} ft, %",
}


def progress_table(golfer):
    """Return the spread within each visit, at the middle length of the kit.

    Parameters
    ----------
    golfer : putlab.posterior.player.Golfer
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
        [name for name in shares.columns if row[name] > 0 and name] for _, row in shares.iterrows()
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
            _progress_panel(axis, component, table)
            if component not in measured:
                axis.set_title(f"{component.capitalize()} spread: not read")
        if named:
            legend_below(figure, axes[0, 0])
    return Chart(
        name="progress",
        title="Progress over visits",
        alt=_progress_alt(player, table),
        reading=f"Spread within each visit at {REFERENCE_FT:g} ft, with its 90 % interval; a "
        "change of condition shows in how the marks are filled.",
        figure=figure,
        table=table,
    )


# Conditions are told apart by how their mark is filled: full, hollow, upper half, ...
FILLS = ("full", "none", "top", "left")


def _progress_panel(axis, component, table):
    name = COLUMN[component]
    visit = np.arange(1, len(table) + 1)
    axis.plot(visit, table[name], "-", color=GREY, linewidth=0.8)
    for i, (condition, rows) in enumerate(table.groupby("condition", sort=False)):
        interval_marks(
            axis, visit[rows.index], rows, name, color=COLOUR[component], linestyle="",
            marker=MARKER[component], fillstyle=FILLS[i % len(FILLS)],
            label=label_of(condition or "no condition named"),
        )  # fmt: skip
    axis.set_title(PROGRESS_TITLE[component])
    axis.set_ylim(0, 1.15 * table[name + "_hi"].max())
    axis.set_xlabel("Visit")
    axis.set_xlim(0.4, len(table) + 0.6)
    if len(table) <= MOST_MARKS:
        axis.set_xticks(visit)
    else:
        axis.xaxis.set_major_locator(MaxNLocator(integer=True))


def _progress_alt(player, table):
    first, last = table.iloc[0], table.iloc[-1]
    said = [
        f"{component} spread at {REFERENCE_FT:g} ft was {quantity(first[name], name)} at the "
        f"first visit and {quantity(last[name], name)} "
        f"({interval(last[name + '_lo'], last[name + '_hi'], name)}) at the last"
        for component, name in COLUMN.items()
    ]
    return f"Progress of {player} over {counted(len(table), 'visit')}: {'; '.join(said)}."
