"""The priors and the published record as they are drawn, against other routes."""

import numpy as np
import pytest

from putlab.green.published import table
from putlab.model.priors import PRIORS
from putlab.pages.model_charts import prior_chart, published_record_chart
from putlab.rounds.reference import tour_golfer


def test_priors_are_drawn_with_the_medians_they_state():
    chart = prior_chart()
    middle = chart.table[chart.table["distance_ft"] == 10].set_index("component")
    for component, prior in PRIORS.items():
        sd = np.hypot(prior.sd_log_sd, 1.2 * prior.between_median)
        assert middle.loc[component, "median"] == pytest.approx(prior.sd_median, rel=0.05)
        # A log-normal's 95 % point lies 1.645 of its log sd above the median.
        assert middle.loc[component, "hi"] == pytest.approx(
            prior.sd_median * np.exp(1.645 * sd), rel=0.15
        )


def test_the_record_drawn_is_the_published_one():
    golfer = tour_golfer()
    chart = published_record_chart(golfer)
    rates = chart.figure.axes[0].lines[0]
    frame = table("putts_made_broadie_2018").frame
    row = frame[frame["distance_ft"].between(9, 11)].iloc[0]
    at = list(rates.get_xdata()).index(row["distance_ft"])
    assert rates.get_ydata()[at] == pytest.approx(row["made"] / row["tries"])
    # Broadie (2014): tour professionals hole one putt in two from 8 ft.
    curve = chart.table
    half = np.interp(0.5, -curve["one_putt"] + 1, curve["distance_ft"])
    assert half == pytest.approx(8, abs=0.3)
