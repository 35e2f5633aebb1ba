"""The `check` command: what it says, what it writes, its exit codes and its speed."""

import json
import subprocess
import sys

import pandas as pd
import pytest
import typer
from logs import table, write_csv

from putlab.cli.check import check
from putlab.cli.console import run


@pytest.fixture
def command():
    app = typer.Typer(pretty_exceptions_enable=False)
    app.command()(check)
    return lambda *arguments: run(app, [str(argument) for argument in arguments])


def test_a_log_in_order_is_summed_up_with_code_0(tmp_path, command, capsys):
    rows = [{"player": name, "session": day} for name in ("ash", "elm") for day in ("a", "b")]
    path = write_csv(tmp_path / "putts.csv", *rows, {"distance_ft": "6"}, {"player": "oak"})
    assert command(path) == 0
    said = capsys.readouterr()
    for part in (
        "putts.csv: 1 file, 6 rows: 6 accepted, 0 rejected.",
        "ash (3 putts, 3 sessions), elm (2 putts, 2 sessions), oak (1 putt, 1 session)",
        "sessions        3, a to 2025-03-14",
        "distances       6, 10 ft",
        "line_deg        6 readings",
        "line_step_deg   1        read off the data",
        "roll_limit_ft   none     assumed",
    ):
        assert part in said.out
    assert "Rejected" not in said.out
    assert said.err == ""


def test_a_log_in_metres_is_summed_up_in_metres(tmp_path, command, capsys):
    path = tmp_path / "putts.csv"
    path.write_text("session,distance_m,roll_m\na,1.2,1.41\na,1.2,1.3\n")
    assert command(path) == 0
    said = capsys.readouterr().out
    assert "distances       1.2 m" in said
    assert "roll_step_m     0.01     read off the data" in said
    assert "_ft             " not in said.replace("roll_ft         2 readings", "")


def test_visits_to_a_green_are_told_from_putts_that_the_sensor_missed(tmp_path, command, capsys):
    unread = {"line_deg": "", "roll_ft": "", "holed": "true"}
    rows = [{}, unread, unread | {"session": "round"}, unread | {"session": "round"}]
    assert command(write_csv(tmp_path / "putts.csv", *rows)) == 0
    said = capsys.readouterr().out
    assert "on a green      2 putts made or missed, nothing read on that visit" in said
    assert command(write_csv(tmp_path / "read.csv", {}, unread)) == 0
    assert "on a green" not in capsys.readouterr().out


def test_rejected_rows_end_in_code_1_with_the_first_few(tmp_path, command, capsys):
    path = write_csv(tmp_path / "putts.csv", {}, *[{"distance_ft": "ten"}] * 8, weather=["dry"] * 9)
    assert command(path) == 1
    said = capsys.readouterr().out
    assert "9 rows: 1 accepted, 8 rejected." in said
    assert "8 rows, distance_ft: not a plain number; expected a number from 0.1" in said
    assert said.count("putts.csv, row 3: got 'ten'") == 1
    assert "columns that are not used: 'weather' (putts.csv)." in said


def test_every_reject_is_written_as_csv_and_json(tmp_path, command):
    path = write_csv(tmp_path / "putts.csv", {}, *[{"distance_ft": "=1+1"}] * 8)
    assert command(path, "--rejects", tmp_path / "rejects.csv") == 1
    assert command(path, "--rejects", tmp_path / "rejects.json") == 1
    found = pd.read_csv(tmp_path / "rejects.csv")
    assert list(found) == ["file", "row", "column", "value", "reason"]
    assert list(found["row"]) == list(range(3, 11))
    # A spreadsheet that opens the file must not run the cell.
    assert set(found["value"]) == {"'=1+1"}
    whole = json.loads((tmp_path / "rejects.json").read_text(encoding="utf-8"))
    assert whole["meta"]["rows"] == whole["meta"]["accepted"] + whole["meta"]["rejected"] == 9
    assert whole["records"][0]["column"] == "distance_ft"


def test_rejects_written_into_the_folder_are_not_read_as_a_log(tmp_path, command):
    write_csv(tmp_path / "putts.csv", {}, {"distance_ft": "0"})
    for _ in range(2):
        assert command(tmp_path, "--rejects", tmp_path / "rejects.csv") == 1


def test_a_log_without_a_usable_row_still_lists_its_rejects(tmp_path, command, capsys):
    path = write_csv(tmp_path / "putts.csv", {"distance_ft": "0"})
    assert command(path, "--rejects", "-") == 1
    said = capsys.readouterr().out
    assert "1 rows: 0 accepted, 1 rejected." in said
    assert "putts.csv,2,distance_ft,0,out of range" in said


@pytest.mark.parametrize(
    ("arguments", "code", "message"),
    [
        (["none.csv"], 1, "none.csv does not exist"),
        (["x" * 5000], 1, "could not be read"),
        (["empty.csv"], 1, "empty.csv is empty"),
        (["good.csv", "--rejects", "rejects.txt"], 2, "written as .csv or .json"),
        (["good.csv", "--rejects", "none/rejects.csv"], 1, "could not be written"),
    ],
)
def test_refusals(tmp_path, command, capsys, monkeypatch, arguments, code, message):
    monkeypatch.chdir(tmp_path)
    write_csv(tmp_path / "good.csv", {})
    (tmp_path / "empty.csv").write_bytes(b"")
    assert command(*arguments) == code
    said = capsys.readouterr().err
    assert message in said
    assert said.startswith("putlab: ")
    assert said.count("\n") == 1


def test_of_many_lengths_the_first_are_listed(tmp_path, command, capsys):
    write_csv(tmp_path / "putts.csv", *[{"distance_ft": str(n)} for n in range(1, 40)])
    assert command(tmp_path) == 0
    assert command(tmp_path / "putts.csv") == 0
    assert "and 27 others" in capsys.readouterr().out


def test_labels_cannot_write_to_the_terminal(tmp_path, command, capsys):
    path = tmp_path / "putts\x1b[2J.csv"
    table({"player": "a\x1b[31mb"}, {}).to_csv(path, index=False)
    assert command(path) == 1
    said = capsys.readouterr().out
    assert "\x1b" not in said
    assert "a\\x1b[31mb" in said


def test_checking_loads_neither_the_sampler_nor_the_charts(tmp_path):
    path = write_csv(tmp_path / "putts.csv", {})
    code = (
        "import sys; from putlab.cli.check import check; from pathlib import Path; "
        "check(Path(sys.argv[1])); "
        "heavy = {'pymc', 'numba', 'arviz', 'matplotlib', 'scipy', 'openpyxl'}; "
        "print(*heavy & set(sys.modules))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == ""
