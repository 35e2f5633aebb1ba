"""The `holeout` command: what it prints, what it writes, and how it refuses."""

import io
import json
import subprocess
import sys

import pandas as pd
import pytest
import typer

from putlab.base.errors import UsageError
from putlab.cli.console import run
from putlab.cli.options import feet
from putlab.cli.skill import holeout
from putlab.green.hole_out import hole_out
from putlab.green.skill import Skill

COLUMNS = ["distance_ft", "one_putt", "three_putt", "average_putts", "mean_leave_ft"]
KNOWN = ["--line-sd-deg", "1.5", "--pace-sd-pct", "9"]


@pytest.fixture
def command():
    app = typer.Typer(pretty_exceptions_enable=False)
    app.command()(holeout)
    return lambda *arguments: run(app, [*KNOWN, *arguments])


def test_standard_output_is_csv_with_the_answer_of_the_library(command, capsys):
    assert command("--lengths", "20,4", "--line-bias-deg", "0.5", "-o", "-") == 0
    found = pd.read_csv(io.StringIO(capsys.readouterr().out))
    expected = hole_out(Skill.constant(1.5, 9, line_bias_deg=0.5), [4, 20]).table
    assert list(found) == COLUMNS
    pd.testing.assert_frame_equal(found, expected, rtol=1e-5, check_dtype=False)


def test_json_has_records_and_meta(command, tmp_path):
    path = tmp_path / "holeout.json"
    assert command("-o", str(path)) == 0
    whole = json.loads(path.read_text())
    assert [row["distance_ft"] for row in whole["records"]] == [3, 6, 10]
    assert set(whole["meta"]) >= {"putlab", "stimp_ft", "past_ft", "line_sd_deg"}


def test_without_output_a_table_is_printed(command, capsys):
    assert command() == 0
    assert "Three putts or more" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "match"),
    [
        (["--line-sd-deg", "-1"], "--line-sd-deg: got -1; expected 0 to 90"),
        (["--pace-sd-pct", "nan"], "--pace-sd-pct: got nan; expected 0 to 300"),
        (["--stimp-ft", "0"], "--stimp-ft: got 0; expected 1 to 30"),
        (["--past-ft", "-2"], "--past-ft: got -2; expected 0 to 20"),
        (["--line-bias-deg", "inf"], "--line-bias-deg: got inf; expected -90 to 90"),
        (["--lengths", "3,x"], "x is not a length"),
        (["--lengths", "3,,5"], "is not a length"),
        (["--lengths", "0,5"], "0 is not a length"),
        (["-o", "out.txt"], "written as .csv or .json"),
    ],
)
def test_wrong_usage_exits_2_and_says_why(command, capsys, arguments, match):
    assert command(*arguments) == 2
    said = capsys.readouterr()
    assert match in " ".join(said.err.split())
    assert said.out == ""


def test_distances_are_lists_and_ranges_each_once():
    assert feet("10, 2-4,3") == [10, 2, 3, 4]


@pytest.mark.parametrize("text", ["", "5-3", "2.5-4", "-3", "1e9"])
def test_distances_that_are_none_are_refused(text):
    with pytest.raises(UsageError, match="is not a length"):
        feet(text)


def test_no_sampler_is_loaded():
    code = (
        "import sys; from putlab.cli.skill import holeout;"
        "holeout(1.0, 9.0, output=None);"
        "assert not {'pymc', 'pytensor', 'arviz', 'matplotlib', 'numba'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, timeout=60)
