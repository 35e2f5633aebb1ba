"""Logs of a thousand to a million putts, and rosters of one to two hundred players."""

import json
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

pytestmark = pytest.mark.bench

SCALE = str(Path(__file__).with_name("scale.py"))
ROSTER = str(Path(__file__).with_name("roster.py"))
LENGTHS_FT = np.array([3.0, 6.0, 10.0, 15.0, 24.0])


def putts_of_a_roster(rng, putts):
    """Return putts of three players over ten visits at five lengths, whole degrees."""
    player, visit = rng.integers(0, 3, putts), np.sort(rng.integers(1, 11, putts))
    distance = rng.choice(LENGTHS_FT, putts)
    line_sd = np.array([0.7, 1.0, 1.4])[player]
    return pd.DataFrame(
        {
            "player": np.array(["alder", "birch", "rowan"])[player],
            "session": np.array([f"2025-03-{n:02d}" for n in range(32)])[visit],
            "distance_ft": distance,
            "line_deg": np.round(line_sd * rng.normal(size=putts)),
            "roll_ft": np.round(distance * (1 + 0.08 * rng.normal(size=putts)), 1),
        }
    )


def test_a_fit_costs_what_its_intervals_cost(measured, run_process, tmp_path):
    for putts in (1_000, 10_000, 100_000, 1_000_000):
        frame = putts_of_a_roster(np.random.default_rng(1), putts)
        frame.to_parquet(tmp_path / f"{putts:09d}.parquet", index=False)
    ran = run_process(SCALE, str(tmp_path), limit=1500)
    found = {row["putts"]: row for row in map(json.loads, ran.output.split("\n")[:-1])}
    for putts, row in found.items():
        note = f"{row['intervals']} intervals of line; read in {row['read']:.1f} s"
        measured.add("scale", f"line and pace fit, {putts} putts", row["fit"], "s", note=note)
    measured.add("scale", "all of these: memory", ran.megabytes, "MB")
    ratio = found[1_000_000]["fit"] / found[10_000]["fit"]
    assert measured.add("scale", "fit, a million against 10 thousand", ratio, "times", most=2)


@pytest.mark.parametrize("players", [1, 20, 200])
def test_players_fitted_alone(measured, run_process, players):
    ran = run_process(ROSTER, str(players), "2", limit=3000)
    found = json.loads(ran.output.strip().splitlines()[-1])
    note = f"{found['failed']} without a result"
    most = 900 if players == 200 else None
    kept = measured.add(
        "roster", f"{players} players, 2 processes", found["seconds"], "s", most=most, note=note
    )
    assert kept in (None, True)
    assert found["failed"] == 0


def test_results_do_not_depend_on_the_number_of_processes(measured, run_process):
    digests = []
    for workers in ("1", "2"):
        ran = run_process(ROSTER, "4", workers, limit=1500)
        digests.append(json.loads(ran.output.strip().splitlines()[-1])["digest"])
    same = digests[0] == digests[1]
    measured.add("roster", "4 players by 1 and by 2 processes", "same" if same else "differ", "")
    assert same
