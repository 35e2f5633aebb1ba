"""Where misses stop: gathered into cells, and how near the hole, against struck putts."""

import brute_force
import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from putlab.base.errors import UsageError
from putlab.green.flat import FlatScatter
from putlab.green.hole_out import hole_out
from putlab.green.leaves import (
    Directions,
    LeaveGrid,
    area_chance,
    holed_chance,
    leave_within,
    leaves,
)
from putlab.green.skill import Skill


def test_interpolation_onto_cells_is_exact_for_a_cubic():
    grid = LeaveGrid()
    known = np.log(grid.cells_ft[:: grid.LATER])
    cubic = np.polynomial.Polynomial([0.3, -1, 0.5, 0.2])
    assert grid.fill(grid.LATER) @ cubic(known) == pytest.approx(cubic(np.log(grid.cells_ft)))


@pytest.mark.parametrize("stride", [LeaveGrid.HOLING, LeaveGrid.LATER])
def test_what_is_known_at_both_ends_of_the_grid_is_never_carried_beyond(stride):
    grid = LeaveGrid()
    known = np.arange(0, grid.CELLS, stride)
    assert known[-1] == grid.CELLS - 1
    # A known cell is its own value; the weights of any other add up to one.
    assert grid.fill(stride)[known] == pytest.approx(np.eye(known.size))
    assert grid.fill(stride).sum(axis=1) == pytest.approx(np.ones(grid.CELLS))


def test_a_cell_is_filled_from_the_four_known_cells_around_it():
    """Lagrange's weights half way, -1/16, 9/16, 9/16, -1/16: in any text on interpolation."""
    fill = LeaveGrid().fill(4)
    assert fill[42, 9:13] == pytest.approx([-1 / 16, 9 / 16, 9 / 16, -1 / 16])
    # At either end the first or last four.
    assert np.flatnonzero(fill[2]).tolist() == [0, 1, 2, 3]
    assert np.flatnonzero(fill[-3]).tolist() == [61, 62, 63, 64]


def test_where_nothing_is_said_integrals_are_cut_once():
    putts, grid = FlatScatter.of(Skill.constant(2.0, 12.0).at([4.0, 20.0]), 1.0), LeaveGrid()
    said = holed_chance(putts, 10.0, refine=1)
    assert np.array_equal(holed_chance(putts, 10.0), said)
    plain, once = leaves(putts, 10.0, grid), leaves(putts, 10.0, grid, refine=1)
    assert np.array_equal(plain.cells, once.cells)
    assert plain.holed == pytest.approx(said, abs=1e-12)


def test_the_widest_putt_is_cut_as_finely_in_company_as_alone():
    grid = LeaveGrid()
    steady, wide = (FlatScatter.of(Skill.constant(*s).at([60.0]), 1.0) for s in ((0.2, 2), (4, 30)))
    names = FlatScatter.__dataclass_fields__
    pairs = [np.concatenate([getattr(steady, n), getattr(wide, n)]) for n in names]
    together, alone = (leaves(some, 10.0, grid) for some in (FlatScatter(*pairs), wide))
    assert together.mean_leave_ft[1] == pytest.approx(alone.mean_leave_ft[0], rel=1e-6)
    assert together.cells[1] == pytest.approx(alone.cells[0], abs=1e-6)


def test_a_leave_is_shared_between_its_neighbours():
    grid = LeaveGrid()
    between = np.sqrt(grid.cells_ft[10] * grid.cells_ft[11])
    squared = np.array([[between**2, 0.01, 1e9]], dtype=np.float32)
    cells = grid.spread_out(squared, np.array([[0.5, 0.3, 0.2]], dtype=np.float32))[0]
    assert cells[[10, 11]] == pytest.approx([0.25, 0.25], abs=1e-4)
    assert cells[0] == pytest.approx(0.3)
    assert cells[-1] == pytest.approx(0.2, abs=1e-3)


GOLFER = Skill.constant(1.6, 11, line_bias_deg=0.3, pace_bias_pct=-3)
WITHIN_FT = (0.5, 1.0, 2.0, 4.0, 8.0, 15.0)


@pytest.mark.parametrize("distance_ft", [2.0, 10.0, 30.0])
def test_area_behind_the_hole_against_struck_putts(distance_ft):
    rng = np.random.default_rng(3)
    angle = np.radians(0.3 + 1.6 * rng.normal(size=1_000_000))
    roll = np.maximum((distance_ft + 1.5) * (0.97 + 0.11 * rng.normal(size=angle.size)), 0)
    aside, along = distance_ft * np.sin(angle), distance_ft * np.cos(angle)
    # Past the hole, in the area, and not dropped (Penner 2002, from memory; Stimpmeter 10).
    share = (aside * 24 / 4.25) ** 2
    limit = np.where(share < 1, (1.63 / 0.3048 * (1 - share)) ** 2 / 3.6, 0.0)
    in_area = (roll > along + limit) & (np.hypot(roll - along, aside) < 3)
    found = area_chance(FlatScatter.of(GOLFER.at(distance_ft), 1.5), 10.0)
    assert found[0] == pytest.approx(in_area.mean(), abs=0.0015)


@pytest.mark.parametrize("distance_ft", [5.0, 20.0, 50.0])
def test_distribution_of_leaves_against_struck_putts(distance_ft):
    setting = ([10], [3.0], [0.8], [20.0], [-8.0], 8.0, 1.0)
    rng = np.random.default_rng(9)
    _, struck = brute_force.play(setting, distance_ft, 400_000, rng)
    skill = Skill.constant(3.0, 20.0, line_bias_deg=0.8, pace_bias_pct=-8.0)
    found = leave_within(skill, [distance_ft], WITHIN_FT, stimp_ft=8.0)[0, 0]
    expected = [np.sum(struck < within) / 400_000 for within in WITHIN_FT]
    assert found == pytest.approx(expected, abs=0.0025)


def test_every_miss_stops_somewhere():
    found = leave_within(GOLFER, [3.0, 10, 60], [1e4])[0, :, 0]
    missed = 1 - hole_out(GOLFER, [3.0, 10, 60]).one_putt[0]
    assert found == pytest.approx(missed, abs=1e-5)


def test_median_leave_of_a_long_putt_by_hand():
    """Straight and 10 % off in pace from 50 ft: leaves are |1 + 5.1 z| ft, median 3.5 ft."""
    straight = Skill.constant(0.01, 10.0)
    within = leave_within(straight, [50.0], [30.0, 3.5])[0, 0]
    z = np.random.default_rng(2).normal(size=1_000_000)
    past = 1 + 5.1 * z
    # Dropped: from the rim (0.18 ft short) to 7.9 ft past, dead centre on a green of 10 ft.
    missed = np.abs(past[(past < -0.177) | (past > 7.94)])
    assert within[1] / within[0] == pytest.approx(np.mean(missed < 3.5), abs=0.005)


@pytest.mark.parametrize("within_ft", [[0.0], [1.0, -1.0], [np.nan]])
def test_distances_left_must_be_above_nought(within_ft):
    with pytest.raises(UsageError, match="within_ft must be above 0"):
        leave_within(GOLFER, [10.0], within_ft)


@pytest.mark.parametrize("within_ft", [2.5, 2.99, 3.01])
def test_a_putt_that_hardly_moves_is_within_a_circle_that_reaches_the_ball(within_ft):
    """From 3 ft, target 4 ft, 60 % of spread: one in twenty does not move. Struck putts."""
    rng = np.random.default_rng(4)
    angle = np.radians(0.5 * rng.normal(size=1_000_000))
    roll = np.maximum(4 * (1 + 0.6 * rng.normal(size=angle.size)), 0)
    aside, along = 3 * np.sin(angle), 3 * np.cos(angle)
    u = np.minimum(np.abs(aside) * 24 / 4.25, 1)
    reaches = (u < 1) & (roll >= along - 4.25 / 24 * np.sqrt(1 - u**2))
    slow = np.maximum(roll - along, 0) * 3.6 <= (1.63 / 0.3048 * (1 - u**2)) ** 2
    missed = ~(reaches & slow)
    expected = np.mean(missed & (np.hypot(aside, roll - along) < within_ft))
    found = leave_within(Skill.constant(0.5, 60.0), [3.0], [within_ft])
    assert found.item() == pytest.approx(expected, abs=0.0015)


def test_draws_distances_and_circles_keep_their_places():
    spreads = np.array([[1.0], [2.5]]), np.zeros((2, 1)), np.array([[8.0], [15.0]])
    skill = Skill(np.array([10.0]), *spreads, np.zeros((2, 1)))
    found = leave_within(skill, [4.0, 12.0, 30.0], [1.0, 3.0])
    assert found.shape == (2, 3, 2)
    for draw, (line, pace) in enumerate(((1.0, 8.0), (2.5, 15.0))):
        for i, distance_ft in enumerate((4.0, 12.0, 30.0)):
            alone = leave_within(Skill.constant(line, pace), [distance_ft], [1.0, 3.0])[0, 0]
            assert found[draw, i] == pytest.approx(alone, abs=1e-9)


@pytest.mark.parametrize("distance_ft", [10.0, 30.0])
@pytest.mark.parametrize("within_ft", [0.4, 3.0])
def test_small_circles_against_adaptive_integration(distance_ft, within_ft):
    """scipy's adaptive `quad` over the direction, conventions typed in again."""
    radius_ft, target_ft = 4.25 / 24, distance_ft + 1

    def missed_close(angle):
        aside, along = abs(distance_ft * np.sin(angle)), distance_ft * np.cos(angle)
        chord = np.sqrt(within_ft**2 - aside**2)
        u = min(aside / radius_ft, 1)
        rim = np.sqrt(max(radius_ft**2 - aside**2, 0))
        past = (1.63 / 0.3048 * (1 - u**2)) ** 2 / 3.6
        edges = np.array([-chord, -rim, past, max(chord, past)]) + along
        chance = norm.cdf(edges, target_ft, 0.12 * target_ft)
        density = norm.pdf(angle, 0, np.radians(2.5))
        return density * (chance[1] - chance[0] + chance[3] - chance[2])

    rim, edge = np.arcsin(radius_ft / distance_ft), np.arcsin(within_ft / distance_ft)
    expected = 2 * quad(missed_close, 0, edge, points=[0.9 * rim, rim], limit=200)[0]
    found = leave_within(Skill.constant(2.5, 12.0), [distance_ft], [within_ft], stimp_ft=10.0)
    assert found.item() == pytest.approx(expected, rel=2e-3)


def test_three_ranges_of_directions_take_every_putt_once():
    rng = np.random.default_rng(7)
    skill = Skill(
        np.array([1.0, 4, 30]),
        rng.uniform(0.1, 5, (50, 3)),
        rng.normal(0, 1, (50, 3)),
        rng.uniform(1, 40, (50, 3)),
        rng.normal(0, 8, (50, 3)),
    )
    putts = FlatScatter.of(skill, 1.0)
    ranges = [Directions.at_hole(putts, 10.0, 8)]
    ranges += [Directions.beside(putts, side, 8) for side in (0, 1)]
    total = sum(sum(some.chances()) for some in ranges)
    assert total == pytest.approx(np.ones(150), abs=1e-5)
    assert all(np.all(part >= -1e-9) for some in ranges for part in some.chances())
