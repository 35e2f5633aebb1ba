"""The shuffled blocks of a trial: even, repeatable, and a log."""

import numpy as np
import pandas as pd
import pytest

from putlab.base.writing import write_table
from putlab.log.read import read_log
from putlab.trial.design import BLOCK, READINGS, design_trial, schedule


@pytest.fixture(scope="module")
def design():
    return design_trial([5, 10, 20], 20, sessions=7, seed=3)


@pytest.fixture(scope="module")
def sheet(design):
    return schedule(design, before="usual", after="new")


def test_every_visit_holds_both_arms_alike_at_every_length(design, sheet):
    counts = sheet.groupby(["session", "distance_ft", "condition"]).size()
    assert set(counts) == {design.putts_each}
    assert len(counts) == 7 * 3 * 2


def test_each_arm_goes_first_about_as_often(sheet):
    first = sheet.groupby(["session", "distance_ft"])["condition"].first()
    assert abs(first.value_counts().diff().iloc[-1]) <= 1


def test_many_putts_at_one_length_are_struck_in_short_blocks():
    sheet = schedule(design_trial([10], 20, sessions=6))
    for _, visit in sheet.groupby("session"):
        arms = visit["condition"].to_numpy()
        ends = np.flatnonzero(arms[1:] != arms[:-1])
        assert np.diff(ends, prepend=-1).max() <= 2 * BLOCK
        half = len(arms) // 2
        assert abs((arms[:half] == "A").sum() - half / 2) <= BLOCK


def test_a_length_is_struck_in_two_turns_the_second_in_reverse(sheet):
    for _, visit in sheet.groupby(["session", "distance_ft"]):
        arms = visit["condition"].to_numpy()
        blocks = arms[np.append(True, arms[1:] != arms[:-1])]
        assert list(blocks) in (["usual", "new", "usual"], ["new", "usual", "new"])


def test_order_within_a_visit_tells_nothing_of_the_arm(sheet):
    correlation = sheet.assign(new=sheet["condition"] == "new")[["putt", "new"]].corr()
    assert abs(correlation.iloc[0, 1]) < 0.1


def test_the_seed_fixes_the_order_and_another_changes_it(design, sheet):
    pd.testing.assert_frame_equal(sheet, schedule(design, before="usual", after="new"))
    assert not sheet.equals(schedule(design, before="usual", after="new", seed=4))


def test_the_filled_sheet_loads_back_as_a_log(design, sheet, tmp_path):
    assert sheet[list(READINGS)].isna().all(axis=None)
    filled = sheet.assign(line_deg=1.0, roll_ft=sheet["distance_ft"])
    write_table(filled, tmp_path / "trial.csv")
    log = read_log(tmp_path / "trial.csv")
    assert log.rejects.empty
    for column in ("player", "session", "putt", "distance_ft", "condition", "drill"):
        assert list(log.putts[column]) == list(sheet[column])


def test_the_drill_names_what_is_read():
    for metric, drill in (("line", "line"), ("pace", "pace"), ("strokes", "both")):
        sheet = schedule(design_trial([10], 40, metric=metric))
        assert set(sheet["drill"]) == {drill}
