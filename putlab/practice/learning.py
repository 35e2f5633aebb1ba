"""What practice does: every assumption in one object that can be replaced.

Law of practice: by m more putts at a length log spread falls by

    rate x log((E + n + m) / (E + n))

n putts being struck there in the log, and E this golfer's own experience of the length before
it: hardly any for who is new to it, thousands for who has played for years. A bias halves in so
many putts, of line more slowly than of pace. Putts at other lengths count by how near they are.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cached_property, partial
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from putlab.base.errors import UsageError
from putlab.green.skill import interpolation_weights
from putlab.model.readings import COMPONENTS

# McKay and others (2021), 75 novices and their first fifty putts (see
# `putlab.green.published.table`): log spread falls by 0.17 (SE 0.013) of log putts for pace and
# by 0.085 (SE 0.013) for line, no experience before the first putt fitting best. The root mean
# square of a block's mean error, freed of noise, halves over fifty putts in about twenty for
# pace, where the first ten do more, and in about ninety for line.
TRIAL = "McKay and others (2021), 75 novices: fitted to the published trial data"
ASSUMED = "assumption"
HALVES = "putts, seeing where they go, that halve a bias of {}, median"

# Putts at a length before the log, median and log sd, by what a coach says of a golfer. The
# last two are judgement; where nothing is said, any of them may be so (assumption).
EXPERIENCE = {"new": (10.0, 1.0), "season": (500.0, 1.0), "club": (2000.0, 1.0),
              "professional": (10_000.0, 1.0)}  # fmt: skip
UNSTATED = (2000.0, 1.5)

# Putts that the spread model counts as struck before a log: its trend is per
# log(1 + putts / 100).
MODEL_PUTTS = 100.0

# Candidates of which a golfer's rates and experience are drawn, by how well they fit the trend:
# of a new golfer who learns fast under the widest prior, one in a hundred or fewer fit.
CANDIDATES = 20_000


def assumed(value: float, meaning: str, source: str = ASSUMED, *, may_be_0: bool = False) -> Any:
    """An assumption as a field: its default, meaning and source."""
    told = {"meaning": meaning, "source": source, "may_be_0": may_be_0}
    return field(default=value, metadata=told)


some_or_none = partial(assumed, may_be_0=True)


@dataclass(frozen=True)
class Learning:
    """What practice does, until this golfer's own log says otherwise.

    Parameters
    ----------
    experience, experience_log_sd : float
        Putts struck at a length before the log, median and log sd; see `EXPERIENCE`.
    line_rate, pace_rate, rate_log_sd : float
        Log-normal priors of the rates: fall of log spread per unit of log experience.
    line_bias_putts, pace_bias_putts, bias_log_sd : float
        Putts that halve a bias: medians and log sd. Whoever sees where balls go corrects a
        constant error faster than scatter.
    yield_log_sd : float
        What a putt of practice is worth rises or falls straight over log distance, in log, by
        so much: nobody knows that one at 6 ft teaches as much as one at 30 ft.
    carry_range, carry_log_sd : float
        Carry-over from length a to length b is exp(-|log(a / b)| / carry_range); its median,
        and its log sd, as nobody knows it well.
    other_share : float
        A putt struck for line is also this much of a putt for pace, and the reverse.
    half_life_days : float
        What practice added halves in this time without any.
    seconds_each, seconds_per_ft : float
        Time a putt takes, with collecting the balls: fixed part, and for each foot.
    exponential : float
        1 for an exponential curve that starts as steeply and ends (A. Heathcote, S. Brown,
        D. J. K. Mewhort, Psychon. Bull. Rev. 7, 2000: it fits single learners about as well).

    Raises
    ------
    UsageError
        A value can't be a golfer's.
    """

    experience: float = assumed(UNSTATED[0], "putts at a length struck before the log, median")
    experience_log_sd: float = some_or_none(UNSTATED[1], "log sd of that number")
    line_rate: float = assumed(0.085, "fall of log line spread per log of putts, median", TRIAL)
    pace_rate: float = assumed(0.17, "fall of log pace spread per log of putts, median", TRIAL)
    rate_log_sd: float = some_or_none(0.5, "log sd of these rates over golfers")
    line_bias_putts: float = assumed(90.0, HALVES.format("line"), TRIAL)
    pace_bias_putts: float = assumed(20.0, HALVES.format("pace"), TRIAL)
    bias_log_sd: float = some_or_none(0.7, "log sd of these numbers over golfers")
    yield_log_sd: float = some_or_none(
        0.15, "log sd of how a putt's worth rises or falls, each e-fold of length"
    )
    carry_range: float = assumed(0.7, "log distance over which carry-over falls to 1/e, median")
    carry_log_sd: float = some_or_none(0.4, "log sd of that range, as it is not well known")
    other_share: float = some_or_none(
        0.25, "share of a putt's practice that goes to the other component"
    )
    half_life_days: float = assumed(90.0, "days without practice after which half of it is lost")
    seconds_each: float = assumed(15.0, "time that any putt takes, its length aside")
    seconds_per_ft: float = some_or_none(0.3, "further time for the length of the putt")
    exponential: float = some_or_none(
        0.0, "curve of learning: exponential in putts (1) or logarithmic (0)"
    )

    def __post_init__(self) -> None:
        for one in fields(self):
            value = getattr(self, one.name)
            if not (0 < value < np.inf or (value == 0 and one.metadata["may_be_0"])):
                raise UsageError(f"learning: {one.name} must be above 0; got {value:g}.")

    def with_experience(self, said: str | float | None) -> "Learning":
        """Return the same for a golfer of stated experience: a name of `EXPERIENCE`, or putts."""
        if said is None:
            return self
        try:
            putts, log_sd = EXPERIENCE.get(str(said)) or (float(said), 1.0)
        except ValueError:
            raise UsageError(
                f"experience must be {', '.join(EXPERIENCE)} or a number of putts; got {said!r}."
            ) from None
        return replace(self, experience=putts, experience_log_sd=log_sd)

    def putts_a_minute(self, distance_ft: ArrayLike) -> np.ndarray:
        """Putts that a minute holds at each length."""
        return 60 / (self.seconds_each + self.seconds_per_ft * np.asarray(distance_ft, float))

    def growth(self, experience: ArrayLike, putts: ArrayLike) -> np.ndarray:
        """Growth of log experience by further putts; times the rate, the fall of log spread."""
        share = np.asarray(putts) / np.asarray(experience)
        return -np.expm1(-share) if self.exponential else np.log1p(share)

    def retention(self, days: ArrayLike) -> np.ndarray:
        """Share of what practice added that is left after days without any."""
        return 0.5 ** (np.asarray(days, dtype=float) / self.half_life_days)

    def of_golfer(
        self,
        trend: Mapping[str, np.ndarray],
        trend_prior_sd: Mapping[str, float],
        putts: float,
        draws: int,
        rng: np.random.Generator,
    ) -> tuple[dict[str, np.ndarray], np.ndarray]:
        """Draws of the rates by component, and of the experience, that a log's trend allows."""
        # The spread model's trend is this law with an experience of its own: over the log's
        # putts both say how far log spread fell. Candidates of the prior are drawn by how well
        # they agree with what the log says of that.
        z = rng.standard_normal((3, CANDIDATES))
        experience = self.experience * np.exp(self.experience_log_sd * z[0])
        rates, log_weight = {}, np.zeros(CANDIDATES)
        seen = self.growth(experience, putts) / np.log1p(putts / MODEL_PUTTS)
        for name, score in zip(COMPONENTS, z[1:], strict=True):
            rates[name] = getattr(self, f"{name}_rate") * np.exp(self.rate_log_sd * score)
            mean, precision = rate_in_log(trend[name], trend_prior_sd[name])
            log_weight -= precision * (rates[name] * seen - mean) ** 2 / 2
        weight = np.exp(log_weight - log_weight.max())
        # Evenly through the weights, so that few draws are as good as they can be; then shuffled.
        places = (np.arange(draws) + rng.random()) / draws
        rows = np.searchsorted(np.cumsum(weight) / weight.sum(), places).clip(max=CANDIDATES - 1)
        rows = rng.permutation(rows)
        return {name: rate[rows] for name, rate in rates.items()}, experience[rows]

    def table(self) -> pd.DataFrame:
        """The assumptions: ``name, meaning, value, from, source``."""
        rows = [
            (one.name, one.metadata["meaning"], float(getattr(self, one.name)), "prior",
             one.metadata["source"]) for one in fields(self)
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=["name", "meaning", "value", "from", "source"])


def carry_over(from_ft: ArrayLike, to_ft: ArrayLike, carry_range: ArrayLike) -> np.ndarray:
    """Share of a putt at one length that counts at another, ([draws of the range,] n, m)."""
    apart = np.subtract.outer(np.log(np.atleast_1d(from_ft)), np.log(np.atleast_1d(to_ft)))
    return np.exp(-np.abs(apart) / np.asarray(carry_range)[..., None, None])


def rate_in_log(trend: np.ndarray, trend_prior_sd: float) -> tuple[float, float]:
    """What a log alone says of the trend's fall, as a normal likelihood: mean, precision."""
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
    before: np.ndarray  # (draws,), putts at every length before the log
    yields: Mapping[str, np.ndarray]  # (draws, nodes), what a putt there is worth, smooth
    bias_putts: Mapping[str, np.ndarray]  # (draws,), putts that halve a bias
    carry_range: np.ndarray  # (draws,)

    @cached_property
    def experience(self) -> np.ndarray:
        """Putts that count at every node so far, shape (draws, n)."""
        in_log = self.counting(self.practised["distance_ft"], self.practised["putts"])
        return self.before[:, None] + in_log

    def counting(self, distance_ft: ArrayLike, putts: ArrayLike) -> np.ndarray:
        """Putts that count at every node, (draws, n): those there, a share of those elsewhere."""
        share = carry_over(distance_ft, self.nodes_ft, self.carry_range)
        return (np.asarray(putts, dtype=float)[..., None, :] @ share)[..., 0, :]

    def counted(self, distance_ft: ArrayLike, putts: Mapping[str, ArrayLike]) -> dict[str, Any]:
        """Putts that count for line and for pace, (draws, n), of those struck for each."""
        struck = {name: np.asarray(values, dtype=float) for name, values in putts.items()}
        weights = interpolation_weights(np.log(self.nodes_ft), np.log(np.atleast_1d(distance_ft)))
        share, found = self.learning.other_share, {}
        for name, other in zip(COMPONENTS, reversed(COMPONENTS), strict=True):
            taught = (struck[name] + share * struck[other]) * (self.yields[name] @ weights)
            found[name] = self.counting(distance_ft, taught)
        return found

    def factors(self, counted: Mapping[str, np.ndarray]) -> dict[str, tuple[np.ndarray, Any]]:
        """Factors on spread and on bias, (draws, n) by component, of putts that count."""
        found = {}
        for name, putts in counted.items():
            growth = self.learning.growth(self.experience, putts)
            left = 0.5 ** (putts / self.bias_putts[name][:, None])
            found[name] = np.exp(-self.rates[name][:, None] * growth), left
        return found

    def changes(
        self, distance_ft: ArrayLike, putts: Mapping[str, ArrayLike]
    ) -> dict[str, tuple[np.ndarray, Any]]:
        """Factors on spread and on bias, (draws, n) by component, of putts struck for each."""
        return self.factors(self.counted(distance_ft, putts))
