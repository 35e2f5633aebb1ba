"""A putt on the flat: the Stimpmeter, the published capture limit, how putts scatter."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from putlab.green.flat import FlatScatter, deceleration_ft_s2, normal_nodes, past_limit_ft, rim_ft
from putlab.green.skill import Skill


def test_a_stimpmeter_ball_rolls_its_own_reading():
    """USGA Stimpmeter booklet: 6.00 ft/s at the green, and the roll-out is the reading."""
    for stimp_ft in (7.0, 10.0, 13.0):
        assert 6.00**2 / (2 * deceleration_ft_s2(stimp_ft)) == pytest.approx(stimp_ft)


def test_dead_centre_drops_up_to_the_published_speed():
    """Holmes (1991): 1.63 m/s, 5.348 ft/s; on a green of 10 ft that rolls 7.94 ft past."""
    assert past_limit_ft(0.0, 10.0) == pytest.approx(5.348**2 / 3.6, rel=1e-3)
    assert past_limit_ft(0.0, 10.0) == pytest.approx(7.944, abs=0.002)


def test_limit_falls_with_the_square_of_the_offset():
    """Penner (2002), from memory: v <= 1.63 (1 - (d / R)^2) m/s."""
    radius_ft = 4.25 / 24
    half = past_limit_ft(radius_ft / 2, 10.0) / past_limit_ft(0.0, 10.0)
    assert half == pytest.approx(0.75**2)
    assert past_limit_ft(radius_ft, 10.0) == pytest.approx(0.0)


def test_rim_is_half_the_chord():
    """Pythagoras on a radius of 2.125 in: 3, 4, 5 in proportion."""
    radius_ft = 2.125 / 12
    offsets_ft = np.array([0, 0.6 * radius_ft, radius_ft])
    assert rim_ft(offsets_ft) == pytest.approx(np.array([1, 0.8, 0]) * radius_ft, abs=1e-8)


EDGES = [(-0.7, 1.9), (-np.inf, 0.4), (1.2, np.inf), (-np.inf, np.inf), (6.0, np.inf)]


@pytest.mark.parametrize(("low", "high"), EDGES)
def test_probabilities_of_a_range_add_up_to_its_own(low, high):
    _, share = normal_nodes(np.array([low]), np.array([high]), 8)
    assert share.sum() == pytest.approx(norm.cdf(high) - norm.cdf(low), rel=1e-5, abs=1e-12)


@pytest.mark.parametrize(("low", "high"), EDGES[:4])
def test_mean_of_a_smooth_function_against_quad(low, high):
    def cost(z):
        return 1 / (1 + np.exp(3 - 3 * (z - 0.2) ** 2))

    z, share = normal_nodes(np.array([low]), np.array([high]), 40)
    ends = max(low, -9), min(high, 9)
    expected = quad(lambda z: cost(z) * norm.pdf(z), *ends)[0]
    assert np.sum(share * cost(z)) == pytest.approx(expected, abs=2e-4)


@pytest.mark.parametrize("side", [-1, 1])
def test_far_out_the_nodes_stand_where_the_putts_are(side):
    """Beyond 6 spreads a normal's mean is its density over its tail (any text): 6.158."""
    edges = np.array([side * 6.0]), np.array([side * np.inf])
    z, share = normal_nodes(*(edges if side > 0 else edges[::-1]), 12)
    mean = side * norm.pdf(6) / norm.sf(6)
    assert np.sum(share * z) / share.sum() == pytest.approx(mean, abs=0.002)


def test_an_empty_range_has_no_probability():
    z, share = normal_nodes(np.array([1.0, 40.0]), np.array([-1.0, 50.0]), 6)
    assert np.all(np.isfinite(z))
    assert share.sum() == pytest.approx(0.0, abs=1e-12)


def test_putts_of_a_skill_by_hand():
    skill = Skill(np.array([5.0, 10]), 1.0, 0.5, 10.0, [[0.0, -20]])
    putts = FlatScatter.of(skill, np.array([1.0, 2]))
    assert putts.roll_ft == pytest.approx([6.0, 12 * 0.8])
    assert putts.roll_sd_ft == pytest.approx([0.6, 1.2])
    assert putts.line_rad == pytest.approx(np.radians([0.5, 0.5]))


def test_edges_of_the_hole_by_trigonometry():
    """From 10 ft the hole is asin(0.1771 / 10) = 1.0147 degrees to either side."""
    putts = FlatScatter.of(Skill(np.array([10.0]), 0.5, 0.2, 9.0, 0.0), 1.0)
    low, high = putts.passing_edges()
    assert low[0, 0] == pytest.approx((-1.0147 - 0.2) / 0.5, abs=1e-3)
    assert high[0, 0] == pytest.approx((1.0147 - 0.2) / 0.5, abs=1e-3)
