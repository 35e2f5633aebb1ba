"""Golfers and first visits as the priors expect them, by the moments of their story."""

from dataclasses import replace

import numpy as np
import pytest

from putlab.model.priors import PRIORS
from putlab.pages.prior_charts import first_visit_chart, prior_chart, prior_readings


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


def test_first_visits_scatter_as_the_parts_of_their_story_add_up():
    """Spread of all readings by the law of total variance, with moments of log-normals."""
    prior = PRIORS["line"]

    def square(median, log_sd):
        # E[X^2] of a log-normal (any statistics text).
        return median**2 * np.exp(2 * log_sd**2)

    quiet = replace(prior, between_median=1e-6, spot_median=1e-6, visit_form_median=1e-6)
    share = 0.2 * quiet.mishit_a / (quiet.mishit_a + quiet.mishit_b)
    within = square(quiet.sd_median, quiet.sd_log_sd) * (1 - share + 16 * share)
    middle = quiet.bias_sd**2 + sum(
        square(getattr(quiet, f"{name}_median"), getattr(quiet, f"{name}_log_sd"))
        for name in ("bias_spot", "visit_bias")
    )
    drawn = prior_readings(quiet)
    assert drawn.std() == pytest.approx(np.sqrt(within + middle), rel=0.05)
    # Ten putts share their golfer's middle: two of them correlate by its part of the whole.
    shared = np.corrcoef(drawn[:, 0], drawn[:, 1])[0, 1]
    assert shared == pytest.approx(middle / (within + middle), abs=0.08)


def test_first_visits_are_told_in_words_with_the_ends_they_have():
    chart = first_visit_chart()
    ends = chart.table.set_index("component").loc["line", ["lo", "hi"]]
    assert f"within {ends.abs().max():.1f}° of the line" in chart.alt
    assert all(len(axis.lines[0].get_xdata()) == 120 for axis in chart.figure.axes)
