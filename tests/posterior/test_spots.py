"""A length out of line: held against the others, and named."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from putlab.posterior import player
from putlab.posterior.player import own_curve

RECORD = json.loads((Path(__file__).parents[1] / "results" / "spots.json").read_text())["figures"]

LENGTHS_FT = np.array([3.0, 6.0, 10.0, 16.0, 24.0, 36.0])
DRAWS, OWN_SD = 40_000, 0.1


class MadeGolfer:
    """A golfer whose log spread and bias are known at each length apart, normally."""

    def __init__(self, known, lengths_ft=LENGTHS_FT):
        """Take the middle of each (component, quantity); the rest is nought everywhere."""
        self.practised = pd.DataFrame({"distance_ft": lengths_ft})
        self.known = known

    def log_spread_and_bias(self, component, distance_ft):
        """Return draws of both."""
        rng = np.random.default_rng([8, len(component), *component.encode()])
        shape = (DRAWS, len(distance_ft))
        return tuple(
            self.known.get((component, name), 0.0) + OWN_SD * rng.standard_normal(shape)
            for name in ("level", "bias")
        )


def against_the_others(middle, place, slope_precision):
    """Return difference and its standard error by conditioning one joint normal: no line fitted."""
    # A line through the others whose intercept is free and whose slope has a prior: kriging with
    # noise of variance 1 at each, on a joint normal that is nearly flat in its level.
    x = np.log(LENGTHS_FT / 10)
    joint = 1e6 + np.outer(x, x) / slope_precision if slope_precision else np.full((6, 6), 1e6)
    rest = np.arange(6) != place
    noisy = joint[np.ix_(rest, rest)] + np.eye(5)
    weights = np.linalg.solve(noisy, joint[rest, place])
    apart = middle[place] - weights @ middle[rest]
    return apart, OWN_SD * np.sqrt(1 + weights @ weights)


@pytest.fixture(scope="module")
def spotted():
    """Return readings with a wide spot at 16 ft and one to the right at 6 ft, and their curve."""
    read = {
        ("pace", "level"): np.log([8.0, 8.5, 7.7, 14.0, 8.2, 8.8]),
        ("line", "bias"): np.array([0.1, 0.9, 0.0, 0.0, 0.1, 0.0]),
    }
    return read, own_curve(MadeGolfer(read))


@pytest.mark.parametrize("place", range(6))
def test_ratio_and_chance_are_those_of_normal_conditioning(spotted, place):
    read, curve = spotted
    apart, se = against_the_others(read["pace", "level"], place, player.RIDGE)
    row = curve.table.loc[place]
    # Monte Carlo error of 40,000 draws.
    assert np.log(row["pace_vs_own"]) == pytest.approx(apart, abs=0.02 * se)
    assert row["pace_p_wider"] == pytest.approx(norm.cdf(apart / se), abs=0.01)


def test_a_bias_is_told_in_its_unit_with_the_chance_of_its_side(spotted):
    read, curve = spotted
    for place in range(6):
        apart, se = against_the_others(read["line", "bias"], place, None)
        row = curve.table.loc[place]
        assert row["line_bias_vs_own"] == pytest.approx(apart, abs=0.02 * se)
        assert row["line_p_bias"] == pytest.approx(norm.cdf(abs(apart) / se), abs=0.01)


def test_spots_are_named_in_words(spotted):
    _, curve = spotted
    found = {(spot.distance_ft, spot.component, spot.kind) for spot in curve.named}
    assert found == {(16.0, "pace", "spread"), (6.0, "line", "bias")}
    assert "Pace at 16\u00a0ft is 1.7 times as wide as the other lengths suggest" in curve.sentence
    assert "Line at 6\u00a0ft lies 0.86° right of what the other lengths suggest" in curve.sentence


def test_a_golfer_without_a_spot_has_none_named():
    curve = own_curve(MadeGolfer({}))
    assert curve.named == ()
    assert curve.sentence == "No length is clearly out of line with the others."


def test_a_tighter_length_is_not_named():
    level = np.log([1.0, 1.0, 1.0, 0.7, 1.0, 1.0])
    curve = own_curve(MadeGolfer({("line", "level"): level}))
    assert curve.table.loc[3, "line_p_wider"] < 1 - player.WIDER_CHANCE
    assert not curve.named


@pytest.mark.parametrize("count", [1, 2])
def test_fewer_than_three_lengths_are_blank(count):
    curve = own_curve(MadeGolfer({}, LENGTHS_FT[:count]))
    assert list(curve.table["distance_ft"]) == list(LENGTHS_FT[:count])
    assert curve.table.drop(columns="distance_ft").isna().all(axis=None)
    assert curve.named == ()
    assert curve.sentence.startswith("Three lengths or more are needed")


def test_the_same_columns_come_whatever_the_number_of_lengths(spotted):
    two = own_curve(MadeGolfer({}, LENGTHS_FT[:2])).table
    assert list(two.columns) == list(spotted[1].table.columns)


def test_the_rule_is_the_one_recorded_and_meets_the_bars():
    """Simulated golfers, `tests/calibration/spots.py`; the rule was set on these logs."""
    assert RECORD["rule"] == {name: getattr(player, name) for name in RECORD["rule"]}
    for logs in ("all_logs", "one_half", "other_half"):
        assert RECORD[logs]["named"]["rate"] >= 0.8
        assert RECORD[logs]["false"]["rate"] <= 0.05
    # Spreads straight over log distance, but not level: no worse than can be told from 1 in 20.
    assert RECORD["all_logs"]["false_sloped"]["lo"] <= 0.05
