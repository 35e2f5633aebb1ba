"""Warnings: what looks wrong is said with its rows, and nothing is changed."""

import re

import numpy as np
import pandas as pd
import pytest
from logs import write_csv

from putlab.log.doubts import where
from putlab.log.read import read_log


@pytest.fixture
def rng():
    return np.random.default_rng(11)


def practice(rng, distances, putts, unit="ft"):
    """Return honest putts at some lengths, roll-outs within a tenth or so."""
    distance = rng.choice(distances, putts)
    roll = distance * (1 + rng.normal(0.03, 0.1, putts))
    return pd.DataFrame(
        {
            "session": "a",
            f"distance_{unit}": distance,
            f"roll_{unit}": roll.round(1),
            "line_deg": rng.normal(0, 1.5, putts).round(),
        }
    )


def doubted(tmp_path, frame):
    frame.to_csv(tmp_path / "a.csv", index=False)
    return read_log(tmp_path / "a.csv")


@pytest.mark.parametrize(
    ("distances", "unit"),
    [
        ([3, 6, 10, 15, 20, 36], "ft"),
        ([11, 36], "ft"),
        ([1, 2, 3, 4, 6, 10], "m"),
        ([0.91, 1.83, 3.05, 11], "m"),
    ],
)
def test_an_honest_log_raises_no_doubt(tmp_path, rng, distances, unit):
    assert doubted(tmp_path, practice(rng, distances, 400, unit)).warnings == []


def test_feet_among_metres_are_named_by_row(tmp_path, rng):
    # 12 ft is 3.66 m; written 12 among metres it makes a putt of 39 ft.
    frame = practice(rng, [0.91, 1.83, 3.66], 60, "m").drop(columns="roll_m")
    frame.loc[frame.index[[5, 9]], "distance_m"] = 12.0
    log = doubted(tmp_path, frame)
    assert any(
        "distance_m 12 (a.csv rows 7, 11) looks like 12 ft" in warning for warning in log.warnings
    )
    assert (log.putts["distance_ft"] > 39).sum() == 2


def test_metres_among_feet_are_named_by_row(tmp_path, rng):
    frame = practice(rng, [3, 6, 12], 60).drop(columns="roll_ft").astype({"distance_ft": float})
    frame.loc[7, "distance_ft"] = 3.66
    (warning,) = doubted(tmp_path, frame).warnings
    assert "distance_ft 3.66 (a.csv row 9) looks like 3.66 m, which is the 12 ft" in warning


def test_what_a_miss_left_is_no_length_in_another_unit(tmp_path, rng):
    """A second putt of 4.3 ft among first putts of 14 ft (4.27 m): where the ball stopped."""
    frame = practice(rng, [6.0, 14, 24], 60)
    frame = frame.assign(holed=False, hole_no=frame.index, putt_no=1)
    frame.loc[[7, 9], ["distance_ft", "roll_ft"]] = 4.3
    assert "looks like 4.3 m" in doubted(tmp_path, frame).warnings[0]
    frame.loc[[7, 9], "putt_no"] = 2
    assert doubted(tmp_path, frame).warnings == []


def test_a_roll_in_the_other_unit_is_named(tmp_path, rng):
    frame = practice(rng, [6, 12], 60)
    frame.loc[3, "roll_ft"] = round(frame.loc[3, "distance_ft"] * 0.3048, 1)
    (warning,) = doubted(tmp_path, frame).warnings
    assert "0.3 of the distance in 2% of the putts with one (a.csv row 5)" in warning


def test_a_whole_column_in_the_other_unit_is_named(tmp_path, rng):
    frame = practice(rng, [6, 12], 60)
    (warning,) = doubted(tmp_path, frame.assign(distance_ft=frame["distance_ft"] * 0.3048)).warnings
    assert re.search(r"3\.3 times the distance in 9\d% of the putts", warning)


def test_measured_lengths_raise_no_doubt_by_chance(tmp_path, rng):
    frame = practice(rng, [10], 300).drop(columns="roll_ft")
    distance = rng.uniform(2, 60, 300).round(1)
    assert doubted(tmp_path, frame.assign(distance_ft=distance)).warnings == []


def test_names_that_differ_in_case_or_space_are_asked_about(tmp_path):
    path = write_csv(tmp_path / "a.csv", {"player": "Ash  Tree"}, {"player": "ash tree"}, {})
    (warning,) = read_log(path).warnings
    assert warning.startswith("player labels 'Ash  Tree', 'ash tree' are kept apart")


def test_a_time_stamp_a_putt_is_asked_about(tmp_path):
    rows = [{"session": f"2025-03-14 18:{n:02d}"} for n in range(12)]
    (warning,) = read_log(write_csv(tmp_path / "a.csv", *rows)).warnings
    assert "most of the 12 sessions hold one putt each" in warning


def test_a_pile_at_the_largest_reading_is_suspected_not_assumed(tmp_path, rng):
    frame = practice(rng, [10, 30], 300)
    log = doubted(tmp_path, frame.assign(roll_ft=frame["roll_ft"].clip(upper=33)))
    (warning,) = log.warnings
    assert "readings of roll_ft are exactly 33, the largest" in warning
    assert log.rules.roll_limit_ft is None


def test_readings_beyond_a_declared_limit_are_named(tmp_path, rng):
    frame = practice(rng, [10], 50).assign(roll_ft=10.0)
    frame.loc[4, "roll_ft"] = 12.5
    frame.to_csv(tmp_path / "a.csv", index=False)
    log = read_log(tmp_path / "a.csv", rules={"roll_limit_ft": 12.0})
    assert "beyond the declared roll_limit_ft of 12 (a.csv row 6)" in log.warnings[0]


def test_a_repeated_number_with_other_readings_is_asked_about(tmp_path):
    path = write_csv(tmp_path / "a.csv", {}, {"line_deg": "2"}, putt=["1", "1"])
    log = read_log(path)
    assert len(log.putts) == 2
    assert "putt numbers repeat within a session" in log.warnings[0]


def test_rows_are_named_shortly():
    rows = pd.DataFrame({"file": ["a"] * 3 + ["b"] * 5, "row": range(2, 10)})
    assert where(rows) == "a rows 2, 3, 4; b rows 5, 6 and more, 8 in all"
    assert where(pd.DataFrame({"count": [2, 3]})) == "5 putts"
