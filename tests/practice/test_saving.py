"""Strokes by distance, against whole rounds of `hole_out` before and after a change."""

from dataclasses import replace

import numpy as np
import pytest
from made_golfers import made_state

from putlab.green.hole_out import hole_out
from putlab.green.skill import Skill
from putlab.practice.saving import (
    LONGEST_FT,
    round_setting,
    round_strokes,
    solve_chain,
    uncertain_mix,
)
from putlab.rounds.first_putts import RoundMix, shipped_mix

GREEN = (1.1, 8.0)
MIX = shipped_mix("handicap 10")
REFERENCE = Skill.constant(1.4, 9.0)
ROLL = {"stimp_ft": 10.0, "past_ft": 1.0}
# A golfer whose values are given so densely that a change can be put at any length.
FINE_FT = np.geomspace(0.25, LONGEST_FT, 33)


def setting_of(reference, mix_log_sd=0.0):
    return round_setting(reference=reference, mix=MIX, green=GREEN, mix_log_sd=mix_log_sd, **ROLL)


@pytest.fixture(scope="module")
def skill():
    return made_state(draws=12, line_bias_deg=0.5, pace_bias_pct=-4.0).skill.at(FINE_FT)


@pytest.fixture(scope="module")
def strokes(skill):
    return round_strokes(skill, setting_of(REFERENCE))


def strokes_of(skill):
    """Return strokes a round by the hole-out integrals, draw by draw."""
    return MIX.average(hole_out(skill.wider(*GREEN), MIX.distance_ft, **ROLL).average_putts)


def test_a_round_is_what_the_hole_out_integrals_say(skill, strokes):
    assert strokes.visits.sum(axis=1) == pytest.approx(strokes_of(skill), abs=0.03)


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
    saved = strokes.saved(component, change).sum(axis=1)
    assert saved == pytest.approx(expected, rel=0.04)


@pytest.mark.parametrize("component", ["line", "pace"])
def test_a_smaller_bias_saves_what_whole_rounds_say(component, skill, strokes):
    name = {"line": "line_bias_deg", "pace": "pace_bias_pct"}[component]
    straighter = replace(skill, **{name: 0.75 * getattr(skill, name)})
    expected = strokes_of(skill) - strokes_of(straighter)
    change = np.ones_like(strokes.putts), np.full_like(strokes.putts, 0.75)
    saved = strokes.saved(component, change).sum(axis=1)
    assert saved == pytest.approx(expected, rel=0.06, abs=0.004)


def test_a_change_at_one_length_saves_what_whole_rounds_say(skill, strokes):
    factor = 1 - 0.1 * np.exp(-np.abs(np.log(FINE_FT / 8)) / 0.4)
    narrow = replace(skill, line_sd_deg=skill.line_sd_deg * factor)
    expected = strokes_of(skill) - strokes_of(narrow)
    at_nodes = np.interp(np.log(strokes.distance_ft), np.log(FINE_FT), factor)
    change = np.broadcast_to(at_nodes, strokes.putts.shape), np.ones_like(strokes.putts)
    saved = strokes.saved("line", change).sum(axis=1)
    assert saved == pytest.approx(expected, rel=0.04)


def test_strokes_lost_to_a_near_reference_are_those_of_whole_rounds():
    golfer = Skill.constant(1.0, 8.0)
    near = Skill.constant(float(np.hypot(0.9, GREEN[0])), float(np.hypot(8.0, GREEN[1])))
    strokes = round_strokes(golfer, setting_of(near))
    expected = strokes_of(golfer) - strokes_of(Skill.constant(0.9, 8.0))
    assert strokes.lost_a_round("line").sum() == pytest.approx(expected[0], rel=0.04)
    assert strokes.lost_a_round("pace").sum() == pytest.approx(0, abs=0.002)


def test_no_change_saves_nothing(strokes):
    one = np.ones_like(strokes.putts)
    assert np.all(strokes.saved_a_round({"line": (one, one), "pace": (one, one)}) == 0)


def test_a_chain_of_two_nodes_is_solved_by_hand():
    # From the far node half the putts stop near: 1.5 putts; the near node always holes.
    chain = np.array([[[0.0, 0.0], [0.5, 0.0]]])
    putts, visits = solve_chain(chain, np.array([[[0.0], [18.0]]]))
    assert putts[0] == pytest.approx([1.0, 1.5])
    assert visits[0, :, 0] == pytest.approx([9.0, 18.0])


def test_an_uncertain_mix_keeps_eighteen_first_putts():
    nodes = np.geomspace(2, 60, 12)
    mix = RoundMix("made", nodes, np.full(12, 1.5), "assumption: made").onto(nodes)
    draws = uncertain_mix(mix, nodes, 4000, 0.3)
    assert draws.sum(axis=1) == pytest.approx(18)
    assert np.log(draws[:, 4] / mix[4]).std() == pytest.approx(0.3, abs=0.06)


def test_the_mix_as_given_is_the_middle_of_those_that_stray(skill):
    known, strayed = (
        round_strokes(skill, setting_of(REFERENCE, mix_log_sd=sd)) for sd in (0.0, 0.3)
    )
    assert strayed.visits_given == pytest.approx(known.visits)
    assert np.abs(strayed.visits / known.visits - 1).max() > 0.1


def test_a_mix_taken_as_known_does_not_stray():
    nodes = np.geomspace(2, 60, 12)
    assert np.all(uncertain_mix(np.ones(12), nodes, 5, 0.0) == 1)
