"""Hole-out on slopes: against step-by-step simulation and the flat green."""

import numpy as np
import pytest
from refined import refined
from slope_simulation import G_FT_S2, play

from putlab.green.hole_out import hole_out
from putlab.green.skill import Skill
from putlab.green.slope import Green, NeverStops, aim_past
from putlab.green.slope_hole_out import slope_more_than

TOUR_LIKE = Skill.constant(1.4, 9.0)

# Green speed and slope, lie, spread (line sd, line bias, pace sd, pace bias).
SETTINGS = [
    ((10, 2), (12, 90), (1.4, 0.0, 9.0, 0.0)),
    ((12, 3), (25, 150), (1.0, 0.4, 7.0, 3.0)),
    ((9, 4), (6, 20), (2.2, -0.5, 14.0, -4.0)),
    ((11, 2.5), (40, 260), (1.6, 0.0, 11.0, 0.0)),
]


def skill_of(spread):
    line_sd, line_bias, pace_sd, pace_bias = spread
    return Skill.constant(line_sd, pace_sd, line_bias_deg=line_bias, pace_bias_pct=pace_bias)


def outcomes(more_than):
    """Return one-putt, three-putt and average putts of chances of more putts."""
    return np.stack([1 - more_than[1], more_than[2], more_than.sum(axis=0)])


def compare(green, lie, spread, *, holes, seed):
    """Return one-putt, three-putt and average putts, the kit's less the simulation's."""
    ours = outcomes(slope_more_than(skill_of(spread), Green(*green), *lie, past_ft=1.0))

    def choose(distance, to):
        return aim_past(Green(*green), np.maximum(distance, 0.2), 1.0, slope_to_deg=to)

    taken = play(green, lie, spread, choose, holes=holes, seed=seed)
    return ours[:, 0, 0] - [np.mean(taken == 1), np.mean(taken >= 3), taken.mean()]


@pytest.mark.parametrize(("green", "lie", "spread"), SETTINGS[1:2])
def test_within_sampling_error_of_a_simulation(green, lie, spread):
    off = np.abs(compare(green, lie, spread, holes=2**15, seed=8))
    # Three standard errors of 32,768 holes (the first putts are even points, and closer);
    # the bars themselves are met by the longer run below.
    assert off[0] < 0.002
    assert off[1] < 0.005
    assert off[2] < 0.009


@pytest.mark.calibration
@pytest.mark.parametrize(("green", "lie", "spread"), SETTINGS)
def test_within_the_bars_of_a_quarter_of_a_million_holes_a_setting(green, lie, spread):
    """Sampling error: at most 0.0006 for a chance, 0.0013 for the average."""
    off = np.mean([compare(green, lie, spread, holes=2**17, seed=s) for s in (1, 2)], axis=0)
    print(green, lie, spread, np.round(off, 5))
    assert np.all(np.abs(off) < [0.002, 0.002, 0.004])


def moved_by_refining(green, line_sd, pace_sd, times=2):
    """Return by how much one-putt, three-putt and average putts move when refined."""
    distance, to = (part.ravel() for part in np.meshgrid([3.0, 10, 25, 60], [0, 70, 140, 200]))
    skill = Skill.constant(line_sd, pace_sd)
    plain = slope_more_than(skill, green, distance, to, past_ft=1.0)
    with refined(times):
        fine = slope_more_than(skill, green, distance, to, past_ft=1.0)
    return np.abs(outcomes(plain) - outcomes(fine)).max(axis=(1, 2))


def test_error_bound_on_an_ordinary_slope():
    # A quarter of the nodes more take a fifth of the time of twice as many; even an error that
    # falls with their number alone would move by a fifth of itself.
    moved = moved_by_refining(Green(10, 3), 1.4, 9, times=1.25)
    assert np.all(np.less(5 * moved, [5e-4, 1e-3, 1e-3]))


@pytest.mark.calibration
@pytest.mark.parametrize(
    ("share", "bound"), [(0.6, [5e-4, 1.5e-3, 1.5e-3]), (0.8, [1e-3, 4e-3, 4e-3])]
)
def test_error_bound_up_to_a_share_of_the_steepest_slope(share, bound, rng):
    for stimp_ft in (8, 10, 12):
        steepest = np.tan(np.arcsin(36 / (2 * stimp_ft) / (5 / 7 * G_FT_S2)))
        spread = np.exp(rng.uniform(np.log([0.2, 2]), np.log([4, 25])))
        moved = moved_by_refining(Green(stimp_ft, 100 * share * steepest), *spread)
        assert np.all(np.less(moved, bound)), (stimp_ft, spread, moved)


@pytest.mark.parametrize(
    ("line_sd", "pace_sd", "slope_pct"), [(1.4, 9, 0), (0.4, 3, 0), (3, 20, 0), (1.4, 9, 1e-9)]
)
def test_no_slope_is_the_flat_green(line_sd, pace_sd, slope_pct):
    """`hole_out` counts putts on the flat by other integrals, written apart."""
    skill = Skill.constant(line_sd, pace_sd, line_bias_deg=0.3, pace_bias_pct=2.0)
    distance = np.array([2.0, 5, 12, 30, 60])
    flat = hole_out(skill, distance, stimp_ft=11, past_ft=1.0)
    ours = slope_more_than(skill, Green(11, slope_pct), distance, past_ft=1.0)
    one_putt, three_putt, average_putts = outcomes(ours)
    np.testing.assert_allclose(one_putt, flat.one_putt, atol=1e-4)
    np.testing.assert_allclose(three_putt, flat.three_putt, atol=5e-4)
    np.testing.assert_allclose(average_putts, flat.average_putts, atol=5e-4)


def test_a_bias_is_the_mirror_image_of_its_opposite():
    falls_right, falls_left = (
        slope_more_than(skill_of((1.4, bias, 9.0, 0.0)), Green(10, 2), [8, 20], to, past_ft=1.0)
        for bias, to in ((0.6, [70, 120]), (-0.6, [-70, 240]))
    )
    np.testing.assert_allclose(falls_right, falls_left, atol=1e-5)


def test_every_draw_is_a_golfer_of_its_own():
    line, pace = np.array([[0.8], [2.0]]), np.array([[6.0], [13.0]])
    zero = np.zeros((2, 1))
    both = Skill(np.array([10.0]), line, zero, pace, zero)
    found, alone = (
        slope_more_than(skill, Green(10, 2), [6, 25], [90, 200], past_ft=1.0)
        for skill in (both, Skill.constant(2.0, 13.0))
    )
    np.testing.assert_allclose(found[:, 1], alone[:, 0], atol=5e-4)
    assert np.all(found[1, 0] < found[1, 1])


def test_from_over_the_hole_nobody_misses():
    more = slope_more_than(TOUR_LIKE, Green(10, 2), 0.1, 90, past_ft=1.0)
    assert more[1:].max() < 1e-3


def test_a_green_too_steep_is_said_so():
    with pytest.raises(NeverStops, match="would not stop"):
        slope_more_than(TOUR_LIKE, Green(13, 7), 10, past_ft=1.0)
