"""Which assumption flips the choice, and what measuring first would be worth."""

import numpy as np
import pytest
from made_golfers import made_state
from scipy.stats import norm

from putlab.green.skill import Skill
from putlab.practice.advice import advise, advise_case
from putlab.practice.case import make_case
from putlab.practice.learning import EXPERIENCE
from putlab.practice.saving import named
from putlab.practice.sensitivity import (
    LEARNING_FACTORS,
    drawn_readings,
    value_of,
    value_of_measuring,
    what_if,
)

TOUR_LIKE = Skill.constant(1.4, 9.0)


@pytest.fixture(scope="module")
def advice():
    return advise(made_state(line_sd_deg=[1, 2.2, 1, 1, 1, 1], draws=40), reference=TOUR_LIKE)


@pytest.fixture(scope="module")
def found(advice):
    return what_if(advice, draws=12)


def test_as_assumed_the_choice_is_the_choice(found, advice):
    first = found.table.iloc[0]
    assert first["choice"] == named(advice.choice)
    assert first["p_best"] == advice.row["p_best"]
    assert first["costs"] == 0
    assert not first["flips"]


def test_every_assumption_named_is_varied_both_ways(found):
    counts = found.table["assumption"].value_counts()
    learned = {name: len(factors) for name, factors in LEARNING_FACTORS.values()}
    two = dict.fromkeys(["reading the green", "green speed", "aim past the hole"], 2)
    expected = {"as assumed": 1, "curve of practice": 1, "first putts of": 6}
    assert counts.to_dict() == expected | learned | two


def test_the_experience_is_varied_from_a_beginners_to_a_professionals(found):
    # Ten putts, and ten thousand: what a coach says of "new" and "professional".
    values = found.table.set_index("assumption")["value"]
    experience = values["putts struck before the log"].astype(float)
    assert (experience.min(), experience.max()) == (EXPERIENCE["new"][0], 10_000)


def test_a_choice_given_away_costs_and_one_kept_costs_nothing(found):
    flips = found.table["flips"]
    assert np.all(found.table.loc[~flips, "costs"] == 0)
    assert np.all(found.table.loc[flips, "costs"] > 0)


def test_a_clear_weak_spot_is_said_to_stay(found):
    assert found.flipped.empty
    assert "stays the choice" in found.sentence


def test_an_assumption_that_flips_the_choice_is_named(found):
    table = found.table.copy()
    table.loc[3, ["flips", "tied", "costs"]] = True, False, 0.2
    flipped = type(found)(found.player, found.choice, table)
    assert table.loc[3, "assumption"] in flipped.sentence
    assert "would no longer be the choice" in flipped.sentence


def test_the_value_of_readings_is_that_of_the_normal_theory(rng):
    # Two acts, one worth 0, one worth N(m, s); readings with noise t. The expected value of
    # sample information is r L(|m| / r), r = s^2 / sqrt(s^2 + t^2), with the unit normal loss
    # L (H. Raiffa and R. Schlaifer, Applied Statistical Decision Theory, 1961).
    m, s, t = -0.3, 1.0, 0.7
    true = rng.normal(m, s, 40_000)
    readings = (true + t * rng.standard_normal(true.size))[:, None]
    r = s**2 / np.hypot(s, t)
    loss = norm.pdf(m / r) - abs(m) / r * norm.sf(abs(m) / r)
    changes, gain = value_of(readings, np.column_stack([0 * true, true]), 0)
    assert gain == pytest.approx(r * loss, rel=0.05)
    assert changes == pytest.approx(norm.cdf(m / r), abs=0.01)


def test_readings_of_nothing_are_worth_nothing(rng):
    saved = rng.normal([1.0, 0.5], 0.4, (2000, 2))
    changes, gain = value_of(rng.standard_normal((2000, 4)), saved, 0)
    assert changes < 0.01
    assert gain < 0.001


def test_more_putts_tell_more_of_the_spread():
    case = make_case(made_state(draws=400, log_sd=0.3), reference=TOUR_LIKE, draws=400)
    truth = np.log(case.golfer.skill.at([10.0]).line_sd_deg[:, 0])
    seen = [
        np.corrcoef(drawn_readings(case, 10.0, n, np.random.default_rng(1))[:, 0], truth)[0, 1]
        for n in (10, 200)
    ]
    # Correlation of a reading with the truth: 0.3 / sqrt(0.3^2 + 1 / (2 (n - 1))).
    expected = [0.3 / np.hypot(0.3, 1 / np.sqrt(2 * (n - 1))) for n in (10, 200)]
    assert seen == pytest.approx(expected, abs=0.06)


def test_who_is_known_well_need_not_measure(advice):
    found = value_of_measuring(advice)
    assert found.sentence.startswith("Practise now")
    assert np.all(found.table["net"] < 0)
    assert len(found.table) == 15


def test_measuring_pays_where_a_wide_doubt_meets_a_long_practice():
    # Known to a factor of two either way: 20 putts cost six minutes of thirty hours.
    who = made_state(log_sd=0.9, draws=200, line_sd_deg=1.3)
    case = make_case(who, reference=TOUR_LIKE)
    found = value_of_measuring(advise_case(case, minutes=1800), putts=(20,))
    assert found.table["net"].max() > 0
    assert found.sentence.startswith("Measure first")


def test_expected_savings_average_over_learning_only(advice):
    by_skill = advice.case.savings_by_skill(60)
    assert by_skill.shape == (40, 10)
    assert by_skill.mean(axis=0) == pytest.approx(advice.savings.saved.mean(axis=0), rel=0.1)
    assert by_skill.std(axis=0).max() < advice.savings.saved.std(axis=0).max()
