"""Draw a log of putts from known truth, by the same story the model tells.

Written apart from `putlab.model.spread`, in plain numpy and putt by putt, so that a test which
recovers the truth checks the model and not a copy of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from putlab.model.design import SPOT_RANGE, REFERENCE_FT, session_table
from putlab.model.readings import WARM_UP_PUTTS
from putlab.model.spread import MISHIT_MOST, MISHIT_TIMES

if TYPE_CHECKING:
    from putlab.model.priors import SpreadPriors


@dataclass(frozen=True)
class TrueComponent:
    """What is true of one component (line in degrees, pace in percent).

    Attributes
    ----------
    level : ndarray, shape (players, lengths)
        Log spread at each length, at the player's average practice.
    bias : ndarray, shape (players, lengths)
        Mean error.
    visit_bias_sd, visit_form_sd : ndarray, shape (players,)
        Sd of the visit's shared offset, and of its log spread.
    trend, warm_up, counted : ndarray, shape (players,)
        Changes of log spread: per log(1 + putts / 100), in first putts, when it counts.
    mishit_share : ndarray, shape (players,)
        Share of wild putts.
    effect : dict of (player, condition) to float
        Change of log spread under a condition.
    shift : dict of (player, condition) to float
        Change of bias under a condition.
    """

    level: np.ndarray
    bias: np.ndarray
    visit_bias_sd: np.ndarray
    visit_form_sd: np.ndarray
    trend: np.ndarray
    warm_up: np.ndarray
    counted: np.ndarray
    mishit_share: np.ndarray
    effect: dict = field(default_factory=dict)
    shift: dict = field(default_factory=dict)


def steady(
    level: float | ArrayLike,
    bias: float | ArrayLike = 0.0,
    *,
    players: int = 1,
    lengths: int = 1,
    **changes: Any,
) -> Any:
    """Return a component with no session effects, trend or mishits, unless stated."""
    values: dict[str, Any] = dict.fromkeys(
        ("visit_bias_sd", "visit_form_sd", "trend", "warm_up", "counted", "mishit_share"), 0.0
    )
    given = {k: changes.pop(k) for k in list(changes) if k in values}
    values = {k: np.broadcast_to(v, players) for k, v in (values | given).items()}
    shape = (players, lengths)
    return TrueComponent(
        np.broadcast_to(level, shape), np.broadcast_to(bias, shape), **values, **changes
    )


def draw_component(
    priors: SpreadPriors,
    rng: np.random.Generator,
    *,
    players: int,
    lengths_ft: ArrayLike,
    conditions: Any = (),
) -> Any:
    """Draw one component's truth from its priors."""
    x = np.log(np.asarray(lengths_ft, dtype=float) / REFERENCE_FT)

    def lognormal(key: Any, size: Any = None) -> Any:
        return getattr(priors, key + "_median") * np.exp(
            getattr(priors, key + "_log_sd") * rng.standard_normal(size)
        )

    def normal(key: Any, size: Any) -> Any:
        return getattr(priors, key) * rng.standard_normal(size)

    correlation = np.exp(-np.abs(np.subtract.outer(x, x)) / SPOT_RANGE)

    def bumps(size: Any) -> Any:
        return size * rng.multivariate_normal(np.zeros(x.size), correlation, size=players)

    base_mean = np.log(priors.sd_median) + priors.sd_log_sd * rng.standard_normal()
    base = base_mean + lognormal("between") * rng.standard_normal(players)
    slope = normal("slope_sd", players)
    level = base[:, None] + slope[:, None] * x + bumps(lognormal("spot"))
    bias_mean = normal("bias_sd", players)
    truth = TrueComponent(
        level=level,
        bias=bias_mean[:, None] + bumps(lognormal("bias_spot")),
        visit_bias_sd=lognormal("visit_bias", players),
        visit_form_sd=np.full(players, lognormal("visit_form")),
        trend=normal("trend_sd", players),
        warm_up=normal("warm_up_sd", players),
        counted=normal("counted_sd", players),
        mishit_share=MISHIT_MOST * rng.beta(priors.mishit_a, priors.mishit_b, players),
        effect={key: priors.effect_sd * rng.standard_normal() for key in conditions},
        shift={key: priors.shift_sd * rng.standard_normal() for key in conditions},
    )
    population = {"base_mean": base_mean, "base": base, "slope": slope, "bias_mean": bias_mean}
    return truth, population


def simulate_errors(
    schedule: pd.DataFrame,
    truth: TrueComponent,
    rng: np.random.Generator,
    *,
    players: list,
    lengths_ft: ArrayLike,
) -> Any:
    """Draw the true error of every putt of a schedule, for one component.

    Parameters
    ----------
    schedule : pandas.DataFrame
        ``player, session, distance_ft`` and, where they matter, ``condition`` and ``drill``,
        in the order in which the putts are struck.
    truth : TrueComponent
        What is true.
    rng : numpy.random.Generator
        Source of randomness.
    players : list
        Labels, in the order of the truth's first axis.
    lengths_ft : array_like
        Lengths, in the order of its second.

    Returns
    -------
    ndarray, shape (putts,)
        Degrees, or percent.
    """
    p = pd.Index(players).get_indexer(schedule["player"])
    d = pd.Index(np.round(np.asarray(lengths_ft), 6)).get_indexer(schedule["distance_ft"].round(6))
    visits = session_table(schedule)
    visit = pd.MultiIndex.from_frame(visits[["player", "session"]]).get_indexer(
        pd.MultiIndex.from_frame(schedule[["player", "session"]])
    )
    who = pd.Index(players).get_indexer(visits["player"])
    visit_bias = truth.visit_bias_sd[who] * rng.standard_normal(len(visits))
    visit_form = truth.visit_form_sd[who] * rng.standard_normal(len(visits))
    warm_up = schedule.groupby(["player", "session"], sort=False).cumcount() < WARM_UP_PUTTS
    condition = list(zip(schedule["player"], _column(schedule, "condition"), strict=True))
    log_sd = (
        truth.level[p, d]
        + visit_form[visit]
        + truth.trend[p] * visits["practised"].to_numpy()[visit]
        + truth.warm_up[p] * warm_up.to_numpy()
        + truth.counted[p] * (_column(schedule, "drill") == "counted")
        + np.array([truth.effect.get(key, 0.0) for key in condition])
    )
    shift = np.array([truth.shift.get(key, 0.0) for key in condition])
    wild = rng.random(len(schedule)) < truth.mishit_share[p]
    sd = np.exp(log_sd) * np.where(wild, MISHIT_TIMES, 1.0)
    return truth.bias[p, d] + visit_bias[visit] + shift + sd * rng.standard_normal(len(schedule))


def _column(schedule: Any, name: Any) -> Any:
    return schedule[name] if name in schedule else pd.Series("", index=schedule.index)


def balanced_schedule(
    players: list[str], sessions: int, lengths_ft: Any, putts_each: int, rng: np.random.Generator
) -> Any:
    """Return a schedule of mixed lengths, the same number of putts at each every visit.

    Parameters
    ----------
    players : list of str
        Labels.
    sessions : int
        Visits of each player.
    lengths_ft : sequence of float
        Lengths in feet.
    putts_each : int
        Putts at each length in each visit.
    rng : numpy.random.Generator
        Shuffles the order within a visit.

    Returns
    -------
    pandas.DataFrame
        ``player, session, putt, distance_ft``.
    """
    blocks = []
    for session in range(1, sessions + 1):
        for player in players:
            order = rng.permutation(np.repeat(np.asarray(lengths_ft, float), putts_each))
            putt = np.arange(1, order.size + 1)
            label = f"visit {session:02d}"
            block = {"player": player, "session": label, "putt": putt, "distance_ft": order}
            blocks.append(pd.DataFrame(block))
    return pd.concat(blocks, ignore_index=True)


def rounded(values: ArrayLike, step: float) -> Any:
    """Return values as a display with this step shows them."""
    return np.round(np.asarray(values) / step) * step
