"""A skill between and beyond the distances it was given."""

import numpy as np
import pytest

from putlab.base.errors import UsageError
from putlab.green.skill import Skill


def two_draws():
    return Skill([5.0, 20.0], [[1.0, 4.0], [2.0, 2.0]], [[0.0, 1.0]], [[8.0, 8.0]], 0.0)


def test_spread_runs_straight_in_log_distance():
    middle = two_draws().at(10.0)
    assert middle.line_sd_deg[:, 0] == pytest.approx([2.0, 2.0])
    assert middle.line_bias_deg[:, 0] == pytest.approx([0.5, 0.5])


def test_beyond_its_distances_a_skill_stays_level():
    out = two_draws().at([1.0, 60.0])
    assert out.line_sd_deg[0] == pytest.approx([1.0, 4.0])


def test_extra_spread_adds_in_quadrature():
    assert Skill.constant(3.0, 8.0).wider(4.0).line_sd_deg.item() == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("distance", "sd", "said"),
    [
        ([5, 5], 1.0, "rising"),
        ([-1.0], 1.0, "above 0"),
        ([5.0], 0.0, "above 0"),
        ([5.0], np.nan, "finite"),
    ],
)
def test_what_is_not_a_skill_is_refused(distance, sd, said):
    with pytest.raises(UsageError, match=said):
        Skill(distance, sd, 0.0, 8.0, 0.0)


def test_thinned_takes_draws_evenly_from_the_first_to_the_last():
    spreads = np.arange(1.0, 10)[:, None]
    skill = Skill(np.array([10.0]), spreads, 0.0, 8.0, -spreads)
    kept = skill.thinned(5)
    assert kept.line_sd_deg[:, 0].tolist() == [1, 3, 5, 7, 9]
    assert kept.pace_bias_pct[:, 0].tolist() == [-1, -3, -5, -7, -9]
    assert kept.distance_ft is skill.distance_ft
    assert skill.thinned(9) is skill
    assert skill.thinned(10) is skill
