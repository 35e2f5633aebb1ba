"""The published record, and a change: against other routes."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from putlab.green.published import table
from putlab.pages.putt_charts import change_chart, published_record_chart, ratio_table
from putlab.rounds.reference import tour_golfer


def comparison(**changes):
    ratio = {"mean": 0.8, "lo": 0.7, "hi": 0.9, "p_improved": 0.99}
    by_distance = pd.DataFrame(
        {
            "distance_ft": [5.0, 10.0],
            **{f"line_sd_ratio_{e}": [0.7, 0.9] for e in ("mean", "lo", "hi")},
        }
    )
    base = {
        "line_sd_ratio": ratio, "pace_sd_ratio": None, "by_distance": by_distance,
        "metric": "line", "too_small_pct": 5.0, "verdict": "helped",
        "conditions": SimpleNamespace(before="", after="new $grip"),
    }  # fmt: skip
    return SimpleNamespace(**base | changes)


def test_the_change_is_drawn_overall_and_by_length():
    found = comparison()
    assert list(ratio_table(found)["label"]) == ["line, all lengths", "5 ft", "10 ft"]
    chart = change_chart(found)
    assert "new $grip against none: line spread became 0.80 times" in chart.alt
    assert "Verdict: helped" in chart.svg()


def test_many_lengths_are_left_to_the_overall_ratio():
    rows = pd.DataFrame({"distance_ft": np.arange(1.0, 13.0)})
    rows = rows.assign(**{f"line_sd_ratio_{end}": 0.9 for end in ("mean", "lo", "hi")})
    assert len(ratio_table(comparison(by_distance=rows))) == 1


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
