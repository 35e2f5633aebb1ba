"""Warnings are said with their rows and change nothing; sessions are dated and in order."""

import datetime
import re

import numpy as np
import pandas as pd
import pytest
from logs import write_csv

from putlab.log.checks import _rolled_past, dated, in_order, ranks, where
from putlab.log.read import read_log
from putlab.log.rules import ReadingRules
from putlab.log.schema import COLUMN


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


def test_a_length_of_next_to_nothing_is_refused_and_compared_with_no_other(tmp_path):
    rows = [{"distance_ft": length} for length in ("0.0000001", "0", "3", "3", "10", "0.1")]
    log = read_log(write_csv(tmp_path / "a.csv", *rows))
    assert log.rejects["row"].tolist() == [2, 3]
    assert log.warnings == []


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


def names(*labels):
    found, _ = dated(list(labels))
    return [found[label] for label in labels]


def test_iso_dates_and_labels_stay():
    for labels in (["2025-03-14", "2025-03-15"], ["week 1", "2025-03-14"], ["1", "2"]):
        assert dated(labels) == ({label: label for label in labels}, [])


def test_midnight_is_taken_off_a_date():
    assert names("2025-03-14 00:00:00", "2025-03-15T00:00") == ["2025-03-14", "2025-03-15"]


def test_days_counted_by_a_spreadsheet():
    # Day 45730 of the 1900 date system, worked from 25569 being 1970-01-01.
    day = datetime.date(1970, 1, 1) + datetime.timedelta(days=45730 - 25569)
    assert names("45730", "45731")[0] == day.isoformat() == "2025-03-14"


def test_digits_without_marks():
    found, warnings = dated(["20250314", "20250401"])
    assert list(found.values()) == ["2025-03-14", "2025-04-01"]
    assert warnings == ["sessions were read as dates: 20250314 is 2025-03-14."]


def test_files_that_write_dates_each_in_their_way_agree():
    labels = ["2025-03-14", "20250321", "2025/3/28", "2025.4.4", "45761", "18/04/2025"]
    days = ["2025-03-14", "2025-03-21", "2025-03-28", "2025-04-04", "2025-04-14", "2025-04-18"]
    assert names(*labels) == days
    assert names(*labels, "holiday")[1:] == [*labels[1:], "holiday"]


@pytest.mark.parametrize(
    ("labels", "dates"),
    [
        (["14/03/2025", "1/4/2025"], ["2025-03-14", "2025-04-01"]),
        (["3/14/2025", "4/1/2025"], ["2025-03-14", "2025-04-01"]),
        (["14.03.25", "01.04.25"], ["2025-03-14", "2025-04-01"]),
    ],
)
def test_local_dates_are_read_where_one_day_is_beyond_twelve(labels, dates):
    assert names(*labels) == dates


def test_local_dates_that_could_be_either_stay_labels():
    found, warnings = dated(["3/4/2025", "5/6/2025"])
    assert list(found) == list(found.values())
    assert "day and month cannot be told apart" in warnings[0]


def test_dates_that_do_not_exist_stay_labels():
    assert names("2025-02-30", "x") == ["2025-02-30", "x"]
    assert names("99999999", "20251301") == ["99999999", "20251301"]
    assert names("31/31/2025", "30/30/2025") == ["31/31/2025", "30/30/2025"]
    assert names("2025-02-30") == ["2025-02-30"]


def test_sessions_go_by_date_only_where_all_are_dates():
    assert ranks(pd.Series(["2025-03-14", "2025-01-01"])) == {"2025-01-01": 0, "2025-03-14": 1}
    assert ranks(pd.Series(["2025-03-14 18:00", "2025-03-14"]))["2025-03-14"] == 0
    assert ranks(pd.Series(["b", "a", "2025-03-14"])) == {"b": 0, "a": 1, "2025-03-14": 2}


def test_rows_go_by_session_then_putt(tmp_path):
    log = read_log(
        write_csv(
            tmp_path / "a.csv",
            {"session": "2025-03-15", "line_deg": "1"},
            {"session": "2025-03-14", "line_deg": "2"},
            {"session": "2025-03-14", "line_deg": "3"},
            putt=["1", "2", "1"],
        )
    )
    assert log.putts["line_deg"].tolist() == [3.0, 2.0, 1.0]
    assert log.putts["putt"].tolist() == [1.0, 2.0, 1.0]


def test_without_numbers_putts_go_by_row_within_player_and_session(tmp_path):
    log = read_log(
        write_csv(tmp_path / "a.csv", {}, {"player": "elm"}, {}, {"session": "2025-01-01"})
    )
    assert log.putts["row"].tolist() == [5, 2, 3, 4]
    assert log.putts["putt"].tolist() == [1.0, 1.0, 1.0, 2.0]


def test_a_session_numbered_in_part_goes_by_row(tmp_path):
    log = read_log(write_csv(tmp_path / "a.csv", {}, {}, {}, putt=["9", "", "1"]))
    assert log.putts["putt"].tolist() == [1.0, 2.0, 3.0]
    assert log.putts["row"].tolist() == [2, 3, 4]
    assert "putt is blank in parts of 1 sessions" in log.warnings[0]


def test_no_rows_have_an_order_too():
    empty = pd.DataFrame({name: [] for name in COLUMN}, dtype=object)
    assert len(in_order(empty.astype({"putt": float}))[0]) == 0


def test_numbered_visits_sort_as_people_count_and_other_labels_as_found():
    assert list(ranks(pd.Series(["visit 10", "visit 2", "visit 1"]))) == [
        "visit 1",
        "visit 2",
        "visit 10",
    ]
    unclear = ["05/04/2025", "01/05/2025"]
    assert list(ranks(pd.Series(unclear))) == unclear


def test_visits_that_no_date_orders_are_said_to_be_in_the_order_of_the_log(tmp_path):
    rows = [{"session": name} for name in ("spring", "autumn", "late")]
    (line,) = read_log(write_csv(tmp_path / "a.csv", *rows)).assumed
    assert line.startswith(
        "The 3 visits were struck in the order in which the log has them: spring,"
    )
    for names in (["visit 2", "visit 10"], ["2025-03-14", "2025-03-13"], ["a", "a"]):
        rows = [{"session": name} for name in names]
        assert read_log(write_csv(tmp_path / "a.csv", *rows)).assumed == []


@pytest.mark.parametrize(
    ("name", "doubt"),
    [
        ("2025-03-21", True),
        ("21.3.2025", True),
        ("3-4-2025", True),
        ("2025-03-14", False),
        ("14.3.25", False),
        ("winter", False),
    ],
)
def test_a_file_named_for_another_day_is_asked_about(tmp_path, name, doubt):
    warnings = read_log(write_csv(tmp_path / f"{name}.csv", {}, {"line_deg": "2"})).warnings
    assert [w for w in warnings if "which day is right?" in w] == warnings
    assert len(warnings) == doubt


def test_a_file_of_several_visits_is_named_as_it_likes(tmp_path):
    path = write_csv(tmp_path / "2025-04-01.csv", {}, {"session": "2025-03-21"})
    assert read_log(path).warnings == []


def rolled(rng, past, unit="ft", spread=0.08):
    """Return honest putts at four lengths that end a little past the mark."""
    length = np.repeat([3.0, 6, 12, 24], 15) * (0.3048 if unit == "m" else 1)
    roll = (length + past) * (1 + rng.normal(0, spread, 60))
    frame = {"session": "a", f"distance_{unit}": length.round(2), f"roll_{unit}": roll.round(2)}
    return pd.DataFrame(frame)


@pytest.mark.parametrize(("unit", "past"), [("ft", 1.0), ("m", 0.4)])
def test_a_constant_length_past_the_mark_is_asked_about(tmp_path, rng, unit, past):
    *_, warning = doubted(tmp_path, rolled(rng, past, unit)).warnings
    found = re.search(rf"balls end about (.*) {unit} past the mark", warning)[1]
    assert float(found) == pytest.approx(past, rel=0.15)
    assert f"`putlab import LOG --declare aim_past_{unit}={float(found):g}`" in warning
    declared = read_log(tmp_path / "a.csv", rules={f"aim_past_{unit}": past})
    assert declared.warnings == []


def test_a_rule_to_declare_is_written_as_people_write_it(tmp_path, rng):
    warnings = " ".join(doubted(tmp_path, rolled(rng, 12.0)).warnings)
    assert re.search(r"aim_past_ft=1[0-4](\.\d)?`", warnings)


def test_balls_struck_too_hard_in_proportion_or_to_a_hole_are_not(tmp_path, rng):
    frame = rolled(rng, 0.0)
    assert doubted(tmp_path, frame.assign(roll_ft=1.15 * frame["roll_ft"])).warnings == []
    assert doubted(tmp_path, rolled(rng, 1.0).assign(holed=False)).warnings == []


def test_a_constant_length_past_the_mark_is_seldom_suspected_by_chance(rng):
    """Of logs of balls struck to the mark or 10 % too hard, at most one in fifty is."""
    asked = 0
    for number in range(100):
        rows = rolled(rng, 0.0).assign(player="a", holed=pd.NA, putt_no=np.nan, aim_past_ft=np.nan)
        hard = rows.assign(roll_ft=rows["roll_ft"] * (1.1 if number % 2 else 1.0))
        asked += len(list(_rolled_past(hard.assign(distance_in_m=False), ReadingRules(), {})))
    assert asked <= 2


def test_a_visit_that_lost_every_row_is_said_first(tmp_path):
    good, bad = {"session": "visit 1"}, {"session": "visit 2", "distance_ft": "six", "player": "b"}
    log = read_log(write_csv(tmp_path / "a.csv", good, bad, bad, weather=["dry"] * 3))
    assert log.lost == log.warnings[:1]
    assert log.lost[0].startswith(
        "Visit visit 2 is lost: none of its 2 rows can be used. First: a.csv, row 3, column "
        "distance_ft: got 'six'; not a plain number"
    )
    log = read_log(write_csv(tmp_path / "a.csv", good, bad, bad | {"distance_ft": "6"}))
    assert log.warnings == []
