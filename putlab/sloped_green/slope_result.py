"""What comes of putting on a slope: chances, averages, aim and pace."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class SlopeHoleOut:
    """Chances and averages of holing out on a slope, for each draw and putt.

    Attributes
    ----------
    distance_ft, slope_to_deg : ndarray, shape (n,)
        Length of the first putt; direction of downhill from the line ball to hole.
    aim_deg, roll_flat_ft : ndarray, shape (n,)
        Where it is started, + right of the hole, and how hard, as a flat roll-out.
    past_ft : ndarray, shape (n,)
        Straight distance from the hole to where the putt as meant would stop, hole covered;
        below 0 where that is short of it.
    more_than : ndarray, shape (10, draws, n)
        Chance that more than 0, 1, ... 9 putts are taken.
    mean_leave_ft : ndarray, shape (draws, n)
        Mean distance left after a first putt that missed.
    """

    distance_ft: np.ndarray
    slope_to_deg: np.ndarray
    aim_deg: np.ndarray
    roll_flat_ft: np.ndarray
    past_ft: np.ndarray
    more_than: np.ndarray
    mean_leave_ft: np.ndarray

    @property
    def one_putt(self):
        """Chance that the first putt drops, shape (draws, n)."""
        return 1 - self.more_than[1]

    @property
    def three_putt(self):
        """Chance of three putts or more, shape (draws, n)."""
        return self.more_than[2]

    @property
    def average_putts(self):
        """Mean number of putts, at most ten, shape (draws, n)."""
        return self.more_than.sum(axis=0)

    def table(self):
        """Return the means over draws as a table.

        Returns
        -------
        pandas.DataFrame
            A row a putt: ``distance_ft, slope_to_deg, aim_deg, roll_flat_ft, past_ft,
            one_putt, three_putt, average_putts, mean_leave_ft``.
        """
        import pandas as pd

        given = ("distance_ft", "slope_to_deg", "aim_deg", "roll_flat_ft", "past_ft")
        found = ("one_putt", "three_putt", "average_putts", "mean_leave_ft")
        columns = {name: getattr(self, name) for name in given}
        return pd.DataFrame(
            columns | {name: getattr(self, name).mean(axis=0) for name in found}
        )
