"""The rule of the verdict, against simulated trials and textbook boundaries."""

import numpy as np
import pytest
from scipy.stats import norm

from putlab.trials.looking import (
    CANNOT_TELL,
    HELPED,
    HURT,
    NO_DIFFERENCE,
    Bar,
    chance_of_helped,
    p_small,
    putts_to_verdict,
    verdict,
    z_needed,
    z_of_design,
)

BAR = Bar(region=np.log(1.05), detect=-np.log(0.8), prior_sd=0.2)


def ever_beyond(bound, t, *, trials=40_000, seed=5):
    """Return the share of trials of nothing whose |z| ever passes the bound, by brute force."""
    rng = np.random.default_rng(seed)
    steps = np.sqrt(np.diff(t, prepend=0.0))
    z = np.cumsum(rng.standard_normal((trials, len(t))) * steps, axis=1) / np.sqrt(t)
    return (np.abs(z) > bound).any(axis=1).mean()


def test_the_simulation_agrees_with_the_known_cost_of_repeated_looks():
    # P. Armitage, C. K. McPherson and B. C. Rowe, "Repeated significance tests on
    # accumulating data", JRSS A 132 (1969): 5 looks 14.2 %, 10 looks 19.3 % (from memory).
    for looks, published in ((5, 0.142), (10, 0.193)):
        t = np.arange(1, looks + 1) / looks
        assert ever_beyond(1.96, t) == pytest.approx(published, abs=0.006)


def test_the_simulation_agrees_with_the_boundary_of_obrien_and_fleming():
    # Five looks, 5 %: 2.040 / sqrt(t) (Jennison and Turnbull 2000, table 2.3; from memory).
    t = np.arange(1, 6) / 5
    assert ever_beyond(2.040 / np.sqrt(t), t) == pytest.approx(0.05, abs=0.004)


@pytest.mark.parametrize("looks", [5, 10])
@pytest.mark.parametrize("end", [0.5, 1.0, 1.3, 2.0, 5.0])
def test_looking_often_at_a_trial_of_nothing_raises_few_false_alarms(looks, end):
    t = end * np.arange(1, looks + 1) / looks
    assert ever_beyond(z_needed(t), t) <= 0.05 + 0.003  # three standard errors


def test_the_bar_is_strict_early_and_lowest_at_the_designed_size():
    t = np.array([0.1, 0.5, 0.999, 1.0, 1.001, 2.0])
    needed = z_needed(t)
    assert needed.argmin() == 3
    assert needed[2] == pytest.approx(needed[4], abs=0.01)
    assert needed[0] > 6


def test_the_design_spans_the_textbooks_standard_errors():
    # 1.96 + 0.84: any textbook of trial design.
    assert z_of_design() == pytest.approx(2.80, abs=0.005)


def test_the_prior_is_taken_out_of_the_bar():
    # A posterior pulled by a prior asks for the same evidence as the data without it.
    told = BAR.designed_information
    sd = 1 / np.sqrt(told + 1 / BAR.prior_sd**2)
    estimate = -z_needed(1.0) / np.sqrt(told)
    mean = estimate * told * sd**2
    for nudge, said in ((1.001, HELPED), (0.999, CANNOT_TELL)):
        assert verdict(nudge * mean, sd, BAR) == said
        assert verdict(-nudge * mean, sd, BAR) == (HURT if said == HELPED else said)


def test_a_change_known_to_be_small_makes_no_difference_that_matters():
    assert verdict(-0.01, 0.005, BAR) == NO_DIFFERENCE
    assert verdict(-0.10, 0.005, BAR) == HELPED
    expected = norm.cdf(0.04, 0.01, 0.02) - norm.cdf(-0.04, 0.01, 0.02)
    assert p_small(0.01, 0.02, 0.04) == pytest.approx(expected)


def test_chance_of_helped_follows_the_normal_theory_of_one_look():
    chance = chance_of_helped([1.0], seed=1)[0]
    assert chance == pytest.approx(norm.cdf(z_of_design() - z_needed(1.0)), abs=0.01)
    assert chance_of_helped([1.0], effect=0, seed=1)[0] < 0.03


def test_putts_to_a_verdict_are_none_where_there_is_one_and_fewer_where_it_is_near():
    how = {"information_per_putt": 0.5, "seed": 1}
    assert putts_to_verdict(-0.3, 0.07, BAR, **how) == 0
    near, far = (putts_to_verdict(m, 0.1, BAR, **how) for m in (-0.25, -0.1))
    assert 0 < near < far


def test_the_forecast_of_putts_holds_when_they_are_struck():
    # Independent futures: believe, strike as many putts as forecast, ask again.
    mean, sd, per_putt = -0.12, 0.1, 0.5
    putts = putts_to_verdict(mean, sd, BAR, information_per_putt=per_putt, seed=3)
    rng = np.random.default_rng(8)
    told = per_putt * putts
    seen = rng.normal(rng.normal(mean, sd, 4000), 1 / np.sqrt(told))
    precision = 1 / sd**2 + told
    after = (mean / sd**2 + told * seen) / precision
    decided = np.mean(verdict(after, np.full(4000, precision**-0.5), BAR) != CANNOT_TELL)
    assert decided == pytest.approx(0.8, abs=0.04)
