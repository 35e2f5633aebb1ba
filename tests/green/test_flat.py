"""A putt on the flat: the Stimpmeter's definition and the published capture limit."""

import numpy as np
import pytest

from putlab.green.flat import deceleration_ft_s2, past_limit_ft, rim_ft


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
