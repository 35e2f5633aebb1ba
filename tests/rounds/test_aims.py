"""How far past the hole to aim: against an optimiser and hand-made curves."""

import brute_force
import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from putlab.base.errors import UsageError
from putlab.green.hole_out import hole_out
from putlab.green.skill import Skill
from putlab.rounds.aims import AIMS_FT, aims, highest_point

GOLFER = Skill.constant(1.6, 11, line_bias_deg=0.3, pace_bias_pct=-3)
DISTANCES_FT = np.array([4.0, 10, 25])


def test_aim_that_is_holed_most_is_what_an_optimiser_finds():
    table = aims(GOLFER, DISTANCES_FT).table
    for row in table.itertuples():
        best = minimize_scalar(
            lambda past, d=row.distance_ft: -hole_out(GOLFER, [d], past_ft=past).one_putt[0, 0],
            bounds=(0, 5),
            method="bounded",
        )
        # The top is flat: compare what the aim is worth, and roughly where it is.
        assert row.holed_most == pytest.approx(-best.fun, abs=0.001)
        assert row.holed_past_ft == pytest.approx(best.x, abs=0.15)


def test_the_usual_aim_is_worth_what_every_putt_so_aimed_is():
    table = aims(GOLFER, DISTANCES_FT).table
    usual = hole_out(GOLFER, DISTANCES_FT).average_putts[0]
    assert table["usual_putts"].to_numpy() == pytest.approx(usual, abs=1e-3)
    assert np.all(table["fewest_putts"] <= table["usual_putts"])


def test_an_aim_for_the_first_putt_alone_is_worth_what_striking_it_so_is():
    # By brute force: the first putt 3 ft past, what is left as usual, 1 ft past.
    found = aims(GOLFER, [10.0], past_ft=[0.0, 1.0, 3.0]).average_putts[2]
    setting, rng = ([10], [1.6], [0.3], [11.0], [-3.0], 10.0, 3.0), np.random.default_rng(3)
    _, left_ft = brute_force.play(setting, 10.0, 200_000, rng)
    known_ft = np.geomspace(0.1, 40, 60)
    usual = hole_out(GOLFER, known_ft).average_putts[0]
    later = np.interp(np.log(left_ft), np.log(known_ft), usual)
    assert found == pytest.approx(1 + later.sum() / 200_000, abs=0.004)


def test_draws_are_averaged_before_the_choice():
    two = Skill(np.array([10.0]), [[1.0], [3.0]], 0.0, [[8.0], [16.0]], 0.0)
    each = [aims(Skill.constant(*pair), DISTANCES_FT).one_putt for pair in ((1, 8), (3, 16))]
    assert aims(two, DISTANCES_FT).one_putt == pytest.approx(sum(each) / 2, abs=1e-6)


def test_peak_of_a_parabola_is_exact_and_of_a_slope_is_its_end():
    places = np.array([0.0, 1, 1.5, 4])
    curves = np.stack([3 - (places - 1.3) ** 2, places, -places], axis=1)
    place, height = highest_point(places, curves)
    assert place == pytest.approx([1.3, 4, 0])
    assert height == pytest.approx([3, 4, 0])


@pytest.mark.parametrize("past_ft", [[1.0, 2.0], [2.0, 1.0, 3.0], [-1.0, 0.0, 1.0]])
def test_aims_that_cannot_be_compared_are_refused(past_ft):
    with pytest.raises(UsageError, match="three aims or more"):
        aims(GOLFER, DISTANCES_FT, past_ft=past_ft)


def test_the_sentence_names_the_length_where_the_aim_matters_most():
    found = aims(GOLFER, DISTANCES_FT)
    saved = found.table["usual_putts"] - found.table["fewest_putts"]
    row = found.table.iloc[saved.argmax()]
    assert f"{row['distance_ft']:g}\u00a0ft" in found.sentence
    assert f"{row['fewest_putts']:.2f} putts" in found.sentence


def test_aims_looked_at_hold_the_usual_one():
    assert 1.0 in AIMS_FT
