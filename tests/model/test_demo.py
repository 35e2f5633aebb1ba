"""The shipped demo is the one its script makes, and is what its story says."""

import json

import numpy as np
import pytest
from conftest import DEMO
from demo_maker import (
    EVENINGS,
    LENGTHS_FT,
    NEW,
    OLD,
    TRIAL_EVENINGS,
    demo_putts,
    shown_roll_ft,
    write_demo,
)

from putlab.log.read import read_log


def test_the_shipped_demo_is_what_the_script_writes(tmp_path):
    write_demo(tmp_path)
    assert files_in(tmp_path) == files_in(DEMO)


def files_in(folder):
    """Return the content of every file of a folder, by its place there."""
    return {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_the_demo_is_the_halls_log(demo_log):
    hall = read_log(DEMO / "hall")
    assert hall.digest == demo_log.digest
    assert hall.rules == demo_log.rules
    assert hall.putts.drop(columns="file").equals(demo_log.putts.drop(columns="file"))


def test_the_story_of_the_attic():
    attic = read_log(DEMO / "attic")
    assert (attic.players, attic.warnings, len(attic.rejects)) == (["hazel"], [], 0)
    assert len(attic.putts) == attic.rows_read == 210
    in_m = attic.putts["distance_ft"] * 0.3048
    assert sorted(in_m.round(6).unique()) == [1.0, 2.0, 3.5, 5.0, 7.0]
    assert attic.rules.roll_limit_ft is None
    assert attic.rules.line_step_deg == 0.1
    assert attic.rules.roll_step_ft == pytest.approx(0.01 / 0.3048)
    assert attic.putts.groupby("session")["condition"].nunique().eq(1).all()


def test_nine_typing_errors_are_rejected_and_nothing_is_lost(demo_log):
    assert len(demo_log.rejects) == 9
    assert len(demo_log.putts) + len(demo_log.rejects) == demo_log.rows_read
    assert demo_log.rows_read == len(demo_putts())


def test_the_story_of_the_demo(demo_log):
    putts = demo_log.putts
    first = putts[~(putts["putt_no"] > 1)]
    assert set(first["distance_ft"]) == set(LENGTHS_FT)
    assert putts["session"].nunique() == len(EVENINGS)
    assert np.all(putts["line_deg"] == putts["line_deg"].round())
    assert (putts["roll_ft"].max(), demo_log.rules.roll_limit_ft) == (39.0, 39.0)
    birch = putts[putts["player"] == "birch"]
    practised = birch[birch["drill"] == "both"].groupby("session")["condition"]
    assert practised.nunique().tolist() == [2] * TRIAL_EVENINGS + [1] * 4
    # Neither routine has the fresh end of an evening to itself.
    late = birch[birch["drill"] == "both"].groupby("condition")["putt"].mean()
    assert late[OLD] == pytest.approx(late[NEW], abs=1.0)


def test_every_counted_hole_is_played_out(demo_log):
    games = demo_log.putts[demo_log.putts["drill"] == "counted"]
    last = games.groupby(["player", "session", "hole_no"])["holed"].last()
    assert last.all()
    assert games.groupby(["player", "session"])["hole_no"].nunique().eq(9).all()


def test_a_leave_is_where_the_ball_stopped(demo_log):
    """Law of cosines on the reading, for every missed putt that rolled short of the board."""
    missed = demo_log.putts[demo_log.putts["leave_ft"].notna()]
    missed = missed[missed["roll_ft"] < 39]
    d, r = missed["distance_ft"], missed["roll_ft"]
    angle = np.radians(missed["line_deg"])
    leave = np.sqrt(d**2 + r**2 - 2 * d * r * np.cos(angle))
    # The line was read in whole degrees: up to half a degree of r to one side.
    slack = 0.15 + r * np.radians(0.5)
    assert np.all(np.abs(leave - missed["leave_ft"]) <= slack)


def test_the_board_stops_the_ball():
    assert shown_roll_ft([12.34, 50.0, -1.0]).tolist() == [12.3, 39.0, 0.0]


def test_the_truth_is_stored_beside_the_demo():
    truth = json.loads((DEMO / "hall/truth.json").read_text())
    assert len(truth["within_a_visit_at_the_end"]) == 18
    assert truth["new_routine_line_sd_ratio"] == pytest.approx(np.exp(-0.4))
