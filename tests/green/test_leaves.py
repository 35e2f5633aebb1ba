"""Gathering leaves into cells: what is kept exactly."""

import numpy as np
import pytest

from putlab.green.flat import FlatScatter
from putlab.green.leaves import LeaveGrid, holed_chance, leaves
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
    strikes, grid = FlatScatter.of(Skill.constant(2.0, 12.0).at([4.0, 20.0]), 1.0), LeaveGrid()
    said = holed_chance(strikes, 10.0, refine=1)
    assert np.array_equal(holed_chance(strikes, 10.0), said)
    plain, once = leaves(strikes, 10.0, grid), leaves(strikes, 10.0, grid, refine=1)
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
