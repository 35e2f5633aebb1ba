"""The best split of practice time over distances and components, for a session or weeks.

Expected strokes saved are a concave function of the minutes given to each option, whose one
optimum convex programming finds (`putlab.decision.programme`); what the split found is worth
is then reckoned with the full draws.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from putlab.decision.advice import named
from putlab.decision.programme import LEAST_MINUTES, Problem
from putlab.decision.stakes import COMPONENTS
from putlab.errors import UsageError
from putlab.golfer import summary
from putlab.pages.wording import listed
from putlab.worth import check_minutes

# What every session holds besides: five minutes of easy putts so that back and hands are warm,
# and a counted game of nine holes (about ten minutes to a drill: common practice).
WARM_UP_MINUTES, GAME_MINUTES = 5.0, 10.0

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
    case : putlab.decision.setting.Case
        Golfer, learning, round and green (`putlab.decision.advice.Advice.case`).
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
    case : putlab.decision.setting.Case
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
    case : putlab.decision.setting.Case
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
