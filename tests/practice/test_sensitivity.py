"""Which assumption flips the choice."""

import numpy as np
import pytest
from made_golfers import made_state

from putlab.green.skill import Skill
from putlab.practice.advice import advise
from putlab.practice.learning import EXPERIENCE
from putlab.practice.saving import named
from putlab.practice.sensitivity import LEARNING_FACTORS, what_if

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
