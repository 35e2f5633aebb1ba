"""Spread by length: the numbers drawn against other routes."""

import numpy as np
import pandas as pd
import pytest
from demo_findings import findings

from putlab.pages import charts


def test_visit_spreads_are_the_plain_spread_of_the_readings(demo_log):
    table = charts.visit_spreads(demo_log, "rowan").set_index(["session", "distance_ft"])
    putts = demo_log.putts
    rows = putts[
        (putts["player"] == "rowan") & (putts["session"] == "2025-12-02")
        & (putts["distance_ft"] == 10) & (putts["drill"] == "both")
    ]  # fmt: skip
    counted = putts[
        (putts["player"] == "rowan") & (putts["session"] == "2025-12-02")
        & (putts["distance_ft"] == 10) & (putts["putt_no"] == 1)
    ]  # fmt: skip
    line = pd.concat([rows["line_deg"], counted["line_deg"]]).dropna()
    roll = pd.concat([rows["roll_ft"] / 10, counted["roll_ft"] / 11]).dropna()
    row = table.loc[("2025-12-02", 10.0)]
    assert row["line_sd_deg"] == pytest.approx(np.std(line, ddof=1))
    assert row["pace_sd_pct"] == pytest.approx(100 * np.std(roll, ddof=1))


def test_words_of_spread_give_the_numbers_drawn(demo_log, demo_fit):
    found = findings(demo_log, demo_fit, "birch")
    widest = found.estimates.loc[found.estimates["line_sd_deg"].idxmax()]
    said = f"most at {widest['distance_ft']:g}\u00a0ft ({widest['line_sd_deg']:.2f}°, "
    assert said in charts.spread_chart(found.estimates).alt
