"""How practice narrows spread: every assumption in one object that can be replaced.

Power law of practice: over putts struck n, log spread falls by

    rate x log((100 + experience + n) / (100 + experience))

as the spread model's trend does. Experience at a length is the putts struck there plus a
share of those struck at its neighbours.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.stats import norm, rankdata

from putlab.base.errors import UsageError
from putlab.green.skill import interpolation_weights
from putlab.model.readings import COMPONENTS

# The power law of practice (A. Newell and P. S. Rosenbloom, "Mechanisms of skill acquisition
# and the law of practice", in Anderson, Cognitive Skills and Their Acquisition, 1981) fits
# times with exponents of about 0.1 to 0.6 from a first try on. Recalled from memory; spread
# in a skill already practised falls more slowly, so the prior is put lower.
POWER_LAW = "Newell and Rosenbloom (1981), power law of practice; size lowered by assumption"
ASSUMED = "assumption"

# Meaning and source of each assumption.
MEANINGS = {
    "rate_median": ("fall of log spread per log(1 + putts / 100), median", POWER_LAW),
    "rate_log_sd": ("log sd of that rate over golfers", POWER_LAW),
    "yield_log_sd": ("log sd of what a putt teaches, between lengths and components", ASSUMED),
    "bias_putts": ("putts, seeing where they go, that halve a bias, median", ASSUMED),
    "bias_log_sd": ("log sd of that number over golfers", ASSUMED),
    "carry_range": ("log distance over which carry-over falls to 1/e, median", ASSUMED),
    "carry_log_sd": ("log sd of that range, as it is not well known", ASSUMED),
    "other_share": ("share of a putt's practice that goes to the other component", ASSUMED),
    "half_life_days": ("days without practice after which half of it is lost", ASSUMED),
    "seconds_each": ("seconds a putt of no length takes", ASSUMED),
    "seconds_per_ft": ("further seconds for each foot of length", ASSUMED),
    "start_putts": ("putts that count as struck before the log", "scale of the spread model"),
}
MAY_BE_0 = ("yield_log_sd", "bias_log_sd", "carry_log_sd", "other_share", "seconds_per_ft")


@dataclass(frozen=True)
class Learning:
    """What practice does, until this golfer's own log says otherwise.

    Parameters
    ----------
    rate_median, rate_log_sd : float
        Log-normal prior of the rate: fall of log spread per unit of log(1 + putts / 100).
    yield_log_sd : float
        How much what a putt of practice is worth differs between lengths and components, in
        log: nobody knows that one at 6 ft teaches as much as one at 10 ft.
    bias_putts, bias_log_sd : float
        Putts that halve a bias: median and log sd. Whoever sees where balls go corrects a
        constant error faster than scatter.
    carry_range, carry_log_sd : float
        Carry-over from length a to length b is exp(-|log(a / b)| / carry_range); its median,
        and its log sd, as nobody knows it well.
    other_share : float
        A putt struck for line is also this much of a putt for pace, and the reverse.
    half_life_days : float
        What practice added halves in this time without any.
    seconds_each, seconds_per_ft : float
        Time a putt takes, with collecting the balls: fixed part, and for each foot.
    start_putts : float
        Putts counted as struck before the log; the spread model's trend uses 100.

    Raises
    ------
    UsageError
        A value can't be a golfer's.
    """

    rate_median: float = 0.08
    rate_log_sd: float = 0.7
    yield_log_sd: float = 0.4
    bias_putts: float = 150.0
    bias_log_sd: float = 0.7
    carry_range: float = 0.7
    carry_log_sd: float = 0.4
    other_share: float = 0.25
    half_life_days: float = 90.0
    seconds_each: float = 15.0
    seconds_per_ft: float = 0.3
    start_putts: float = 100.0

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not np.isfinite(value) or value < 0 or (value == 0 and field.name not in MAY_BE_0):
                raise UsageError(f"learning: {field.name} must be above 0; got {value:g}.")

    def carry_over(
        self, from_ft: ArrayLike, to_ft: ArrayLike, carry_range: ArrayLike | None = None
    ) -> np.ndarray:
        """Share of a putt at one length that counts at another, ([draws of the range,] n, m)."""
        apart = np.subtract.outer(np.log(np.atleast_1d(from_ft)), np.log(np.atleast_1d(to_ft)))
        wide = np.asarray(self.carry_range if carry_range is None else carry_range)
        return np.exp(-np.abs(apart) / wide[..., None, None])

    def putts_a_minute(self, distance_ft: ArrayLike) -> np.ndarray:
        """Putts that a minute holds at each length."""
        return 60 / (self.seconds_each + self.seconds_per_ft * np.asarray(distance_ft, float))

    def growth(self, experience: ArrayLike, putts: ArrayLike) -> np.ndarray:
        """Growth of log experience by further putts; times the rate, the fall of log spread."""
        return np.log1p(np.asarray(putts) / (self.start_putts + np.asarray(experience)))

    def retention(self, days: ArrayLike) -> np.ndarray:
        """Share of what practice added that is left after days without any."""
        return 0.5 ** (np.asarray(days, dtype=float) / self.half_life_days)

    def rates(self, trend: np.ndarray, trend_prior_sd: float) -> np.ndarray:
        """Rates above 0, one for each draw of the golfer's trend: what the log says x the prior."""
        # The trend's posterior is divided by its own prior, centred on nought, which leaves what
        # the log says; that is multiplied by the prior of the rate. A draw keeps its rank.
        mean, precision = rate_in_log(trend, trend_prior_sd)
        z = np.linspace(-5, 5, 2001)
        rate = self.rate_median * np.exp(self.rate_log_sd * z)
        weight = norm.pdf(z) * np.exp(
            -0.5 * precision * ((rate - mean) ** 2 - np.min((rate - mean) ** 2))
        )
        cumulative = np.cumsum(weight) - weight / 2
        rank = (rankdata(-np.asarray(trend)) - 0.5) / np.size(trend)
        return np.interp(rank, cumulative / weight.sum(), rate)

    def table(self) -> pd.DataFrame:
        """The assumptions: ``name, meaning, value, from, source``."""
        rows = [
            (name, meaning, getattr(self, name), "prior", source)
            for name, (meaning, source) in MEANINGS.items()
        ]
        return pd.DataFrame(rows, columns=["name", "meaning", "value", "from", "source"])


def rate_in_log(trend: np.ndarray, trend_prior_sd: float) -> tuple[float, float]:
    """What a log alone says of the rate, as a normal likelihood: mean (minus trend), precision."""
    mean, precision = -np.mean(trend), 1 / max(np.var(trend), 1e-12)
    added = precision - 1 / trend_prior_sd**2
    # Draws scatter: a posterior a few percent narrower than its prior has learned nothing.
    if added <= 0.05 * precision:
        return 0.0, 0.0
    return mean * precision / added, added


@dataclass(frozen=True)
class PracticeEffect:
    """What practice does for one golfer, draw by draw and by component."""

    learning: Learning
    practised: pd.DataFrame  # distance_ft, putts
    nodes_ft: np.ndarray
    rates: Mapping[str, np.ndarray]  # (draws,), fall of log spread per unit of log experience
    yields: Mapping[str, np.ndarray]  # (draws, lengths practised), what a putt there is worth
    bias_putts: Mapping[str, np.ndarray]  # (draws,), putts that halve a bias
    carry_range: np.ndarray  # (draws,)

    def rolled(self, by: int) -> "PracticeEffect":
        """The same draws in another order, so that they meet other draws of the skill."""

        def rolled(table: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
            return {name: np.roll(values, by, axis=0) for name, values in table.items()}

        return replace(
            self,
            rates=rolled(self.rates),
            yields=rolled(self.yields),
            bias_putts=rolled(self.bias_putts),
            carry_range=np.roll(self.carry_range, by),
        )

    @cached_property
    def experience(self) -> np.ndarray:
        """Putts that count at every node so far, shape (draws, n)."""
        return self.counting(self.practised["distance_ft"], self.practised["putts"])

    def counting(self, distance_ft: ArrayLike, putts: ArrayLike) -> np.ndarray:
        """Putts that count at every node, (draws, n): those there, a share of those elsewhere."""
        share = self.learning.carry_over(distance_ft, self.nodes_ft, self.carry_range)
        return (np.asarray(putts, dtype=float)[..., None, :] @ share)[..., 0, :]

    def changes(
        self, distance_ft: ArrayLike, putts: Mapping[str, ArrayLike]
    ) -> dict[str, tuple[np.ndarray, np.ndarray]]:
        """Factors on spread and on bias, (draws, n) by component, of putts struck for each."""
        counts = {name: np.asarray(values, dtype=float) for name, values in putts.items()}
        lengths = np.log(self.practised["distance_ft"].to_numpy(float))
        weights = interpolation_weights(lengths, np.log(np.asarray(distance_ft, dtype=float)))
        found = {}
        for name, other in zip(COMPONENTS, reversed(COMPONENTS), strict=True):
            struck = counts[name] + self.learning.other_share * counts[other]
            counting = self.counting(distance_ft, struck * (self.yields[name] @ weights))
            growth = self.learning.growth(self.experience, counting)
            left = 0.5 ** (counting / self.bias_putts[name][:, None])
            found[name] = np.exp(-self.rates[name][:, None] * growth), left
        return found
