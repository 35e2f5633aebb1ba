"""Reading rules: declared, read off the data, or assumed."""

import numpy as np
import pandas as pd
import pytest

from putlab.base.errors import UsageError
from putlab.log.rules import (
    ASSUMED,
    DECLARED,
    MEANINGS,
    READ_OFF,
    ROLL_STEPS_FT,
    STEPS,
    ReadingRules,
    common_step,
    complete_rules,
    declared_rules,
)


@pytest.fixture
def rng():
    return np.random.default_rng(7)


def readings(line=np.nan, roll=np.nan, *, roll_in_m=False):
    columns = {"line_deg": line, "roll_ft": roll, "roll_in_m": roll_in_m}
    return pd.DataFrame(columns, index=range(np.size(line)))


@pytest.mark.parametrize("step", [1.0, 0.5, 0.25, 0.1, 0.05, 0.01])
def test_the_step_a_display_rounds_to_is_found(rng, step):
    shown = np.round(rng.normal(0.3, 2.0, 200) / step) * step
    assert common_step(shown, STEPS) == step


def test_inches_are_found_as_twelfths_of_a_foot(rng):
    shown = rng.integers(60, 200, 100) / 12
    assert common_step(shown, ROLL_STEPS_FT) == pytest.approx(1 / 12)


def test_readings_finer_than_any_step_have_none(rng):
    assert common_step(rng.normal(0, 1, 100), STEPS) == 0.0


def test_no_readings_have_no_step():
    assert common_step(np.array([np.nan, np.nan]), STEPS) == 0.0


def test_one_typing_error_in_a_hundred_does_not_hide_the_step(rng):
    shown = np.round(rng.normal(0, 2.0, 100))
    shown[17] = 2.37
    assert common_step(shown, STEPS) == 1.0


def test_steps_not_declared_are_read_off_and_say_so():
    rules = complete_rules({"roll_limit_ft": 36.0}, readings([-1, 0, 2.0], [9.5, 10.1, 12.3]))
    assert (rules.line_step_deg, rules.roll_step_ft, rules.roll_limit_ft) == (1.0, 0.1, 36.0)
    assert rules.line_limit_deg is None
    assert rules.line_noise_deg == 0.0
    assert rules.source["line_step_deg"] == rules.source["roll_step_ft"] == READ_OFF
    assert rules.source["roll_limit_ft"] == DECLARED
    assert rules.source["line_limit_deg"] == rules.source["roll_noise_ft"] == ASSUMED


def test_a_declared_step_wins_over_the_data():
    rules = complete_rules({"line_step_deg": 2.0}, readings([-1, 0, 3.0], np.nan))
    assert rules.line_step_deg == 2.0
    assert rules.declared == {"line_step_deg": 2.0}


def test_a_step_of_metres_is_kept_in_feet():
    rolls_ft = np.array([3.1, 3.3, 4.0]) / 0.3048
    rules = complete_rules({}, readings([1, 0, 1.0], rolls_ft, roll_in_m=True))
    assert rules.roll_step_ft == pytest.approx(0.1 / 0.3048)


def test_the_coarser_step_serves_a_log_in_both_units():
    rolls_ft = np.array([3.1 / 0.3048, 3.3 / 0.3048, 10.1, 11.2])
    metric = np.array([True, True, False, False])
    rules = complete_rules({}, readings([1, 0, 1.0, 1], rolls_ft, roll_in_m=metric))
    assert rules.roll_step_ft == pytest.approx(0.1 / 0.3048)


def test_a_near_miss_of_a_rule_is_named():
    with pytest.raises(UsageError, match="Did you mean line_step_deg"):
        declared_rules({"line_steps_deg": 1})


@pytest.mark.parametrize("name", list(MEANINGS))
@pytest.mark.parametrize("value", [-1, float("nan"), float("inf"), "1", True, 1e6, [1]])
def test_a_value_no_rule_can_have_is_refused(name, value):
    with pytest.raises(UsageError, match=f"{name}: got .* expected a number"):
        declared_rules({name: value})


def test_rules_must_be_names_and_numbers():
    with pytest.raises(UsageError, match="names and numbers"):
        declared_rules([1, 2])


def test_only_declared_rules_of_an_object_are_taken():
    read = complete_rules({"roll_limit_ft": 30.0}, readings([1.0, 2.0], np.nan))
    assert declared_rules(read) == {"roll_limit_ft": 30.0}
    assert declared_rules(ReadingRules(line_step_deg=1)) == {"line_step_deg": 1.0}
    assert declared_rules({"line_step_deg": None}) == {}
    assert declared_rules(None) == {}
