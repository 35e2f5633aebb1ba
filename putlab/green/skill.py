"""A golfer's skill as numbers: spread and bias of line and pace at every distance."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from putlab.base.errors import UsageError

SKILL_QUANTITIES = ("line_sd_deg", "line_bias_deg", "pace_sd_pct", "pace_bias_pct")
SPREAD_AND_BIAS = {"line": SKILL_QUANTITIES[:2], "pace": SKILL_QUANTITIES[2:]}
WILD_QUANTITIES = ("line_wild", "line_wild_sd_deg", "pace_wild", "pace_wild_sd_pct")
NEVER_WILD = {"line_wild": np.zeros(1), "pace_wild": np.zeros(1)}
WILD_SD = {"line_wild_sd_deg": "line_sd_deg", "pace_wild_sd_pct": "pace_sd_pct"}


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
    line_wild, line_wild_sd_deg, pace_wild, pace_wild_sd_pct : ndarray, shape (draws, n)
        Share of mishits, putts whose line, or pace, scatters more widely than the rest, and
        their standard deviation; default: none, and that of the rest.

    Raises
    ------
    UsageError
        Distances do not rise, a spread is not above 0, a share is not within 0 to 1 or a
        number is not finite.

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
    line_wild: np.ndarray = field(default_factory=lambda: np.zeros(1))
    line_wild_sd_deg: np.ndarray = field(default_factory=lambda: np.zeros(0))
    pace_wild: np.ndarray = field(default_factory=lambda: np.zeros(1))
    pace_wild_sd_pct: np.ndarray = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        distance = rising("distance_ft", self.distance_ft)
        object.__setattr__(self, "distance_ft", distance)
        values = {name: np.asarray(value, dtype=float) for name, value in self.values.items()}
        for name, ordinary in WILD_SD.items():
            values[name] = values[name] if values[name].size else values[ordinary]
        shape = np.broadcast_shapes((1, distance.size), *(np.shape(v) for v in values.values()))
        for name, value in values.items():
            _check_values(name, value)
            object.__setattr__(self, name, np.broadcast_to(value, shape))

    @classmethod
    def constant(
        cls,
        line_sd_deg: float,
        pace_sd_pct: float,
        *,
        line_bias_deg: float = 0.0,
        pace_bias_pct: float = 0.0,
        **wild: np.ndarray,
    ) -> "Skill":
        """Return one golfer, one draw, whose spreads and biases are the same at all distances."""
        values = (line_sd_deg, line_bias_deg, pace_sd_pct, pace_bias_pct)
        return cls(np.array([10.0]), *(np.asarray(value) for value in values), **wild)

    @property
    def draws(self) -> int:
        """Number of posterior draws."""
        return self.line_sd_deg.shape[0]

    @property
    def values(self) -> dict[str, np.ndarray]:
        """Everything but the distances, by name, each of shape (draws, n)."""
        return {name: getattr(self, name) for name in (*SKILL_QUANTITIES, *WILD_QUANTITIES)}

    @property
    def mean(self) -> "Skill":
        """The golfer in the middle of the draws: one draw, spreads averaged in log."""
        return self._by(self.distance_ft, lambda value: value.mean(axis=0))

    def at(self, distance_ft: ArrayLike) -> "Skill":
        """Return the same draws at other distances, rising, in feet."""
        wanted = np.atleast_1d(np.asarray(distance_ft, dtype=float))
        weights = interpolation_weights(np.log(self.distance_ft), np.log(wanted))
        return self._by(wanted, lambda value: value @ weights)

    def _by(self, distance_ft: np.ndarray, average: Callable[[np.ndarray], np.ndarray]) -> "Skill":
        """Return averages of the values, of spreads in log, at distances."""
        values = self.values.items()
        plain = {name: average(value) for name, value in values if "_sd_" not in name}
        spread = {name: np.exp(average(np.log(value))) for name, value in values if "_sd_" in name}
        return Skill(distance_ft, **plain, **spread)

    def wider(
        self, line_sd_deg: float | np.ndarray = 0.0, pace_sd_pct: float | np.ndarray = 0.0
    ) -> "Skill":
        """Return the skill with independent extra spread in quadrature: reading a green, say."""
        extra = {"deg": line_sd_deg, "pct": pace_sd_pct}
        names = [name for pair in WILD_SD.items() for name in pair]
        return replace(self, **{n: np.hypot(getattr(self, n), extra[n[-3:]]) for n in names})

    def parts(self, mean: "Skill | None" = None) -> list[tuple[np.ndarray, "Skill"]]:
        """Return ordinary putts, and those wild in line, pace or both: chances and skills.

        Chances have shape (draws, n). Wild putts are few, so that those of the mean golfer
        stand for every draw's.
        """
        plain = replace(self, **NEVER_WILD)
        if not np.any(self.line_wild) and not np.any(self.pace_wild):
            return [(np.ones_like(self.line_sd_deg), plain)]
        mean = replace(mean or self.mean, **NEVER_WILD)
        wild_line = {"line_sd_deg": mean.line_wild_sd_deg}
        wild_pace = {"pace_sd_pct": mean.pace_wild_sd_pct}
        line, pace = self.line_wild, self.pace_wild
        return [
            ((1 - line) * (1 - pace), plain),
            (line * (1 - pace), replace(mean, **wild_line)),
            ((1 - line) * pace, replace(mean, **wild_pace)),
            (line * pace, replace(mean, **wild_line, **wild_pace)),
        ]

    def __getitem__(self, rows: slice | np.ndarray) -> "Skill":
        return replace(self, **{name: value[rows] for name, value in self.values.items()})

    def thinned(self, draws: int) -> "Skill":
        """Return at most so many of the draws, evenly taken: cheaper to work with."""
        return self if self.draws <= draws else self[evenly(self.draws, draws)]


def evenly(draws: int, kept: int) -> np.ndarray:
    """Return which of some draws are kept where fewer are, evenly taken."""
    return np.linspace(0, draws - 1, min(kept, draws)).round().astype(int)


def rising(name: str, distance_ft: ArrayLike) -> np.ndarray:
    """Return distances as an array; refuse any that are not finite, above 0 and rising."""
    distance = np.atleast_1d(np.asarray(distance_ft, dtype=float))
    good = distance.ndim == 1 and distance.size and np.all(np.isfinite(distance))
    if not good or np.any(np.diff(distance, prepend=0.0) <= 0):
        raise UsageError(f"{name} must be above 0 and rising; got {distance}.")
    return distance


def _check_values(name: str, value: np.ndarray) -> None:
    # Refuse what can't be a golfer's.
    if not np.all(np.isfinite(value)):
        raise UsageError(f"{name} must be finite numbers.")
    if "_sd_" in name and np.any(value <= 0):
        raise UsageError(f"{name} must be above 0; got {np.min(value):g}.")
    if name.endswith("_wild") and (wrong := value[(value < 0) | (value > 1)]).size:
        raise UsageError(f"{name} must be a share from 0 to 1; got {wrong[0]:g}.")


def interpolation_weights(known: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    # Shape (known, wanted), so that values @ weights interpolates, level outside.
    eye = np.eye(known.size)
    return np.stack([np.interp(wanted, known, row) for row in eye])
