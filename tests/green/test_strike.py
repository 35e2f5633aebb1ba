"""Nodes and edges that the integrals over a putt stand on."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from putlab.green.flat import FlatScatter, normal_nodes
from putlab.green.leaves import Fan
from putlab.green.skill import Skill

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


def test_strikes_of_a_skill_by_hand():
    skill = Skill(np.array([5.0, 10]), 1.0, 0.5, 10.0, [[0.0, -20]])
    strikes = FlatScatter.of(skill, np.array([1.0, 2]))
    assert strikes.roll_ft == pytest.approx([6.0, 12 * 0.8])
    assert strikes.roll_sd_ft == pytest.approx([0.6, 1.2])
    assert strikes.line_rad == pytest.approx(np.radians([0.5, 0.5]))


def test_edges_of_the_hole_by_trigonometry():
    """From 10 ft the hole is asin(0.1771 / 10) = 1.0147 degrees to either side."""
    strikes = FlatScatter.of(Skill(np.array([10.0]), 0.5, 0.2, 9.0, 0.0), 1.0)
    low, high = strikes.hole_edges()
    assert low[0, 0] == pytest.approx((-1.0147 - 0.2) / 0.5, abs=1e-3)
    assert high[0, 0] == pytest.approx((1.0147 - 0.2) / 0.5, abs=1e-3)


def test_three_fans_take_every_putt_once():
    rng = np.random.default_rng(7)
    skill = Skill(
        np.array([1.0, 4, 30]),
        rng.uniform(0.1, 5, (50, 3)),
        rng.normal(0, 1, (50, 3)),
        rng.uniform(1, 40, (50, 3)),
        rng.normal(0, 8, (50, 3)),
    )
    strikes = FlatScatter.of(skill, 1.0)
    fans = [Fan.at_hole(strikes, 10.0, 8)]
    fans += [Fan.beside(strikes, side, 8) for side in (0, 1)]
    total = sum(sum(fan.chances()) for fan in fans)
    assert total == pytest.approx(np.ones(150), abs=1e-5)
    assert all(np.all(part >= -1e-9) for fan in fans for part in fan.chances())
