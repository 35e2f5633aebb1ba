"""Where misses stop: gathered into cells, and how near the hole, against struck putts."""

import brute_force
import numpy as np
import pytest

from putlab.green.flat import FlatScatter
from putlab.green.hole_out import hole_out
from putlab.green.leaves import Directions, LeaveGrid, leaves
from putlab.green.skill import Skill


def test_interpolation_onto_cells_is_exact_for_a_cubic():
    grid = LeaveGrid()
    known = np.log(grid.cells_ft[:: grid.LATER])
    cubic = np.polynomial.Polynomial([0.3, -1, 0.5, 0.2])
    assert grid.fill(grid.LATER) @ cubic(known) == pytest.approx(cubic(np.log(grid.cells_ft)))


@pytest.mark.parametrize("stride", [LeaveGrid.NODES, LeaveGrid.LATER])
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


@pytest.mark.parametrize("distance_ft", [5.0, 20.0, 50.0])
def test_distribution_of_leaves_against_struck_putts(distance_ft):
    """By its Laplace transform, which lumps of a few nodes do not touch."""
    setting = ([10], [3.0], [0.8], [20.0], [-8.0], 8.0, 1.0)
    rng = np.random.default_rng(9)
    _, struck = brute_force.play(setting, distance_ft, 400_000, rng)
    skill = Skill.constant(3.0, 20.0, line_bias_deg=0.8, pace_bias_pct=-8.0)
    grid = LeaveGrid()
    cells = leaves(FlatScatter.of(skill.at([distance_ft]), 1.0), 8.0, grid).cells[0]
    for within_ft in WITHIN_FT:
        expected = np.exp(-struck / within_ft).sum() / 400_000
        found = cells @ np.exp(-grid.cells_ft / within_ft)
        assert found == pytest.approx(expected, abs=0.0025)


def test_every_miss_stops_somewhere():
    putts = FlatScatter.of(GOLFER.at([3.0, 10, 60]), 1.0)
    missed = 1 - hole_out(GOLFER, [3.0, 10, 60]).one_putt[0]
    assert leaves(putts, 10.0, LeaveGrid()).cells.sum(axis=1) == pytest.approx(missed, abs=1e-5)


def test_a_putt_that_hardly_moves_leaves_its_length():
    """From 3 ft, target 4 ft, 60 % of spread: one in twenty does not move. Struck putts."""
    rng = np.random.default_rng(4)
    angle = np.radians(0.5 * rng.normal(size=1_000_000))
    roll = np.maximum(4 * (1 + 0.6 * rng.normal(size=angle.size)), 0)
    aside, along = 3 * np.sin(angle), 3 * np.cos(angle)
    u = np.minimum(np.abs(aside) * 24 / 4.25, 1)
    reaches = (u < 1) & (roll >= along - 4.25 / 24 * np.sqrt(1 - u**2))
    slow = np.maximum(roll - along, 0) * 3.6 <= (1.63 / 0.3048 * (1 - u**2)) ** 2
    left_ft, grid = np.hypot(aside, roll - along), LeaveGrid()
    near_ball = [np.exp(-(((ft - 3) / 0.5) ** 2)) for ft in (left_ft, grid.cells_ft)]
    cells = leaves(FlatScatter.of(Skill.constant(0.5, 60.0).at([3.0]), 1.0), 10.0, grid).cells[0]
    expected = np.mean(near_ball[0] * ~(reaches & slow))
    assert cells @ near_ball[1] == pytest.approx(expected, abs=0.0015)


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
