"""Shares of the strokes lost: against all orders, hand-made games and plain reasoning."""

from itertools import combinations, permutations

import numpy as np
import pytest

from putlab.green.hole_out import hole_out
from putlab.green.published import green_spread
from putlab.green.skill import Skill
from putlab.rounds.estimate import CAUSES, attribute, shapley_value
from putlab.rounds.reference import tour_golfer

DISTANCES_FT = np.array([4.0, 12, 35])
GOLFER = Skill(
    np.array([5.0, 20]),
    [[1.2, 1.5], [1.0, 1.1]],
    [[0.4, 0.6], [0.1, 0.0]],
    [[12.0, 9], [10, 8]],
    [[-4.0, -6], [2, 3]],
)


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


def test_shares_add_up_to_the_strokes_lost():
    found = attribute(GOLFER, DISTANCES_FT, reading=green_spread())
    total = sum(found.strokes.values())
    own = hole_out(GOLFER.wider(*green_spread()), DISTANCES_FT).average_putts
    assert total == pytest.approx(found.total, abs=1e-9)
    assert found.total == pytest.approx(own - 1, abs=1e-3)
    assert set(found.strokes) == set(CAUSES)


def test_a_cause_that_is_not_there_costs_nothing():
    found = attribute(Skill.constant(1.3, 9), DISTANCES_FT)
    for cause in ("line bias", "pace bias", "reading the green"):
        assert found.strokes[cause] == pytest.approx(np.zeros((1, 3)), abs=1e-6)
    assert np.all(found.strokes["line spread"] > 0)


def test_the_only_cause_there_is_costs_everything():
    crooked = Skill.constant(1e-6, 1e-6, line_bias_deg=2.0)
    found = attribute(crooked, [12.0])
    # 12 ft at 2 degrees passes the hole 0.42 ft wide; the next, from about 1 ft, drops.
    assert found.strokes["line bias"][0, 0] == pytest.approx(1.0, abs=1e-3)


def test_against_oneself_nothing_is_lost():
    golfer = tour_golfer().skill
    found = attribute(golfer, DISTANCES_FT, reference=golfer)
    assert found.total == pytest.approx(np.zeros((1, 3)), abs=1e-3)


def test_reading_that_both_have_is_no_cause():
    reading = green_spread()
    found = attribute(
        GOLFER,
        DISTANCES_FT,
        reading=reading,
        reference=tour_golfer().technique,
        reference_reading=reading,
    )
    assert found.strokes["reading the green"] == pytest.approx(np.zeros((2, 3)), abs=1e-9)


def test_table_tells_mean_and_interval_of_every_cause():
    table = attribute(GOLFER, DISTANCES_FT).table()
    assert len(table) == 3 * (len(CAUSES) + 1)
    assert np.all(table["strokes_lo"] <= table["strokes"] + 1e-12)
    sums = table[table["cause"] != "total"].groupby("distance_ft")["strokes"].sum()
    total = table[table["cause"] == "total"].set_index("distance_ft")["strokes"]
    assert sums.to_numpy() == pytest.approx(total.to_numpy())
