"""Rows: units, ranges, contradictions, and one reject a bad row."""

import numpy as np
import pandas as pd
import pytest
from logs import reasons, table

from putlab.base.errors import LogError
from putlab.log.headings import match_columns
from putlab.log.read import read_log
from putlab.log.rows import in_feet


def read(tmp_path, *rows, drop=(), **columns):
    path = tmp_path / "putts.csv"
    table(*rows, **columns).drop(columns=list(drop)).to_csv(path, index=False)
    return read_log(path, allow_empty=True)


def test_metres_become_feet_exactly(tmp_path):
    metres = ["3.6576", "3", "0.9144"]
    log = read(tmp_path, {}, {}, {}, drop=["distance_ft", "roll_ft"], distance_m=metres)
    # 1 ft = 0.3048 m exactly: 3.6576 m is 12 ft, 0.9144 m is 3 ft.
    assert log.putts["distance_ft"].tolist() == [12.0, 3 / 0.3048, 3.0]


def test_round_metres_equal_round_feet():
    feet = np.arange(1, 301) / 2
    assert (in_feet(np.array([float(f"{0.3048 * f:.4f}") for f in feet])) == feet).all()


def test_feet_and_metres_side_by_side_must_agree(tmp_path):
    log = read(
        tmp_path,
        {"distance_ft": "12", "roll_ft": "12"},
        {"distance_ft": "12", "roll_ft": "12"},
        {"distance_ft": "", "roll_ft": "12"},
        {"distance_ft": "12", "roll_ft": "12"},
        distance_m=["3.66", "12", "3.6576", ""],
    )
    assert log.putts["distance_ft"].tolist() == [12.0, 12.0, 12.0]
    assert reasons(log)[3] == ("distance_ft", "it disagrees with distance_m")


@pytest.mark.parametrize(
    ("column", "inside", "outside"),
    [
        ("distance_ft", ["0.1", "150"], ["0", "0.09", "-3", "150.1"]),
        ("line_deg", ["-90", "90"], ["-90.5", "91"]),
        ("roll_ft", ["9.5", "300"], ["-0.1", "301"]),
        ("stimp_ft", ["1", "30"], ["0", "31"]),
        ("slope_pct", ["0", "30"], ["-1", "31"]),
        ("slope_to_deg", ["-360", "360"], ["361"]),
        ("putt", ["1", "2.0"], ["0", "1.5", "-1"]),
        ("putt_no", ["1", "50"], ["0", "51", "1.2"]),
    ],
)
def test_ranges(tmp_path, column, inside, outside):
    rows = [{column: value, "holed": "", "roll_ft": "20"} for value in inside + outside]
    if column == "roll_ft":
        rows = [row | {column: value} for row, value in zip(rows, inside + outside, strict=True)]
    log = read(tmp_path, *rows)
    assert len(log.putts) == len(inside)
    assert list(log.rejects["value"]) == outside
    assert set(log.rejects["column"]) == {column}
    assert log.rejects["reason"].str.startswith("out of range; expected").all()


@pytest.mark.parametrize("column", ["session", "distance_ft"])
def test_a_blank_in_a_needed_column(tmp_path, column):
    log = read(tmp_path, {column: ""}, {})
    assert list(reasons(log)) == [2]
    assert reasons(log)[2][0] == column
    assert reasons(log)[2][1].startswith("blank; every row needs one")


def test_a_row_without_any_reading(tmp_path):
    log = read(tmp_path, {"line_deg": "", "roll_ft": ""}, {})
    assert reasons(log)[2] == (
        "(row)",
        "no reading: one of line_deg, roll_ft, holed, leave_ft, putts_taken is needed",
    )


def test_a_bad_optional_value_refuses_the_whole_row(tmp_path):
    log = read(tmp_path, {"line_deg": "left", "roll_ft": "11"}, {})
    assert len(log.putts) == 1
    assert log.rejects.loc[0, ["column", "value"]].tolist() == ["line_deg", "left"]


def test_one_reject_a_row_names_every_problem(tmp_path):
    log = read(tmp_path, {"line_deg": "left", "roll_ft": "-1", "session": ""}, {})
    assert len(log.rejects) == 1
    reason = log.rejects["reason"][0]
    for part in ("blank", "also line_deg 'left'", "also roll_ft '-1'"):
        assert part in reason


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ({"holed": "yes", "leave_ft": "2"}, "leave_ft"),
        ({"holed": "yes", "roll_ft": "5"}, "roll_ft"),
        ({"leave_ft": "30", "roll_ft": "12"}, "leave_ft"),
        ({"leave_ft": "2", "roll_ft": "5"}, "leave_ft"),
    ],
)
def test_readings_that_cannot_all_be_true(tmp_path, row, column):
    log = read(tmp_path, row, {})
    assert log.rejects["column"].tolist() == [column]
    assert log.rejects["reason"][0].startswith("contradiction")


@pytest.mark.parametrize(
    "row",
    [
        {"holed": "yes", "leave_ft": "0", "roll_ft": "11"},
        {"holed": "yes", "leave_ft": "", "roll_ft": "9.5"},  # a coarse reading of 10
        {"holed": "no", "leave_ft": "0"},  # a coarse reading of a few inches
        {"leave_ft": "21", "roll_ft": "11"},
        {"leave_ft": "4.5", "roll_ft": "5"},
    ],
)
def test_readings_that_coarse_steps_explain(tmp_path, row):
    assert len(read(tmp_path, row).putts) == 1


def test_any_triangle_of_ball_hole_and_rest_is_possible(tmp_path):
    rng = np.random.default_rng(3)
    roll, angle = rng.uniform(0, 40, 300), rng.uniform(-90, 90, 300)
    # Law of cosines, for a straight path from the ball.
    leave = np.sqrt(100 + roll**2 - 20 * roll * np.cos(np.radians(angle)))
    frame = pd.DataFrame({"session": "a", "distance_ft": 10.0, "line_deg": angle})
    frame.assign(roll_ft=roll, leave_ft=leave).to_csv(tmp_path / "a.csv", index=False)
    assert len(read_log(tmp_path / "a.csv").rejects) == 0


def test_unknown_columns_are_kept_out_with_the_nearest_name(tmp_path):
    log = read(tmp_path, {}, line_degs=["1"], weather=["wet"], Distance=["3"])
    (warning,) = log.warnings
    assert "'line_degs' (putts.csv: did you mean line_deg?), 'weather' (putts.csv)" in warning
    assert "line_degs" not in log.putts


def test_missing_columns_list_what_was_found_and_what_is_needed(tmp_path):
    path = tmp_path / "putts.csv"
    path.write_text("player,sesion,Length\na,b,3\n", encoding="utf-8")
    with pytest.raises(LogError) as caught:
        read_log(path)
    message = str(caught.value)
    for part in (
        "putts.csv: missing session; distance_ft (or distance_m); one of line_deg",
        "Columns found: player, sesion, Length",
        "Is 'sesion' session?",
    ):
        assert part in message


def test_a_column_that_is_there_twice_is_refused():
    with pytest.raises(LogError, match="two columns are called line_deg"):
        match_columns(["session", "distance_ft", "line_deg", "Line deg"], "putts.csv")


def test_thousands_of_unknown_columns_make_one_short_message(tmp_path):
    names = ["session", "distance_ft", "line_deg", *(f"column {n}" for n in range(3000))]
    path = tmp_path / "putts.csv"
    path.write_text(f"{','.join(names)}\na,10,1\n", encoding="utf-8")
    (warning,) = read_log(path).warnings
    assert "and 2980 more" in warning
    assert len(warning) < 1000


def test_names_in_any_case_are_found(tmp_path):
    path = tmp_path / "putts.csv"
    path.write_text("Session,Distance FT,LINE-DEG\na,10,1\n", encoding="utf-8")
    assert len(read_log(path).putts) == 1


def test_none_is_a_condition_and_a_blank_elsewhere(tmp_path):
    log = read(tmp_path, {"condition": "none", "roll_ft": "none"}, {"condition": "NA"})
    assert log.putts["condition"].fillna("").tolist() == ["none", ""]
    assert np.isnan(log.putts["roll_ft"][0])


def test_a_comma_that_may_part_thousands_is_noted(tmp_path):
    log = read(tmp_path, {"distance_ft": "3,048"}, {"distance_ft": "3,05"})
    assert log.putts["distance_ft"].tolist() == [3.048, 3.05]
    assert log.notes == ["putts.csv: distance_ft 3,048 was read as 3.048."]
