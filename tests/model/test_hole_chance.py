"""Chances of holing and of leaves: against other integrals, brute force and plain reasoning."""

import numpy as np
import pytensor
import pytensor.tensor as pt
import pytest
from brute_force import every_putt
from hole_chances import PlainHole, leave_chance, made_chance
from refined import refined
from scipy.stats import norm

from putlab.green.hole_out import hole_out
from putlab.green.skill import Skill
from putlab.model.hole_chance import FAR_FT, Hole
from putlab.posterior.tree import PLAIN

DISTANCES_FT = np.array([2.0, 3, 5, 8, 12, 20, 35, 60])
HOLE_RADIUS_FT = 4.25 / 24  # Rules of Golf: 4.25 inches across

# Plain Python under each operation: slower to run, but nothing is compiled for one answer.
# line sd, line bias (degrees), pace sd, pace bias (percent)
GOLFERS = [(0.6, 0.1, 5, 2), (1.4, -0.5, 9, 0), (2.5, 0.4, 16, -5)]
BANDS_FT = np.array([0, 0.55, 1.55, 2.05, 3.05, 5.05, 8.55, 14.05, 24.05, 200])


def chances(distance_ft, stimp_ft, past_ft):
    """Compile `made_chance` of one golfer's spreads and biases."""
    spreads = pt.dscalars("line", "pace", "left", "soft")
    line, pace, line_bias, pace_bias = spreads
    hole = Hole(stimp_ft)
    biases = {"line_bias_deg": line_bias, "pace_bias_pct": pace_bias}
    made = made_chance(distance_ft, line, pace, hole=hole, past_ft=past_ft, **biases)
    return pytensor.function(spreads, made, mode=PLAIN)


def many_golfers(count, seed=4):
    """Draw spreads of 0.4 to 3 degrees and 4 to 25 %, with biases."""
    rng = np.random.default_rng(seed)
    line, pace = (
        np.exp(rng.uniform(np.log(low), np.log(high), count)) for low, high in ((0.4, 3), (4, 25))
    )
    return line, rng.normal(0, 0.5, count), pace, rng.normal(0, 5, count)


@pytest.mark.parametrize(("stimp_ft", "past_ft"), [(8, 1.5), (10, 1.0), (13, 0.25)])
def test_made_agrees_with_hole_out_to_a_ten_thousandth(stimp_ft, past_ft):
    """Against `putlab.green.hole_out`, written apart, at four times its nodes."""
    line, line_bias, pace, pace_bias = many_golfers(40)
    chance = chances(DISTANCES_FT, stimp_ft, past_ft)
    found = [chance(*golfer) for golfer in zip(line, pace, line_bias, pace_bias, strict=True)]
    columns = (part[:, None] for part in (line, line_bias, pace, pace_bias))
    skill = Skill(np.array([10.0]), *columns)
    with refined(4):
        out = hole_out(skill, DISTANCES_FT, stimp_ft=stimp_ft, past_ft=past_ft)
    assert np.abs(np.array(found) - out.one_putt).max() < 1e-4


@pytest.mark.parametrize("golfer", GOLFERS)
@pytest.mark.parametrize("distance_ft", [3.0, 10.0, 30.0])
def test_leaves_agree_with_nine_million_putts(distance_ft, golfer):
    line_sd, line_bias, pace_sd, pace_bias = golfer
    _, leaves = every_putt(distance_ft, golfer)
    expected = np.histogram(leaves, BANDS_FT)[0] / leaves.size
    found = leave_chance(
        distance_ft,
        BANDS_FT[:-1],
        BANDS_FT[1:],
        line_sd,
        pace_sd,
        line_bias_deg=line_bias,
        pace_bias_pct=pace_bias,
    ).eval(mode=PLAIN)
    # Even quantiles themselves are within 0.0002 of the integral.
    assert found == pytest.approx(expected, abs=3e-4)


@pytest.mark.parametrize("hole", [Hole(11.0), PlainHole()])
def test_a_putt_drops_or_is_left_somewhere(hole):
    distance_ft = np.repeat([2.0, 9.0, 25.0], BANDS_FT.size - 1)
    bands = (np.tile(part, 3) for part in (BANDS_FT[:-1], BANDS_FT[1:]))
    made = made_chance(distance_ft[:: BANDS_FT.size - 1], 1.3, 8.0, hole=hole)
    left = leave_chance(distance_ft, *bands, 1.3, 8.0, hole=hole)
    total = made.eval(mode=PLAIN) + left.eval(mode=PLAIN).reshape(3, -1).sum(axis=1)
    assert total == pytest.approx(1, abs=2e-4)


def test_plain_hole_is_a_product_of_two_normal_chances():
    """Direction and distance apart, written out as in Gelman (2019), in scipy."""
    line_sd, pace_sd = 1.02, 8.0
    room = np.degrees(np.arcsin((4.25 - 1.68) / 24 / DISTANCES_FT))
    scatter = (DISTANCES_FT + 1) * pace_sd / 100
    in_line = 2 * norm.cdf(room / line_sd) - 1
    expected = in_line * (norm.cdf(2 / scatter) - norm.cdf(-1 / scatter))
    found = made_chance(DISTANCES_FT, line_sd, pace_sd, hole=PlainHole()).eval(mode=PLAIN)
    assert found == pytest.approx(expected, abs=1e-9)


def test_where_any_pace_drops_only_direction_counts():
    """Gelman and Nolan (2002): in line if |angle| < asin((R - r) / distance)."""
    hole = PlainHole(shortest_ft=-FAR_FT, longest_ft=FAR_FT)
    room = np.degrees(np.arcsin((4.25 - 1.68) / 24 / DISTANCES_FT))
    found = made_chance(DISTANCES_FT, 1.53, 20.0, hole=hole).eval(mode=PLAIN)
    assert found == pytest.approx(2 * norm.cdf(room / 1.53) - 1, abs=1e-12)


def test_gradient_is_the_slope_of_the_chance():
    line, pace = spreads = pt.dscalars("line", "pace")
    total = made_chance([4.0, 15.0], line, pace).sum()
    total += leave_chance([15.0], [1.0], [2.5], line, pace).sum()
    gradient = pytensor.function(spreads, pytensor.grad(total, list(spreads)), mode=PLAIN)
    value = pytensor.function(spreads, total, mode=PLAIN)
    step, at = 1e-5, np.array([1.2, 9.0])
    slopes = [(value(*(at + h)) - value(*(at - h))) / (2 * step) for h in step * np.eye(2)]
    assert gradient(*at) == pytest.approx(slopes, rel=1e-5)


def test_gradients_are_finite_from_the_steadiest_golfer_to_the_wildest():
    """Most bands lie so many spreads off a steady golfer's line that every density is nought."""
    line, pace = spreads = pt.dscalars("line", "pace")
    bands = BANDS_FT[:-1], BANDS_FT[1:]
    chance = leave_chance(np.full(bands[0].size, 20.0), *bands, line, pace)
    chance = pt.concatenate([chance, made_chance(DISTANCES_FT, line, pace)])
    # One that is not finite would make the sum so.
    found = pytensor.function(spreads, pytensor.grad(chance.sum(), list(spreads)), mode=PLAIN)
    for line_sd in (0.2, 0.4, 0.6, 1.0, 1.8, 4.0):
        assert np.isfinite(found(line_sd, 8.0)).all()


def test_nothing_comes_to_rest_inside_the_hole():
    found = leave_chance([3.0, 12.0], [0.0, 0.0], [0.17, 0.17], 1.4, 9.0).eval(mode=PLAIN)
    assert found == pytest.approx(0, abs=1e-12)
