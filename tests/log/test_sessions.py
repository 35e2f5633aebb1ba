"""Sessions: dates as people and spreadsheets write them, and the order of putts."""

import datetime

import pandas as pd
import pytest
from logs import write_csv

from putlab.log.doubts import dated, in_order, ranks
from putlab.log.read import read_log


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
    empty = pd.DataFrame({"player": [], "session": [], "putt": []}, dtype=object)
    assert len(in_order(empty.astype({"putt": float}))[0]) == 0
