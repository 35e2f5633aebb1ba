"""A golfer's skill as numbers: spread and bias of line and pace at every distance."""

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike

from putlab.base.errors import UsageError

SKILL_QUANTITIES = ("line_sd_deg", "line_bias_deg", "pace_sd_pct", "pace_bias_pct")


@dataclass(frozen=True)
class Skill:
    """Spread and bias of line and pace, for many posterior draws at once.

    Between the distances given, values run straight in log distance (spreads in log
    spread); beyond them they stay level. Pace is relative: percent of the distance rolled.

    Parameters
    ----------
    distance_ft : ndarray, shape (n,)
        Distances the values below belong to, in feet, rising.
    line_sd_deg, line_bias_deg : ndarray, shape (draws, n)
        Standard deviation and mean of the start direction, in degrees, + right.
    pace_sd_pct, pace_bias_pct : ndarray, shape (draws, n)
        Standard deviation and mean of (roll / distance - 1), in percent.

    Raises
    ------
    UsageError
        Distances do not rise, a spread is not above 0 or a number is not finite.

    Examples
    --------
    >>> golfer = Skill.constant(1.5, 9.0)
    >>> float(golfer.at([4, 20]).line_sd_deg[0, 1])
    1.5
    """

    distance_ft: np.ndarray
    line_sd_deg: np.ndarray
    line_bias_deg: np.ndarray
    pace_sd_pct: np.ndarray
    pace_bias_pct: np.ndarray

    def __post_init__(self) -> None:
        distance = np.atleast_1d(np.asarray(self.distance_ft, dtype=float))
        if distance.ndim != 1 or np.any(distance <= 0) or np.any(np.diff(distance) <= 0):
            raise UsageError(f"distance_ft must be above 0 and rising; got {distance}.")
        object.__setattr__(self, "distance_ft", distance)
        names = [f.name for f in fields(self) if f.name != "distance_ft"]
        values = [np.asarray(getattr(self, name), dtype=float) for name in names]
        shape = np.broadcast_shapes((1, distance.size), *(np.shape(v) for v in values))
        for name, value in zip(names, values, strict=True):
            if not np.all(np.isfinite(value)):
                raise UsageError(f"{name} must be finite numbers.")
            if name.endswith(("_sd_deg", "_sd_pct")) and np.any(value <= 0):
                raise UsageError(f"{name} must be above 0; got {np.min(value):g}.")
            object.__setattr__(self, name, np.broadcast_to(value, shape))

    @classmethod
    def constant(
        cls,
        line_sd_deg: float,
        pace_sd_pct: float,
        *,
        line_bias_deg: float = 0.0,
        pace_bias_pct: float = 0.0,
    ) -> "Skill":
        """Return one golfer, one draw, whose spreads and biases are the same at all distances."""
        values = (line_sd_deg, line_bias_deg, pace_sd_pct, pace_bias_pct)
        return cls(np.array([10.0]), *(np.asarray(value) for value in values))

    @property
    def draws(self) -> int:
        """Number of posterior draws."""
        return self.line_sd_deg.shape[0]

    def at(self, distance_ft: ArrayLike) -> "Skill":
        """Return the same draws at other distances, rising, in feet."""
        wanted = np.atleast_1d(np.asarray(distance_ft, dtype=float))
        weights = interpolation_weights(np.log(self.distance_ft), np.log(wanted))
        return Skill(
            wanted,
            np.exp(np.log(self.line_sd_deg) @ weights),
            self.line_bias_deg @ weights,
            np.exp(np.log(self.pace_sd_pct) @ weights),
            self.pace_bias_pct @ weights,
        )

    def wider(
        self, line_sd_deg: float | np.ndarray = 0.0, pace_sd_pct: float | np.ndarray = 0.0
    ) -> "Skill":
        """Return the skill with independent extra spread in quadrature: reading a green, say."""
        return replace(
            self,
            line_sd_deg=np.hypot(self.line_sd_deg, line_sd_deg),
            pace_sd_pct=np.hypot(self.pace_sd_pct, pace_sd_pct),
        )

    def __getitem__(self, rows: slice | np.ndarray) -> "Skill":
        values = {name: getattr(self, name)[rows] for name in SKILL_QUANTITIES}
        return replace(self, **values)

    def thinned(self, draws: int) -> "Skill":
        """Return at most so many of the draws, evenly taken: cheaper to work with."""
        return self if self.draws <= draws else self[even_rows(self.draws, draws)]


def even_rows(rows: int, wanted: int) -> np.ndarray:
    """Return the indices of so many of the rows, evenly from the first to the last."""
    return np.linspace(0, rows - 1, wanted).round().astype(int)


def interpolation_weights(known: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    # Shape (known, wanted), so that values @ weights interpolates, level outside.
    eye = np.eye(known.size)
    return np.stack([np.interp(wanted, known, row) for row in eye])
