"""How widely line and pace scatter: the putts as they were read, and what is estimated from them.

The readings show what a plain standard deviation takes for skill: steps of the display, a
backstop that stops the ball, and wild putts.
"""

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Ellipse
from scipy.special import ndtri

from putlab.base.errors import UsageError
from putlab.base.settings import INTERVAL, SEED
from putlab.base.words import counted, interval, length_words, listed, percent, quantity
from putlab.log.read import Log
from putlab.model.readings import COMPONENTS, lengths_ft, practice_putts, with_errors
from putlab.pages import chart
from putlab.pages.chart import Chart, chart_of
from putlab.posterior.backtest import Backtest
from putlab.posterior.player import Golfer
from putlab.rounds.estimate import Estimate
from putlab.rounds.strokes import EDGES_FT, STRETCHES, stretch_words

SPREAD_TITLE = {"line": "Line spread, degrees", "pace": "Pace spread, %"}

# Fewer readings than this say next to nothing about a spread.
FEWEST = 4


def visit_spreads(log: Log, player: str) -> pd.DataFrame:
    """Return the plain spread of the readings of each visit and length, NaN where they are few.

    Straight from the display: coarse steps, a backstop and mishits are still in it, which is
    why the estimates may differ. Columns ``session, distance_ft, line_sd_deg, pace_sd_pct``.
    """
    putts = _as_read(log, player)
    groups = putts.groupby(["session", "distance_ft"], sort=False)
    readings = groups[list(COMPONENTS)]
    table = readings.std().where(readings.count() >= FEWEST)
    return table.set_axis(list(chart.SPREAD_COLUMN.values()), axis=1).reset_index()


def _as_read(log: Log, player: str) -> pd.DataFrame:
    """Return a player's practice putts, lengths as the model has them, with what each missed by."""
    putts = with_errors(practice_putts(log.putts))
    putts = putts.assign(distance_ft=lengths_ft(putts["distance_ft"])[putts["length"]])
    return putts[putts["player"] == player]


def spread_chart(estimates: pd.DataFrame) -> Chart:
    """Draw spread by distance for line and pace.

    Parameters
    ----------
    estimates : pandas.DataFrame
        One player's spread within a visit, such as rows of `putlab.rounds.estimate`.

    Returns
    -------
    Chart
        Two panels; its table is the estimates of spread.
    """
    with chart.drawing(2.6, columns=2) as (figure, axes):
        for axis, (component, name) in zip(axes, chart.SPREAD_COLUMN.items(), strict=True):
            axis.set_title(SPREAD_TITLE[component])
            chart.interval_marks(
                axis, estimates["distance_ft"], estimates, name, markersize=5.5, linewidth=1.4,
                label="within a visit", **chart.LOOK[component],
            )  # fmt: skip
            chart.distance_axis(axis, estimates["distance_ft"])
            axis.set_ylim(0, 1.1 * estimates[name + "_hi"].max())
    names = [name + end for name in chart.SPREAD_COLUMN.values() for end in ("", "_lo", "_hi")]
    table = estimates[["distance_ft", *names]].reset_index(drop=True)
    reading = "Marks with bars: this player within a visit, with the 90 % interval."
    return Chart("spread", "Spread by distance", _spread_alt(estimates), reading, figure, table)


@chart_of.register
def _(result: Golfer | Estimate) -> Chart:
    players = result.table["player"].unique()
    if len(players) > 1:
        raise UsageError(
            f"a chart of estimates shows one player; got {listed(players)}. Estimate one of them."
        )
    return spread_chart(result.table)


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


# The putts as they were read, with the estimated spread over them.


# How many spreads wide the ellipse is that holds nine in ten of two independent normals.
NINE_IN_TEN = float(np.sqrt(-2 * np.log(1 - INTERVAL)))

UNITS = {"line": "deg", "pace": "pct"}

LOOK: dict[str, dict[str, Any]] = {
    "a putt; larger: several": {"marker": "o", "color": chart.BLUE, "alpha": 0.65},
    "stopped by the backstop": {"marker": "^", "color": chart.INK},
    "likely a mishit": {"marker": "X", "color": chart.VERMILION},
}
PUTT, STOPPED, MISHIT = LOOK


def readings_table(log: Log, golfer: Golfer) -> pd.DataFrame:
    """Return one player's readings beside the estimate for their length, a row a putt.

    Columns ``stretch`` (its place among `STRETCHES`), ``distance_ft``, ``kind`` (a key of
    `LOOK`), ``wall`` (percent past the target at which the backstop stands), and for line and
    pace the error as read, and ``_sd``, ``_bias``: what is estimated for a new day. Putts struck
    under another condition than the last visit's are left out.
    """
    putts = _as_read(log, golfer.player)
    now = golfer.fit.condition_now.query("player == @golfer.player")["condition"]
    mine = putts[putts["condition"].isin(now) | now.empty]
    mine = mine.dropna(subset=list(COMPONENTS), how="all").reset_index(drop=True)
    limit_ft = (log.rules.roll_limit_ft or np.inf) - (log.rules.roll_step_ft or 0.0) / 2
    table = mine[["distance_ft", *COMPONENTS]].assign(
        stretch=np.searchsorted(EDGES_FT, mine["distance_ft"], side="right") - 1,
        wall=100 * (limit_ft / mine["target_ft"] - 1),
        kind=PUTT,
    )
    lengths, place = np.unique(table["distance_ft"], return_inverse=True)
    skill = golfer.skill(lengths, new_day=True)
    for name, unit in UNITS.items():
        sd, bias, wild_sd = (
            getattr(skill, f"{name}_{what}_{unit}").mean(axis=0)[place]
            for what in ("sd", "bias", "wild_sd")
        )
        table[f"{name}_sd"], table[f"{name}_bias"] = sd, bias
        share, off = getattr(skill, f"{name}_wild").mean(), table[name] - bias
        parts = (share, wild_sd), (1 - share, sd)
        wild, usual = (part / width * np.exp(-((off / width) ** 2) / 2) for part, width in parts)
        table.loc[wild > usual, "kind"] = MISHIT
    table.loc[table["pace"] >= table["wall"], "kind"] = STOPPED
    return table


def readings_chart(log: Log, golfer: Golfer, stretches: Sequence[int] | None = None) -> Chart:
    """Draw a player's putts as they were read with the estimated spread over them.

    Parameters
    ----------
    log : putlab.log.read.Log
        The log.
    golfer : putlab.posterior.player.Golfer
        One player's posterior.
    stretches : sequence of int, optional
        Places among `putlab.rounds.strokes.STRETCHES`; default: all that hold readings.

    Returns
    -------
    Chart
        A panel a stretch; its table holds the estimated and the plain spread of each.
    """
    every = readings_table(log, golfer)
    held = [i for i in range(len(STRETCHES)) if (every["stretch"] == i).any()]
    panels = {i: every[every["stretch"] == i] for i in held if stretches is None or i in stretches}
    table = pd.DataFrame([_spreads(i, rows) for i, rows in panels.items()])
    columns = min(2, len(panels))
    rows = -(-len(panels) // columns)
    height_in = (0.65 if rows > 1 else 1.2) + 1.95 * rows
    with chart.drawing(height_in, columns, rows, legend=2) as (figure, axes):
        for axis, putts, row in zip(axes, panels.values(), table.to_dict("records"), strict=False):
            _panel(axis, putts, row)
        for axis in axes[len(panels) :]:
            axis.set_axis_off()
        for axis in axes[::columns]:
            axis.set_ylabel("% past the target", fontsize=8)
        for axis in axes[max(len(panels) - columns, 0) : len(panels)]:
            axis.set_xlabel("degrees right (− left)", fontsize=8)
    reading = (
        "Every mark is a putt where the display put it. Whole line: nine ordinary putts in ten "
        "on any day, as estimated; dashed: the same if the plain standard deviation of the "
        "readings were believed. Under each heading: the spread estimated, and the plain one."
    )
    title = "The putts as they were read"
    return Chart("readings", title, _alt(golfer.player, every, table), reading, figure, table)


def _spreads(stretch: int, putts: pd.DataFrame) -> dict[str, Any]:
    row: dict[str, Any] = {"stretch": stretch_words(*STRETCHES[stretch]), "putts": len(putts)}
    for name, unit in UNITS.items():
        read = putts[putts[name].notna()]
        row[f"{name}_sd_{unit}"] = np.sqrt(np.mean(read[f"{name}_sd"] ** 2))
        row[f"{name}_bias_{unit}"] = read[f"{name}_bias"].mean()
        row[f"plain_{name}_sd_{unit}"] = read[name].std()
        row[f"plain_{name}_bias_{unit}"] = read[name].mean()
    return row


def _panel(axis: Axes, putts: pd.DataFrame, row: dict[str, Any]) -> None:
    ovals: dict[str, list] = {"": [], "plain_": []}
    reach, at = {}, {}
    for name, unit in UNITS.items():
        for start, oval in ovals.items():
            middle, sd = row[f"{start}{name}_bias_{unit}"], row[f"{start}{name}_sd_{unit}"]
            oval.append(np.nan_to_num((middle, NINE_IN_TEN * sd)))
        widest = [abs(oval[-1][0]) + oval[-1][1] for oval in ovals.values()]
        reach[name] = 1.12 * np.nanmax([*widest, putts[name].abs().quantile(0.96), 1.0])
        at[name] = putts[name].fillna(0.0).clip(-0.97 * reach[name], 0.97 * reach[name])
    places = pd.DataFrame(at).round(6).assign(kind=putts["kind"])
    marks = places.value_counts(sort=False).reset_index()
    for kind, here in marks.groupby("kind"):
        # As a raster within the picture: a long log must not make a heavy page.
        size = (7 if kind == PUTT else 16) * here["count"] ** 0.6
        axis.scatter(here["line"], here["pace"], size, linewidths=0, label=kind, rasterized=True,
                     **LOOK[kind])  # fmt: skip
    looks = (
        ("nine in ten, as estimated", {"edgecolor": chart.INK}),
        ("by the plain spread", {"edgecolor": chart.VERMILION, "linestyle": "--"}),
    )
    for ((x, half_x), (y, half_y)), (label, look) in zip(ovals.values(), looks, strict=True):
        shape = Ellipse((x, y), 2 * half_x, 2 * half_y, fill=False, linewidth=1.5, label=label)
        axis.add_patch(shape).set(**look)
    axis.axhline(0, color=chart.GREY, linewidth=0.7)
    axis.axvline(0, color=chart.GREY, linewidth=0.7)
    if (wall := putts["wall"].min()) < reach["pace"]:
        axis.axhspan(wall, reach["pace"], facecolor="#DDDDDD", hatch="//", edgecolor=chart.GREY,
                     linewidth=0, zorder=0.5, label="backstop")  # fmt: skip
    axis.set(xlim=(-reach["line"], reach["line"]), ylim=(-reach["pace"], reach["pace"]))
    beside = [f"{name} {sd}, plain {plain}" for name, sd, plain in _in_words(row)]
    axis.set_title("\n".join([row["stretch"], *beside]), fontsize=8)


def _in_words(row: dict[str, Any]) -> Iterator[tuple[str, str, str]]:
    """Yield what was read of line and pace with its spread, estimated and plain."""
    for name, sd in chart.SPREAD_COLUMN.items():
        if np.isfinite(row[f"plain_{sd}"]):
            yield name, quantity(row[sd], sd), quantity(row[f"plain_{sd}"], sd)


def _alt(player: str, every: pd.DataFrame, table: pd.DataFrame) -> str:
    odd = [counted(int((every["kind"] == kind).sum()), "putt") for kind in (STOPPED, MISHIT)]
    said = [
        f"{row['stretch']} {name} {sd} where the plain spread of the readings is {plain}"
        for row in table.to_dict("records")
        for name, sd, plain in _in_words(row)
    ]
    return (
        f"{counted(len(every), 'putt')} of {player} as read, {odd[0]} stopped by the backstop and "
        f"{odd[1]} likely mishits. Spread on any day: {'; '.join(said)}."
    )


# The last visits in the ranges that were predicted for them.


@chart_of.register
def backtest_chart(found: Backtest) -> Chart:
    """Draw the readings of the last visits in the ranges predicted from those before.

    Parameters
    ----------
    found : putlab.posterior.backtest.Backtest
        Of one player or several, whose readings are drawn together.

    Returns
    -------
    Chart
        A point a reading; its height is its place in what was predicted, in spreads.
    """
    middle = (found.readings["low"] + found.readings["high"]) / 2
    place = ndtri(middle.clip(lower=1e-4, upper=1 - 1e-4))
    table = found.readings[["session", "component"]].assign(place=place)
    visits = list(table["session"].unique())
    with chart.drawing(2.6, columns=2, sharey=True, legend=0) as (figure, axes):
        for axis, component in zip(axes, COMPONENTS, strict=True):
            axis.set_title(f"{component.capitalize()} readings")
            mine = table[table["component"] == component]
            at = pd.Categorical(mine["session"], visits).codes
            aside = np.random.default_rng(SEED).uniform(-0.3, 0.3, len(mine))
            for level, shade in ((INTERVAL, 0.35), (0.5, 0.6)):
                end = ndtri((1 + level) / 2)
                axis.axhspan(-end, end, color=chart.SKY, alpha=shade, linewidth=0)
            axis.scatter(at + aside, mine["place"], s=4, color=chart.LOOK[component]["color"])
            axis.set_xticks(range(len(visits)), [chart.label_of(v) for v in visits], rotation=30)
        axes[0].set(ylabel="Place in the prediction, spreads", ylim=(-4, 4))
    reading = (
        "Each point is a reading; the dark band is where half of them, the light one where "
        f"{percent(INTERVAL)} were expected before the visit. Points above lie right or long."
    )
    return Chart("backtest", "Visits as predicted", found.sentence, reading, figure, table)
