"""The trend's prior taken out of a change; several changes shrunk together."""

from dataclasses import replace

import numpy as np
import pytest
from made_trials import trial_log

from putlab.green.hole_out import hole_out
from putlab.green.skill import Skill
from putlab.model.design import make_design, session_table
from putlab.model.priors import LINE_PRIORS
from putlab.model.readings import intervals, lengths_ft
from putlab.model.spread import named_quantities
from putlab.posterior import sampling as fitting
from putlab.posterior.fit import Fit
from putlab.rounds.first_putts import shipped_mix
from putlab.trial.conditions import Conditions
from putlab.trial.contrast import (
    WIDE_TREND_SD,
    change_table,
    contrast,
    shrink,
    strokes_slopes,
    with_wide_trend,
)

PAIR = Conditions("one", "A", "B")


def line_fit(log, priors=LINE_PRIORS, draws=1000):
    """Return a sampled fit of the line alone."""
    lengths = lengths_ft(log.putts["distance_ft"])
    design = make_design(intervals(log, "line"), session_table(log.putts), lengths, ["one"], priors)
    compiled = fitting.compiled_for(design)
    raw = fitting.sample(compiled, seed=2, draws=draws, tune=400, chains=2, cores=2)
    tree = {"posterior": named_quantities(raw.posterior.dataset, design)}
    return Fit({"line": tree}, {"line": design}, None, None, None, None, 2, log)


def test_normal_draws_are_moved_to_the_exact_posterior():
    # One trend and one change, known as sum and difference: everything in closed form.
    data = np.array([[60.0, 45.0], [45.0, 50.0]])
    pull = np.array([-8.0, -9.0])
    rng = np.random.default_rng(3)
    priors = {sd: np.diag([1 / sd**2, 1 / 0.2**2]) for sd in (0.1, WIDE_TREND_SD)}
    narrow, wide = (np.linalg.inv(data + prior) for prior in priors.values())
    trend, change = rng.multivariate_normal(narrow @ pull, narrow, 200_000).T
    found = with_wide_trend(change, trend, 0.1)
    assert found.mean() == pytest.approx((wide @ pull)[1], abs=0.003)
    assert found.std() == pytest.approx(np.sqrt(wide[1, 1]), rel=0.02)


def test_a_trend_that_says_nothing_of_the_change_moves_nothing(rng):
    change, trend = rng.normal(-0.2, 0.08, 50_000), rng.normal(0, 0.06, 50_000)
    assert np.abs(with_wide_trend(change, trend, 0.1) - change).max() < 0.01


@pytest.mark.slow
def test_a_before_and_after_is_as_if_sampled_with_the_wide_prior():
    log = trial_log(trend=-0.15, in_turn=True)
    # What is redone from the trend's own spread needs that spread within a few percent.
    own = contrast(line_fit(log, draws=3000), PAIR, "line")
    wide = replace(LINE_PRIORS, trend_sd=WIDE_TREND_SD)
    again = contrast(line_fit(log, wide, draws=3000), PAIR, "line")
    direct = again.log_ratio - again.trend_correction
    assert own.log_ratio.std() > 1.1 * own.sd_fit
    assert own.log_ratio.mean() == pytest.approx(direct.mean(), abs=0.25 * direct.std())
    assert own.log_ratio.std() == pytest.approx(direct.std(), rel=0.12)


@pytest.mark.slow
def test_an_interleaved_trial_is_left_alone_and_finds_the_truth():
    found = contrast(line_fit(trial_log(effect=np.log(0.7))), PAIR, "line")
    assert np.abs(found.trend_correction).max() < 0.1 * found.sd_fit
    low, high = np.quantile(found.log_ratio, [0.005, 0.995])
    assert low < np.log(0.7) < high
    assert found.distance_ft.tolist() == [5, 10, 20]
    # The prior of a difference: two effects, sd 0.2 by the model's own words, and slopes.
    assert found.prior_sd == pytest.approx(0.2, abs=0.005)


def test_strokes_of_a_cut_are_holed_out_on_the_green_mishits_and_all():
    green, mix = (1.2, 8.0), shipped_mix()

    def putts(line, pace, keep):
        share = np.full((1, 1), 0.03)
        wild = (share, [[4 * line * keep]], share, [[4 * pace * keep]])
        skill = Skill([10.0], line * keep, 0.2, pace * keep, -1.0, *wild).wider(*green)
        return mix.average(hole_out(skill, mix.distance_ft).average_putts[0])

    golfer = Skill([10.0], 1.1, 0.2, 9.0, -1.0, 0.03, [[4.4]], 0.03, [[36.0]])
    saved, by_spread, by_bias = strokes_slopes(golfer, -np.log(0.8), mix, green)
    assert saved == pytest.approx(putts(1.1, 9.0, 1.0) - putts(1.1, 9.0, 0.8), abs=1e-4)
    # Both together are the sum of the two; a ball that starts right and short costs more so.
    both = (putts(1.1, 9.0, 1.02) - putts(1.1, 9.0, 1 / 1.02)) / (2 * np.log(1.02))
    assert by_spread.sum() == pytest.approx(both, rel=0.01)
    assert by_bias[0] > 0 > by_bias[1]


# Several changes at once, against brute force and a scenario of nothing.


SCALE = 0.2 / np.sqrt(2)


def posterior_draws(estimates, sd, rng, size=40_000):
    """Return draws of changes from the first of several independent estimates."""
    precision = 1 / sd**2 + 1 / SCALE**2
    draws = rng.normal(estimates / sd**2 / precision, precision**-0.5, (size, len(estimates)))
    return draws[:, 1:] - draws[:, :1]


def test_shrinkage_is_the_hierarchical_models_by_brute_force(rng):
    estimates, sd = np.array([0.0, -0.25, 0.05, 0.1]), 0.08
    found = shrink(posterior_draws(estimates, sd, rng), SCALE, seed=1)[1]
    # Truths drawn from the model, weighted by how well they give the differences seen.
    scale = np.abs(rng.normal(0, SCALE, 1_500_000))
    truth = scale[:, None] * rng.standard_normal((scale.size, 4))
    gap = (truth[:, 1:] - truth[:, :1]) - (estimates[1:] - estimates[0])
    precision = np.linalg.inv(sd**2 * (np.eye(3) + 1))
    weight = np.exp(-0.5 * np.einsum("ni,ij,nj->n", gap, precision, gap))
    mean = np.average(truth[:, 1:] - truth[:, :1], axis=0, weights=weight)
    assert found.mean(axis=0) == pytest.approx(mean, abs=0.012)


def test_the_luckiest_of_eight_equals_is_drawn_back(rng):
    estimates = rng.normal(0, 0.08, 9)
    found = shrink(posterior_draws(estimates, 0.08, rng), SCALE, seed=1)[1]
    alone = estimates[1:] - estimates[0]
    assert np.abs(found.mean(axis=0)).max() < 0.6 * np.abs(alone).max()
    assert (found < 0).mean(axis=0).max() < 0.95


def test_changes_that_differ_widely_keep_their_distance(rng):
    estimates = np.array([0.0, -0.5, 0.4])
    found = shrink(posterior_draws(estimates, 0.04, rng), SCALE, seed=1)[1]
    assert found.mean(axis=0) == pytest.approx(estimates[1:], abs=0.05)


@pytest.mark.slow
def test_the_demos_conditions_make_a_table(demo_fit):
    table = change_table(demo_fit, "birch", "line", "usual routine")
    assert table["condition"].tolist() == ["usual routine", "new routine"]
    assert table["p_narrowest"].sum() == pytest.approx(1)
    assert table["ratio"].iloc[0] == 1
    swapped = change_table(demo_fit, "birch", "line", "new routine")
    assert swapped["ratio"].iloc[1] == pytest.approx(1 / table["ratio"].iloc[1], rel=0.05)
