"""The trend's prior taken out of a change, against sampling without it."""

from dataclasses import replace

import numpy as np
import pytest
from made_trials import trial_log

from putlab.model.design import make_design, session_table
from putlab.model.priors import LINE_PRIORS
from putlab.model.readings import cells, lengths_ft
from putlab.model.spread import named_quantities
from putlab.posterior import sampling as fitting
from putlab.posterior.player import SpreadFit
from putlab.trial.contrast import WIDE_TREND_SD, contrast, trend_undone


def line_fit(log, priors=LINE_PRIORS):
    """Return a sampled fit of the line alone."""
    lengths = lengths_ft(log.putts["distance_ft"])
    design = make_design(cells(log, "line"), session_table(log.putts), lengths, ["one"], priors)
    compiled = fitting.compiled_for(design)
    raw = fitting.sample(compiled, seed=2, draws=1000, tune=400, chains=2, cores=2)
    tree = {"posterior": named_quantities(raw.posterior.dataset, design)}
    return SpreadFit({"line": tree}, {"line": design}, None, None, None, None, 2)


def test_normal_draws_are_moved_to_the_exact_posterior():
    # One trend and one change, known as sum and difference: everything in closed form.
    told = np.array([[60.0, 45.0], [45.0, 50.0]])
    pull = np.array([-8.0, -9.0])
    rng = np.random.default_rng(3)
    priors = {sd: np.diag([1 / sd**2, 1 / 0.2**2]) for sd in (0.1, WIDE_TREND_SD)}
    narrow, wide = (np.linalg.inv(told + prior) for prior in priors.values())
    trend, change = rng.multivariate_normal(narrow @ pull, narrow, 200_000).T
    found = trend_undone(change, trend, 0.1)
    assert found.mean() == pytest.approx((wide @ pull)[1], abs=0.003)
    assert found.std() == pytest.approx(np.sqrt(wide[1, 1]), rel=0.02)


def test_a_trend_that_says_nothing_of_the_change_moves_nothing(rng):
    change, trend = rng.normal(-0.2, 0.08, 50_000), rng.normal(0, 0.06, 50_000)
    assert np.abs(trend_undone(change, trend, 0.1) - change).max() < 0.01


@pytest.mark.slow
def test_a_before_and_after_is_as_if_sampled_with_the_wide_prior():
    log = trial_log(trend=-0.15, in_turn=True)
    own = contrast(line_fit(log), "one", "line", "A", "B")
    wide = replace(LINE_PRIORS, trend_sd=WIDE_TREND_SD)
    again = contrast(line_fit(log, wide), "one", "line", "A", "B")
    direct = again.log_ratio - again.moved
    assert own.log_ratio.std() > 1.1 * own.sd_told
    assert own.log_ratio.mean() == pytest.approx(direct.mean(), abs=0.25 * direct.std())
    assert own.log_ratio.std() == pytest.approx(direct.std(), rel=0.12)


@pytest.mark.slow
def test_an_interleaved_trial_is_left_alone_and_finds_the_truth():
    found = contrast(line_fit(trial_log(effect=np.log(0.7))), "one", "line", "A", "B")
    assert np.abs(found.moved).max() < 0.1 * found.sd_told
    low, high = np.quantile(found.log_ratio, [0.005, 0.995])
    assert low < np.log(0.7) < high
    assert found.distance_ft.tolist() == [5, 10, 20]
    # The prior of a difference: two effects, sd 0.2 by the model's own words, and slopes.
    assert found.prior_sd == pytest.approx(0.2, abs=0.005)
