"""Gathering leaves into cells: what is kept exactly."""

import numpy as np
import pytest

from putlab.flat_green.leaves import LeaveGrid


def test_interpolation_onto_cells_is_exact_for_a_cubic():
    grid = LeaveGrid()
    known = np.log(grid.cells_ft[:: grid.LATER])
    cubic = np.polynomial.Polynomial([0.3, -1, 0.5, 0.2])
    assert grid.fill(grid.LATER) @ cubic(known) == pytest.approx(cubic(np.log(grid.cells_ft)))


def test_a_leave_is_shared_between_its_neighbours():
    grid = LeaveGrid()
    between = np.sqrt(grid.cells_ft[10] * grid.cells_ft[11])
    squared = np.array([[between**2, 0.01, 1e9]], dtype=np.float32)
    cells = grid.spread_out(squared, np.array([[0.5, 0.3, 0.2]], dtype=np.float32))[0]
    assert cells[[10, 11]] == pytest.approx([0.25, 0.25], abs=1e-4)
    assert cells[0] == pytest.approx(0.3)
    assert cells[-1] == pytest.approx(0.2, abs=1e-3)
