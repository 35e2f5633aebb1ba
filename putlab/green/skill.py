"""A golfer's skill as numbers: spread and bias of line and pace at every distance."""

from dataclasses import dataclass, fields, replace

import numpy as np

from putlab.base.errors import UsageError


@dataclass(frozen=True)
class Skill:
    """Spread and bias of line and pace, for many posterior draws at once.

    Between the distances given, values run straight in log distance (spreads in log
    spread); beyond them they stay level. Pace is relative: percent of the distance rolled.

    Attributes
    ----------
    distance_ft : ndarray, shape (n,)
        Distances the values below belong to, in feet, rising.
    line_sd_deg, line_bias_deg : ndarray, shape (draws, n)
        Standard deviation and mean of the start direction, in degrees, + right.
    pace_sd_pct, pace_bias_pct : ndarray, shape (draws, n)
        Standard deviation and mean of (roll / distance - 1), in percent.
    """

    distance_ft: np.ndarray
    line_sd_deg: np.ndarray
    line_bias_deg: np.ndarray
    pace_sd_pct: np.ndarray
    pace_bias_pct: np.ndarray

    def __post_init__(self):
        """Bring every array to shape (draws, n) and refuse what is not a skill."""
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
    def constant(cls, line_sd_deg, pace_sd_pct, *, line_bias_deg=0.0, pace_bias_pct=0.0):
        """Return one golfer whose spreads are the same at all distances.

        Parameters
        ----------
        line_sd_deg, pace_sd_pct : float
            Spread of start direction in degrees, of roll-out in percent of the distance.
        line_bias_deg, pace_bias_pct : float
            Mean error of each.

        Returns
        -------
        Skill
            One draw, one distance.
        """
        return cls(np.array([10.0]), line_sd_deg, line_bias_deg, pace_sd_pct, pace_bias_pct)

    @property
    def draws(self):
        """Number of posterior draws."""
        return self.line_sd_deg.shape[0]

    def at(self, distance_ft):
        """Return the skill at other distances.

        Parameters
        ----------
        distance_ft : array_like, shape (m,)
            Distances in feet, rising.

        Returns
        -------
        Skill
            The same draws at the distances asked for.
        """
        wanted = np.atleast_1d(np.asarray(distance_ft, dtype=float))
        weights = _interpolation_weights(np.log(self.distance_ft), np.log(wanted))
        return Skill(
            wanted,
            np.exp(np.log(self.line_sd_deg) @ weights),
            self.line_bias_deg @ weights,
            np.exp(np.log(self.pace_sd_pct) @ weights),
            self.pace_bias_pct @ weights,
        )

    def wider(self, line_sd_deg=0.0, pace_sd_pct=0.0):
        """Return the skill with independent extra spread added in quadrature.

        Parameters
        ----------
        line_sd_deg, pace_sd_pct : float or ndarray
            Extra spread of each, broadcast against (draws, n): reading the green, say.

        Returns
        -------
        Skill
            Same draws and distances, wider spreads.
        """
        return replace(
            self,
            line_sd_deg=np.hypot(self.line_sd_deg, line_sd_deg),
            pace_sd_pct=np.hypot(self.pace_sd_pct, pace_sd_pct),
        )


def _interpolation_weights(known, wanted):
    """Return W, shape (known, wanted), so that values @ W interpolates, level outside."""
    eye = np.eye(known.size)
    return np.stack([np.interp(wanted, known, row) for row in eye])
