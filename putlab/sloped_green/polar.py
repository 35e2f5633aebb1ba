"""Functions of where a ball lies on a slope: distance to the hole, direction of downhill."""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import map_coordinates

# Nearer than this nobody misses; a hole's radius is 0.177 ft.
NEAREST_FT = 0.25
# Distances, and directions round the whole circle.
DISTANCES, DIRECTIONS = 25, 16
# Places between neighbours at which the spline is tabled before straight lines serve.
FINER = 8


@dataclass(frozen=True)
class PolarGrid:
    """Distances, even in log, by directions of downhill, even round the circle.

    Attributes
    ----------
    distance_ft : ndarray, shape (n,)
        Distances to the hole.
    slope_to_deg : ndarray, shape (m,)
        Directions of downhill from the line ball to hole; one is enough on the flat.
    mirrored : bool
        Whether they go only from 0 to 180 because the rest is a mirror image.
    """

    distance_ft: np.ndarray
    slope_to_deg: np.ndarray
    mirrored: bool

    @classmethod
    def up_to(cls, longest_ft, *, flat=False, refine=1):
        """Return a mirrored grid.

        Parameters
        ----------
        longest_ft : float
            Farthest distance; whatever lies beyond counts as lying there.
        flat : bool
            Whether direction does not matter.
        refine : int
            Multiplies the number of distances and directions.

        Returns
        -------
        PolarGrid
            The grid.
        """
        turns = np.zeros(1) if flat else np.linspace(0, 180, DIRECTIONS * refine // 2 + 1)
        distances = np.geomspace(NEAREST_FT, longest_ft, (DISTANCES - 1) * refine + 1)
        return cls(distances, turns, not flat)

    def whole(self):
        """Return the grid round the whole circle."""
        turns = _whole(self.slope_to_deg, 360 - self.slope_to_deg) if self.mirrored else None
        return PolarGrid(self.distance_ft, self.slope_to_deg if turns is None else turns, False)

    def whole_values(self, values, *, sign=1.0):
        """Return values at the places of the whole grid.

        Parameters
        ----------
        values : ndarray, shape (n * m,)
            One value a place of this grid.
        sign : {1, -1}
            Sign of the mirror image: -1 for directions.

        Returns
        -------
        ndarray
            One value a place of `whole`.
        """
        if not self.mirrored:
            return values
        values = values.reshape(self.distance_ft.size, -1)
        return _whole(values, sign * values).ravel()

    def places(self):
        """Return distance and direction of every place, each of shape (n * m,)."""
        distance, to = np.meshgrid(self.distance_ft, self.slope_to_deg, indexing="ij")
        return distance.ravel(), to.ravel()

    def function(self, values):
        """Return a function through values at the grid's places.

        Parameters
        ----------
        values : ndarray, shape (n * m,)
            One value a place, the mirror image alike.

        Returns
        -------
        callable
            ``f(leave_ft, slope_to_deg)``: a cubic spline in log distance and direction,
            kept within the values and level beyond the grid.
        """
        count = self.distance_ft.size
        finer = np.linspace(0, count - 1, (count - 1) * FINER + 1)
        table = self.whole_values(values).reshape(count, -1)
        table = CubicSpline(np.arange(count), table)(finer)
        turns = table.shape[1]
        if turns > 1:
            closed = np.column_stack([table, table[:, :1]])
            spline = CubicSpline(np.arange(turns + 1), closed, axis=1, bc_type="periodic")
            table = spline(np.linspace(0, turns, turns * FINER + 1))
        # A spline may swing beyond its values beside a steep step.
        table = np.clip(table, values.min(), values.max())
        log_step = np.log(self.distance_ft[1] / self.distance_ft[0]) / FINER
        per_degree = turns * FINER / 360 * (turns > 1)

        def at(leave_ft, slope_to_deg):
            row = np.log(np.maximum(leave_ft, NEAREST_FT) / NEAREST_FT) / log_step
            column = (slope_to_deg % 360) * per_degree
            return map_coordinates(table, [row, column], order=1, mode="nearest")

        return at


def _whole(half, image):
    """Complete half a circle, 0 to 180 on the last axis, by its mirror image."""
    return np.concatenate([half, image[..., -2:0:-1]], axis=-1)
