"""Ordinary days: they scatter as the golfer does, and readings look as the display shows."""

import numpy as np
import pytest
from made_golfers import MadeGolfer
from made_logs import log_of, simulated_log

from putlab.log.package import ReadingRules
from putlab.practice.targets import as_read, ordinary_days, planned_putts, readings_of, stepped

EXACT = ReadingRules()


def test_days_scatter_by_spread_and_share_an_offset():
    golfer = MadeGolfer(line_sd_deg=1.2, setup=(0.5, 0.0), line_bias_deg=0.3)
    days = ordinary_days(golfer, planned_putts(6.0, 40), EXACT, days=8000)["line"]
    assert days.mean() == pytest.approx(0.3, abs=0.02)
    assert np.sqrt(days.var(axis=1, ddof=1).mean()) == pytest.approx(1.2, rel=0.01)
    # The mean of a day: offset and 40 putts, 0.5^2 + 1.2^2 / 40.
    assert days.mean(axis=1).std() == pytest.approx(np.hypot(0.5, 1.2 / np.sqrt(40)), rel=0.03)


def test_a_day_has_its_form():
    golfer = MadeGolfer(form=0.3)
    days = ordinary_days(golfer, planned_putts(6.0, 400), EXACT, days=3000)["line"]
    assert np.log(days.std(axis=1)).std() == pytest.approx(np.hypot(0.3, 1 / 28), rel=0.06)


def test_mishits_are_four_times_as_wide():
    golfer = MadeGolfer(mishit_share=0.1)
    days = ordinary_days(golfer, planned_putts(6.0, 100), EXACT, days=4000)["line"]
    assert days.var() == pytest.approx(0.9 + 0.1 * 16, rel=0.03)


def test_line_is_shown_in_whole_degrees():
    golfer = MadeGolfer()
    rules = ReadingRules(line_step_deg=1.0)
    days = ordinary_days(golfer, planned_putts(6.0, 10), rules, days=500)["line"]
    assert np.all(days == np.round(days))


def test_a_backstop_stops_the_ball(rng):
    rules = ReadingRules(roll_limit_ft=11.0, roll_step_ft=0.1)
    shown = as_read("pace", np.array([[-5.0, 50.0]]), np.array([10.0, 10.0]), rules, rng)
    assert shown == pytest.approx(np.array([[-5.0, 10.0]]))


def test_a_ball_does_not_roll_back(rng):
    assert as_read("pace", np.array([[-400.0]]), np.array([10.0]), EXACT, rng)[0, 0] == -100


def test_no_step_shows_values_as_they_are():
    assert stepped(np.array([1.234]), None)[0] == 1.234


def test_readings_are_the_practice_putts_of_one_visit(rng):
    log = simulated_log(rng, sessions=2, lengths=[6.0, 10.0], each=4)
    putts = log.putts.copy()
    putts.loc[0, "drill"] = "counted"
    log = log_of(putts)
    today = readings_of(log, "player 1", "visit 01")
    assert len(today) == 7
    row = putts.iloc[1]
    assert today.loc[0, "line"] == row["line_deg"]
    assert today.loc[0, "pace"] == pytest.approx(100 * (row["roll_ft"] / row["distance_ft"] - 1))
