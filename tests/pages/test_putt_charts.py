"""Putts seen from above, the record, and a change: against other routes."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from demo_findings import findings, one

from putlab.base.settings import STIMP_FT
from putlab.green.published import table
from putlab.green.skill import Skill
from putlab.pages.putt_charts import change_chart, published_record_chart, ratio_table, ten_putts
from putlab.rounds.reference import tour_golfer


def dropped(distance_ft, right_ft, past_ft):
    """Tell whether a ball that would stop there drops: steps along its path, in metres."""
    path = np.hypot(right_ft, distance_ft + past_ft)
    line = np.arctan2(right_ft, distance_ft + past_ft)
    miss, along = abs(distance_ft * np.sin(line)), distance_ft * np.cos(line)
    radius = 4.25 / 24
    if miss >= radius or path < along - np.sqrt(radius**2 - miss**2):
        return False
    left_m = max(path - along, 0) * 0.3048
    slowing = 1.8288**2 / (2 * STIMP_FT * 0.3048)
    return np.sqrt(2 * slowing * left_m) <= 1.63 * (1 - (miss / radius) ** 2)


def test_ten_putts_hold_the_spread_and_bias_they_stand_for():
    skill = Skill.constant(1.2, 10.0, line_bias_deg=0.5, pace_bias_pct=-4.0)
    ten = ten_putts(skill, 20.0, 0.0)
    missed = ten[ten["end"] != "holed"]
    line = np.degrees(np.arctan2(missed["right_ft"], 20 + missed["past_ft"]))
    roll = np.hypot(missed["right_ft"], 20 + missed["past_ft"])
    assert len(ten) == 10
    assert len(missed) == 10
    assert line.mean() == pytest.approx(0.5, abs=1e-6)
    assert roll.mean() == pytest.approx(21 * 0.96, abs=1e-6)
    # Ten points at the 5, 15 ... 95 % marks of a normal scatter by 0.93 of its spread.
    assert line.std(ddof=0) == pytest.approx(1.2 * 0.9305, rel=0.01)


@pytest.mark.parametrize("distance_ft", [3.0, 8.0, 25.0])
def test_ten_putts_end_as_the_hole_and_the_distance_say(distance_ft):
    ten = ten_putts(Skill.constant(1.0, 9.0), distance_ft, 0.3)
    for ball in ten[ten["end"] != "holed"].itertuples():
        assert not dropped(distance_ft, ball.right_ft, ball.past_ft)
        assert (ball.end == "short") == (ball.past_ft < 0)


def test_ten_putts_drop_as_often_as_the_table_says(demo_log, demo_fit):
    for player in demo_fit.players:
        found = findings(demo_log, demo_fit, player)
        one_putt = found.estimates.set_index("distance_ft")["one_putt"]
        balls = one(found, "finish").table.groupby("distance_ft")["end"]
        for distance, holed in balls.agg(lambda end: (end == "holed").sum()).items():
            assert abs(holed - 10 * one_putt[distance]) <= 1


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


def test_words_of_putts_from_above_count_what_is_drawn(demo_log, demo_fit):
    chart = one(findings(demo_log, demo_fit, "birch"), "finish")
    for distance, balls in chart.table.groupby("distance_ft"):
        holed, short, past = ((balls["end"] == end).sum() for end in ("holed", "short", "past"))
        said = f"from {distance:g} ft {holed} drop, {short} stop short, {past} run past"
        assert said in chart.alt
        missed = balls[balls["end"] != "holed"]
        near = (missed["right_ft"] ** 2 + missed["past_ft"] ** 2 <= 9).sum()
        if len(missed):
            assert f"{said}; of the {len(missed)} that miss {near} within 3 ft" in chart.alt
