"""Strokes by distance, against whole rounds of `hole_out` before and after a change."""

from dataclasses import replace

import numpy as np
import pytest
from made_golfers import made_state

from putlab.green.hole_out import hole_out
from putlab.green.skill import Skill
from putlab.practice.learning import Learning
from putlab.practice.saving import (
    LENGTHS_FT,
    OPTIONS,
    PRACTICE_FT,
    Savings,
    named,
    putts_of,
    round_strokes,
    uncertain_mix,
)
from putlab.rounds.first_putts import RoundMix, shipped_mix
from putlab.rounds.strokes import LONGEST_FT, STRETCHES, round_setting

GREEN = (1.1, 8.0)
MIX = shipped_mix("handicap 10")
REFERENCE = Skill.constant(1.4, 9.0)
ROLL = {"stimp_ft": 10.0, "past_ft": 1.0}
# A golfer whose values are given so densely that a change can be put at any length.
FINE_FT = np.geomspace(0.25, LONGEST_FT, 33)


def setting_of(reference, *, assumed=False):
    mix = replace(MIX, assumed=assumed)
    return round_setting(reference=reference, mix=mix, green=GREEN, **ROLL)


# Mishits of one putt in thirty, three times as wide.
WILD = {"line_wild": np.array(0.03), "line_wild_sd_deg": np.array(3.0),
        "pace_wild": np.array(0.03), "pace_wild_sd_pct": np.array(24.0)}  # fmt: skip


@pytest.fixture(scope="module", params=[{}, WILD], ids=["steady", "with mishits"])
def skill(request):
    found = made_state(draws=12, line_bias_deg=0.5, pace_bias_pct=-4.0).skill.at(FINE_FT)
    return replace(found, **request.param)


@pytest.fixture(scope="module")
def strokes(skill):
    return round_strokes(skill, setting_of(REFERENCE))


def strokes_of(skill):
    """Return strokes a round by the hole-out integrals, draw by draw."""
    return MIX.average(hole_out(skill.wider(*GREEN), MIX.distance_ft, **ROLL).average_putts)


def test_a_round_is_what_the_hole_out_integrals_say(skill, strokes):
    assert strokes.visits.sum(axis=1) == pytest.approx(strokes_of(skill), abs=0.03)


def test_a_green_known_by_draws_adds_to_each_draw_its_own(skill):
    draws = np.linspace(0.5, 2.5, skill.draws)[:, None]
    setting = replace(setting_of(REFERENCE), green=(draws, 6 * draws))
    found = round_strokes(skill, setting)
    own = skill.wider(draws, 6 * draws)
    expected = MIX.average(hole_out(own, MIX.distance_ft, **ROLL).average_putts)
    assert found.visits.sum(axis=1) == pytest.approx(expected, abs=0.03)
    assert np.ptp(expected) > 0.3


def test_putts_to_hole_out_are_those_of_the_integrals(skill, strokes):
    some = slice(10, 28)
    expected = hole_out(skill.wider(*GREEN), strokes.distance_ft[some], **ROLL).average_putts
    assert strokes.putts[:, some] == pytest.approx(expected, abs=0.005)


@pytest.mark.parametrize("component", ["line", "pace"])
def test_a_narrower_spread_saves_what_whole_rounds_say(component, skill, strokes):
    name = {"line": "line_sd_deg", "pace": "pace_sd_pct"}[component]
    narrow = replace(skill, **{name: 0.95 * getattr(skill, name)})
    expected = strokes_of(skill) - strokes_of(narrow)
    change = np.full_like(strokes.putts, 0.95), np.ones_like(strokes.putts)
    middle, scatter = strokes.saved_parts({component: change})
    assert scatter == pytest.approx(expected, rel=0.04)
    assert np.all(middle == 0)


@pytest.mark.parametrize("component", ["line", "pace"])
def test_a_smaller_bias_saves_what_whole_rounds_say(component, skill, strokes):
    name = {"line": "line_bias_deg", "pace": "pace_bias_pct"}[component]
    straighter = replace(skill, **{name: 0.75 * getattr(skill, name)})
    expected = strokes_of(skill) - strokes_of(straighter)
    change = np.ones_like(strokes.putts), np.full_like(strokes.putts, 0.75)
    middle, scatter = strokes.saved_parts({component: change})
    assert middle == pytest.approx(expected, rel=0.06, abs=0.004)
    assert np.all(scatter == 0)


def test_a_change_at_one_length_saves_what_whole_rounds_say(skill, strokes):
    factor = 1 - 0.1 * np.exp(-np.abs(np.log(FINE_FT / 8)) / 0.4)
    narrow = replace(skill, line_sd_deg=skill.line_sd_deg * factor)
    expected = strokes_of(skill) - strokes_of(narrow)
    at_nodes = np.interp(np.log(strokes.distance_ft), np.log(FINE_FT), factor)
    change = np.broadcast_to(at_nodes, strokes.putts.shape), np.ones_like(strokes.putts)
    saved = strokes.saved_a_round({"line": change})
    assert saved == pytest.approx(expected, rel=0.04)


def test_saved_in_all_is_the_middle_and_the_scatter_of_both_components(strokes):
    shape = strokes.putts.shape
    line, pace = (np.full(shape, 0.9), np.full(shape, 0.6)), (np.full(shape, 0.8), np.ones(shape))
    alone = [strokes.saved_parts({"line": line}), strokes.saved_parts({"pace": pace})]
    both = {"line": line, "pace": pace}
    assert strokes.saved_parts(both) == pytest.approx(sum(alone))
    assert strokes.saved_a_round(both) == pytest.approx(np.sum(alone, axis=(0, 1)))


def test_no_change_saves_nothing(strokes):
    one = np.ones_like(strokes.putts)
    assert np.all(strokes.saved_a_round({"line": (one, one), "pace": (one, one)}) == 0)


def test_minutes_of_an_option_go_to_its_stretch_and_component():
    learning = Learning()
    for (stretch, component), length in zip(OPTIONS, np.repeat(LENGTHS_FT, 2, axis=0), strict=True):
        putts = putts_of((stretch, component), 60.0, learning)
        low, high = STRETCHES[stretch]
        assert np.all((length > low) & (length < high))
        # Half of the hour at each of two lengths: 15 s and 0.3 s a foot each putt.
        here = np.isin(PRACTICE_FT, length)
        assert putts[component][here] == pytest.approx(1800 / (15 + 0.3 * length))
        assert putts[component].sum() == putts[component][here].sum()
        assert putts["pace" if component == "line" else "line"].sum() == 0


def savings_of(means, sd, rng):
    return Savings(rng.normal(means, sd, (4000, len(OPTIONS))), np.zeros((1, len(OPTIONS))))


def test_neighbours_that_cannot_be_told_apart_are_one(rng):
    means = np.zeros(len(OPTIONS))
    # Pace in the stretches 1, 2 and 4, of which the last is no neighbour, and line in 2.
    means[[3, 5, 9, 4]] = 1.0, 1.02, 1.0, 1.0
    found = savings_of(means, 0.2, rng)
    assert found.best == 5
    assert found.together == [3, 5]
    assert set(found.ties) == {3, 4, 5, 9}


def test_a_gap_parts_neighbours(rng):
    means = np.zeros(len(OPTIONS))
    means[[1, 5]] = 1.0, 1.02
    assert savings_of(means, 0.2, rng).together == [5]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ([(1, "line")], "line from 4 to 8 ft"),
        ([(1, "pace"), (2, "pace"), (3, "pace")], "pace from 4 to 25 ft"),
        ([(0, "line"), (1, "line")], "line inside 8 ft"),
        ([(3, "pace"), (4, "pace")], "pace beyond 15 ft"),
        ([(i, "pace") for i in range(5)], "pace at every length"),
        ((0, "line"), "line inside 4 ft"),
    ],
)
def test_neighbours_are_named_as_one_stretch(options, words):
    assert named(options).replace("\u202f", " ").replace("\xa0", " ") == words


def test_an_uncertain_mix_keeps_eighteen_first_putts():
    nodes = np.geomspace(2, 60, 12)
    mix = RoundMix("made", nodes, np.full(12, 1.5), "assumption: made").onto(nodes)
    draws = uncertain_mix(mix, nodes, 4000, 0.3)
    assert draws.sum(axis=1) == pytest.approx(18)
    assert np.log(draws[:, 4] / mix[4]).std() == pytest.approx(0.3, abs=0.06)


def test_the_mix_as_given_is_the_middle_of_those_that_stray(skill):
    known, strayed = (
        round_strokes(skill, setting_of(REFERENCE, assumed=so)) for so in (False, True)
    )
    assert strayed.visits_given == pytest.approx(known.visits)
    assert np.abs(strayed.visits - known.visits).max() > 0.1 * known.visits.max()


def test_a_mix_taken_as_known_does_not_stray():
    nodes = np.geomspace(2, 60, 12)
    assert np.all(uncertain_mix(np.ones(12), nodes, 5, 0.0) == 1)
