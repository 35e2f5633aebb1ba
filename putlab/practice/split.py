"""The best split of practice time over distances and components, for a session or weeks.

Expected strokes saved are, but for a bias that happens to help, a concave function of the
minutes given to each option; its optimum is found on a few scenarios of what practice does,
and what that is worth is then reckoned with the full draws.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import ndtri

from putlab.base.errors import UsageError, expect
from putlab.base.late import Late
from putlab.base.result import Result
from putlab.base.words import listed
from putlab.model.readings import COMPONENTS
from putlab.practice.case import Case
from putlab.practice.learning import PracticeEffect
from putlab.practice.saving import (
    BIAS_FACTORS,
    OPTIONS,
    PRACTICE_FT,
    SPREAD_FACTORS,
    Option,
    named,
    putts_of,
    saved_words,
)
from putlab.rounds.strokes import STRETCHES, stretch_words

optimize, qmc = Late("scipy.optimize"), Late("scipy.stats.qmc")

# What every session holds besides: five minutes of easy putts so that back and hands are warm,
# and a counted game of nine holes (about ten minutes to a drill: common practice).
WARM_UP_MINUTES, GAME_MINUTES = 5.0, 10.0

SESSIONS_A_WEEK = 2

# Less than this at one option is a walk to it and back.
LEAST_MINUTES = 3.0

# A session needs room for one drill.
SHORTEST_SESSION = WARM_UP_MINUTES + GAME_MINUTES + LEAST_MINUTES

# Scenarios of what practice does that the optimum averages over: its mean, not its tails.
SCENARIOS = 16


@dataclass(frozen=True)
class Split(Result):
    """A split of practice time.

    Attributes
    ----------
    case : putlab.practice.case.Case
        Golfer, learning, round and green.
    minutes : ndarray, shape (weeks, options)
        Time for each of the case's options; one week where the split is of one session.
    sessions : int
        Sessions in all; each keeps time for warming up and for the counted game besides.
    saved : ndarray, shape (draws,)
        Strokes a round saved; over several weeks the average over them.
    saved_equal, saved_single : float
        Mean strokes saved by equal time everywhere, and by all of it on the best one option.
    """

    case: Case
    minutes: np.ndarray
    sessions: int
    saved: np.ndarray
    saved_equal: float
    saved_single: float

    @cached_property
    def table(self) -> pd.DataFrame:
        """Options with time: ``week, stretch, place, component, minutes, putts``."""
        rows = []
        for week, i in np.argwhere(self.minutes >= 0.5):
            (place, component), minutes = OPTIONS[i], self.minutes[week, i]
            putts = putts_of(OPTIONS[i], minutes, self.case.learning)[component].sum()
            words = stretch_words(*STRETCHES[place])
            rows.append((week + 1, words, place, component, minutes, putts))
        columns = ["week", "stretch", "place", "component", "minutes", "putts"]
        return pd.DataFrame(rows, columns=columns)

    @property
    def sentence(self) -> str:
        """The split in plain words."""
        first = self.table[self.table["week"] == self.table["week"].min()]
        first = first.sort_values("minutes", ascending=False)
        parts = [
            f"{row.minutes:.0f} minutes to {named((row.place, row.component))}"
            for row in first.itertuples()
        ]
        when = "" if self.table["week"].nunique() == 1 else "In the first week: "
        return (
            f"{when}{listed(parts)}. That saves {saved_words(self.saved)}; equal time everywhere "
            f"{self.saved_equal:.2f}, all on the best single choice {self.saved_single:.2f}."
        )


def split_minutes(
    case: Case,
    minutes: float,
    *,
    weeks: int | None = None,
    most_minutes: float = np.inf,
    among: Sequence[Option] = OPTIONS,
) -> Split:
    """The best split of one session, or of those of some weeks (see `Advice.split`)."""
    # An option gets more than the most where they could not fill the time. Over weeks the average
    # round counts, and what a week adds fades by the half-life until the round is played.
    drills = drill_minutes(minutes)
    expect(weeks is None or weeks >= 1, "weeks", weeks, "1 or more")
    blocks, sessions = (1, 1) if weeks is None else (weeks, SESSIONS_A_WEEK)
    problem = SplitProblem(case, 7.0 * np.arange(blocks))
    budgets = np.full(blocks, drills * sessions)
    open_to = np.array([option in among for option in OPTIONS])
    best = problem.solve(budgets, max(most_minutes, budgets[0] / open_to.sum()), open_to)
    equal = np.broadcast_to(budgets[:, None] * open_to / open_to.sum(), best.shape)
    single = np.eye(best.shape[1])[open_to][:, None, :] * budgets[:, None]
    return Split(
        case=case,
        minutes=best,
        sessions=blocks * sessions,
        saved=problem.saved(best),
        saved_equal=float(problem.saved(equal).mean()),
        saved_single=max(float(problem.saved(one).mean()) for one in single),
    )


def drill_minutes(minutes: float) -> float:
    """Return the time that a session leaves for drills after warm-up and game.

    Parameters
    ----------
    minutes : float
        The whole session.

    Returns
    -------
    float
        Minutes for drills.

    Raises
    ------
    UsageError
        There is no time for one drill.
    """
    expect(0 < minutes < np.inf, "minutes", minutes, "a time above 0")
    if minutes < SHORTEST_SESSION:
        raise UsageError(
            f"{minutes:g} minutes are too few: warm-up and counted game take "
            f"{WARM_UP_MINUTES + GAME_MINUTES:g}; allow at least {SHORTEST_SESSION:g}."
        )
    return minutes - WARM_UP_MINUTES - GAME_MINUTES


class SplitProblem:
    """Expected strokes saved as a function of minutes, by block of time and option."""

    # A block of practice lies on each of the start days, and a round is played right after it.
    # Of every term (a scenario and a node of distance, line or pace) is known: the putts that a
    # minute at each option makes count there; strokes per unit of log experience; and strokes
    # that go with the bias, and with its square, which halve every so many putts.

    def __init__(self, case: Case, starts_days: ArrayLike) -> None:
        self.case = case
        self.days = np.asarray(starts_days, dtype=float)
        ago = self.days[:, None] - self.days[None, :]
        # Share of each block's practice left at each round, (rounds, blocks).
        self.left = np.where(ago >= 0, case.learning.retention(np.maximum(ago, 0)), 0.0)
        self.nodes = np.flatnonzero(np.any(case.strokes.saving, axis=(0, 1, 2, 3)))
        scenarios = self._scenarios()
        terms = [self._terms(scenarios, i) for i in range(len(COMPONENTS))]
        self.counts, self.experience, self.fade, self.weights = (
            np.concatenate(parts) for parts in zip(*terms, strict=True)
        )

    def _scenarios(self) -> PracticeEffect:
        """What practice may do, each uncertain number stratified over its whole range."""
        # What a putt is worth, which is smooth over distance, is left at its median.
        golfer, learning, strokes = self.case.golfer, self.case.learning, self.case.strokes
        scores = ndtri(qmc.LatinHypercube(4, rng=self.case.seed).random(SCENARIOS)).T
        halves = np.array([[learning.line_bias_putts], [learning.pace_bias_putts]])
        halves = halves * np.exp(learning.bias_log_sd * scores[1:3])
        return PracticeEffect(
            learning=learning,
            practised=golfer.practised,
            nodes_ft=strokes.distance_ft[self.nodes],
            rates={},
            before=learning.experience * np.exp(learning.experience_log_sd * scores[3]),
            yields={},
            bias_putts=dict(zip(COMPONENTS, halves, strict=True)),
            carry_range=learning.carry_range * np.exp(learning.carry_log_sd * scores[0]),
        )

    def _terms(self, scenarios: PracticeEffect, component: int) -> tuple[np.ndarray, ...]:
        """Counts (terms, options), experience (terms,), fade (terms,), weights (terms, 3)."""
        learning, size = self.case.learning, scenarios.experience.shape
        name, other = COMPONENTS[component], COMPONENTS[1 - component]
        putts = [putts_of(option, 1.0, learning) for option in OPTIONS]
        # Of each option, putts a minute for this component and for the other.
        taught = [p[name] + learning.other_share * p[other] for p in putts]
        counts = np.stack([scenarios.counting(PRACTICE_FT, one) for one in taught], axis=-1)
        fade = np.broadcast_to(np.log(2) / scenarios.bias_putts[name][:, None], size)
        weights = self._weights(component)[:, None, self.nodes] / SCENARIOS
        weights = np.broadcast_to(weights, (3, *size)).reshape(3, -1).T
        counts = counts.reshape(-1, len(OPTIONS))
        return counts, scenarios.experience.ravel(), fade.ravel(), weights

    def _weights(self, component: int) -> np.ndarray:
        """Expected strokes by node, (3, n): per unit of log experience, and of the bias."""
        # Spread: the slope of strokes over log spread at an hour's narrowing, times the rate.
        # Bias: a part that goes with it and one that goes with its square. Where a bias
        # happens to help, losing it costs: below 0.
        strokes, effect = self.case.strokes, self.case.effects[0]
        spread, bias = strokes.saving[component]
        rates = effect.rates[COMPONENTS[component]]
        slope = spread[1] / -np.log(SPREAD_FACTORS[1]) * rates[:, None]
        half, none = bias[np.searchsorted(-BIAS_FACTORS, [-0.5, 0.0])]
        squared = 4 * half - 2 * none
        parts = (np.maximum(slope, 0.0), none - squared, squared)
        return np.array([(strokes.visits * part).mean(axis=0) for part in parts])

    def value_and_gradient(self, minutes: np.ndarray) -> tuple[float, np.ndarray]:
        """Expected strokes a round saved by minutes (blocks, options), mean over the rounds."""
        spread, bias, squared = self.weights.T
        putts = self.left @ minutes @ self.counts.T  # (rounds, terms)
        kept = np.exp(-self.fade * putts)
        value = np.log1p(putts / self.experience) @ spread + (1 - kept) @ bias
        value = value + (1 - kept**2) @ squared
        slope = spread / (self.experience + putts)
        slope = slope + self.fade * (bias * kept + 2 * squared * kept**2)
        return float(value.mean()), self.left.T @ (slope @ self.counts) / self.days.size

    def saved(self, minutes: np.ndarray) -> np.ndarray:
        """Strokes a round saved with all draws and no approximation of them, mean over rounds."""
        case = self.case
        one = [list(putts_of(option, 1.0, case.learning).values()) for option in OPTIONS]
        plans = np.einsum("ro,ocl->rcl", self.left @ minutes, one)
        found = []
        for effect in case.effects:
            rounds = [
                effect.changes(PRACTICE_FT, dict(zip(COMPONENTS, plan, strict=True)))
                for plan in plans
            ]
            found.append(np.mean([case.strokes.saved_a_round(r) for r in rounds], axis=0))
        return np.concatenate(found)

    def solve(
        self, budgets: np.ndarray, most_minutes: float = np.inf, open_to: np.ndarray | bool = True
    ) -> np.ndarray:
        """The best minutes, (blocks, options), but for options too short to be worth the walk."""
        allowed = np.ones((self.days.size, len(OPTIONS)), dtype=bool) & open_to
        minutes = self.optimum(budgets, allowed, most_minutes)
        # Those left out hand their time on, which may leave others too short.
        for _ in OPTIONS:
            kept = allowed & (minutes >= LEAST_MINUTES)
            # Rows that could not hold their time without the short ones keep them.
            full = kept.any(axis=1) & (kept.sum(axis=1) * most_minutes >= budgets)
            dropped = allowed & ~kept & full[:, None]
            if not dropped.any():
                break
            allowed &= ~dropped
            minutes = self.optimum(budgets, allowed, most_minutes)
        return minutes

    def optimum(
        self, budgets: ArrayLike, allowed: np.ndarray, most_minutes: float = np.inf
    ) -> np.ndarray:
        """The best minutes over the options allowed, by sequential quadratic programming."""
        budgets = np.asarray(budgets, dtype=float)
        start = allowed * np.minimum(budgets / allowed.sum(axis=1), most_minutes)[:, None]
        # Shares of the largest budget, and strokes scaled to about 1: what solvers are made for.
        unit = budgets.max()
        size = np.abs(self.value_and_gradient(start)[1]).max() * unit or 1.0
        members = np.nonzero(allowed)[0] == np.arange(len(budgets))[:, None]

        def laid_out(shares: np.ndarray) -> np.ndarray:
            minutes = np.zeros(allowed.shape)
            minutes[allowed] = unit * shares
            return minutes

        def loss(shares: np.ndarray) -> tuple[float, np.ndarray]:
            value, gradient = self.value_and_gradient(laid_out(shares))
            return -value / size, -gradient[allowed] * unit / size

        found = optimize.minimize(
            loss,
            start[allowed] / unit,
            jac=True,
            method="SLSQP",
            bounds=optimize.Bounds(0, most_minutes / unit),
            constraints=optimize.LinearConstraint(members.astype(float), ub=budgets / unit),
            options={"ftol": 1e-10, "maxiter": 500},
        )
        return np.maximum(laid_out(found.x), 0.0)
