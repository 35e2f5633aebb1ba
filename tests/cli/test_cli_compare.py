"""The `compare` command: the verdict first, the JSON promised, and how it refuses."""

import json

import numpy as np
import pandas as pd
import pytest
import typer
from conftest import DEMO
from demo_maker import NEW, OLD

from putlab.cli.console import run
from putlab.cli.trial import compare

pytestmark = pytest.mark.slow

CONDITIONS = ("--before", OLD, "--after", NEW)


@pytest.fixture
def command(demo_fit):
    """Return the command, the demo's fit being on disk already."""
    app = typer.Typer(pretty_exceptions_enable=False)
    app.command()(compare)
    return lambda *arguments: run(app, [str(DEMO), *arguments])


def test_the_first_line_is_the_verdict(command, capsys):
    assert command(*CONDITIONS) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("Helped")
    whole = " ".join(" ".join(lines).split())
    assert ": line spread with 'new routine' is 0." in whole
    assert "Brown-Forsythe p" in whole
    assert "line spread, ratio" in whole


def test_json_has_the_promised_fields_and_how_it_was_made(command, tmp_path):
    path = tmp_path / "change.json"
    assert command(*CONDITIONS, "--player", "birch", "-o", str(path)) == 0
    found = json.loads(path.read_text())
    assert (found["before"], found["after"]) == (OLD, NEW)
    assert set(found["line_sd_ratio"]) == {"mean", "lo", "hi", "p_improved"}
    assert found["line_sd_ratio"]["lo"] < np.exp(-0.4) < found["line_sd_ratio"]["hi"]
    assert found["verdict"] == "helped"
    assert found["putts_before"] + found["putts_after"] == 565
    assert {"seed", "versions", "diagnostics", "log_sha256"} <= set(found["meta"])


def test_csv_is_the_table_of_changes(command, tmp_path):
    path = tmp_path / "change.csv"
    assert command(*CONDITIONS, "--metric", "pace", "-o", str(path)) == 0
    found = pd.read_csv(path)
    assert list(found) == ["change", "mean", "lo", "hi", "p_improved"]
    assert len(found) == 5


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--before", OLD, "--after", "new routin"), "Did you mean 'new routine'"),
        (("--before", OLD, "--after", OLD), "name two conditions"),
        ((*CONDITIONS, "--player", "alder"), "alder has no condition labels at all"),
        ((*CONDITIONS, "--player", "brich"), "Did you mean 'birch'"),
        ((*CONDITIONS, "--metric", "speed"), "expected one of line, pace, strokes"),
        ((*CONDITIONS, "--detect", "120"), "--detect: got 120; expected 1 to 90"),
        ((*CONDITIONS, "-o", "change.txt"), "written as .csv or .json"),
    ],
)
def test_wrong_usage_ends_with_code_two(command, capsys, arguments, said, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert command(*arguments) == 2
    assert said in capsys.readouterr().err
    assert not list(tmp_path.iterdir())
