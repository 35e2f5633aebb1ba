"""The verdict on a change: ratios of spread, and the region too small to matter."""

import numpy as np
import pandas as pd
from matplotlib.ticker import FixedLocator, NullLocator, StrMethodFormatter

from putlab.charts.chart import COLOUR, GREY, INK, MARKER, Chart, drawing, legend_below

COMPONENTS = ("line", "pace")

# Ratios marked on the axis, those that fit.
TICKS = (0.25, 0.33, 0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.1, 1.25, 1.5, 2, 3, 4)

# With more lengths than this only the ratio over all of them is drawn; lengths are shown for
# the spread that the verdict is on.
MOST_LENGTHS = 10


def change_chart(found):
    """Draw by how much a change narrowed or widened the spread.

    Parameters
    ----------
    found : putlab.change.Comparison
        From `putlab.change.compare`.

    Returns
    -------
    Chart
        A row for all lengths together and one a length; its table holds the ratios.
    """
    table = ratio_table(found)
    with drawing(1.2 + 0.17 * len(table)) as (figure, axes):
        axis = axes[0, 0]
        small = 1 + np.array([-1, 1]) * found.region_pct / 100
        axis.axvspan(*small, facecolor="#E4E4E4", hatch="///", edgecolor=GREY, linewidth=0,
                     label=f"too small to matter (under {found.region_pct:g} %)")  # fmt: skip
        axis.axvline(1, color=INK, linewidth=0.8)
        place = np.arange(len(table))[::-1]
        for component in COMPONENTS:
            _marks(axis, place, table, component)
        axis.set_yticks(place, table["label"])
        axis.grid(False, axis="y")
        axis.set_xscale("log")
        axis.xaxis.set_major_locator(FixedLocator(TICKS))
        axis.xaxis.set_minor_locator(NullLocator())
        axis.xaxis.set_major_formatter(StrMethodFormatter("{x:g}"))
        axis.set_xlim(0.92 * table["lo"].min(), 1.08 * table["hi"].max())
        axis.set_xlabel("Ratio of spreads (under 1: narrower than before)")
        axis.set_title(f"Verdict: {found.verdict}")
        legend_below(figure, axis)
    return Chart(
        name="change", title="Did the change help?", alt=_alt(found, table), figure=figure,
        table=table, reading=_reading(found),
    )  # fmt: skip


def ratio_table(found):
    """Return the ratios of spread, over all lengths and at each.

    Parameters
    ----------
    found : putlab.change.Comparison
        The comparison.

    Returns
    -------
    pandas.DataFrame
        ``component, label, mean, lo, hi``.
    """
    rows = []
    for component in COMPONENTS:
        whole = getattr(found, f"{component}_sd_ratio")
        if whole is None:
            continue
        ends = {end: whole[end] for end in ("mean", "lo", "hi")}
        rows.append({"component": component, "label": f"{component}, all lengths"} | ends)
        if component != found.metric or len(found.by_distance) > MOST_LENGTHS:
            continue
        for length in found.by_distance.itertuples():
            ends = {
                e: getattr(length, f"{component}_sd_ratio_{e}") for e in ("mean", "lo", "hi")
            }
            if pd.notna(ends["mean"]):
                rows.append(
                    {"component": component, "label": f"{length.distance_ft:g} ft"} | ends
                )
    return pd.DataFrame(rows)


def _marks(axis, place, table, component):
    mine = (table["component"] == component).to_numpy()
    if not mine.any():
        return
    mean, low, high = (table.loc[mine, name].to_numpy(float) for name in ("mean", "lo", "hi"))
    whole = np.arange(mean.size) == 0
    for which, size, label in ((whole, 7, component), (~whole, 4, None)):
        axis.errorbar(
            mean[which], place[mine][which], xerr=[(mean - low)[which], (high - mean)[which]],
            linestyle="", color=COLOUR[component], marker=MARKER[component], markersize=size,
            elinewidth=2 if label else 1, label=label,
        )  # fmt: skip


def _reading(found):
    return (
        f"Spread with {found.arms.after or 'none'} as a ratio of that with "
        f"{found.arms.before or 'none'}, with 90 % intervals: under 1 is narrower. The verdict "
        f"is on {found.metric}; within the hatched band a change is too small to matter."
    )


def _alt(found, table):
    said = [
        f"{row.component} spread became {row.mean:.2f} times what it was ({row.lo:.2f} to "
        f"{row.hi:.2f})"
        for row in table[table["label"].str.endswith("all lengths")].itertuples()
    ]
    arms = found.arms
    return (
        f"{arms.after or 'none'} against {arms.before or 'none'}: {' and '.join(said)}; "
        f"verdict: {found.verdict}."
    )
