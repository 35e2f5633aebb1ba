"""The published record of the tour, and one golfer who putts as it says."""

import numpy as np
import pandas as pd

from putlab.charts.chart import BLUE, VERMILION, Chart, drawing, legend_below
from putlab.holeout import hole_out
from putlab.published import table

FIRST_FT, LAST_FT = 2.0, 60.0


def record_chart(golfer):
    """Draw the tour's made rates and average putts, published and computed.

    Parameters
    ----------
    golfer : putlab.tour.TourGolfer
        From `putlab.tour.tour_golfer`.

    Returns
    -------
    Chart
        Two panels; its table is the computed curves.
    """
    made = table("putts_made_broadie_2018").frame
    average = table("tour_average_putts").frame
    lengths = np.geomspace(FIRST_FT, LAST_FT, 60)
    out = hole_out(golfer.skill, lengths, stimp_ft=golfer.stimp_ft, past_ft=golfer.past_ft)
    curves = pd.DataFrame(
        {
            "distance_ft": lengths,
            "one_putt": out.one_putt[0],
            "average_putts": out.average_putts[0],
        }
    )
    with drawing(2.6, columns=2) as (figure, axes):
        rate = made["made"] / made["tries"]
        _panel(axes[0, 0], made["distance_ft"], rate, curves, "one_putt", "Share holed")
        _panel(
            axes[0, 1], average["distance_ft"], average["average_putts"], curves,
            "average_putts", "Average putts",
        )  # fmt: skip
        legend_below(figure, axes[0, 0])
    worst = golfer.average_putts_off.abs()
    return Chart(
        name="record",
        title="The published record and one golfer",
        alt=f"One golfer of {golfer.line_sd_deg:.2f}° line and {golfer.pace_sd_pct:.1f} % pace "
        f"spread against the tour's record: average putts are off by at most {worst.max():.3f} "
        f"(at {worst.idxmax():g} ft).",
        reading="Dots: published. Line: computed for one golfer whose line and pace spread are "
        "the same at all lengths.",
        figure=figure,
        table=curves,
    )


def _panel(axis, distance_ft, published, curves, name, title):
    shown = distance_ft.between(FIRST_FT, LAST_FT)
    axis.plot(
        distance_ft[shown], published[shown], "o", color=VERMILION, markersize=3.5,
        fillstyle="none", label="published",
    )  # fmt: skip
    axis.plot(curves["distance_ft"], curves[name], "-", color=BLUE, label="computed")
    axis.set_xlabel("Length, feet")
    axis.set_title(title)
