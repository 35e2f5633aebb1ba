"""The best split of a session over distances and components.

Expected strokes saved are, but for a bias that happens to help, a concave function of the
minutes given to each option, so time goes in small steps where the next one saves most.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from putlab.base.errors import expect
from putlab.base.result import Result
from putlab.base.words import listed
from putlab.model.readings import COMPONENTS
from putlab.practice.case import Case
from putlab.practice.saving import OPTIONS, PRACTICE_FT, Option, named, putts_of, saved_words
from putlab.rounds.strokes import STRETCHES, stretch_words

# What every session holds besides: five minutes of easy putts so that back and hands are warm,
# and a counted game of nine holes (about ten minutes to a drill: common practice).
WARM_UP_MINUTES, GAME_MINUTES = 5.0, 10.0

# Less than this at one option is a walk to it and back.
LEAST_MINUTES = 3.0

# A session needs room for one drill.
SHORTEST_SESSION = WARM_UP_MINUTES + GAME_MINUTES + LEAST_MINUTES

# Time is given out in steps of that length, or in so many where there is more of it.
STEPS = 40


@dataclass(frozen=True)
class Split(Result):
    """A split of practice time.

    Attributes
    ----------
    case : putlab.practice.case.Case
        Golfer, learning, round and green.
    minutes : ndarray, shape (options,)
        Time for each of `putlab.practice.saving.OPTIONS`; warm-up and game come besides.
    saved : ndarray, shape (draws,)
        Strokes a round saved.
    saved_equal, saved_single : float
        Mean strokes saved by equal time everywhere, and by all of it on the best one option.
    """

    case: Case
    minutes: np.ndarray
    saved: np.ndarray
    saved_equal: float
    saved_single: float

    @property
    def table(self) -> pd.DataFrame:
        """Options with time, the most first: ``stretch, place, component, minutes, putts``."""
        rows = []
        for option, minutes in zip(OPTIONS, self.minutes, strict=True):
            place, component = option
            putts = putts_of(option, minutes, self.case.learning)[component].sum()
            rows.append((stretch_words(*STRETCHES[place]), place, component, minutes, putts))
        columns = ["stretch", "place", "component", "minutes", "putts"]
        table = pd.DataFrame(rows, columns=columns).query("minutes > 0")
        return table.sort_values("minutes", ascending=False, kind="stable", ignore_index=True)

    @property
    def sentence(self) -> str:
        """The split in plain words."""
        parts = [
            f"{row.minutes:.0f} minutes to {named((row.place, row.component))}"
            for row in self.table.itertuples()
        ]
        return (
            f"{listed(parts)}. That saves {saved_words(self.saved)}; equal time everywhere "
            f"{self.saved_equal:.2f}, all on the best single choice {self.saved_single:.2f}."
        )


def split_minutes(
    case: Case, minutes: float, *, most_minutes: float = np.inf, among: Sequence[Option] = OPTIONS
) -> Split:
    """The best split of one session."""
    drills = drill_minutes(minutes)
    open_to = np.array([option in among for option in OPTIONS])
    best = best_minutes(case, drills, most_minutes, open_to)
    single = [case.saved(drills * one).mean() for one in np.eye(len(OPTIONS))[open_to]]
    equal = case.saved(drills * open_to / open_to.sum()).mean()
    return Split(case, best, case.saved(best), float(equal), float(max(single)))


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
    room = f"{SHORTEST_SESSION:g} or more, warm-up and counted game included"
    expect(SHORTEST_SESSION <= minutes < np.inf, "minutes", minutes, room)
    return minutes - WARM_UP_MINUTES - GAME_MINUTES


def best_minutes(
    case: Case, minutes: float, most_minutes: float = np.inf, open_to: np.ndarray | bool = True
) -> np.ndarray:
    """Minutes for each option, (options,), none with fewer than are worth the walk to it."""
    open_to = np.broadcast_to(open_to, len(OPTIONS))
    # More than the most where the options could not fill the time otherwise.
    most_minutes = max(most_minutes, minutes / open_to.sum())
    value, given = expected_saving(case), np.zeros(len(OPTIONS))
    step = max(LEAST_MINUTES, minutes / STEPS)
    while (left := minutes - given.sum()) > 1e-6:
        size = np.minimum(step, np.minimum(left, most_minutes - given)) * open_to
        # What is left in the end goes where time goes already, if there is room.
        worth = size * ((given > 0) | (size >= LEAST_MINUTES))
        added = np.diag(worth if worth.any() else size)
        added = added[added.any(axis=1)]
        gains = [(value(given + one) - value(given)) / one.sum() for one in added]
        given = given + added[int(np.argmax(gains))]
    return given


def expected_saving(case: Case) -> Callable[[np.ndarray], float]:
    """Mean strokes a round saved as a function of the minutes of each option."""
    # What practice does is independent of the skill, so that the mean over its draws will do.
    effect, learning, mean = case.effects[0], case.learning, case.strokes.mean
    each = [effect.counted(PRACTICE_FT, putts_of(one, 1.0, learning)) for one in OPTIONS]
    by_minute = {name: np.array([one[name] for one in each]) for name in COMPONENTS}

    def value(minutes: np.ndarray) -> float:
        counted = {name: np.tensordot(minutes, one, 1) for name, one in by_minute.items()}
        return float(mean.saved_a_round(effect.factors(counted)).mean())

    return value
