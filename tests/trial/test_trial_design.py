"""Size of a trial: the exact F-test, what is added to it, what is refused; its shuffled blocks."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.power import normal_power

from putlab.base.errors import UsageError
from putlab.base.writing import write_table
from putlab.log.read import read_log
from putlab.trial.conditions import Conditions, plan_of
from putlab.trial.design import (
    BLOCK,
    READINGS,
    Assumptions,
    design_trial,
    f_test_power,
    f_test_putts,
)


@pytest.mark.parametrize("cut", [0.1, 0.2, 0.4])
def test_f_test_power_is_the_share_of_simulated_tests_that_see_it(cut):
    putts, rng = f_test_putts(cut), np.random.default_rng(6)
    spreads = stats.chi2(putts - 1).rvs((2, 40_000), random_state=rng)
    ratio = (1 - cut) ** 2 * spreads[1] / spreads[0]
    p = stats.f(putts - 1, putts - 1).cdf(ratio)
    seen = np.mean(np.minimum(p, 1 - p) < 0.025)
    assert f_test_power(putts, cut) == pytest.approx(seen, abs=0.008)


def test_f_test_putts_is_the_least_number_that_suffices():
    putts = f_test_putts(0.2)
    assert f_test_power(putts, 0.2) >= 0.8 > f_test_power(putts - 1, 0.2)


@pytest.mark.parametrize("cut", [0.05, 0.1, 0.2, 0.3])
def test_f_test_putts_are_near_the_normal_approximation(cut):
    # The log of a sample variance of n has variance 2 / (n - 1); power by statsmodels.
    putts = f_test_putts(cut)
    size = -np.log(1 - cut) / np.sqrt(1 / 2)
    power = normal_power(size, putts - 1, 0.05, alternative="two-sided", sigma=np.sqrt(2))
    assert power == pytest.approx(0.8, abs=0.015)


@pytest.mark.parametrize("detect", [10, 15, 20, 25, 30])
def test_the_covered_case_is_the_exact_f_test_and_the_cost_of_checking(detect):
    # Two arms, one length, no session effects, exact readings: scipy's F distribution.
    design = design_trial([10], detect)
    cut = detect / 100
    power = f_test_power(np.arange(2, 1000), cut)
    exact = 2 + int(np.argmax(power >= 0.8))
    assert design.f_test_putts == exact
    assert design.putts_a_condition == pytest.approx(1.20 * exact, abs=1)


def test_the_chance_rises_with_visits_and_ends_near_the_one_designed_for():
    chance = design_trial([5, 10, 20], 15).table["chance"]
    assert chance.is_monotonic_increasing
    assert 0.75 < chance.iloc[-1] < 0.85
    assert chance.iloc[len(chance) // 2] < 0.5


def test_coarse_readings_and_visits_of_their_own_take_more_putts():
    exact = design_trial([10], 20, sessions=8).putts_a_condition
    coarse = design_trial(
        [10], 20, sessions=8, assumptions=Assumptions(share=0.5, visit_means=True)
    ).putts_a_condition
    assert coarse == pytest.approx(2 * exact, abs=8)


def test_the_layout_holds_the_need_and_not_much_more():
    for detect in (10, 15, 25):
        design = design_trial([4, 8, 15, 30], detect)
        more = design.scheduled_a_condition - design.putts_a_condition
        assert 0 <= more < design.sessions * 4


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (([], 20), "lengths in feet"),
        (([0, 5], 20), "lengths in feet"),
        (([5], 0), "percent above 0"),
        (([5], 100), "percent above 0"),
        (([5], 0.01), "more than 1,000,000"),
    ],
)
def test_what_cannot_be_designed_is_refused(arguments, said):
    with pytest.raises(UsageError, match=said):
        design_trial(*arguments)


def test_too_few_putts_a_visit_are_refused():
    with pytest.raises(UsageError, match="session_putts 4: expected 6 or more"):
        design_trial([3, 6, 9], 20, session_putts=4)
    with pytest.raises(UsageError, match="sessions 0: expected 1 or more"):
        design_trial([3, 6, 9], 20, sessions=0)


# The shuffled blocks: even, repeatable, and a log.


@pytest.fixture(scope="module")
def design():
    return design_trial([5, 10, 20], 20, sessions=7, seed=3)


@pytest.fixture(scope="module")
def sheet(design):
    return design.schedule(before="usual", after="new")


def test_every_visit_holds_both_arms_alike_at_every_length(design, sheet):
    counts = sheet.groupby(["session", "distance_ft", "condition"]).size()
    assert set(counts) == {design.putts_each}
    assert len(counts) == 7 * 3 * 2


def test_each_arm_goes_first_about_as_often(sheet):
    first = sheet.groupby(["session", "distance_ft"])["condition"].first()
    assert abs(first.value_counts().diff().iloc[-1]) <= 1


def test_many_putts_at_one_length_are_struck_in_short_blocks():
    sheet = design_trial([10], 20, sessions=6).schedule()
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
    pd.testing.assert_frame_equal(sheet, design.schedule(before="usual", after="new"))
    assert not sheet.equals(design.schedule(before="usual", after="new", seed=4))


def test_the_filled_sheet_loads_back_as_a_log(design, sheet, tmp_path):
    assert sheet[list(READINGS)].isna().all(axis=None)
    filled = sheet.assign(line_deg=1.0, roll_ft=sheet["distance_ft"])
    write_table(filled, tmp_path / "trial.csv")
    log = read_log(tmp_path / "trial.csv")
    assert log.rejects.empty
    for column in ("player", "session", "putt", "distance_ft", "condition", "trial", "drill"):
        assert list(log.putts[column]) == list(sheet[column])


def test_the_sheet_holds_its_plan_and_the_log_tells_how_far_it_has_come(design, sheet, tmp_path):
    half = sheet[sheet["session"] < "visit 5"].assign(line_deg=1.0)
    write_table(half, tmp_path / "trial.csv")
    log, pair = read_log(tmp_path / "trial.csv"), Conditions("player", "usual", "new")
    plan = plan_of(log, pair)
    assert replace(plan, putts_done=0, sessions_done=0) == design.plan
    assert (plan.metric, plan.detect_pct, plan.sessions) == ("line", 20, 7)
    assert plan.putts == len(sheet)
    assert (plan.putts_done, plan.sessions_done, plan.over) == (len(half), 4, False)
    assert replace(plan, sessions_done=7).over
    assert plan_of(log, Conditions("player", "usual", "another")).putts_done < len(half)
    assert plan_of(replace(log, putts=log.putts.assign(trial=None)), pair) is None


def test_the_drill_names_what_is_read():
    for metric, drill in (("line", "line"), ("pace", "pace"), ("strokes", "both")):
        sheet = design_trial([10], 40, metric=metric).schedule()
        assert set(sheet["drill"]) == {drill}
