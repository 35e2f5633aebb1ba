"""The best split of practice time over distances and components, for a session or weeks.

Expected strokes saved are a concave function of the minutes given to each option, whose one
optimum convex programming finds (`putlab.practice.split`); what the split found is worth
is then reckoned with the full draws.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import norm
from scipy.stats.qmc import LatinHypercube

from putlab.base.errors import UsageError
from putlab.base.words import listed
from putlab.posterior.player import summary
from putlab.practice.advice import check_minutes, named, options_of
from putlab.practice.stakes import BIAS_FACTORS, COMPONENTS, SPREAD_FACTORS

# What every session holds besides: five minutes of easy putts so that back and hands are warm,
# and a counted game of nine holes (about ten minutes to a drill: common practice).
WARM_UP_MINUTES, GAME_MINUTES = 5.0, 10.0

# Less than this at one option is a walk to it and back.
LEAST_MINUTES = 3.0

# A session needs room for one drill.
SHORTEST_SESSION = WARM_UP_MINUTES + GAME_MINUTES + LEAST_MINUTES


@dataclass(frozen=True)
class Split:
    """A split of practice time.

    Attributes
    ----------
    player : str
        Label.
    table : pandas.DataFrame
        ``week, distance_ft, component, minutes, putts`` of the options that get time; one
        week where the split is of one session.
    warm_up_minutes, game_minutes : float
        Time a session kept for warming up and for the counted game.
    sessions : int
        Sessions in all.
    saved : tuple of float
        Strokes a round saved, mean and interval; over several weeks the average over them.
    saved_equal, saved_single : float
        Mean strokes saved by equal time everywhere, and by all of it on the best one option.
    """

    player: str
    table: pd.DataFrame
    warm_up_minutes: float
    game_minutes: float
    sessions: int
    saved: tuple
    saved_equal: float
    saved_single: float

    @property
    def sentence(self):
        """The split in plain words."""
        first = self.table[self.table["week"] == self.table["week"].min()]
        first = first.sort_values("minutes", ascending=False)
        parts = [
            f"{row.minutes:.0f} minutes to {named((row.distance_ft, row.component))}"
            for row in first.itertuples()
        ]
        when = "" if self.table["week"].nunique() == 1 else "In the first week: "
        mean, low, high = self.saved
        return (
            f"{when}{listed(parts)}. That saves about {mean:.2f} strokes a round "
            f"({low:.2f} to {high:.2f}); equal time everywhere {self.saved_equal:.2f}, all on "
            f"the best single choice {self.saved_single:.2f}."
        )

    def _repr_html_(self):
        from html import escape

        shown = self.table.round({"minutes": 1, "putts": 0}).to_html(index=False, border=0)
        return f"<p>{escape(self.sentence)}</p>{shown}"


def split_minutes(
    case,
    minutes=60.0,
    *,
    most_minutes=np.inf,
    warm_up_minutes=WARM_UP_MINUTES,
    game_minutes=GAME_MINUTES,
):
    """Return the best split of one session.

    Parameters
    ----------
    case : putlab.practice.case.Case
        Golfer, learning, round and green (`putlab.practice.advice.Advice.case`).
    minutes : float
        Length of the session, warm-up and game included.
    most_minutes : float
        Most that one option may get; where the options could not fill the time, more.
    warm_up_minutes, game_minutes : float
        Time kept for them.

    Returns
    -------
    Split
        Options with time, and what it saves.

    Raises
    ------
    UsageError
        No time is left after warm-up and game.
    """
    drills = drill_minutes(minutes, warm_up_minutes, game_minutes)
    problem = Problem(case, [0.0])
    best = problem.solve([drills], max(most_minutes, drills / len(problem.options)))
    return _split(case, problem, best, (warm_up_minutes, game_minutes, 1))


def split_weeks(
    case,
    minutes=60.0,
    *,
    sessions_a_week=2,
    weeks=4,
    warm_up_minutes=WARM_UP_MINUTES,
    game_minutes=GAME_MINUTES,
):
    """Return the best split of several weeks, for the average round played in them.

    What a week adds fades by the half-life until the round is played.

    Parameters
    ----------
    case : putlab.practice.case.Case
        Golfer, learning, round and green.
    minutes : float
        Length of each session, warm-up and game included.
    sessions_a_week, weeks : int
        How many.
    warm_up_minutes, game_minutes : float
        Time kept for them in every session.

    Returns
    -------
    Split
        Minutes a week, all of its sessions together.

    Raises
    ------
    UsageError
        No time is left after warm-up and game, or fewer than one session or week.
    """
    if sessions_a_week < 1 or weeks < 1:
        raise UsageError(
            f"weeks and sessions_a_week must be 1 or more; got {weeks} and {sessions_a_week}."
        )
    drills = drill_minutes(minutes, warm_up_minutes, game_minutes) * sessions_a_week
    problem = Problem(case, 7.0 * np.arange(weeks))
    best = problem.solve([drills] * weeks)
    return _split(case, problem, best, (warm_up_minutes, game_minutes, weeks * sessions_a_week))


def drill_minutes(minutes, warm_up_minutes, game_minutes):
    """Return the time left for drills.

    Parameters
    ----------
    minutes, warm_up_minutes, game_minutes : float
        Session, warm-up and game.

    Returns
    -------
    float
        Minutes.

    Raises
    ------
    UsageError
        None is left.
    """
    check_minutes(minutes)
    left = minutes - warm_up_minutes - game_minutes
    if left < LEAST_MINUTES:
        raise UsageError(
            f"{minutes:g} minutes are too few: warm-up and counted game take "
            f"{warm_up_minutes + game_minutes:g}; allow at least "
            f"{warm_up_minutes + game_minutes + LEAST_MINUTES:g}."
        )
    return left


def saved_by(case, problem, minutes):
    """Return strokes a round saved by a split, with all draws and no approximation of them.

    Parameters
    ----------
    case : putlab.practice.case.Case
        Golfer, learning, round and green.
    problem : Problem
        Its blocks of time.
    minutes : ndarray, shape (blocks, options)
        Time given.

    Returns
    -------
    ndarray, shape (draws x REPEATS,)
        Average over the rounds played after each block.
    """
    a_minute = case.learning.putts_a_minute(problem.lengths_ft)
    left = problem.kept() @ np.reshape(minutes, (problem.days.size, -1))
    putts = left.reshape(problem.days.size, -1, 2) * a_minute[:, None]
    found = []
    for practice in case.practices:
        rounds = [
            practice.changes(problem.lengths_ft, dict(zip(COMPONENTS, block.T, strict=True)))
            for block in putts
        ]
        found.append(np.mean([case.stakes.saved_a_round(r) for r in rounds], axis=0))
    return np.concatenate(found)


def _split(case, problem, minutes, session):
    budget = minutes.sum(axis=1, keepdims=True)
    equal = np.broadcast_to(budget / minutes.shape[1], minutes.shape)
    single = np.eye(minutes.shape[1])[:, None, :] * budget
    saved = saved_by(case, problem, minutes)
    rows = [
        (week + 1, distance_ft, component, time, time * a_minute)
        for week, row in enumerate(minutes)
        for (distance_ft, component), time in zip(problem.options, row, strict=True)
        if time >= 0.5
        for a_minute in [float(case.learning.putts_a_minute(distance_ft))]
    ]
    names = ["week", "distance_ft", "component", "minutes", "putts"]
    return Split(
        player=case.who.player,
        table=pd.DataFrame(rows, columns=names),
        warm_up_minutes=session[0],
        game_minutes=session[1],
        sessions=session[2],
        saved=tuple(float(v) for v in summary(saved)),
        saved_equal=float(saved_by(case, problem, equal).mean()),
        saved_single=max(float(saved_by(case, problem, one).mean()) for one in single),
    )


# The concave programme: minutes given to each option, to the strokes expected to be saved.


# Scenarios of what practice does that the programme averages over: its mean, not its tails.
SCENARIOS = 16

# Steps of Newton's method; five to ten suffice.
STEPS = 50


class Problem:
    """The concave programme: minutes by block of time and option to expected strokes saved.

    Parameters
    ----------
    case : putlab.practice.case.Case
        Golfer, learning, round and green.
    starts_days : array_like, shape (blocks,)
        Day on which each block of practice lies; a round is played right after each.
    """

    def __init__(self, case, starts_days):
        self.case = case
        self.days = np.asarray(starts_days, dtype=float)
        self.lengths_ft = case.who.lengths_ft
        self.options = options_of(self.lengths_ft)
        chances = self._scenarios()
        parts = [self._terms(chances, i) for i in range(len(COMPONENTS))]
        self.growing, self.fading = (_joined(side) for side in zip(*parts, strict=True))

    def _scenarios(self):
        """Return normal scores of what is uncertain, each stratified over its whole range."""
        size = 3 + len(self.options)
        ranks = LatinHypercube(size, rng=self.case.seed).random(SCENARIOS)
        return norm.ppf(ranks)

    def _terms(self, chances, component):
        """Return the terms of one component that grow by a log, and that fade by halves.

        Each side is counts (terms, options): putts that count, by minutes; scale (terms,); and
        weight (terms,): expected strokes.
        """
        learning, stakes = self.case.learning, self.case.stakes
        nodes = np.flatnonzero(np.any(stakes.saving, axis=(0, 1, 2, 3)))
        carry_range = learning.carry_range * np.exp(learning.carry_log_sd * chances[:, 0])
        half = learning.bias_putts * np.exp(learning.bias_log_sd * chances[:, 1 + component])
        yields = np.exp(learning.yield_log_sd * chances[:, 3 + component :: 2])
        reach = learning.carry(self.lengths_ft, stakes.distance_ft[nodes], carry_range)
        a_minute = learning.putts_a_minute(self.lengths_ft)
        taught = np.swapaxes(reach * (yields * a_minute)[:, :, None], 1, 2)
        shares = [1.0 if i == component else learning.other_share for i in range(2)]
        counts = (taught[..., None] * shares).reshape(-1, len(self.options))
        struck = self.case.who.practised["putts"].to_numpy(float)
        experience = learning.start_putts + np.einsum("l,sln->sn", struck, reach)
        spread, straight, squared = (
            np.broadcast_to(weight[nodes] / SCENARIOS, experience.shape).ravel()
            for weight in self._weights(component)
        )
        fade = np.broadcast_to(np.log(2) / half[:, None], experience.shape).ravel()
        fading = [(counts, fade, straight), (counts, 2 * fade, squared)]
        return (counts, 1 / experience.ravel(), spread), _joined(fading)

    def _weights(self, component):
        """Return expected strokes by node: per unit of log experience, and of the bias.

        Spread: the slope of strokes over log spread at an hour's narrowing, times the rate.
        Bias: a part that goes with it and one that goes with its square. Where a bias
        happens to help, losing it costs: below 0.
        """
        stakes, name = self.case.stakes, COMPONENTS[component]
        spread, bias = stakes.saving[component]
        practice = self.case.practices[0]
        slope = spread[1] / -np.log(SPREAD_FACTORS[1]) * practice.rates[name][:, None]
        half, none = bias[np.searchsorted(-BIAS_FACTORS, [-0.5, 0.0])]
        squared = 4 * half - 2 * none
        parts = (np.maximum(slope, 0.0), none - squared, squared)
        return [(stakes.visits * part).mean(axis=0) for part in parts]

    def kept(self):
        """Return the share of each block's practice left at each round, (blocks, blocks)."""
        ago = self.days[:, None] - self.days[None, :]
        return np.where(ago >= 0, self.case.learning.kept(np.maximum(ago, 0)), 0.0)

    def value(self, minutes):
        """Return the expected strokes a round saved, by the programme's own reckoning.

        Parameters
        ----------
        minutes : ndarray, shape (blocks, options)
            Time given.

        Returns
        -------
        float
            Average over the rounds played after each block.
        """
        left = self.kept() @ np.reshape(minutes, (self.days.size, -1))
        return float(np.mean([self._at(row)[0] for row in left]))

    def _at(self, minutes):
        """Return value, gradient and curvature over options of minutes left at one round."""
        counts, scale, weight = self.growing
        grown = 1 + scale * (counts @ minutes)
        value = weight @ np.log(grown)
        slope, bend = weight * scale / grown, -weight * (scale / grown) ** 2
        gradient, curvature = slope @ counts, (counts * bend[:, None]).T @ counts
        counts, scale, weight = self.fading
        left = weight * np.exp(-scale * (counts @ minutes))
        value += weight.sum() - left.sum()
        gradient += (left * scale) @ counts
        curvature -= (counts * (left * scale**2)[:, None]).T @ counts
        return value, gradient, curvature

    def derivatives(self, minutes):
        """Return the gradient of `value`, and a curvature that bends down everywhere.

        Parameters
        ----------
        minutes : ndarray, shape (blocks, options)
            Time given.

        Returns
        -------
        tuple of ndarray, shapes (n,) and (n, n)
            Over blocks and options laid out in a row.
        """
        kept = self.kept() / self.days.size
        found = [self._at(row) for row in self.kept() @ minutes]
        gradient = np.einsum("rb,ro->bo", kept, [f[1] for f in found]).ravel()
        curvature = np.einsum("rb,rc,roq->bocq", kept, self.kept(), [f[2] for f in found])
        values, vectors = np.linalg.eigh(curvature.reshape(gradient.size, -1))
        return gradient, (vectors * np.minimum(values, 0.0)) @ vectors.T

    def solve(self, budgets, most_minutes=np.inf):
        """Return the best minutes for each block's budget.

        Parameters
        ----------
        budgets : sequence of float, one a block
            Minutes for drills.
        most_minutes : float
            Most that one option may get in a block.

        Returns
        -------
        ndarray, shape (blocks, options)
            Minutes, none below 0; options too short to be worth the walk are left out.
        """
        budgets = np.asarray(budgets, dtype=float)
        allowed = np.ones((self.days.size, len(self.options)), dtype=bool)
        minutes = self.optimum(budgets, allowed, most_minutes)
        # Those left out hand their time on, which may leave others too short.
        for _ in range(len(self.options)):
            kept = allowed & (minutes >= LEAST_MINUTES)
            # Rows that could not hold their time without the short ones keep them.
            full = kept.any(axis=1) & (kept.sum(axis=1) * most_minutes >= budgets)
            dropped = allowed & ~kept & full[:, None]
            if not dropped.any():
                break
            allowed &= ~dropped
            minutes = self.optimum(budgets, allowed, most_minutes)
        return minutes

    def optimum(self, budgets, allowed, most_minutes=np.inf):
        """Return the best minutes over the options allowed.

        Newton's method with limits: at every step the programme's parabola is maximised by
        convex programming, and the way there is halved until strokes are gained.

        Parameters
        ----------
        budgets : sequence of float, one a block
            Minutes for drills.
        allowed : ndarray of bool, shape (blocks, options)
            Where time may go.
        most_minutes : float
            Most that one option may get in a block.

        Returns
        -------
        ndarray, shape (blocks, options)
            Minutes.
        """
        budgets = np.asarray(budgets, dtype=float)
        even = np.minimum(budgets / allowed.sum(axis=1), most_minutes)
        minutes = allowed * even[:, None]
        step = _quadratic_step(budgets, allowed, most_minutes)
        value = self.value(minutes)
        for _ in range(STEPS):
            way = step(minutes, *self.derivatives(minutes)) - minutes
            lengths = (0.5**k for k in range(20))
            tried = ((self.value(minutes + part * way), part) for part in lengths)
            gained, part = next((found for found in tried if found[0] > value), (value, 0.0))
            minutes = minutes + part * way
            if gained - value <= 1e-7 * abs(value):
                break
            value = gained
        return np.maximum(minutes, 0.0)


def _quadratic_step(budgets, allowed, most_minutes):
    """Return the function that maximises a parabola around some minutes within the limits."""
    import cvxpy as cp

    x = cp.Variable(int(allowed.sum()), nonneg=True)
    linear, root = cp.Parameter(x.size), cp.Parameter((x.size, x.size))
    block = np.nonzero(allowed)[0]
    limits = [cp.sum(x[block == b]) <= budget for b, budget in enumerate(budgets)]
    limits += [x <= most_minutes] if np.isfinite(most_minutes) else []
    program = cp.Problem(cp.Maximize(linear @ x - cp.sum_squares(root @ x) / 2), limits)
    where = np.flatnonzero(allowed)

    def step(minutes, gradient, curvature):
        # Strokes a minute are small numbers: scaled to about 1, what solvers are made for.
        size = np.abs(gradient).max() or 1.0
        bend = -curvature[np.ix_(where, where)] / size
        values, vectors = np.linalg.eigh(bend)
        root.value = np.sqrt(np.maximum(values, 0.0))[:, None] * vectors.T
        linear.value = gradient[where] / size + bend @ minutes.ravel()[where]
        program.solve(solver=cp.CLARABEL)
        found = np.zeros(allowed.shape)
        found.flat[where] = np.maximum(x.value, 0.0)
        return found

    return step


def _joined(sides):
    """Return several sides' terms one after the other."""
    return tuple(np.concatenate(column) for column in zip(*sides, strict=True))
