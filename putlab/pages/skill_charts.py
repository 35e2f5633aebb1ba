"""How widely line and pace scatter: by length with the readings behind it, and over visits."""

from collections.abc import Collection, Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator
from numpy.typing import ArrayLike

from putlab.base.words import counted, interval, length_words, quantity, sure
from putlab.log.read import Log
from putlab.model.design import log_distance
from putlab.model.readings import COMPONENTS, lengths_ft, practice_putts
from putlab.model.spread import cell_location
from putlab.pages import chart
from putlab.pages.chart import Chart
from putlab.posterior.player import Golfer, summary
from putlab.posterior.spots import BIAS_NAMES
from putlab.rounds.strokes import EDGES_FT

SPREAD_TITLE = {"line": "Line spread, degrees", "pace": "Pace spread, %"}

# Fewer readings than this say next to nothing about a spread.
FEWEST = 4

# How many of a normal's sd hold nineteen in twenty.
NINETEEN_IN_TWENTY = 1.96

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


# Conditions are told apart by how their mark is filled: full, hollow, upper half, ...
FILLS = ("full", "none", "top", "left")


def progress_table(golfer: Golfer, distance_ft: Sequence[float] | None = None) -> pd.DataFrame:
    """Return the spread within each visit at lengths practised, and the visit's condition.

    Columns ``distance_ft, session, condition`` and ``line_sd_deg, pace_sd_pct`` with ``_lo``
    and ``_hi``: the level there, the trend so far, the visit's form and its condition. A visit
    of several conditions has the mean of their effects, by share of putts. Default: the length
    most practised of each stretch.
    """
    rows = pd.concat([design.rows for design in golfer.fit.designs.values()])
    held = rows[(rows["player"] == golfer.player) & (rows["condition"] != "")]
    visits = _visits(golfer, rows)
    labels = held.groupby("session")["condition"].agg(lambda c: " and ".join(sorted(set(c))))
    tables = []
    for length in main_lengths_ft(golfer) if distance_ft is None else distance_ft:
        table = visits[["session"]].reset_index(drop=True)
        table.insert(0, "distance_ft", length)
        table["condition"] = [labels.get(session, "") for session in table["session"]]
        for component, name in chart.SPREAD_COLUMN.items():
            spread = np.exp(_log_spread(golfer, component, visits, length))
            table = table.assign(**with_ends(name, spread))
        tables.append(table)
    return pd.concat(tables, ignore_index=True)


def main_lengths_ft(golfer: Golfer) -> list[float]:
    """Return the length most practised of each stretch of distance that was."""
    table = golfer.practised.sort_values("putts", ascending=False, kind="stable")
    stretch = np.searchsorted(EDGES_FT, table["distance_ft"], side="right")
    return sorted(table.loc[~pd.Series(stretch, table.index).duplicated(), "distance_ft"])


def unusual_visits(golfer: Golfer) -> pd.DataFrame:
    """Return the visits that were news: ``session, component, kind, size, chance``.

    ``kind`` is ``spread``, its size the ratio to the usual one, or ``middle``, in degrees or
    percent off the usual one; ``chance`` is that the visit lies further out than nineteen in
    twenty of this golfer's own days do.
    """
    sessions = golfer.fit.designs["line"].sessions.reset_index(drop=True)
    mine, found = sessions.index[sessions["player"] == golfer.player], []
    for component in COMPONENTS:
        for kind, name in (("spread", "visit_form"), ("middle", "visit_bias")):
            draws = golfer.draws(component, name)[:, mine]
            # Against the mean visit, whose level and bias the others share.
            draws = draws - draws.mean(axis=1, keepdims=True)
            usual = NINETEEN_IN_TWENTY * golfer.draws(component, f"{name}_sd")[:, None]
            size, chance = draws.mean(axis=0), (np.abs(draws) > usual).mean(axis=0)
            rows = pd.DataFrame({"session": sessions.loc[mine, "session"].to_numpy()})
            rows = rows.assign(component=component, kind=kind, chance=chance)
            found.append(rows.assign(size=np.exp(size) if kind == "spread" else size))
    table = pd.concat(found, ignore_index=True)
    return table[table["chance"] > 0.5].reset_index(drop=True)


def _visits(golfer: Golfer, rows: pd.DataFrame) -> pd.DataFrame:
    # The player's visits with readings or, if there are none, all of them.
    visits = golfer.fit.designs["line"].sessions.reset_index(drop=True)
    visits = visits[visits["player"] == golfer.player]
    read = visits["session"].isin(rows.loc[rows["player"] == golfer.player, "session"])
    return visits[read] if read.any() else visits


def _log_spread(
    golfer: Golfer, component: str, visits: pd.DataFrame, distance_ft: float
) -> np.ndarray:
    # Log spread at a length that was practised, shape (draws, visits).
    design = golfer.fit.designs[component]
    mine = design.rows[design.rows["player"] == golfer.player]
    own = np.flatnonzero(design.conditions["player"] == golfer.player)
    counts = mine.pivot_table(index="session", columns="condition", values="count", aggfunc="sum")
    # A condition may have been held on a green alone.
    shares = counts.div(counts.sum(axis=1), axis=0).reindex(
        index=visits["session"], columns=design.conditions["condition"].iloc[own]
    )
    held, place = shares.fillna(0.0).to_numpy().T, np.searchsorted(design.lengths_ft, distance_ft)
    terms = {
        "level": golfer.draws(component, "level")[:, [place]],
        "trend": golfer.draws(component, "trend")[:, None],
        "visit_form": golfer.draws(component, "visit_form")[:, visits.index],
        "effect": golfer.draws(component, "effect")[:, own] @ held,
        "effect_slope": golfer.draws(component, "effect_slope")[:, own] @ held,
    }
    at = {"practised": visits["practised"].to_numpy(float), "x": log_distance([distance_ft])}
    return cell_location(terms, at)[1]


def progress_chart(
    player: str,
    table: pd.DataFrame,
    visits: pd.DataFrame | None = None,
    unusual: pd.DataFrame | None = None,
    *,
    measured: Collection[str] = COMPONENTS,
) -> Chart:
    """Draw spread from visit to visit, a row a stretch of distance.

    Parameters
    ----------
    player : str
        Label.
    table, visits, unusual : pandas.DataFrame
        From `progress_table`, `visit_spreads` and `unusual_visits`.
    measured : collection of str
        Components of which there are readings; the other is what was believed beforehand.

    Returns
    -------
    Chart
        Panels of line beside pace.
    """
    lengths = list(table["distance_ft"].unique())
    titles = SPREAD_TITLE | chart.not_read(measured)
    height_in = 0.9 + 0.66 * len(lengths)
    shared = {"sharex": True, "sharey": "col"}
    with chart.drawing(height_in, 2, len(lengths), legend=2, **shared) as (figure, axes):
        for row, length in zip(axes.reshape(-1, 2), lengths, strict=True):
            here = table[table["distance_ft"] == length].reset_index(drop=True)
            plain = None if visits is None else visits[visits["distance_ft"] == length]
            for component, axis in zip(COMPONENTS, row, strict=True):
                axis.set_ylim(0, HEADROOM * table[chart.SPREAD_COLUMN[component] + "_hi"].max())
                odd = () if unusual is None else unusual.query("component == @component")["session"]
                _progress_panel(axis, component, here, plain, set(odd))
            row[0].set_ylabel(length_words(length))
        for component, top, bottom in zip(COMPONENTS, axes[:2], axes[-2:], strict=True):
            top.set_title(titles[component])
            bottom.set_xlabel("Visit")
    reading = (
        "Spread within each visit, a row a length, with its 90 % interval; a change of condition "
        "shows in how the marks are filled. Dots: the plain spread of that visit's readings. A "
        "star: a visit that was news. A visit's form and the trend are taken as the same at all "
        "lengths."
    )
    alt = _progress_alt(player, table)
    return Chart("progress", "Progress over visits", alt, reading, figure, table)


def _progress_panel(
    axis: Axes, component: str, table: pd.DataFrame, plain: pd.DataFrame | None, odd: set[str]
) -> None:
    name, visit = chart.SPREAD_COLUMN[component], np.arange(1, len(table) + 1)
    axis.plot(visit, table[name], "-", color=chart.GREY, linewidth=0.8)
    for i, (condition, rows) in enumerate(table.groupby("condition", sort=False)):
        chart.interval_marks(
            axis, visit[rows.index], rows, name, linestyle="", fillstyle=FILLS[i % len(FILLS)],
            label=chart.label_of(condition or "within a visit"), markersize=4,
            **chart.LOOK[component],
        )  # fmt: skip
    top = axis.get_ylim()[1]
    if plain is not None:
        seen = plain.set_index("session")[name].reindex(table["session"]).to_numpy()
        axis.plot(visit, np.minimum(seen, 0.97 * top), ".", color=chart.GREY, markersize=4,
                  label="readings of one visit")  # fmt: skip
    starred = visit[table["session"].isin(odd)]
    axis.plot(starred, np.full(len(starred), 0.9 * top), "*", color=chart.INK, markersize=6)
    axis.set_xlim(0.4, len(table) + 0.6)
    axis.xaxis.set_major_locator(MaxNLocator(chart.MOST_MARKS, integer=True, min_n_ticks=1))


def _progress_alt(player: str, table: pd.DataFrame) -> str:
    said = []
    for component, name in chart.SPREAD_COLUMN.items():
        for length, rows in table.groupby("distance_ft"):
            first, last = rows.iloc[0], rows.iloc[-1]
            said.append(
                f"{component} spread at {length_words(length)} was {quantity(first[name], name)} "
                f"at the first visit and {quantity(last[name], name)} "
                f"({interval(last[name + '_lo'], last[name + '_hi'], name)}) at the last"
            )
    visits = counted(table["session"].nunique(), "visit")
    return f"Progress of {player} over {visits}: {'; '.join(said)}."


def unusual_words(row: Any) -> str:
    """Return a row of `unusual_visits` in words."""
    if row.kind == "spread":
        what = f"{row.component} scattered {row.size:.2f} times as widely as usual"
    else:
        what = f"{row.component} lay {quantity(row.size, BIAS_NAMES[row.component])} of usual"
    return f"{row.session}: {what}, further than 19 in 20 days do ({sure(row.chance)})"
