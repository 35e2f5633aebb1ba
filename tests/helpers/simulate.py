"""Draw a log of putts from known truth, by the same story the model tells."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from putlab.model.design import log_distance, places, session_table
from putlab.model.readings import WARM_UP_PUTTS
from putlab.model.spread import MISHIT_TIMES, cell_location, terms_at

ByCondition = dict[tuple[str, str], float]


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
    effect_slope : dict of (player, condition) to float
        How much of its effect a condition gains for each unit of log distance.
    """

    level: np.ndarray
    bias: np.ndarray
    visit_bias_sd: np.ndarray
    visit_form_sd: np.ndarray
    trend: np.ndarray
    warm_up: np.ndarray
    counted: np.ndarray
    mishit_share: np.ndarray
    effect: ByCondition = field(default_factory=dict)
    shift: ByCondition = field(default_factory=dict)
    effect_slope: ByCondition = field(default_factory=dict)


def simulate_errors(
    schedule: pd.DataFrame,
    truth: TrueComponent,
    rng: np.random.Generator,
    *,
    players: list[str],
    lengths_ft: ArrayLike,
    strikes: np.ndarray | None = None,
    days: np.ndarray | None = None,
) -> np.ndarray:
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
    players : list of str
        Labels, in the order of the truth's first axis.
    lengths_ft : array_like
        Lengths, in the order of its second.
    strikes, days : ndarray, shape (putts,) and (visits,), optional
        Scatter and offsets in units of their standard deviations, where they are of another
        world than the model's: independent normal numbers unless given.

    Returns
    -------
    ndarray, shape (putts,)
        Degrees, or percent.
    """
    visits = session_table(schedule)
    who = pd.Index(players).get_indexer(visits["player"])
    days = rng.standard_normal(len(visits)) if days is None else days
    visit_bias = truth.visit_bias_sd[who] * days
    visit_form = truth.visit_form_sd[who] * rng.standard_normal(len(visits))
    lengths = pd.Index(np.round(np.asarray(lengths_ft), 6))
    index = {
        "player": pd.Index(players).get_indexer(schedule["player"]),
        "session": places(schedule, visits, ["player", "session"]),
        "length": lengths.get_indexer(schedule["distance_ft"].round(6)),
    }
    terms = terms_at(
        {name: getattr(truth, name) for name in ("level", "bias", "trend", "warm_up", "counted")}
        | {"visit_bias": visit_bias, "visit_form": visit_form},
        index,
    )
    held = list(zip(schedule["player"], _column(schedule, "condition"), strict=True))
    for name in ("effect", "shift", "effect_slope"):
        by_condition = getattr(truth, name)
        terms[name] = np.array([by_condition.get(key, 0.0) for key in held])
    struck = schedule.groupby(["player", "session"], sort=False).cumcount()
    mean, log_sd = cell_location(
        terms,
        {
            "x": log_distance(schedule["distance_ft"]),
            "practised": visits["practised"].to_numpy()[index["session"]],
            "warm_up": (struck < WARM_UP_PUTTS).to_numpy(),
            "counted": (_column(schedule, "drill") == "counted").to_numpy(),
        },
    )
    wild = rng.random(len(schedule)) < truth.mishit_share[index["player"]]
    sd = np.exp(log_sd) * np.where(wild, MISHIT_TIMES, 1.0)
    return mean + sd * (rng.standard_normal(len(schedule)) if strikes is None else strikes)


def _column(schedule: pd.DataFrame, name: str) -> pd.Series:
    return schedule[name] if name in schedule else pd.Series("", index=schedule.index)


def rounded(values: ArrayLike, step: float) -> np.ndarray:
    """Return values as a display with this step shows them."""
    return np.round(np.asarray(values) / step) * step
