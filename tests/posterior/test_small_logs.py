"""Little, odd or extreme data: a wide sensible answer or a clear refusal.

All logs here are of one padded size, so one compiled model serves them.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from made_logs import log_of, simulated_log
from scipy.stats import chi2

from putlab.base.errors import FitError
from putlab.base.settings import interval_probabilities
from putlab.model.priors import LINE_PRIORS, PRIORS
from putlab.model.simulate import steady
from putlab.posterior.player import fit_log
from putlab.rounds.estimate import estimate_table

pytestmark = pytest.mark.slow


def putts(line_deg=np.nan, roll_ft=np.nan, distance_ft=10.0, session="one"):
    size = max(np.size(line_deg), np.size(roll_ft))
    columns = {"player": "p", "session": session, "distance_ft": distance_ft}
    columns |= {"line_deg": line_deg, "roll_ft": roll_ft, "putt": range(1, size + 1)}
    return pd.DataFrame(columns, index=range(size))


def width_in_log(row):
    return np.log(row["line_sd_deg_hi"] / row["line_sd_deg_lo"])


def test_two_putts_give_a_wide_answer():
    row = estimate_table(fit_log(log_of(putts([1.0, -1.0], [10.5, 9.0])))).iloc[0]
    assert row["putts"] == 2
    assert width_in_log(row) > 1.0  # the upper end is at least e times the lower
    assert 0.3 < row["line_sd_deg"] < 3


def test_ten_putts_give_a_narrower_answer_than_two(rng):
    two = estimate_table(fit_log(log_of(putts([1.0, -1.0], [10.5, 9.0])))).iloc[0]
    ten = putts(rng.normal(0, 1, 10).round(), 10 * (1 + rng.normal(0, 0.08, 10)).round(2))
    row = estimate_table(fit_log(log_of(ten))).iloc[0]
    assert width_in_log(row) < width_in_log(two)


def test_readings_all_equal_say_that_spread_is_small_and_not_nought(rng):
    rolls = (10 * (1 + rng.normal(0, 0.08, 40))).round(1)
    row = estimate_table(fit_log(log_of(putts([0.0] * 40, rolls)))).iloc[0]
    # Forty readings of 0 in whole degrees: the spread is below half a degree, well above 0.
    assert 0.02 < row["line_sd_deg_lo"] < row["line_sd_deg_hi"] < 0.5


def test_every_ball_at_the_backstop_leaves_pace_to_its_prior():
    stopped = log_of(putts([0.0, 1.0, -1.0, 0.0], [12.0] * 4), roll_limit_ft=12.0)
    row = estimate_table(fit_log(stopped)).iloc[0]
    assert row["pace_sd_pct_hi"] / row["pace_sd_pct_lo"] > 2.5


def test_line_alone_gives_line_and_leaves_pace_to_its_prior(rng):
    row = estimate_table(fit_log(log_of(putts(rng.normal(0, 1, 60).round())))).iloc[0]
    assert width_in_log(row) < 0.8
    assert row["pace_sd_pct_hi"] / row["pace_sd_pct_lo"] > 2.5


def test_nothing_but_tap_ins_is_refused():
    """Made or missed on a green has a model of its own (`tests/test_holing.py`)."""
    made = putts(np.full(5, np.nan), distance_ft=1.0).assign(holed=[True, True, True, True, False])
    with pytest.raises(FitError, match="no line or roll readings, and no putts made or missed"):
        fit_log(log_of(made))


def test_exact_readings_of_one_visit_agree_with_the_chi_square_interval(rng):
    """With flat priors the posterior of a normal's sd is the textbook interval:
    (n - 1) s² / sigma² is chi-square on n - 1 degrees of freedom (any statistics text).
    """
    size = 25
    readings = rng.normal(0.4, 1.3, size)
    # Flat in log spread and mean; every effect that one plain sample lacks switched off.
    scales = ("between", "bump", "bias_bump", "setup", "form")
    off = dict.fromkeys((f"{name}_median" for name in scales), 0.01)
    off |= dict.fromkeys((f"{name}_log_sd" for name in scales), 0.1)
    off |= dict.fromkeys(("slope_sd", "trend_sd", "early_sd", "counted_sd", "shift_sd"), 0.01)
    off |= dict.fromkeys(("effect_sd", "effect_slope_sd"), 0.01)
    flat = replace(LINE_PRIORS, sd_log_sd=20.0, bias_sd=100.0, mishit_b=1e4, **off)
    rolls = 10 * (1 + rng.normal(0, 0.08, size))
    log = log_of(putts(readings, rolls.round(1)), line_step_deg=0.0)
    fit = fit_log(log, priors=PRIORS | {"line": flat})
    draws = np.exp(fit.trees["line"]["posterior"]["level"].values.ravel())
    tails = np.array(interval_probabilities())
    s2 = readings.var(ddof=1)
    textbook = np.sqrt((size - 1) * s2 / chi2.ppf(1 - tails, size - 1))
    # 4,000 draws place a 5 % point of this posterior to about 2 % (3 Monte Carlo errors).
    assert np.quantile(draws, tails) == pytest.approx(textbook, rel=0.02)


def test_a_backstop_and_whole_degrees_are_allowed_for(rng):
    """One log, truth known; the calibration runs do fifty."""
    lengths = [33.0, 36.0]
    two = {"players": 1, "lengths": 2}
    log = simulated_log(
        rng,
        sessions=4,
        lengths=lengths,
        each=60,
        line=steady(np.log(0.5), **two),
        pace=steady(np.log(8.0), **two),
        roll_limit_ft=36.0,
    )
    table = estimate_table(fit_log(log))
    assert table["line_sd_deg"].mean() == pytest.approx(0.5, rel=0.1)
    assert table["pace_sd_pct"].mean() == pytest.approx(8.0, rel=0.12)
