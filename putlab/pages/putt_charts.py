"""Putts seen from above, the published record, and the verdict on a change."""

from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Circle
from matplotlib.ticker import MultipleLocator
from scipy.special import ndtri

from putlab.base.settings import PAST_FT, SEED, STIMP_FT
from putlab.green import published
from putlab.green.flat import past_limit_ft, rim_ft
from putlab.green.hole_out import hole_out
from putlab.green.published import HOLE_RADIUS_FT
from putlab.green.skill import Skill
from putlab.model.readings import COMPONENTS
from putlab.pages import chart
from putlab.pages.chart import Chart
from putlab.posterior.player import Golfer
from putlab.rounds.reference import TourGolfer
from putlab.trial.compare import Comparison
from putlab.trial.conditions import label

# Where ten typical putts finish, seen from above, to scale with the hole.

TEN = 10

# A missed putt should rest within three feet of the hole (common practice).
CLOSE_FT = 3.0

# More marks than this on one side of a small panel would run into each other.
MOST_STEPS = 7

# Pairings of line with pace that are tried for one that holes as many as expected.
PAIRINGS = 400

END_LOOK: dict[str, Any] = {
    "short": {"marker": "v", "color": chart.VERMILION, "label": "stopped short"},
    "past": {"marker": "^", "color": chart.BLUE, "label": "went past"},
}


def ten_putts(skill: Skill, distance_ft: float, one_putt: float) -> pd.DataFrame:
    """Return ten putts that stand for a golfer's whole spread at one length.

    Directions and paces lie evenly over the spread (the mean over draws), at its 5, 15, ...
    95 % points, paired at random; of many pairings one is kept that holes as many of ten as
    the golfer's chance ``one_putt`` says. Columns ``right_ft, past_ft, end``: where each ball
    stops, from the hole's centre, and whether that is ``holed`` (in it), ``short`` or ``past``.
    """
    here = skill.at([distance_ft])
    z = ndtri((np.arange(TEN) + 0.5) / TEN)
    line = np.radians(here.line_bias_deg.mean() + here.line_sd_deg.mean() * z)
    pace = 1 + (here.pace_bias_pct.mean() + here.pace_sd_pct.mean() * z) / 100
    roll = np.maximum((distance_ft + PAST_FT) * pace, 0)
    rng = np.random.default_rng([SEED, round(100 * distance_ft)])
    orders = rng.permuted(np.tile(np.arange(TEN), (PAIRINGS, 1)), axis=1)
    drops = _drops(distance_ft, line, roll[orders])
    # Among pairings that hole as many as expected: the least connection of line and pace.
    lean = np.abs(z[orders] @ z)
    best = np.lexsort((lean, np.abs(drops.sum(axis=1) - TEN * one_putt).round()))[0]
    holed, roll = drops[best], roll[orders[best]]
    right, past = roll * np.sin(line), roll * np.cos(line) - distance_ft
    end = np.where(holed, "holed", np.where(past < 0, "short", "past"))
    places = {"right_ft": np.where(holed, 0, right), "past_ft": np.where(holed, 0, past)}
    return pd.DataFrame(places | {"end": end})


def _drops(distance_ft: float, line_rad: np.ndarray, roll_ft: np.ndarray) -> np.ndarray:
    # Which balls drop (Holmes 1991, Penner 2002; see `putlab.green.flat`).
    offset = np.abs(distance_ft * np.sin(line_rad))
    along = distance_ft * np.cos(line_rad)
    inside = (offset < HOLE_RADIUS_FT) & (along > 0)
    at = np.minimum(offset, HOLE_RADIUS_FT)
    beyond = roll_ft - along
    return inside & (beyond >= -rim_ft(at)) & (beyond <= past_limit_ft(at, STIMP_FT))


def where_putts_end(
    golfer: Golfer, estimates: pd.DataFrame, distances_ft: Iterable[float]
) -> Chart:
    """Draw where ten typical putts finish, from each of a few lengths.

    Parameters
    ----------
    golfer : putlab.posterior.player.Golfer
        One player's posterior.
    estimates : pandas.DataFrame
        The player's rows of `putlab.rounds.estimate.estimate`.
    distances_ft : iterable of float
        Lengths to show, each a row of the estimates.

    Returns
    -------
    Chart
        A panel a length, on one scale; its table holds every ball.
    """
    one_putt = estimates.set_index("distance_ft")["one_putt"]
    skill = golfer.skill(estimates["distance_ft"].to_numpy(), new_day=True)
    tables = [
        ten_putts(skill, length, one_putt[length]).assign(distance_ft=length)
        for length in distances_ft
    ]
    every = pd.concat(tables, ignore_index=True)
    shared = {"sharex": True, "sharey": True}
    with chart.drawing(2.85, columns=len(tables), legend=2, **shared) as (figure, axes):
        for axis, table in zip(axes, tables, strict=True):
            _seen_from_above(axis, table)
        across = max(CLOSE_FT, every["right_ft"].abs().max()) + 0.4
        low = min(-CLOSE_FT, every["past_ft"].min()) - 0.4
        high = max(CLOSE_FT, every["past_ft"].max()) + 0.4
        axes[0].set(xlim=(-across, across), ylim=(low, high), ylabel="feet past the hole (− short)")
        # Feet between marks: as far as the circle reaches, or a multiple of it.
        step = CLOSE_FT * max(1, np.ceil((high - low) / (MOST_STEPS * CLOSE_FT)))
        for axis in (axes[0].xaxis, axes[0].yaxis):
            axis.set_major_locator(MultipleLocator(step))
        axes[len(tables) // 2].set_xlabel("feet right of the hole (− left)")
    reading = (
        "Seen from above, the putt coming from below; the hole is drawn to scale. Ten putts "
        "that stand for the whole spread; those that drop are in the hole."
    )
    alt = _ends_alt(golfer.player, every)
    return Chart("finish", "Where ten typical putts finish", alt, reading, figure, every)


def _seen_from_above(axis: Axes, table: pd.DataFrame) -> None:
    axis.set_aspect("equal")
    turn = np.linspace(0, 2 * np.pi, 100)
    axis.plot(
        CLOSE_FT * np.cos(turn), CLOSE_FT * np.sin(turn), ":", color=chart.GREY,
        label=f"{CLOSE_FT:g} ft from the hole",
    )  # fmt: skip
    axis.add_patch(Circle((0, 0), HOLE_RADIUS_FT, color=chart.INK))
    axis.plot([], [], "o", color=chart.INK, markersize=4, label="hole, to scale")
    for end, look in END_LOOK.items():
        balls = table[table["end"] == end]
        axis.plot(balls["right_ft"], balls["past_ft"], linestyle="", markersize=4.5, **look)
    holed = int((table["end"] == "holed").sum())
    title = f"{table['distance_ft'].iloc[0]:g} ft\n{holed} of {TEN} in"
    axis.set_title(title, fontsize=8.5, loc="center")


def _ends_alt(player: str, every: pd.DataFrame) -> str:
    said = []
    for distance, balls in every.groupby("distance_ft"):
        holed, short, past = ((balls["end"] == end).sum() for end in ("holed", "short", "past"))
        close = np.hypot(balls["right_ft"], balls["past_ft"]) <= CLOSE_FT
        near = f"; of the {short + past} that miss {close.sum() - holed} within {CLOSE_FT:g} ft"
        ends = f"from {distance:g} ft {holed} drop, {short} stop short, {past} run past"
        said.append(ends + (near if holed < TEN else ""))
    whole = f"Ten typical putts of {player} seen from above, to scale with the hole: "
    return whole + ". ".join(said) + "."


# The published record of the tour, and one golfer who putts as it says.


FIRST_FT, LAST_FT = 2.0, 60.0


def published_record_chart(golfer: TourGolfer) -> Chart:
    """Draw the tour's made rates and average putts, published and computed.

    Parameters
    ----------
    golfer : putlab.rounds.reference.TourGolfer
        From `putlab.rounds.reference.tour_golfer`.

    Returns
    -------
    Chart
        Two panels; its table is the computed curves.
    """
    made = published.table("putts_made_broadie_2018").frame
    shown = {
        "one_putt": ("Share holed", made.assign(one_putt=made["made"] / made["tries"])),
        "average_putts": ("Average putts", published.table("tour_average_putts").frame),
    }
    lengths = np.geomspace(FIRST_FT, LAST_FT, 60)
    out = hole_out(golfer.skill, lengths, stimp_ft=golfer.stimp_ft, past_ft=golfer.past_ft)
    curves = pd.DataFrame({"distance_ft": lengths} | {n: getattr(out, n)[0] for n in shown})
    with chart.drawing(2.6, columns=2) as (figure, axes):
        for axis, (name, (title, record)) in zip(axes, shown.items(), strict=True):
            record = record[record["distance_ft"].between(FIRST_FT, LAST_FT)]
            axis.plot(
                record["distance_ft"], record[name], "o", color=chart.VERMILION, markersize=3.5,
                fillstyle="none", label="published",
            )  # fmt: skip
            axis.plot(lengths, curves[name], "-", color=chart.BLUE, label="computed")
            axis.set(xlabel="Length, feet", title=title)
    worst = golfer.average_putts_off.abs()
    alt = (
        f"One golfer of {golfer.line_sd_deg:.2f}° line and {golfer.pace_sd_pct:.1f} % pace spread "
        f"against the tour's record: average putts are off by at most {worst.max():.3f} (at "
        f"{worst.idxmax():g} ft)."
    )
    reading = (
        "Dots: published. Line: computed for one golfer whose line and pace spread are the same "
        "at all lengths."
    )
    title = "The published record and one golfer"
    return Chart("published-record", title, alt, reading, figure, curves)


# The verdict on a change: ratios of spread, and the region too small to matter.


# Ratios marked on the axis, those that fit.
TICKS = (0.25, 0.33, 0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.1, 1.25, 1.5, 2, 3, 4)

# With more lengths than this only the ratio over all of them is drawn; lengths are shown for
# the spread that the verdict is on.
MOST_LENGTHS = 10


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
        axis.axvspan(*small, facecolor="#E4E4E4", hatch="///", edgecolor=chart.GREY, linewidth=0,
                     label=f"too small to matter (under {found.too_small_pct:g} %)")  # fmt: skip
        axis.axvline(1, color=chart.INK, linewidth=0.8)
        for component, rows in table.groupby("component", sort=False):
            _ratio_marks(axis, component, rows[:1], markersize=7, elinewidth=2, label=component)
            _ratio_marks(axis, component, rows[1:], markersize=4, elinewidth=1)
        axis.set_yticks(-table.index, table["label"])
        axis.grid(False, axis="y")
        axis.set_xscale("log")
        axis.set_xticks(TICKS, [f"{ratio:g}" for ratio in TICKS])
        axis.minorticks_off()
        axis.set(
            xlim=(0.92 * table["lo"].min(), 1.08 * table["hi"].max()),
            xlabel="Ratio of spreads (under 1: narrower than before)",
            title=f"Verdict: {found.verdict}",
        )
    before, after = label(found.conditions.before), label(found.conditions.after)
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


def ratio_table(found: Comparison) -> pd.DataFrame:
    """Return the ratios of spread, all lengths and each: ``component, label, mean, lo, hi``."""
    rows, ends = [], ("mean", "lo", "hi")
    for component in COMPONENTS:
        name = f"{component}_sd_ratio"
        if whole := getattr(found, name):
            rows.append([component, f"{component}, all lengths", *(whole[end] for end in ends)])
        if component == found.metric and len(found.by_distance) <= MOST_LENGTHS:
            columns = ["distance_ft", *(f"{name}_{end}" for end in ends)]
            for length, *values in found.by_distance[columns].dropna().itertuples(index=False):
                rows.append([component, f"{length:g} ft", *values])
    return pd.DataFrame(rows, columns=["component", "label", *ends])


def _ratio_marks(axis: Axes, component: str, rows: pd.DataFrame, **look: Any) -> None:
    reach = [rows["mean"] - rows["lo"], rows["hi"] - rows["mean"]]
    look |= {"linestyle": ""} | chart.LOOK[component]
    axis.errorbar(rows["mean"], -rows.index, xerr=reach, **look)
