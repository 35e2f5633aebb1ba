"""The published record of the tour beside one golfer, and the verdict on a change."""

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from putlab.green import published
from putlab.green.hole_out import hole_out
from putlab.model.readings import COMPONENTS
from putlab.pages import chart
from putlab.pages.chart import Chart
from putlab.rounds.reference import TourGolfer
from putlab.trial.compare import Comparison
from putlab.trial.conditions import label

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
