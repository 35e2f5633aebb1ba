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


MISHITS = {"line_wild": 0.02, "line_wild_sd_deg": 6.0, "pace_wild": 0.05, "pace_wild_sd_pct": 36.0}


def test_without_mishits_all_putts_are_ordinary():
    skill = two_draws()
    assert np.all(skill.line_wild == 0)
    assert np.array_equal(skill.line_wild_sd_deg, skill.line_sd_deg)
    ((chance, part),) = skill.parts()
    assert np.array_equal(chance, np.ones((2, 2)))
    assert np.array_equal(part.pace_sd_pct, skill.pace_sd_pct)


def test_mishits_run_between_distances_like_the_rest():
    skill = Skill(
        [5.0, 20.0], 1.0, 0.0, 8.0, 0.0, line_wild=[[0.01, 0.03]], line_wild_sd_deg=[[2.0, 8.0]]
    )
    middle = skill.at([10.0, 60.0])
    # Shares straight in log distance, spreads in log spread; level beyond.
    assert middle.line_wild[0] == pytest.approx([0.02, 0.03])
    assert middle.line_wild_sd_deg[0] == pytest.approx([4.0, 8.0])


def test_a_green_widens_mishits_too():
    skill = Skill.constant(3.0, 8.0, **MISHITS).wider(4.0, 15.0)
    assert skill.line_wild_sd_deg.item() == pytest.approx(np.sqrt(6**2 + 4**2))
    assert skill.pace_wild_sd_pct.item() == pytest.approx(39.0)  # 15, 36, 39
    assert (skill.line_wild.item(), skill.pace_wild.item()) == (0.02, 0.05)


def test_parts_are_those_of_two_coins_and_give_back_the_variance():
    skill = Skill.constant(1.5, 9.0, line_bias_deg=0.4, **MISHITS)
    chances, parts = zip(*skill.parts(), strict=True)
    shares = [chance.item() for chance in chances]
    assert shares == pytest.approx([0.98 * 0.95, 0.02 * 0.95, 0.98 * 0.05, 0.02 * 0.05])
    assert sum(shares) == pytest.approx(1)
    assert all(not part.line_wild.any() and not part.pace_wild.any() for part in parts)
    line = np.dot(shares, [part.line_sd_deg.item() ** 2 for part in parts])
    pace = np.dot(shares, [part.pace_sd_pct.item() ** 2 for part in parts])
    assert line == pytest.approx(0.98 * 1.5**2 + 0.02 * 6**2)
    assert pace == pytest.approx(0.95 * 9**2 + 0.05 * 36**2)
    assert {part.line_bias_deg.item() for part in parts} == {0.4}


def test_the_mean_averages_spreads_in_log_and_shares_as_they_are():
    shares, spreads = np.array([[0.0], [0.04]]), np.array([[2.0], [8.0]])
    skill = Skill([10.0], spreads / 2, spreads, 8.0, 0.0, shares, spreads)
    assert skill.mean.draws == 1
    assert skill.mean.line_sd_deg.item() == pytest.approx(2)
    assert skill.mean.line_wild_sd_deg.item() == pytest.approx(4)
    assert skill.mean.line_bias_deg.item() == pytest.approx(5)
    assert skill.mean.line_wild.item() == pytest.approx(0.02)
    # Wild putts of every draw are those of the mean golfer; ordinary ones are its own.
    chances, parts = zip(*skill.parts(), strict=True)
    assert sum(chances) == pytest.approx(np.ones((2, 1)))
    assert parts[0].line_sd_deg[:, 0] == pytest.approx([1, 4])
    assert parts[1].line_sd_deg[:, 0] == pytest.approx([4])


def test_rows_and_places_keep_the_mishits():
    skill = Skill([5.0, 20.0], 1.0, 0.0, 8.0, 0.0, np.array([[0.01, 0.02], [0.03, 0.04]]))
    assert skill[1:].line_wild.tolist() == [[0.03, 0.04]]
    assert skill.at([20.0]).line_wild[:, 0] == pytest.approx([0.02, 0.04])


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"line_wild": -0.1}, "line_wild must be a share from 0 to 1; got -0.1"),
        ({"pace_wild": 1.2}, "pace_wild must be a share"),
        ({"pace_wild": np.nan}, "finite"),
        ({"line_wild_sd_deg": 0.0}, "line_wild_sd_deg must be above 0"),
    ],
)
def test_what_is_no_share_or_spread_of_mishits_is_refused(wrong, said):
    with pytest.raises(UsageError, match=said):
        Skill.constant(1.0, 8.0, **wrong)


def test_a_share_above_one_is_told_as_it_is():
    with pytest.raises(UsageError, match="got 1.2"):
        Skill([5.0, 20.0], 1.0, 0.0, 8.0, 0.0, line_wild=[[0.1, 1.2]])
