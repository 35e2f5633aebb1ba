"""Estimates against the demo's truth, and shares of the strokes lost by plain reasoning."""

import json
from itertools import combinations, permutations

import numpy as np
import pandas as pd
import pytest
from conftest import DEMO

from putlab.green.hole_out import hole_out
from putlab.green.published import green_spread
from putlab.green.skill import Skill
from putlab.rounds.estimate import (
    CAUSES,
    COLUMNS,
    Attribution,
    estimate,
    putts_by_cause,
    shapley_value,
    strokes_lost,
)
from putlab.rounds.expected import new_day_skill
from putlab.rounds.first_putts import shipped_mix
from putlab.rounds.reference import tour_skill

DISTANCES_FT = np.array([4.0, 12, 35])
GOLFER = Skill(
    np.array([5.0, 20]),
    [[1.2, 1.5], [1.0, 1.1]],
    [[0.4, 0.6], [0.1, 0.0]],
    [[12.0, 9], [10, 8]],
    [[-4.0, -6], [2, 3]],
)
PERFECT = Skill.constant(1e-6, 1e-6), (0.0, 0.0)


@pytest.fixture(scope="module")
def table(demo_fit):
    return estimate(demo_fit).table


@pytest.fixture(scope="module")
def truth():
    truth = json.loads((DEMO / "truth.json").read_text())
    return pd.DataFrame(truth["within_a_visit_at_the_end"])


@pytest.mark.slow
def test_the_columns_are_the_promised_ones(table):
    assert list(table.columns) == COLUMNS
    assert len(table) == 18
    assert table.notna().all(axis=None)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["line_sd_deg", "pace_sd_pct"])
def test_most_intervals_hold_the_truth_of_the_demo(table, truth, name):
    both = table.merge(truth, on=["player", "distance_ft"], suffixes=("", "_true"))
    assert len(both) == 18
    true = both[name + "_true"]
    assert 0.80 <= true.between(both[name + "_lo"], both[name + "_hi"]).mean() <= 1.0


@pytest.mark.slow
def test_putts_grow_with_distance_and_with_spread(table):
    for _, player in table.groupby("player"):
        assert player["average_putts"].is_monotonic_increasing
    worst = table.groupby("player")["average_putts"].mean().idxmax()
    assert worst == "rowan"  # the widest by truth


@pytest.mark.slow
def test_the_putts_are_those_of_the_new_day_skill(demo_fit, table):
    """Hole out one draw by itself, as `putlab holeout` would."""
    skill = new_day_skill(demo_fit.golfer("alder"))
    alone = hole_out(skill[:1], [10.0]).one_putt[0, 0]
    row = table[(table["player"] == "alder") & (table["distance_ft"] == 10)].iloc[0]
    draws = hole_out(skill, [10.0]).one_putt[:, 0]
    assert alone == pytest.approx(draws[0], abs=1e-6)
    assert row["one_putt"] == pytest.approx(draws.mean(), abs=1e-6)


@pytest.mark.slow
def test_one_player_can_be_asked_for(demo_fit, table):
    alone = estimate(demo_fit, ["birch"]).table
    pd.testing.assert_frame_equal(alone, table[table["player"] == "birch"].reset_index(drop=True))
    assert np.all(alone["line_sd_deg_lo"] < alone["line_sd_deg"])


def test_shares_are_the_average_over_every_order_of_switching():
    """All 120 orders, one by one, on a made-up worth of each set."""
    rng = np.random.default_rng(8)
    sets = [frozenset(c) for k in range(6) for c in combinations("abcde", k)]
    value = {s: rng.normal() for s in sets}
    added = {cause: [] for cause in "abcde"}
    for order in permutations("abcde"):
        for i, cause in enumerate(order):
            before = frozenset(order[:i])
            added[cause].append(value[before | {cause}] - value[before])
    for cause, steps in added.items():
        assert shapley_value(value, cause) == pytest.approx(np.mean(steps))


def test_worked_example_of_a_shared_glove():
    """Textbook glove game (from memory): one left, two right gloves; a pair is worth 1.

    The owner of the left glove gets 2/3, each of the others 1/6.
    """
    players = ("left", "right 1", "right 2")
    sets = [frozenset(c) for k in range(4) for c in combinations(players, k)]
    value = {s: float("left" in s and len(s) > 1) for s in sets}
    shares = [shapley_value(value, player) for player in players]
    assert shares == pytest.approx([2 / 3, 1 / 6, 1 / 6])


def lost_by(golfer, reference=PERFECT, distance_ft=DISTANCES_FT):
    return putts_by_cause(golfer, reference, distance_ft, stimp_ft=10.0, past_ft=1.0)


def test_shares_add_up_to_the_strokes_lost():
    found = lost_by((GOLFER, green_spread()))
    own = hole_out(GOLFER.wider(*green_spread()), DISTANCES_FT).average_putts
    total = found["golfer"] - found["reference"]
    assert sum(found[cause] for cause in CAUSES) == pytest.approx(total, abs=1e-9)
    assert total == pytest.approx(own - 1, abs=1e-3)
    assert set(found) == {*CAUSES, "golfer", "reference"}


def test_a_cause_that_is_not_there_costs_nothing():
    found = lost_by((Skill.constant(1.3, 9), (0.0, 0.0)))
    for cause in ("line bias", "pace bias", "reading the green"):
        assert found[cause] == pytest.approx(np.zeros((1, 3)), abs=1e-6)
    assert np.all(found["line spread"] > 0)


def test_the_only_cause_there_is_costs_everything():
    crooked = Skill.constant(1e-6, 1e-6, line_bias_deg=2.0)
    found = lost_by((crooked, (0.0, 0.0)), distance_ft=[12.0])
    # 12 ft at 2 degrees passes the hole 0.42 ft wide; the next, from about 1 ft, drops.
    assert found["line bias"][0, 0] == pytest.approx(1.0, abs=1e-3)


def test_against_oneself_nothing_is_lost():
    golfer = tour_skill(), (0.0, 0.0)
    found = lost_by(golfer, golfer)
    assert found["golfer"] - found["reference"] == pytest.approx(np.zeros((1, 3)), abs=1e-3)


def test_reading_that_both_have_is_no_cause():
    reading = green_spread()
    found = lost_by((GOLFER, reading), (tour_skill(technique_only=True), reading))
    assert found["reading the green"] == pytest.approx(np.zeros((2, 3)), abs=1e-9)


def test_table_and_sentence_by_hand():
    """Two draws, two lengths: a cause of 0.1 and 0.3 at each, another of 0.05 throughout."""
    line, pace = np.array([[0.1, 0.1], [0.3, 0.3]]), np.full((2, 2), 0.05)
    found = Attribution(
        "fern", "club", np.array([5.0, 20]), {"line spread": line, "pace bias": pace}, line + pace
    )
    table = found.table.set_index(["distance_ft", "cause"])
    assert table.loc[(5.0, "line spread")].to_list() == pytest.approx([0.2, 0.11, 0.29])
    assert table.loc[(20.0, "total"), "strokes"] == pytest.approx(0.25)
    # In all 0.3 or 0.7 a round: 90 % of the way between two draws is 0.32 to 0.68.
    assert "fern loses 0.50 strokes (0.32 to 0.68) to the club" in found.sentence
    assert "largest cause is line spread (0.40)" in found.sentence


@pytest.mark.slow
def test_strokes_a_round_are_those_of_its_first_putts_on_a_green(demo_fit):
    golfer = demo_fit.golfer("alder")
    found = strokes_lost(golfer, [6.0, 20.0])
    own = new_day_skill(golfer).thinned(60).wider(*green_spread())
    tour = tour_skill(technique_only=True).wider(*green_spread())
    putts, theirs = (hole_out(skill, [6.0, 20.0]).average_putts for skill in (own, tour))
    expected = (putts - theirs) * shipped_mix().onto([6.0, 20.0])
    assert found.total == pytest.approx(expected, abs=1e-3)
    assert sum(found.strokes.values()) == pytest.approx(found.total, abs=1e-9)


@pytest.mark.slow
def test_the_sentence_tells_every_player_at_the_middle_length(demo_fit, table):
    said = estimate(demo_fit).sentence
    for player, rows in table.groupby("player"):
        row = rows[rows["distance_ft"] == 10].iloc[0]
        assert f"{player} from 10\u00a0ft: line scatters by {row['line_sd_deg']:.2f}°" in said
