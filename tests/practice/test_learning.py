"""What practice does: the power law, carry-over, decay, and a trend shrunk to its prior."""

from dataclasses import replace

import numpy as np
import pytest
from made_golfers import LENGTHS_FT, made_state
from scipy.integrate import quad
from scipy.stats import lognorm, norm

from putlab.base.errors import UsageError
from putlab.practice.case import draw_effect
from putlab.practice.learning import Learning, rate_in_log

LEARNING = Learning()


def test_doubling_experience_narrows_by_the_power_law():
    # Newell and Rosenbloom (1981): T = B N^-rate, so twice the practice is 2^-rate.
    assert np.exp(-0.2 * LEARNING.growth(100.0, 200.0)) == pytest.approx(2**-0.2)


def test_growth_in_parts_is_growth_at_once():
    parts = LEARNING.growth(50.0, 30.0) + LEARNING.growth(80.0, 70.0)
    assert parts == pytest.approx(LEARNING.growth(50.0, 100.0))


def test_carry_is_whole_at_a_length_and_falls_with_the_ratio():
    share = LEARNING.carry_over([6.0, 12.0], [6.0, 12.0, 24.0])
    assert share[0, 0] == share[1, 1] == 1
    assert share[0, 1] == share[1, 2] == pytest.approx(np.exp(-np.log(2) / 0.7))
    assert share[0, 2] == pytest.approx(share[0, 1] ** 2)


def test_draws_of_the_carry_range_come_first():
    share = LEARNING.carry_over([6.0], [6.0, 12.0], np.array([0.5, 1.0]))
    assert share.shape == (2, 1, 2)
    assert share[0, 0, 1] < share[1, 0, 1]


def test_half_is_left_after_the_half_life():
    assert LEARNING.retention([0, LEARNING.half_life_days]) == pytest.approx([1, 0.5])


def test_a_longer_putt_takes_longer():
    # 15 s and 0.3 s a foot: 20 ft takes 21 s.
    assert LEARNING.putts_a_minute(20.0) == pytest.approx(60 / 21)


def test_a_log_without_a_trend_leaves_the_prior(rng):
    rate = LEARNING.rates(0.1 * rng.standard_normal(4000), 0.1)
    prior = lognorm(LEARNING.rate_log_sd, scale=LEARNING.rate_median)
    assert np.quantile(rate, [0.05, 0.5, 0.95]) == pytest.approx(
        prior.ppf([0.05, 0.5, 0.95]), rel=0.01
    )


def test_a_trend_is_shrunk_to_the_prior_as_bayes_says(rng):
    # The log alone says a rate of 0.2 +- 0.05; its posterior under a prior of sd 0.1.
    precision = 1 / 0.05**2 + 1 / 0.1**2
    trend = rng.standard_normal(20_000) / np.sqrt(precision) - 0.2 / 0.05**2 / precision
    prior = lognorm(LEARNING.rate_log_sd, scale=LEARNING.rate_median)

    def density(rate):
        return prior.pdf(rate) * norm.pdf(rate, 0.2, 0.05)

    mass = quad(density, 0, 1, points=[0.2])[0]
    mean = quad(lambda r: r * density(r), 0, 1, points=[0.2])[0] / mass
    assert LEARNING.rates(trend, 0.1).mean() == pytest.approx(mean, rel=0.01)


def test_what_the_log_told_is_found_under_its_prior(rng):
    precision = 1 / 0.05**2 + 1 / 0.1**2
    trend = rng.standard_normal(50_000) / np.sqrt(precision) - 0.2 / 0.05**2 / precision
    said, sure = rate_in_log(trend, 0.1)
    assert said == pytest.approx(0.2, rel=0.02)
    assert sure == pytest.approx(1 / 0.05**2, rel=0.03)


def test_a_draw_that_improves_faster_has_the_higher_rate(rng):
    trend = -0.1 + 0.03 * rng.standard_normal(200)
    rate = LEARNING.rates(trend, 0.1)
    assert np.array_equal(np.argsort(-trend), np.argsort(rate))


@pytest.mark.parametrize("name", ["rate_median", "carry_range", "seconds_each"])
def test_nonsense_is_refused_by_name(name):
    with pytest.raises(UsageError, match=name):
        Learning(**{name: 0.0})


def test_every_assumption_is_listed_with_its_source():
    table = LEARNING.table()
    assert set(table["name"]) == set(vars(LEARNING))
    assert table.set_index("name")["value"].to_dict() == vars(LEARNING)
    assert (table["source"].str.len() > 0).all()


# Nothing uncertain: every draw is the median.
SURE = Learning(rate_log_sd=1e-9, yield_log_sd=0, carry_log_sd=0, bias_log_sd=0)
NODES = np.array([3.0, 6.0, 12.0])


@pytest.fixture
def practice():
    who, rng = made_state(putts=40), np.random.default_rng(1)
    return draw_effect(who, SURE, NODES, np.arange(5), rng)


def test_an_hour_at_one_length_narrows_as_worked_by_hand(practice):
    found = practice.changes([6.0], {"line": [100.0], "pace": [0.0]})
    # 12 ft is twice 6 ft: exp(-log 2 / 0.7) of a putt counts there.
    counts = 100 * np.exp(-np.log(2) / 0.7)
    so_far = (40 * np.exp(-np.abs(np.log(LENGTHS_FT / 12)) / 0.7)).sum()
    spread, bias = found["line"]
    assert spread[:, 2] == pytest.approx((1 + counts / (100 + so_far)) ** -0.08)
    assert bias[:, 2] == pytest.approx(0.5 ** (counts / SURE.bias_putts))


def test_a_quarter_of_a_putt_for_line_counts_for_pace(practice):
    line_only = practice.changes([6.0], {"line": [100.0], "pace": [0.0]})["pace"]
    pace_only = practice.changes([6.0], {"line": [0.0], "pace": [25.0]})["pace"]
    assert np.allclose(line_only, pace_only)


def test_practice_only_narrows():
    who, rng = made_state(), np.random.default_rng(1)
    practice = draw_effect(who, Learning(), NODES, np.arange(50), rng)
    for spread, bias in practice.changes([10.0], {"line": [60.0], "pace": [9.0]}).values():
        assert np.all((spread > 0) & (spread < 1))
        assert np.all((bias > 0) & (bias < 1))


def test_a_length_that_teaches_nothing_changes_nothing(practice):
    dull = replace(practice, yields={c: 0 * v for c, v in practice.yields.items()})
    spread, bias = dull.changes([6.0], {"line": [100.0], "pace": [50.0]})["line"]
    assert np.all(spread == 1)
    assert np.all(bias == 1)
