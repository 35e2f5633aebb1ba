"""Truths drawn from the priors are distributed as the priors say, judged by scipy."""

import numpy as np
import pytest
from scipy import stats
from true_golfers import draw_component

from putlab.model.design import SPOT_RANGE
from putlab.model.priors import PRIORS
from putlab.model.spread import MISHIT_MOST

PLAYERS, LENGTHS_FT = 4000, [5.0, 10.0, 20.0]
ALMOST_NEVER = 1e-3  # a chance below which a true statement is refused: the seed is fixed


@pytest.fixture(params=["line", "pace"])
def drawn(request, rng):
    priors = PRIORS[request.param]
    options = {"players": PLAYERS, "lengths_ft": LENGTHS_FT, "conditions": [("a", "new")]}
    return priors, *draw_component(priors, rng, **options)


def test_players_are_drawn_from_the_priors(drawn):
    priors, truth, population = drawn
    expected = {
        "visit_bias_sd": stats.lognorm(priors.visit_bias_log_sd, scale=priors.visit_bias_median),
        "trend": stats.norm(0, priors.trend_sd),
        "warm_up": stats.norm(0, priors.warm_up_sd),
        "counted": stats.norm(0, priors.counted_sd),
        "mishit_share": stats.beta(priors.mishit_a, priors.mishit_b, scale=MISHIT_MOST),
    }
    for name, distribution in expected.items():
        found = stats.kstest(getattr(truth, name), distribution.cdf)
        assert found.pvalue > ALMOST_NEVER, name
    for name, sd in (("slope", priors.slope_sd), ("bias_mean", priors.bias_sd)):
        assert stats.kstest(population[name], stats.norm(0, sd).cdf).pvalue > ALMOST_NEVER


def test_a_player_strays_from_the_line_over_lengths_in_a_smooth_way(drawn):
    _, truth, population = drawn
    x = np.log(np.array(LENGTHS_FT) / 10)
    straight = population["base"][:, None] + population["slope"][:, None] * x
    expected = np.exp(-np.abs(np.subtract.outer(x, x)) / SPOT_RANGE)
    for bump in (truth.level - straight, truth.bias - population["bias_mean"][:, None]):
        assert np.corrcoef(bump.T) == pytest.approx(expected, abs=4 / np.sqrt(PLAYERS))


def test_one_form_and_one_change_are_shared_as_the_story_says(drawn):
    _, truth, _ = drawn
    assert np.ptp(truth.visit_form_sd) == 0
    assert truth.visit_form_sd[0] > 0
    assert list(truth.effect) == list(truth.shift) == [("a", "new")]
