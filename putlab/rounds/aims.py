"""How far past the hole this golfer should aim to roll it, on a flat green.

Two aims pull apart: holing it most often (hard enough to get there, soft enough to drop), and
needing fewest putts (a miss must leave a short one).
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from putlab.base.cache import kept_or_made, result_key
from putlab.base.errors import UsageError
from putlab.base.result import Result
from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.base.words import length_words
from putlab.green.hole_out import later_putts
from putlab.green.leaves import LeaveGrid, leaves_of
from putlab.green.skill import Skill
from putlab.rounds.expected import new_day_skill

if TYPE_CHECKING:
    from putlab.posterior.player import Golfer

# Aims looked at, feet past the hole; the best lies between its neighbours on a parabola.
# An aim of 0 is no farther than the hole, the least looked at; beyond 5 ft no golfer aims.
AIMS_FT = np.array([0, 0.25, 0.5, 0.75, 1, 1.25, 1.5, 1.75, 2, 2.5, 3, 3.5, 4, 4.5, 5])

# Fewer putts saved than this do not show.
LEAST_SAVED = 0.005

# Draws looked at: the choice is made on their mean, as near to the estimates as is shown.
DRAWS = 200


@dataclass(frozen=True)
class Aims(Result):
    """What each aim is worth at each distance, averaged over the golfer's draws.

    Attributes
    ----------
    distance_ft, past_ft : ndarray, shapes (n,) and (aims,)
        Length of the putt, and how far past the hole the golfer aims to roll the ball.
    average_putts : ndarray, shape (aims, n)
        With later putts aimed as usual.
    one_putt : ndarray, shape (aims, n)
        Chance of holing it.
    """

    distance_ft: np.ndarray
    past_ft: np.ndarray
    average_putts: np.ndarray
    one_putt: np.ndarray

    @property
    def table(self) -> pd.DataFrame:
        """The aim with fewest putts, and most holed; the usual one's worth."""
        fewest = highest_point(self.past_ft, -self.average_putts)
        holed = highest_point(self.past_ft, self.one_putt)
        usual = int(np.argmin(np.abs(self.past_ft - PAST_FT)))
        return pd.DataFrame(
            {
                "distance_ft": self.distance_ft,
                "fewest_past_ft": fewest[0],
                "fewest_putts": -fewest[1],
                "holed_past_ft": holed[0],
                "holed_most": holed[1],
                "usual_putts": self.average_putts[usual],
                "usual_one_putt": self.one_putt[usual],
            }
        )

    @property
    def sentence(self) -> str:
        """The aim with the fewest putts where it saves most."""
        table = self.table
        saved = table["usual_putts"] - table["fewest_putts"]
        row = table.loc[saved.idxmax()]
        if saved.max() < LEAST_SAVED:
            return (
                f"Aiming {length_words(PAST_FT)} past the hole is as good as any aim at these "
                "lengths: no other saves a hundredth of a putt."
            )
        aim = length_words(row["fewest_past_ft"])
        return (
            f"Another aim saves most from {length_words(row['distance_ft'])}: {aim} past the "
            f"hole takes {row['fewest_putts']:.2f} putts on average, "
            f"{length_words(PAST_FT)} past it {row['usual_putts']:.2f}."
        )


def aims(
    golfer: "Skill | Golfer",
    distance_ft: ArrayLike,
    *,
    stimp_ft: float = STIMP_FT,
    past_ft: ArrayLike = AIMS_FT,
) -> Aims:
    """Return what aiming each distance past the hole is worth.

    Parameters
    ----------
    golfer : Skill or Golfer
        The golfer; at most 200 of its draws, evenly taken, are looked at.
    distance_ft : array_like, shape (n,)
        Lengths of the putt in feet, rising.
    stimp_ft : float
        Green speed in feet.
    past_ft : array_like, shape (aims,)
        Aims to look at, feet past the hole, rising.

    Returns
    -------
    Aims
        Average putts and one-putt chance, for each aim.

    Raises
    ------
    UsageError
        Fewer than three aims, or not rising.
    """
    distance_ft = np.atleast_1d(np.asarray(distance_ft, dtype=float))
    past_ft = np.asarray(past_ft, dtype=float)
    if past_ft.size < 3 or np.any(np.diff(past_ft) <= 0) or past_ft[0] < 0:
        raise UsageError(f"past_ft needs three aims or more, rising from 0; got {past_ft}.")
    skill = golfer if isinstance(golfer, Skill) else new_day_skill(golfer)
    skill = skill.thinned(DRAWS)
    key = result_key("rounds", "aims", vars(skill), distance_ft, past_ft, stimp_ft)
    found = kept_or_made(key, lambda: _aims(skill, distance_ft, past_ft, stimp_ft))
    return Aims(distance_ft, past_ft, **found)


def _aims(
    skill: Skill, distance_ft: np.ndarray, past_ft: np.ndarray, stimp_ft: float
) -> dict[str, np.ndarray]:
    grid, there = LeaveGrid(max(LeaveGrid.longest_ft, 2.5 * distance_ft[-1])), skill.at(distance_ft)
    later = later_putts(skill, grid, stimp_ft=stimp_ft, past_ft=PAST_FT).sum(axis=-1)[..., None]
    first = [leaves_of(there, past, stimp_ft, grid) for past in past_ft]
    average = [1 + (putt.cells @ later)[..., 0].mean(axis=0) for putt in first]
    holed = [putt.holed.mean(axis=0) for putt in first]
    return {"average_putts": np.array(average), "one_putt": np.array(holed)}


def highest_point(places: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return where curves (m, n) seen at m rising places are highest, and how high."""
    # The top of the parabola through the highest value and its two neighbours; at an end, the end.
    found = []
    for curve in values.T:
        top = int(curve.argmax())
        place, height = places[top], curve[top]
        if 0 < top < places.size - 1:
            around = slice(top - 1, top + 2)
            bend = np.polyfit(places[around], curve[around], 2)
            place = -bend[1] / (2 * bend[0])
            height = np.polyval(bend, place)
        found.append((place, height))
    return tuple(np.transpose(found))
