"""The rule of the verdict, against simulated trials and textbook boundaries."""

import inspect

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from putlab.cli.trial import trial
from putlab.green.hole_out import hole_out
from putlab.green.published import green_spread
from putlab.green.skill import Skill
from putlab.model.priors import PRIORS
from putlab.model.readings import COMPONENTS
from putlab.rounds.first_putts import shipped_mix
from putlab.trial.boundary import (
    CANNOT_TELL,
    DESIGN_Z,
    DETECT_PCT,
    HELPED,
    HURT,
    NO_DIFFERENCE,
    TOO_SMALL_PCT,
    TOO_SMALL_STROKES,
    Boundary,
    chance_of_helped,
    p_below,
    two_figures,
    z_needed,
)

BOUNDARY = Boundary(too_small=np.log(1.05), detect=-np.log(0.8), prior_sd=0.2)


def ever_beyond(bound, t, *, trials=40_000, seed=5):
    """Return the share of trials of nothing whose |z| ever passes the bound, by brute force."""
    rng = np.random.default_rng(seed)
    steps = np.sqrt(np.diff(t, prepend=0.0))
    z = np.cumsum(rng.standard_normal((trials, len(t))) * steps, axis=1) / np.sqrt(t)
    return (np.abs(z) > bound).any(axis=1).mean()


def test_the_simulation_agrees_with_the_known_cost_of_repeated_checks():
    # P. Armitage, C. K. McPherson and B. C. Rowe, "Repeated significance tests on
    # accumulating data", JRSS A 132 (1969): 5 checks 14.2 %, 10 checks 19.3 % (from memory).
    for checks, published in ((5, 0.142), (10, 0.193)):
        t = np.arange(1, checks + 1) / checks
        assert ever_beyond(1.96, t) == pytest.approx(published, abs=0.006)


def test_the_simulation_agrees_with_the_boundary_of_obrien_and_fleming():
    # Five checks, 5 %: 2.040 / sqrt(t) (Jennison and Turnbull 2000, table 2.3; from memory).
    t = np.arange(1, 6) / 5
    assert ever_beyond(2.040 / np.sqrt(t), t) == pytest.approx(0.05, abs=0.004)


@pytest.mark.parametrize("checks", [5, 10, 60])
@pytest.mark.parametrize("end", [0.5, 1.0, 1.3, 2.0, 3.0])
def test_checking_often_at_a_trial_of_nothing_raises_few_false_alarms(checks, end):
    t = end * np.arange(1, checks + 1) / checks
    assert ever_beyond(z_needed(t), t) <= 0.05


@pytest.mark.parametrize("conditions", [3, 4])
def test_any_pair_of_several_conditions_is_as_seldom_wrong(conditions):
    # Estimates of one mean each, by brute force; a pair's information is that of its difference.
    t = np.arange(1, 31) / 15
    rng = np.random.default_rng(6)
    steps = np.sqrt(np.diff(t, prepend=0.0))[:, None]
    score = np.cumsum(rng.standard_normal((20_000, t.size, conditions)) * steps, axis=1)
    first, second = np.triu_indices(conditions, 1)
    z = (score[..., first] - score[..., second]) / np.sqrt(2 * t)[:, None]
    bar = z_needed(t, pairs=first.size)[:, None]
    assert (np.abs(z) > bar).any(axis=(1, 2)).mean() <= 0.05
    assert (np.abs(z) > z_needed(t)[:, None]).any(axis=(1, 2)).mean() > 0.07


def test_checking_after_every_visit_costs_putts_and_little_chance():
    # A trial of the size that allows for it, asked after each of ten visits.
    for checks in (4, 10):
        t = np.arange(1, checks + 1) / checks
        assert 0.78 <= chance_of_helped(t, seed=3)[-1] <= 0.81


def test_the_bar_is_strict_early_and_lowest_at_the_designed_size():
    t = np.array([0.1, 0.5, 0.999, 1.0, 1.001, 2.0])
    needed = z_needed(t)
    assert needed.argmin() == 3
    assert needed[2] == pytest.approx(needed[4], abs=0.01)
    assert needed[0] > 6


@pytest.mark.parametrize(
    ("t", "needed"),
    [
        # The head of the module worked by hand, FINAL_Z = 2.3: 2.3 / t before,
        (1 / 16, 2.3 * 16),
        (0.5, 4.6),
        (1.0, 2.3),
        # and sqrt(2.3^2 + 12 log t) after: log t = 1 and 2.
        (np.e, 4.1581),
        (np.e**2, 5.4120),
    ],
)
def test_the_bar_by_hand(t, needed):
    assert z_needed(t) == pytest.approx(needed, abs=1e-4)


def test_the_design_spans_the_textbooks_standard_errors():
    # 1.96 + 0.84: any textbook of trial design.
    assert pytest.approx(2.80, abs=0.005) == DESIGN_Z


def test_the_prior_is_taken_out_of_the_bar():
    # A posterior pulled by a prior asks for the same evidence as the data without it.
    told = BOUNDARY.designed_information
    sd = 1 / np.sqrt(told + 1 / BOUNDARY.prior_sd**2)
    estimate = -z_needed(1.0) / np.sqrt(told)
    mean = estimate * told * sd**2
    for nudge, said in ((1.001, HELPED), (0.999, CANNOT_TELL)):
        assert BOUNDARY.verdict(nudge * mean, sd) == said
        assert BOUNDARY.verdict(-nudge * mean, sd) == (HURT if said == HELPED else said)


def test_information_is_what_the_data_add_to_the_prior():
    # 1 / 0.1^2 - 1 / 0.2^2 = 100 - 25; designed: 1.20 (2.8016 / 0.22314)^2.
    assert BOUNDARY.information(0.1) == pytest.approx(75)
    assert Boundary(too_small=0.05, detect=0.2).information(0.1) == pytest.approx(100)
    assert BOUNDARY.designed_information == pytest.approx(189.16, abs=0.02)
    # A posterior as wide as the prior has learned nothing, and is asked for the most.
    assert BOUNDARY.information(0.2) == pytest.approx(189.16e-6, abs=2e-8)
    assert BOUNDARY.verdict(-1.0, 0.25) == CANNOT_TELL


def test_a_posterior_widened_for_what_putts_cannot_tell_has_come_as_far_as_before():
    # By hand: sd_fit 0.08 has gathered 156.25 - 25 = 131.25 of 189.16, so t = 0.6939 and
    # z must pass 2.3 / t = 3.3147; of 0.1, 75 / (75 + 25) is left by the prior.
    expected = norm.cdf(3.3147 * np.sqrt(0.75))
    assert BOUNDARY.p_needed(0.1, sd_fit=0.08) == pytest.approx(expected, abs=1e-5)
    assert BOUNDARY.p_needed(0.1) > BOUNDARY.p_needed(0.1, sd_fit=0.08)
    z = 3.3147 * np.sqrt(0.75)
    for nudge, said in ((1.001, HELPED), (0.999, CANNOT_TELL)):
        assert BOUNDARY.verdict(-nudge * z * 0.1, 0.1, sd_fit=0.08) == said


def test_a_verdict_for_each_of_many_changes():
    found = BOUNDARY.verdict(np.array([-0.3, 0.0, 0.3, 0.1]), np.array([0.05, 0.01, 0.05, 0.1]))
    assert found.tolist() == [HELPED, NO_DIFFERENCE, HURT, CANNOT_TELL]


def test_small_enough_is_a_chance_of_nine_in_ten():
    # Centred on nought a region of half width 1.645 sd holds 90 % (any normal table).
    assert BOUNDARY.verdict(0.0, BOUNDARY.too_small / 1.66) == NO_DIFFERENCE
    assert BOUNDARY.verdict(0.0, BOUNDARY.too_small / 1.63) == CANNOT_TELL


def test_chances_below_a_value_are_the_normal_ones():
    assert p_below(0.3, 0.2, 0.5) == pytest.approx(norm.cdf(1.0))
    assert p_below(0.3, 0.2) == pytest.approx(norm.sf(1.5))


def test_the_sizes_taken_where_none_is_said():
    """Five percent of spread, and a trial for the size that `putlab trial` designs for."""
    assert inspect.signature(trial).parameters["detect"].default == DETECT_PCT
    # What 5 % off each spread saves a golfer in the middle of the priors, on a green.
    mix, saved = shipped_mix(), []
    for keep in ((1.0, 1.0), (0.95, 1.0), (1.0, 0.95)):
        spreads = (
            PRIORS[name].sd_median * part for name, part in zip(COMPONENTS, keep, strict=True)
        )
        putts = hole_out(Skill.constant(*spreads).wider(*green_spread()), mix.distance_ft)
        saved.append(float(mix.average(putts.average_putts[0])))
    line, pace = saved[0] - saved[1], saved[0] - saved[2]
    assert (round(line, 2), round(pace, 2)) == (0.13, 0.11)
    assert round(line, 1) == round(pace, 1) == TOO_SMALL_STROKES
    assert TOO_SMALL_PCT == 5


def test_a_change_known_to_be_small_makes_no_difference_that_matters():
    assert BOUNDARY.verdict(-0.01, 0.005) == NO_DIFFERENCE
    assert BOUNDARY.verdict(-0.10, 0.005) == HELPED
    expected = norm.cdf(0.04, 0.01, 0.02) - norm.cdf(-0.04, 0.01, 0.02)
    assert Boundary(0.04, 0.2).p_too_small(0.01, 0.02) == pytest.approx(expected)


def test_chance_of_helped_follows_the_normal_theory_of_one_check():
    chance = chance_of_helped([1.0], seed=1)[0]
    assert chance == pytest.approx(norm.cdf(DESIGN_Z * 1.2**0.5 - 2.3), abs=0.01)
    assert chance_of_helped([1.0], effect=0, seed=1)[0] < 0.03


def test_putts_to_a_verdict_are_none_where_there_is_one_and_fewer_where_it_is_near():
    how = {"per_putt": 0.5}
    assert BOUNDARY.putts_to_verdict(-0.3, 0.07, sd_fit=0.07, **how) == 0
    near, far = (BOUNDARY.putts_to_verdict(m, 0.1, sd_fit=0.1, **how) for m in (-0.25, -0.22))
    assert 0 < near < far


CASES = [
    # mean, sd, sd_fit, information of a putt
    (-0.25, 0.11, None, 1.0),
    (0.3, 0.12, None, 0.1),
    (-0.26, 0.11, 0.09, 0.5),
    (-0.28, 0.12, 0.085, 3.0),
    # Nearly there: what is believed by now weighs as much as what is to come.
    (-0.285, 0.1, None, 0.5),
    (-0.32, 0.13, 0.1, 0.5),
]


def share_decided(putts, mean, sd, sd_fit, per_putt, futures=40_000):
    """Return the share of futures with a verdict: believe, strike the putts, ask again."""
    rng = np.random.default_rng(8)
    told = per_putt * putts
    seen = mean + np.sqrt(sd**2 + 1 / told) * rng.standard_normal(futures)
    precision = sd**-2.0 + told
    after = (mean * sd**-2.0 + told * seen) / precision
    had = (sd_fit or sd) ** -2.0
    said = BOUNDARY.verdict(after, precision**-0.5, sd_fit=(had + told) ** -0.5)
    return np.mean(said != CANNOT_TELL)


@pytest.mark.parametrize("case", CASES)
def test_the_forecast_of_putts_holds_when_they_are_struck(case):
    mean, sd, sd_fit, per_putt = case
    how = {"per_putt": per_putt, "sd_fit": sd_fit or sd}
    found = BOUNDARY.putts_to_verdict(mean, sd, **how)
    # Enough, and not with a tenth less: they are rounded up to two figures.
    assert share_decided(found, *case) > 0.795
    assert share_decided(0.9 * found, *case) < 0.805


def test_putts_to_a_verdict_ask_as_the_verdict_does():
    # Told by less than its own sd, widened since, there is a verdict; told by that, not yet.
    how = {"per_putt": 0.5}
    mean, sd = -0.33, 0.12
    assert BOUNDARY.verdict(mean, sd) == CANNOT_TELL
    assert BOUNDARY.verdict(mean, sd, sd_fit=0.08) == HELPED
    assert BOUNDARY.putts_to_verdict(mean, sd, sd_fit=0.08, **how) == 0
    assert BOUNDARY.putts_to_verdict(mean, sd, sd_fit=sd, **how) > 0


@pytest.mark.parametrize("sd", [0.02, 0.06, 0.1, 0.15])
@pytest.mark.parametrize("mean", [-0.1, -0.03, 0.0, 0.06])
def test_no_forecast_goes_beyond_three_times_the_plan(mean, sd):
    found = BOUNDARY.putts_to_verdict(mean, sd, sd_fit=sd, per_putt=0.5)
    struck = BOUNDARY.information(sd) / 0.5
    plan = BOUNDARY.designed_information / 0.5
    assert not found or found + struck <= 3 * plan


def test_where_no_trial_of_this_kind_will_do_there_is_no_forecast():
    # A change at the edge of what matters: too small to be seen, too large to be nothing.
    boundary = Boundary(too_small=0.001, detect=-np.log(0.8))
    assert boundary.putts_to_verdict(-0.005, 0.05, sd_fit=0.05, per_putt=0.5) is None


@pytest.mark.parametrize(
    ("z_over_bar", "near"), [(0.6, False), (-0.3, True), (0.3, True), (-0.6, False)]
)
def test_a_verdict_near_its_bar_is_known_as_such(z_over_bar, near):
    sd = 0.07
    mean = (BOUNDARY.z_needed(sd) + z_over_bar) * sd
    assert BOUNDARY.near(mean, sd, sd) == BOUNDARY.near(-mean, sd, sd) == near


@pytest.mark.parametrize(
    ("putts", "said"),
    [(0.2, 1), (7.2, 8), (12.0, 12), (99.5, 100), (100.0, 100), (101.0, 110), (1234.0, 1300)],
)
def test_putts_are_rounded_up_to_two_figures(putts, said):
    assert two_figures(putts) == said


@pytest.mark.parametrize("effect", [0.0, 0.7, 1.0])
def test_chance_of_helped_by_either_of_two_checks_is_that_of_two_normals(effect):
    # Checks with information t1 < t2 correlate by sqrt(t1 / t2) (Jennison and Turnbull 2000).
    t = np.array([0.5, 1.4])
    mean = effect * DESIGN_Z * np.sqrt(1.20 * t)
    both = [[1, np.sqrt(t[0] / t[1])], [np.sqrt(t[0] / t[1]), 1]]
    neither = multivariate_normal(mean, both).cdf(z_needed(t))
    found = chance_of_helped(t, effect=effect, seed=4)
    # 20,000 trials know a chance to 0.0035: three of those.
    assert found[1] == pytest.approx(1 - neither, abs=0.0105)
    assert found[0] == pytest.approx(norm.cdf(mean[0] - z_needed(0.5)), abs=0.0105)


def test_a_trial_is_meant_to_see_its_own_size():
    assert np.array_equal(chance_of_helped([1.0], seed=2), chance_of_helped([1], effect=1, seed=2))


def test_a_chance_of_having_helped_does_not_fall():
    found = chance_of_helped([0.6, 1.0, 5.0, 5.01], effect=0.4, seed=9)
    assert np.all(np.diff(found) >= 0)
