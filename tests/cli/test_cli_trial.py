"""The `trial` command: what it prints, what it writes, and how it refuses."""

import pandas as pd
import pytest
import typer
from conftest import DEMO

from putlab.cli.console import run
from putlab.cli.trial import trial
from putlab.log.read import read_log
from putlab.trial.conditions import Conditions, plan_of
from putlab.trial.design import f_test_putts


@pytest.fixture
def command():
    app = typer.Typer(pretty_exceptions_enable=False)
    app.command()(trial)
    return lambda *arguments: run(app, list(arguments))


def test_it_prints_need_chances_and_the_command_that_follows(command, capsys):
    assert command("--lengths", "10", "--detect", "20") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "To see a cut of 20 % in line spread: 192 putts a condition" in said
    assert f"would take {f_test_putts(0.2)} putts a condition (exact F-test" in said
    assert "putlab compare LOG --before A --after B --metric line --detect 20" in said


def test_the_sheet_is_a_log_once_its_boxes_are_filled(command, tmp_path):
    path = tmp_path / "trial.csv"
    asked = ("--lengths", "5,10,20", "--detect", "30", "--after", "new grip", "--seed", "3")
    assert command(*asked, "-o", str(path)) == 0
    sheet = pd.read_csv(path)
    assert sheet["line_deg"].isna().all()
    sheet.assign(line_deg=1).to_csv(path, index=False)
    log = read_log(path)
    assert len(log.putts) == len(sheet)
    assert set(log.putts["condition"]) == {"A", "new grip"}
    assert plan_of(log, Conditions("player", "A", "new grip")).over
    assert set(log.putts["distance_ft"]) == {5, 10, 20}


def test_the_page_and_the_workbook_are_those_of_every_sheet(command, tmp_path):
    asked = ("--lengths", "1.5,3", "--units", "m", "--detect", "40", "-o")
    for ending in ("html", "xlsx"):
        assert command(*asked, str(tmp_path / f"trial.{ending}")) == 0
    assert "data-visit=" in (tmp_path / "trial.html").read_text()
    rows = pd.read_excel(tmp_path / "trial.xlsx", sheet_name="putts")
    assert set(rows["distance_m"]) == {1.5, 3}
    assert set(rows["condition"]) == {"A", "B"}


def test_a_seed_repeats_the_sheet(command, tmp_path):
    for name, seed in (("one", "3"), ("two", "3"), ("three", "4")):
        path = str(tmp_path / f"{name}.csv")
        assert command("--lengths", "5,10,20", "--seed", seed, "-o", path) == 0
    one, two, three = ((tmp_path / f"{n}.csv").read_text() for n in ("one", "two", "three"))
    assert one == two != three


def test_strokes_without_a_log_are_those_of_a_golfer_at_large(command, capsys):
    assert command("--lengths", "5,20", "--detect", "20", "--metric", "strokes") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "both spreads, by strokes" in said
    assert "a golfer at large, read exactly; 20 % off both spreads saves" in said


@pytest.mark.slow
def test_a_log_makes_the_trial_this_golfers_own(command, capsys, demo_fit):
    own = ("--lengths", "10", "--detect", "20", "--log", str(DEMO), "--player", "birch")
    assert command(*own) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "birch's own spread, readings and visits; a reading tells" in said
    need = int(said.split("line spread: ")[1].split(" putts")[0])
    # Whole degrees and mishits tell less than exact readings, but not half as little.
    assert 1.2 * f_test_putts(0.2) < need < 2.1 * f_test_putts(0.2)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--lengths", "ten"), "is not a length"),
        (("--lengths", "10", "--metric", "speed"), "expected one of line, pace, strokes"),
        (("--lengths", "10", "--detect", "0"), "--detect: got 0; expected 1 to 90"),
        (("--lengths", "10", "--before", "B"), "name two conditions"),
        (("--lengths", "10", "-o", "trial.txt"), "written as .csv (rows to fill in), .xlsx"),
    ],
)
def test_wrong_usage_ends_with_code_two(command, capsys, arguments, said, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert command(*arguments) == 2
    assert said in capsys.readouterr().err
    assert not list(tmp_path.iterdir())
