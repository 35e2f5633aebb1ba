"""The roll command: its columns, its files, what it says and its exit codes."""

import json
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest
import typer
from slope_simulation import normals, roll_out, struck

from putlab.base.settings import LINE_SD_DEG, PACE_SD_PCT
from putlab.cli.console import run
from putlab.cli.skill import roll

COLUMNS = ["stop_along_ft", "stop_right_ft", "break_ft", "aim_deg", "roll_flat_ft"]


def command(*arguments):
    """Run the command alone and return its exit code."""
    app = typer.Typer(add_completion=False, pretty_exceptions_enable=False)
    app.command()(roll)
    return run(app, [str(part) for part in arguments])


def record(tmp_path, *arguments):
    """Run the command into a CSV file and return its row."""
    assert command(*arguments, "-o", tmp_path / "roll.csv") == 0
    table = pd.read_csv(tmp_path / "roll.csv")
    assert len(table) == 1
    return table.iloc[0]


ACROSS = ("--distance-ft", 10, "--slope-pct", 2, "--slope-to-deg", 90)


def test_columns_come_in_order(tmp_path):
    assert list(record(tmp_path, *ACROSS).index[:5]) == COLUMNS


def test_straight_putt_agrees_with_step_by_step_simulation(tmp_path):
    found = record(tmp_path, *ACROSS)
    along, right, _ = roll_out(10, 2, [90], 1e6, 0, 11, step_s=0.005)
    assert found["stop_along_ft"] == pytest.approx(along[0], abs=1e-3)
    assert found["stop_right_ft"] == pytest.approx(right[0], abs=1e-3)
    # It breaks downhill, less by the time it passes the hole than where it stops.
    assert 0 < found["break_ft"] < found["stop_right_ft"]


def test_aim_holes_more_than_aims_beside_it(tmp_path):
    """Each aim struck 32,768 times, rolled step by step, by a golfer of the default spreads."""
    found = record(tmp_path, *ACROSS)
    spread, z = (LINE_SD_DEG, 0, PACE_SD_PCT, 0), normals(2**15, seed=2)

    def holed(aim_deg, roll_flat_ft):
        line, rolled = struck(aim_deg, roll_flat_ft, spread, z)
        return roll_out(10, 2, 90, 10, line, rolled)[2].mean()

    best = holed(found["aim_deg"], found["roll_flat_ft"])
    assert found["one_putt"] == pytest.approx(best, abs=0.0015)
    for turn, firmer in ((-1, 1), (1, 1), (0, 0.93), (0, 1.08)):
        assert holed(found["aim_deg"] + turn, found["roll_flat_ft"] * firmer) < best - 0.01


def test_flat_green_is_straight(tmp_path):
    found = record(tmp_path, "--distance-ft", 10)
    np.testing.assert_allclose(found[COLUMNS[:4]].astype(float), [11, 0, 0, 0], atol=0.05)
    assert found["roll_flat_ft"] > 10


def test_break_is_empty_where_the_ball_never_gets_there(tmp_path):
    uphill = ("--distance-ft", 10, "--slope-pct", 3, "--slope-to-deg", 180)
    found = record(tmp_path, *uphill)
    # v² / (2 (a + b)): 11 ft flat is 11 a / (a + b) uphill.
    pull = 5 / 7 * 32.174 * np.sin(np.arctan(0.03))
    assert found["stop_along_ft"] == pytest.approx(11 * 1.8 / (1.8 + pull), abs=1e-3)
    assert found["stop_right_ft"] == 0
    assert np.isnan(found["break_ft"])
    assert found["aim_deg"] == pytest.approx(0, abs=0.05)


def test_json_keeps_what_was_asked(tmp_path):
    uphill = ("--distance-ft", 10, "--slope-pct", 3, "--slope-to-deg", 180)
    assert command(*uphill, "-o", tmp_path / "roll.json") == 0
    written = json.loads((tmp_path / "roll.json").read_text())
    assert written["records"][0]["break_ft"] is None
    assert written["meta"]["slope_pct"] == 3
    assert written["meta"]["pace_sd_pct"] == PACE_SD_PCT


def test_without_a_file_it_says_it_in_words(capsys):
    assert command(*ACROSS) == 0
    said = capsys.readouterr().out
    assert "it stops 11.18 ft along the line, 1.50 ft right" in said
    assert "degrees left of the straight line to the hole" in said
    assert command("--distance-ft", 10, "--slope-pct", 3, "--slope-to-deg", 180) == 0
    assert "never gets as far as the hole" in capsys.readouterr().out


def test_a_ball_that_would_not_stop_exits_1(capsys):
    assert command("--distance-ft", 10, "--slope-pct", 8, "--stimp-ft", 12) == 1
    said = capsys.readouterr().err
    assert "slope of 8 % at a green speed of 12 ft" in said
    assert "would not stop" in said


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--distance-ft", 0), "--distance-ft: got 0; expected 0.2 to 200"),
        (("--distance-ft", "nan"), "--distance-ft: got nan"),
        (("--distance-ft", 1000), "expected 0.2 to 200"),
        (("--distance-ft", 10, "--past-ft", -10), "--past-ft: got -10"),
        (("--distance-ft", 10, "--slope-pct", -2), "--slope-pct: got -2"),
        (("--distance-ft", 10, "--slope-to-deg", "inf"), "--slope-to-deg: got inf"),
        (("--distance-ft", 10, "--stimp-ft", 0), "--stimp-ft: got 0; expected 1 to 30"),
        (("--distance-ft", 10, "--line-sd-deg", 0), "--line-sd-deg: got 0"),
        (("--distance-ft", 10, "--pace-sd-pct", 100), "--pace-sd-pct: got 100"),
    ],
)
def test_what_makes_no_putt_exits_2(arguments, said, capsys):
    assert command(*arguments) == 2
    assert said in capsys.readouterr().err


def test_neither_a_sampler_nor_tables_are_loaded():
    code = (
        "import sys; from putlab.cli.skill import roll; roll(10.0);"
        "assert not {'pandas', 'pymc', 'matplotlib', 'numba'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, timeout=60)
