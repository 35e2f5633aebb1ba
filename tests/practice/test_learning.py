"""What practice does: the law against published novices, carry-over, decay, a log's trend."""

from dataclasses import replace

import numpy as np
import pytest
from made_golfers import LENGTHS_FT, made_state
from scipy.stats import norm

from putlab.base.errors import UsageError
from putlab.green.published import table
from putlab.practice.case import draw_effect
from putlab.practice.learning import Learning, carry_over, rate_in_log

LEARNING = Learning()


def test_doubling_experience_narrows_by_the_power_law():
    # Newell and Rosenbloom (1981): T = B N^-rate, so twice the practice is 2^-rate.
    assert np.exp(-0.2 * LEARNING.growth(100.0, 100.0)) == pytest.approx(2**-0.2)


def test_growth_in_parts_is_growth_at_once():
    parts = LEARNING.growth(50.0, 30.0) + LEARNING.growth(80.0, 70.0)
    assert parts == pytest.approx(LEARNING.growth(50.0, 100.0))


def test_carry_is_whole_at_a_length_and_falls_with_the_ratio():
    share = carry_over([6.0, 12.0], [6.0, 12.0, 24.0], LEARNING.carry_range)
    assert share[0, 0] == share[1, 1] == 1
    assert share[0, 1] == share[1, 2] == pytest.approx(np.exp(-np.log(2) / 0.7))
    assert share[0, 2] == pytest.approx(share[0, 1] ** 2)


def test_draws_of_the_carry_range_come_first():
    share = carry_over([6.0], [6.0, 12.0], np.array([0.5, 1.0]))
    assert share.shape == (2, 1, 2)
    assert share[0, 0, 1] < share[1, 0, 1]


def test_half_is_left_after_the_half_life():
    assert LEARNING.retention([0, LEARNING.half_life_days]) == pytest.approx([1, 0.5])


def test_a_longer_putt_takes_longer():
    # 15 s and 0.3 s a foot: 20 ft takes 21 s.
    assert LEARNING.putts_a_minute(20.0) == pytest.approx(60 / 21)


# The published novices (McKay and others 2021, 75 golfers, a row a block of ten putts).
NOVICES = table("novice_practice_mckay_2021").frame
BLOCKS = [
    np.arange(*ends) for ends in zip(NOVICES["putts_from"], NOVICES["putts_to"] + 1, strict=True)
]
KINDS = {"pace": "distance", "line": "lateral"}


def log_growth(experience):
    """Return the mean over each block of the log of putts struck, with those before the first."""
    return np.array([np.log(putts - 1 + experience).mean() for putts in BLOCKS])


@pytest.mark.parametrize("component", KINDS)
def test_published_novices_narrow_by_the_law_from_no_experience(component):
    log_sd = np.log(NOVICES[f"{KINDS[component]}_sd_cm"]).to_numpy()
    error = NOVICES[f"{KINDS[component]}_log_sd_se"].to_numpy()
    so_far = [LEARNING.growth(1.0, putts - 1).mean() for putts in BLOCKS]
    fall = getattr(LEARNING, f"{component}_rate") * (np.array(so_far) - so_far[0])
    assert np.all(np.abs(log_sd - (log_sd[0] - fall)) < 2 * error)


@pytest.mark.parametrize(("component", "worse_by"), [("pace", 2.0), ("line", 1.0)])
def test_novices_come_without_a_hundred_putts(component, worse_by):
    # Log-likelihood with start and rate free, by weighted least squares.
    error = NOVICES[f"{KINDS[component]}_log_sd_se"].to_numpy()
    log_sd = np.log(NOVICES[f"{KINDS[component]}_sd_cm"]).to_numpy() / error

    def log_likelihood(experience):
        design = np.column_stack([np.ones(5), log_growth(experience)]) / error[:, None]
        fitted = design @ np.linalg.lstsq(design, log_sd, rcond=None)[0]
        return -np.sum((log_sd - fitted) ** 2) / 2

    assert log_likelihood(1.0) > log_likelihood(100.0) + worse_by


@pytest.mark.parametrize("component", KINDS)
def test_published_biases_halve_in_as_many_putts_as_assumed(component):
    # The root mean square of a block's mean error, noise taken out, from the first block's
    # middle to the last's.
    bias = NOVICES[f"{KINDS[component]}_bias_cm"].to_numpy()
    halves_in = 40 / np.log2(bias[0] / bias[-1])
    assert halves_in == pytest.approx(getattr(LEARNING, f"{component}_bias_putts"), rel=0.1)
    slope = np.polyfit([putts.mean() for putts in BLOCKS], np.log2(bias), 1)[0]
    assert -1 / slope == pytest.approx(halves_in, rel=0.15)


def test_the_first_ten_putts_halve_a_published_bias_of_pace():
    bias = NOVICES["distance_bias_cm"].to_numpy()
    assert 10 / np.log2(bias[0] / bias[1]) == pytest.approx(10, abs=1)


def test_few_putts_narrow_alike_by_either_curve():
    other = replace(LEARNING, exponential=1.0)
    few, many = 20.0, 6000.0
    assert other.growth(2000.0, few) == pytest.approx(LEARNING.growth(2000.0, few), rel=0.001)
    assert other.growth(2000.0, many) < 0.7 * LEARNING.growth(2000.0, many)


def draws_of(rng, trend, *, prior_sd=0.1, putts=400.0, learning=LEARNING):
    trends = dict.fromkeys(("line", "pace"), trend)
    return learning.of_golfer(trends, dict.fromkeys(trends, prior_sd), putts, 4000, rng)


def test_a_log_without_a_trend_leaves_the_prior(rng):
    rates, before = draws_of(rng, 0.1 * rng.standard_normal(4000))
    found = {"experience": before} | {f"{name}_rate": rate for name, rate in rates.items()}
    for name, values in found.items():
        log_sd = LEARNING.experience_log_sd if name == "experience" else LEARNING.rate_log_sd
        quantiles = np.quantile(np.log(values), [0.05, 0.25, 0.5, 0.75, 0.95])
        expected = norm(np.log(getattr(LEARNING, name)), log_sd).ppf([0.05, 0.25, 0.5, 0.75, 0.95])
        # Four standard errors of a quantile of 4000 candidates.
        assert quantiles == pytest.approx(expected, abs=4 * 2.1 * log_sd / np.sqrt(4000))


def test_a_log_that_falls_fast_gives_faster_rates_and_less_experience(rng):
    slow, fast = (draws_of(rng, said + 0.05 * rng.standard_normal(4000)) for said in (0.0, -0.2))
    for name in ("line", "pace"):
        assert np.median(fast[0][name]) > 1.15 * np.median(slow[0][name])
    assert np.median(fast[1]) < 0.1 * np.median(slow[1])


def test_stated_experience_leaves_the_rates_to_fall_fast(rng):
    known = replace(LEARNING, experience=100.0, experience_log_sd=0.0)
    slow, fast = (
        draws_of(rng, said + 0.05 * rng.standard_normal(4000), learning=known)[0]
        for said in (0.0, -0.2)
    )
    for name in ("line", "pace"):
        assert np.median(fast[name]) > 1.8 * np.median(slow[name])


def test_a_fast_learner_gets_the_same_rates_from_other_candidates():
    trend = -0.2 + 0.05 * np.random.default_rng(1).standard_normal(4000)
    found = [draws_of(np.random.default_rng(seed), trend) for seed in range(6)]
    assert np.std([np.log(rates["line"]).mean() for rates, _ in found]) < 0.05


def test_rates_and_experience_are_those_of_a_grid(rng):
    # The log alone says a fall of 0.2 +- 0.05 per unit of log(1 + putts / 100) in line and in
    # pace; the same posterior by a sum over a grid of both rates and experience.
    precision = 1 / 0.05**2 + 1 / 0.1**2
    trend = rng.standard_normal(20_000) / np.sqrt(precision) - 0.2 / 0.05**2 / precision
    learning = LEARNING.with_experience("season")
    rates, before = draws_of(rng, trend, learning=learning)
    z = np.linspace(-4, 4, 121)
    experience = 500 * np.exp(z)
    per_unit = np.log((experience + 400) / experience) / np.log(5)
    weight, mean = norm.pdf(z), {}
    for name in ("line", "pace"):
        rate = getattr(learning, f"{name}_rate") * np.exp(0.5 * z)
        joint = norm.pdf(z) * norm.pdf(np.outer(per_unit, rate), 0.2, 0.05)
        mean[name] = joint @ np.log(rate) / joint.sum(axis=1)
        weight = weight * joint.sum(axis=1)
    weight /= weight.sum()
    for name in ("line", "pace"):
        assert np.log(rates[name]).mean() == pytest.approx(weight @ mean[name], abs=0.05)
    assert np.log(before).mean() == pytest.approx(weight @ np.log(experience), abs=0.1)


@pytest.mark.parametrize(("said", "putts"), [("new", 10), ("club", 2000), ("300", 300), (40, 40)])
def test_experience_is_said_in_a_word_or_in_putts(said, putts):
    assert LEARNING.with_experience(said).experience == putts
    assert LEARNING.with_experience(said).experience_log_sd == 1.0


def test_experience_that_is_no_number_is_refused_by_name():
    with pytest.raises(UsageError, match="new, season, club, professional or a number"):
        LEARNING.with_experience("much")


def test_what_a_putt_teaches_differs_smoothly_over_distance(rng):
    # Straight over log distance: sd 0.15 an e-fold, and neighbours differ by little.
    effect = draw_effect(made_state(), LEARNING, np.array([6.5, 12.0, 10.0 * np.e]), 20_000, rng)
    for worth in effect.yields.values():
        assert np.log(worth[:, 2]).std() == pytest.approx(0.15, rel=0.03)
        assert np.log(worth[:, 1] / worth[:, 0]).std() == pytest.approx(
            0.15 * np.log(12 / 6.5), rel=0.03
        )
    line, pace = (np.log(effect.yields[name][:, 2]) for name in ("line", "pace"))
    assert abs(np.corrcoef(line, pace)[0, 1]) < 0.03


def test_what_the_log_told_is_found_under_its_prior(rng):
    precision = 1 / 0.05**2 + 1 / 0.1**2
    trend = rng.standard_normal(50_000) / np.sqrt(precision) - 0.2 / 0.05**2 / precision
    said, sure = rate_in_log(trend, 0.1)
    assert said == pytest.approx(0.2, rel=0.02)
    assert sure == pytest.approx(1 / 0.05**2, rel=0.03)


@pytest.mark.parametrize("name", ["line_rate", "experience", "carry_range", "seconds_each"])
def test_nonsense_is_refused_by_name(name):
    with pytest.raises(UsageError, match=name):
        Learning(**{name: 0.0})


def test_every_assumption_is_listed_with_its_source():
    rows = LEARNING.table()
    assert set(rows["name"]) == set(vars(LEARNING))
    assert rows.set_index("name")["value"].to_dict() == vars(LEARNING)
    assert (rows["source"].str.len() > 0).all()


# Nothing uncertain: every draw is the median.
SURE = Learning(
    experience=100,
    experience_log_sd=0,
    rate_log_sd=0,
    yield_log_sd=0,
    carry_log_sd=0,
    bias_log_sd=0,
)
NODES = np.array([3.0, 6.0, 12.0])


@pytest.fixture
def practice():
    who, rng = made_state(putts=40), np.random.default_rng(1)
    return draw_effect(who, SURE, NODES, 5, rng)


def test_an_hour_at_one_length_narrows_as_worked_by_hand(practice):
    found = practice.changes([6.0], {"line": [100.0], "pace": [0.0]})
    # 12 ft is twice 6 ft: exp(-log 2 / 0.7) of a putt counts there.
    counts = 100 * np.exp(-np.log(2) / 0.7)
    so_far = (40 * np.exp(-np.abs(np.log(LENGTHS_FT / 12)) / 0.7)).sum()
    spread, bias = found["line"]
    assert spread[:, 2] == pytest.approx((1 + counts / (100 + so_far)) ** -0.085)
    assert bias[:, 2] == pytest.approx(0.5 ** (counts / SURE.line_bias_putts))


def test_a_quarter_of_a_putt_for_line_counts_for_pace(practice):
    line_only = practice.changes([6.0], {"line": [100.0], "pace": [0.0]})["pace"]
    pace_only = practice.changes([6.0], {"line": [0.0], "pace": [25.0]})["pace"]
    assert np.allclose(line_only, pace_only)


def test_practice_only_narrows():
    who, rng = made_state(), np.random.default_rng(1)
    practice = draw_effect(who, Learning(), NODES, 50, rng)
    for spread, bias in practice.changes([10.0], {"line": [60.0], "pace": [9.0]}).values():
        assert np.all((spread > 0) & (spread < 1))
        assert np.all((bias > 0) & (bias < 1))


def test_a_length_that_teaches_nothing_changes_nothing(practice):
    dull = replace(practice, yields={c: 0 * v for c, v in practice.yields.items()})
    spread, bias = dull.changes([6.0], {"line": [100.0], "pace": [50.0]})["line"]
    assert np.all(spread == 1)
    assert np.all(bias == 1)
