"""The log as a whole: players, duplicates, rules, pseudonyms, and that no row is lost."""

import pandas as pd
import pytest
from logs import reasons, table, write_csv
from made_logs import simulated_log
from written_logs import write_log

from putlab.base.errors import LogError, UsageError
from putlab.base.settings import shipped
from putlab.log.read import demo_log, read_log
from putlab.log.rules import DECLARED, READ_OFF
from putlab.log.schema import COLUMNS


def test_a_log_has_every_column_and_the_stated_types(tmp_path):
    putts = read_log(write_csv(tmp_path / "a.csv", {})).putts
    assert list(putts) == [column.name for column in COLUMNS] + ["file", "row"]
    for column in COLUMNS:
        expected = {"label": "str", "flag": "boolean"}.get(column.kind, "float64")
        assert str(putts[column.name].dtype) == expected, column.name
    assert putts["condition"].isna().all()


def test_a_log_without_players_has_one(tmp_path):
    for frame in (table({}, {}).drop(columns="player"), table({"player": ""}, {"player": ""})):
        frame.to_csv(tmp_path / "a.csv", index=False)
        assert list(read_log(tmp_path / "a.csv").putts["player"]) == ["player", "player"]


def test_one_named_player_and_blanks_are_one_golfer(tmp_path):
    log = read_log(write_csv(tmp_path / "a.csv", {"player": "ash"}, {"player": " "}))
    assert list(log.putts["player"]) == ["ash", "ash"]
    assert "Rows that name no player were taken as ash's." in log.notes


def test_a_row_of_nobody_among_named_players_is_rejected(tmp_path):
    path = write_csv(tmp_path / "a.csv", {"player": "a"}, {"player": "b"}, {"player": " "})
    assert reasons(read_log(path)) == {4: ("player", "blank, where other rows name a player")}


def test_a_numbered_putt_that_is_there_twice_counts_once(tmp_path):
    rows = [{"line_deg": "1"}, {"line_deg": "1"}, {"line_deg": "1"}, {"line_deg": "2"}]
    log = read_log(write_csv(tmp_path / "a.csv", *rows, putt=["1", "1", "2", "3"]))
    assert list(log.putts["row"]) == [2, 4, 5]
    assert log.rejects.loc[0, ["row", "column", "value"]].tolist() == [3, "putt", "1"]


def test_equal_rows_without_numbers_are_honest_repeats(tmp_path):
    assert len(read_log(write_csv(tmp_path / "a.csv", {}, {}, {})).putts) == 3


def test_a_session_that_is_in_two_files_counts_once(tmp_path):
    write_csv(tmp_path / "a.csv", {}, {"line_deg": "2"}, putt=["1", "2"])
    write_csv(tmp_path / "b.csv", {}, {"line_deg": "2"}, {}, putt=["1", "2", "3"])
    log = read_log(tmp_path)
    assert (len(log.putts), list(log.rejects["file"])) == (3, ["b.csv", "b.csv"])


def test_a_copy_of_a_file_counts_once_and_is_named(tmp_path):
    write_csv(tmp_path / "a.csv", {}, {"distance_ft": "0"})
    write_csv(tmp_path / "a (copy).csv", {}, {"distance_ft": "0"})
    log = read_log(tmp_path)
    assert (log.rows_read, len(log.putts), len(log.rejects)) == (4, 1, 3)
    assert "a.csv is a copy of a (copy).csv" in log.warnings[0]


def test_dates_of_a_spreadsheet_become_iso_and_sort(tmp_path):
    path = write_csv(tmp_path / "a.csv", {"session": "21/3/2025"}, {"session": "14/3/2025"})
    log = read_log(path)
    assert list(log.putts["session"]) == ["2025-03-14", "2025-03-21"]
    assert "read as day/month/year" in log.warnings[0]


def test_rules_of_arguments_win_over_those_beside_the_log(tmp_path):
    write_csv(tmp_path / "a.csv", {}, {"line_deg": "2"})
    (tmp_path / "datapackage.json").write_text(
        '{"resources": [{"path": "a.csv", "putlab": {"line_step_deg": 2, "roll_limit_ft": 36}}]}',
        encoding="utf-8",
    )
    rules = read_log(tmp_path, rules={"line_step_deg": 0.5}).rules
    assert (rules.line_step_deg, rules.roll_limit_ft, rules.roll_step_ft) == (0.5, 36.0, 0.5)
    assert (rules.source["line_step_deg"], rules.source["roll_limit_ft"]) == (DECLARED, DECLARED)
    assert rules.source["roll_step_ft"] == READ_OFF


def test_a_wrong_rule_is_wrong_usage(tmp_path):
    with pytest.raises(UsageError, match="no reading rule"):
        read_log(write_csv(tmp_path / "a.csv", {}), rules={"step": 1})


def test_a_log_with_no_usable_row_is_refused_with_the_first_reason(tmp_path):
    path = write_csv(tmp_path / "a.csv", {"distance_ft": "ten"}, {"distance_ft": "0"})
    with pytest.raises(
        LogError, match=r"none of the 2 rows can be used. First: a.csv, row 2, column distance_ft"
    ):
        read_log(path)
    assert len(read_log(path, allow_empty=True).rejects) == 2


def test_a_log_written_reads_the_same(tmp_path):
    rows = [
        {"holed": "yes", "drill": "counted", "hole_no": "1", "putt_no": "1", "player": "=1+1"},
        {"holed": "no", "leave_ft": "2.25", "condition": "@home", "player": "Zoë, tall"},
        {"line_deg": "", "slope_pct": "1.5", "slope_to_deg": "270", "stimp_ft": "9"},
    ]
    log = read_log(write_csv(tmp_path / "a.csv", *rows))
    write_log(log.putts, tmp_path / "b.csv")
    again = read_log(tmp_path / "b.csv")
    pd.testing.assert_frame_equal(
        log.putts.drop(columns=["file"]), again.putts.drop(columns=["file"])
    )


def test_a_log_written_leaves_out_blank_columns_and_runs_no_formula(tmp_path):
    log = read_log(write_csv(tmp_path / "a.csv", {"player": "=cmd()", "holed": "yes"}))
    write_log(log.putts, tmp_path / "b.csv")
    assert (tmp_path / "b.csv").read_text(encoding="utf-8").splitlines() == [
        "player,session,putt,distance_ft,line_deg,roll_ft,holed",
        "'=cmd(),2025-03-14,1,10.0,1.0,11.5,true",
    ]


def test_the_digest_names_the_content_not_the_place(tmp_path):
    (tmp_path / "x").mkdir()
    first = read_log(write_csv(tmp_path / "a.csv", {}))
    second = read_log(write_csv(tmp_path / "x" / "b.csv", {}))
    assert first.digest == second.digest
    assert first.digest != read_log(write_csv(tmp_path / "c.csv", {}, {})).digest


def test_a_session_that_two_exports_repeat_is_asked_about(tmp_path):
    rows = [{"line_deg": str(n % 3)} for n in range(6)]
    write_csv(tmp_path / "march.csv", *rows)
    write_csv(tmp_path / "april.csv", *reversed(rows), {"session": "2025-04-01"})
    log = read_log(tmp_path)
    assert len(log.putts) == 13
    assert log.warnings == [
        "1 sessions are in april.csv and march.csv with the same rows (2025-03-14 of ash "
        "first): are they counted twice? Keep one file, or number the putts."
    ]


def test_two_visits_that_differ_are_no_repeat(tmp_path):
    write_csv(tmp_path / "a.csv", *[{"line_deg": "1"}] * 6)
    write_csv(tmp_path / "b.csv", *[{"line_deg": "1"}] * 5, {"line_deg": "2"})
    assert read_log(tmp_path).warnings == []


def test_a_players_log_holds_that_players_putts_and_the_rules(rng):
    log = simulated_log(rng, players=3, sessions=2, lengths=[4.0, 9.0], each=5)
    mine = log.only("player 2")
    assert set(mine.putts["player"]) == {"player 2"}
    assert mine.putts["line_deg"].tolist() == (
        log.putts.loc[log.putts["player"] == "player 2", "line_deg"].tolist()
    )
    assert mine.rules == log.rules


def pseudonymous(tmp_path, *players, **columns):
    path = write_csv(tmp_path / "a.csv", *[{"player": name} for name in players], **columns)
    return read_log(path, pseudonyms=True)


def test_pseudonyms_follow_the_order_of_first_putts(tmp_path):
    log = pseudonymous(tmp_path, "wren", "finch", "wren", session=["b", "c", "a"])
    assert log.putts["session"].tolist() == ["visit 1", "visit 2", "visit 3"]
    assert log.putts["player"].tolist() == ["player 1", "player 2", "player 1"]
    later = pseudonymous(tmp_path, "wren", "finch", session=["2026-02-02", "2026-01-01"])
    assert later.putts["session"].tolist() == ["2026-01-01", "2026-02-02"]
    assert later.putts["player"].tolist() == ["player 1", "player 2"]


def test_a_log_that_grows_keeps_its_pseudonyms(tmp_path):
    short, long = (pseudonymous(tmp_path, *names) for names in (["b", "a"], ["b", "a", "0"]))
    assert long.putts.set_index("row")["player"][[2, 3]].tolist() == ["player 1", "player 2"]
    assert short.putts.set_index("row")["player"][[2, 3]].tolist() == ["player 1", "player 2"]


def test_rejected_values_and_warnings_hold_no_names(tmp_path):
    log = pseudonymous(tmp_path, "ann", "Ann", "A" * 101)
    assert log.rejects["value"].tolist() == ["(hidden)"]
    assert log.warnings == [
        "player labels 'player 2', 'player 1' are kept apart: are they the same?"
    ]


def test_what_is_remarked_of_files_is_counted_and_not_said_where_it_may_hold_names(tmp_path):
    rows = [{"player": "ann", "line_deg": str(n)} for n in range(6)]
    for name in ("a.csv", "b.csv"):
        write_csv(tmp_path / name, *rows, weather=[name] * 6)
    assert any("twice" in warning for warning in read_log(tmp_path).warnings)
    (warning,) = read_log(tmp_path, pseudonyms=True).warnings
    assert warning.startswith("2 remarks may hold names")


def test_a_log_shows_its_putts_and_says_what_became_of_its_rows(tmp_path):
    log = read_log(write_csv(tmp_path / "a.csv", {}, {}, {"distance_ft": "0"}))
    assert log.sentence == "3 rows in 1 file: 2 used, 1 left out."
    assert log.table is log.putts
    assert log.sentence in log._repr_html_()


def test_the_demo_is_found_and_is_the_log_in_its_folder():
    demo = demo_log()
    assert demo.digest == read_log(shipped("data_demo")).digest
    assert len(demo.files) == 10
    assert demo.putts["player"].nunique() == 3
