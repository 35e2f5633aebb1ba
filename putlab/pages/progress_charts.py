"""Line and pace spread from visit to visit, and the verdict on a change."""

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from putlab.base.words import counted, length_words, quantity, sure, with_interval
from putlab.model.readings import COMPONENTS, first_putts
from putlab.pages import chart
from putlab.pages.chart import Chart, chart_of
from putlab.pages.skill_charts import SPREAD_TITLE
from putlab.posterior.fit import last_conditions
from putlab.posterior.player import BIAS_NAMES, Golfer, with_ends
from putlab.rounds.strokes import EDGES_FT
from putlab.trial.compare import Comparison

# How many of a normal's sd hold nineteen in twenty.
NINETEEN_IN_TWENTY = 1.96

# A visit with a mishit can lie far above the rest; it must not flatten them.
HEADROOM = 1.5

# Conditions are told apart by how their mark is filled: full, hollow, upper half, ...
FILLS = ("full", "none", "top", "left")


def progress_table(golfer: Golfer, distance_ft: Sequence[float] | None = None) -> pd.DataFrame:
    """Return the spread within each visit at lengths practised, and the visit's condition.

    Columns ``distance_ft, session, condition`` and ``line_sd_deg, pace_sd_pct`` with ``_lo``
    and ``_hi``: the level there, the trend so far, the visit's form and its condition. A visit
    of several conditions has the mean of their effects, by share of putts. Default: the length
    most practised of each stretch.
    """
    fit, player = golfer.fit, golfer.player
    lengths = np.array(main_lengths_ft(golfer) if distance_ft is None else distance_ft)
    putts, visits = first_putts(fit.log.putts), fit.visits.reset_index(drop=True)
    visits = visits[visits["player"] == player]
    rows = pd.concat([design.rows for design in fit.designs.values()])
    read = visits["session"].isin(rows.loc[rows["player"] == player, "session"])
    tables = []
    # Visits with readings or, if there are none, all of them.
    for place, visit in visits[read if read.any() else ~read].iterrows():
        held = last_conditions(putts, visits.loc[[place]])
        shares = dict(zip(held["condition"], held["share"], strict=True))
        there = replace(golfer, struck=visit["putts_before"], held=shares)
        condition = " and ".join(sorted(filter(None, shares)))
        table = {"distance_ft": lengths, "session": visit["session"], "condition": condition}
        for component, name in chart.SPREAD_COLUMN.items():
            log_sd = there.log_spread_and_bias(component, lengths)[0]
            form = golfer.draws(component, "visit_form")[:, [place]]
            table |= with_ends({name: np.exp(log_sd + form)})
        tables.append(pd.DataFrame(table))
    return pd.concat(tables).sort_values("distance_ft", kind="stable", ignore_index=True)


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
            unread = f"{component.capitalize()} spread: not read"
            top.set_title(SPREAD_TITLE[component] if component in measured else unread)
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
    # One line with gaps for all intervals: an element for each would weigh down the page.
    ends = table[[f"{name}_lo", f"{name}_hi"]].assign(gap=np.nan).to_numpy().ravel()
    color = chart.LOOK[component]["color"]
    axis.plot(np.repeat(visit, 3), ends, "-", color=color, linewidth=1.2)
    for i, (condition, rows) in enumerate(table.groupby("condition", sort=False)):
        axis.plot(
            visit[rows.index], rows[name], linestyle="", fillstyle=FILLS[i % len(FILLS)],
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
                f"at the first visit and {with_interval(last, name)} at the last"
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


# The verdict on a change: ratios of spread, and what is too small to matter.


# Ratios marked on the axis, those that fit.
TICKS = (0.25, 0.33, 0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.1, 1.25, 1.5, 2, 3, 4)

# With more lengths than this only the ratio over all of them is drawn; lengths are shown for
# the spread that the verdict is on.
MOST_LENGTHS = 10

ENDS = ("mean", "lo", "hi")

# The band within which a change does not matter.
TOO_SMALL: dict[str, Any] = {
    "facecolor": "#E4E4E4", "hatch": "///", "edgecolor": chart.GREY, "linewidth": 0,
}  # fmt: skip


@chart_of.register
def change_chart(found: Comparison) -> Chart:
    """Draw by how much a change narrowed or widened the spread.

    Parameters
    ----------
    found : putlab.trial.compare.Comparison
        From `putlab.trial.compare.compare`.

    Returns
    -------
    Chart
        A row for all lengths together and one a length; its table holds the ratios.
    """
    table = ratio_table(found)
    with chart.drawing(1.2 + 0.17 * len(table)) as (figure, (axis,)):
        small = 1 + np.array([-1, 1]) * found.too_small_pct / 100
        within = f"too small to matter (under {found.too_small_pct:g} %)"
        axis.axvspan(*small, label=within, **TOO_SMALL)
        axis.axvline(1, color=chart.INK, linewidth=0.8)
        for component, rows in table.groupby("component", sort=False):
            marks = (rows[:1], 7, 2, component), (rows[1:], 4, 1, "")
            for part, size, width, said in marks:
                chart.interval_marks(
                    axis, -part.index, part, ENDS, across=True, markersize=size, elinewidth=width,
                    label=said, linestyle="", **chart.LOOK[component],
                )  # fmt: skip
        axis.set_yticks(-table.index, table["label"])
        axis.grid(False, axis="y")
        _mark_ratios(axis, "x")
        axis.set(
            xlim=(0.92 * table["lo"].min(), 1.08 * table["hi"].max()),
            xlabel="Ratio of spreads (under 1: narrower than before)",
            title=f"Verdict: {found.verdict}",
        )
    before, after = found.conditions.labels
    said = [
        f"{row.component} spread became {row.mean:.2f} times what it was ({row.lo:.2f} to "
        f"{row.hi:.2f})"
        for row in table[table["label"].str.endswith("all lengths")].itertuples()
    ]
    alt = f"{after} against {before}: {' and '.join(said)}; verdict: {found.verdict}."
    reading = (
        f"Spread with {after} as a ratio of that with {before}, with 90 % intervals: under 1 is "
        f"narrower. The verdict is on {found.metric}; within the hatched band a change is too "
        "small to matter."
    )
    return Chart("change", "Did the change help?", alt, reading, figure, table)


def _mark_ratios(axis: Axes, side: str) -> None:
    """Put a log scale of ratios along a side of a panel, ``x`` or ``y``."""
    names = [f"{ratio:g}" for ratio in TICKS]
    axis.set(**{f"{side}scale": "log", f"{side}ticks": TICKS, f"{side}ticklabels": names})
    axis.minorticks_off()


def ratio_table(found: Comparison) -> pd.DataFrame:
    """Return the ratios of spread, all lengths and each: ``component, label, mean, lo, hi``."""
    rows = []
    for component in COMPONENTS:
        name = f"{component}_sd_ratio"
        if whole := getattr(found, name):
            rows.append([component, f"{component}, all lengths", *(whole[end] for end in ENDS)])
        if component == found.metric and len(found.by_distance) <= MOST_LENGTHS:
            columns = ["distance_ft", *(f"{name}_{end}" for end in ENDS)]
            for length, *values in found.by_distance[columns].dropna().itertuples(index=False):
                rows.append([component, length_words(length), *values])
    return pd.DataFrame(rows, columns=["component", "label", *ENDS])


# What a player reads after each visit, and how it is marked.
GAUGE: dict[str, dict[str, Any]] = {
    "not yet": {"color": chart.GREY, "marker": "o", "fillstyle": "none"},
    "helped": {"color": chart.BLUE, "marker": "o"},
    "hurt": {"color": chart.VERMILION, "marker": "X"},
    "no difference worth having": {"color": chart.ORANGE, "marker": "D"},
}


def diary_chart(found: Comparison) -> Chart:
    """Draw what a comparison said after each visit, as a gauge.

    Parameters
    ----------
    found : putlab.trial.compare.Comparison
        From `putlab.trial.compare.compare`.

    Returns
    -------
    Chart
        Estimate, interval and verdict visit by visit; its table is the comparison's diary.
    """
    table, strokes = found.diary, found.metric == "strokes"
    even, band = (0.0, found.too_small_strokes) if strokes else (1.0, found.too_small_pct / 100)
    with chart.drawing(2.3, legend=2) as (figure, (axis,)):
        low, high = min(table["lo"].min(), even - band), max(table["hi"].max(), even + band)
        axis.axhspan(even - band, even + band, label="too small to matter", **TOO_SMALL)
        axis.axhline(even, color=chart.INK, linewidth=0.8)
        for said, rows in table.groupby("gauge", sort=False):
            look = {"linestyle": "", "markersize": 5, "elinewidth": 1, "label": said}
            chart.interval_marks(axis, rows["visits"], rows, ENDS, **look, **GAUGE[str(said)])
        if not strokes:
            _mark_ratios(axis, "y")
        axis.xaxis.get_major_locator().set_params(integer=True)
        axis.set(
            ylim=(low - 0.1, high + 0.1) if strokes else (0.97 * low, 1.03 * high),
            xlabel="Visits",
            ylabel="Strokes a round, change" if strokes else "Ratio of spreads",
            title=f"Now: {_gauge_now(found)}",
        )
    before, after = found.conditions.labels
    ends = table[table["visits"].isin(table["visits"].agg(["min", "max"]))]
    said = [
        f"after {counted(row.visits, 'visit')}, {row.mean:.2f} ({row.lo:.2f} to {row.hi:.2f}), "
        f"{row.gauge}"
        for row in ends.itertuples()
    ]
    alt = f"{after} against {before}, {found.metric}: {'; '.join(said)}. Now: {_gauge_now(found)}."
    reading = (
        "Each visit's estimate from all putts up to then, with its 90 % interval: "
        f"{'below 0 is better' if strokes else 'under 1 is narrower'}. All but the last are a "
        "quick answer."
    )
    return Chart("change-diary", "Visit by visit", alt, reading, figure, table)


def _gauge_now(found: Comparison) -> str:
    said, left = found.diary[["gauge", "visits_left"]].iloc[-1]
    if found.fault:
        return f"{said}, nor by this design"
    if not left > 0:
        return said
    if found.plan:
        return f"{said}, {counted(int(left), 'visit')} of the planned trial left"
    return f"{said}, about {counted(int(left), 'more visit')} by the forecast"
