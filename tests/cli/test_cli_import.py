"""The `import` command: one screen, one question, and what is kept."""

import io
import sys

import pytest

from putlab.cli import app
from putlab.cli.console import run
from putlab.log.read import read_log

LOG = "Date,Length (m),Direction\n2026-01-05,2,1\n2026-01-05,4,-2\n"


@pytest.fixture
def path(tmp_path):
    (tmp_path / "visits.csv").write_text(LOG, encoding="utf-8")
    return tmp_path / "visits.csv"


@pytest.fixture
def command(monkeypatch):
    def answered(*arguments, answer=""):
        monkeypatch.setattr(sys, "stdin", io.StringIO(answer))
        return run(app.build_app(), ["import", *map(str, arguments)])

    return answered


def test_one_yes_keeps_what_was_proposed(path, command, capsys):
    assert command(path, answer="y\n") == 0
    said = capsys.readouterr().out
    assert "? *Direction* is read as start direction from the target line, degrees, + right" in said
    assert "  *Length (m)* is read as length of the putt asked for in metres" in said
    assert "2 rows in 1 file: 2 used, 0 left out." in said
    assert said.count("[y/N]") == 1
    assert read_log(path).putts["line_deg"].tolist() == [1.0, -2.0]
    assert command(path) == 0
    assert "[y/N]" not in capsys.readouterr().out


@pytest.mark.parametrize("answer", ["n\n", "", "perhaps\n"])
def test_without_a_yes_nothing_is_kept_and_the_flags_are_told(path, command, capsys, answer):
    assert command(path, answer=answer) == 2
    assert '--map "Direction=line_deg"`' in capsys.readouterr().err
    assert not (path.parent / "datapackage.json").exists()


def test_maps_and_rules_need_no_question(path, command, capsys):
    assert command(path, "--map", "Direction=-line_deg", "--declare", "aim_past_m=0.3") == 0
    assert "[y/N]" not in capsys.readouterr().out
    log = read_log(path.parent)
    assert log.putts["line_deg"].tolist() == [-1.0, 2.0]
    assert log.rules.aim_past_ft == pytest.approx(0.3 / 0.3048)


def test_a_log_under_the_kits_own_names_needs_nothing(path, command, capsys):
    path.write_text("session,distance_ft,line_deg\na,10,1\n", encoding="utf-8")
    assert command(path) == 0
    assert "there is nothing to keep" in capsys.readouterr().out
    assert not (path.parent / "datapackage.json").exists()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--map", "Direction"], "expected two parts with = between"),
        (["--map", "Direction=line"], "which is no column of a log"),
        (["--declare", "aim_past_ft=far"], "the second a number"),
        (["--declare", "aim=1"], "'aim' is no reading rule"),
    ],
)
def test_wrong_flags_are_told(path, command, capsys, arguments, message):
    assert command(path, *arguments) == 2
    assert message in capsys.readouterr().err
