"""The `start` command, and the round trip: start, fill in, read, plan, fill in, read together."""

import time
import zipfile

import pandas as pd
import pytest
import typer
from fill_in import fill_in
from made_golfers import made_plan
from openpyxl import load_workbook

from putlab.cli.console import run
from putlab.cli.practice import start
from putlab.log.read import read_log
from putlab.model.readings import first_putts
from putlab.pages.sheet import write_sheet
from putlab.rounds.games import finished_holes


@pytest.fixture
def command(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    app = typer.Typer(pretty_exceptions_enable=False)
    app.command()(start)
    return lambda *arguments: run(app, [str(part) for part in arguments])


def test_without_a_word_it_writes_todays_workbook(command, tmp_path, capsys):
    assert command() == 0
    (path,) = tmp_path.glob("20*.xlsx")
    assert "60 putts and 9 holes" in capsys.readouterr().err
    rows = pd.read_excel(path, sheet_name="putts")
    assert rows["distance_ft"].value_counts().to_dict() == {4: 20, 10: 20, 20: 20}
    assert (rows["session"] == path.stem).all()


def test_lengths_players_and_unit_are_the_askers(command, tmp_path):
    asked = ["--lengths", "1.2,3", "--units", "m", "--players", "alder, birch", "--putts", 20]
    assert command(*asked, "--session", "one", "-o", "two.csv") == 0
    rows = pd.read_csv(tmp_path / "two.csv")
    assert set(rows["distance_m"]) == {1.2, 3}
    assert rows.groupby("player").size().to_dict() == {"alder": 29, "birch": 29}
    assert set(rows["session"]) == {"one"}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--units", "yd"], "'yd' is not one of 'ft', 'm'"),
        (["--lengths", "4,x"], "x is not a length. Give ft"),
        (["--units", "m", "--lengths", "70"], "Give m above 0 and at most 60.96"),
        (["--putts", "3"], "15 to 1000"),
        (["-o", "visit.docx"], ".xlsx (a workbook)"),
    ],
)
def test_what_cannot_be_is_refused(command, capsys, arguments, said):
    assert command(*arguments) == 2
    assert said in capsys.readouterr().err


def test_a_workbook_filled_in_is_not_written_over(command, tmp_path, capsys):
    assert command("-o", "visit.xlsx") == 0
    fill_in(tmp_path / "visit.xlsx")
    assert command("-o", "visit.xlsx") == 1
    assert "may have readings in it" in capsys.readouterr().err


@pytest.mark.parametrize("units", ["ft", "m"])
@pytest.mark.parametrize(("ending", "named"), [("csv", True), ("xlsx", True), ("csv", False)])
def test_the_round_trip_loses_no_row_and_asks_nothing(command, tmp_path, units, ending, named):
    log = tmp_path / "log"
    log.mkdir()
    first, second = log / f"2026-02-01.{ending}", log / f"2026-03-01.{ending}"
    lengths = {"ft": "3,10,36", "m": "0.9144,3.048,10.9728"}[units]
    asked = ["--lengths", lengths, "--units", units, *["--players", "golfer"][: 2 * named]]
    assert command(*asked, "--session", "2026-02-01", "-o", first) == 0
    rows = fill_in(first)
    before = read_log(log)
    assert (len(before.putts), len(before.rejects), before.warnings) == (rows, 0, [])
    plan = made_plan(player="golfer")
    write_sheet(plan.log_rows, second, units=units, plans=[plan])
    rows += fill_in(second, seed=2)
    both = read_log(log)
    assert (len(both.putts), len(both.rejects), both.warnings) == (rows, 0, [])
    assert both.players == ["golfer"]
    assert list(both.putts["session"].unique()) == ["2026-02-01", "2026-03-01"]
    # What the fit is given: the old visit is as it was, the lengths are those planned.
    columns = ["distance_ft", "line_deg", "roll_ft", "target_ft", "counted"]
    old = first_putts(both.putts)[lambda putts: putts["session"] == "2026-02-01"]
    pd.testing.assert_frame_equal(
        old[columns].reset_index(drop=True),
        first_putts(before.putts)[columns].reset_index(drop=True),
    )
    assert set(both.putts["distance_ft"].round(3)) >= set(plan.table["distance_ft"])
    holes, notes = finished_holes(both.putts)
    assert (len(holes), notes) == (18, [])


def test_feet_and_metres_give_the_fit_the_same(command, tmp_path):
    found = {}
    for units in ("ft", "m"):
        path = tmp_path / f"{units}.xlsx"
        lengths = {"ft": "5,10", "m": "1.524,3.048"}[units]
        assert command("--lengths", lengths, "--units", units, "--putts", 10, "-o", path) == 0
        book = load_workbook(path)
        sheet = book["putts"]
        at = {cell.value: cell.column for cell in sheet[1]}
        for row in range(2, sheet.max_row + 1):
            sheet.cell(row, at["line_deg"], row - 6)
            sheet.cell(row, at[f"roll_{units}"], row * {"ft": 1, "m": 0.3048}[units])
        book.save(path)
        putts = first_putts(read_log(path).putts)
        found[units] = putts[["distance_ft", "line_deg", "roll_ft", "target_ft"]]
    pd.testing.assert_frame_equal(found["ft"], found["m"], rtol=1e-9)


def test_a_clock_before_1980_makes_the_same_workbook(command, tmp_path, monkeypatch):
    asked = ["--session", "one", "-o"]
    assert command(*asked, "now.xlsx") == 0
    monkeypatch.setattr(time, "localtime", lambda *_: time.gmtime(10**8))  # March 1973
    with pytest.raises(ValueError, match="before 1980"):  # as without the kit's care
        zipfile.ZipFile(tmp_path / "x.zip", "w").writestr("a", "b")
    assert command(*asked, "then.xlsx") == 0
    assert (tmp_path / "then.xlsx").read_bytes() == (tmp_path / "now.xlsx").read_bytes()
