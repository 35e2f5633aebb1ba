"""How far past the hole this golfer should aim to roll it, on a flat green.

Three aims pull apart: holing it most often (hard enough to get there, soft enough to drop),
needing fewest putts (a miss must leave a short one), and leaving a miss in the area behind
the hole, past it and within three feet, where it is common practice to want it.
"""

from dataclasses import dataclass

import numpy as np

from putlab.base.errors import UsageError
from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.green.hole_out import later_putts, thinned
from putlab.green.leaves import AREA_FT, LeaveGrid, area_chance, holed_chance, leaves
from putlab.green.strike import Strikes

# Aims looked at, feet past the hole; the best lies between its neighbours on a parabola.
# An aim of 0 is no farther than the hole, the least looked at; beyond 5 ft no golfer aims.
AIMS_FT = np.array([0, 0.25, 0.5, 0.75, 1, 1.25, 1.5, 1.75, 2, 2.5, 3, 3.5, 4, 4.5, 5])

# Rounds of choosing the aim for all putts at once; the second already moves it by less than
# a tenth of a foot.
ROUNDS = 2

# Draws looked at: the choice is made on their mean.
DRAWS = 50


@dataclass(frozen=True)
class Aims:
    """What each aim is worth at each distance, averaged over the golfer's draws.

    Attributes
    ----------
    distance_ft : ndarray, shape (n,)
        Length of the putt.
    past_ft : ndarray, shape (aims,)
        How far past the hole the golfer aims to roll the ball.
    average_putts : ndarray, shape (aims, n)
        With later putts aimed as is best for them.
    one_putt : ndarray, shape (aims, n)
        Chance of holing it.
    area_share : ndarray, shape (aims, n)
        Share of the misses that stop past the hole within three feet.
    """

    distance_ft: np.ndarray
    past_ft: np.ndarray
    average_putts: np.ndarray
    one_putt: np.ndarray
    area_share: np.ndarray

    def table(self):
        """Return the best aim of each kind, and what it is worth, by distance.

        Returns
        -------
        pandas.DataFrame
            A row a distance: ``distance_ft``; ``fewest_past_ft, fewest_putts`` (the aim
            with the fewest putts); ``holed_past_ft, holed_most`` (holing it most often);
            ``area_past_ft, area_most`` (misses past the hole within three feet, as a share
            of the misses); ``usual_putts, usual_one_putt, usual_area`` at the usual aim.
        """
        import pandas as pd

        fewest = peak(self.past_ft, -self.average_putts)
        holed, area = peak(self.past_ft, self.one_putt), peak(self.past_ft, self.area_share)
        usual = int(np.argmin(np.abs(self.past_ft - PAST_FT)))
        return pd.DataFrame(
            {
                "distance_ft": self.distance_ft,
                "fewest_past_ft": fewest[0],
                "fewest_putts": -fewest[1],
                "holed_past_ft": holed[0],
                "holed_most": holed[1],
                "area_past_ft": area[0],
                "area_most": area[1],
                "usual_putts": self.average_putts[usual],
                "usual_one_putt": self.one_putt[usual],
                "usual_area": self.area_share[usual],
            }
        )


def weigh_aims(skill, distance_ft, *, stimp_ft=STIMP_FT, past_ft=AIMS_FT, area_ft=AREA_FT):
    """Return what aiming each distance past the hole is worth.

    Parameters
    ----------
    skill : Skill
        The golfer; at most 50 of its draws, evenly taken, are looked at.
    distance_ft : array_like, shape (n,)
        Lengths of the putt in feet, rising.
    stimp_ft : float
        Green speed in feet.
    past_ft : array_like, shape (aims,)
        Aims to look at, feet past the hole, rising.
    area_ft : float
        Depth of the area behind the hole in feet.

    Returns
    -------
    Aims
        Average putts, one-putt chance and share of misses in the area, for each aim.

    Raises
    ------
    UsageError
        Fewer than three aims, or not rising.
    """
    distance_ft = np.atleast_1d(np.asarray(distance_ft, dtype=float))
    past_ft = np.asarray(past_ft, dtype=float)
    if past_ft.size < 3 or np.any(np.diff(past_ft) <= 0) or past_ft[0] < 0:
        raise UsageError(f"past_ft needs three aims or more, rising from 0; got {past_ft}.")
    skill = thinned(skill, DRAWS)
    grid = LeaveGrid(max(LeaveGrid.longest_ft, 2.5 * distance_ft[-1]))
    later = _best_later(skill, grid, stimp_ft, past_ft)
    average = _average_putts(skill, distance_ft, past_ft, later, grid, stimp_ft)
    strikes = [Strikes.of(skill.at(distance_ft), past) for past in past_ft]
    shape = (skill.draws, distance_ft.size)
    holed = np.array([holed_chance(s, stimp_ft).reshape(shape).mean(0) for s in strikes])
    area = [area_chance(s, stimp_ft, area_ft).reshape(shape).mean(0) for s in strikes]
    return Aims(distance_ft, past_ft, average, holed, np.array(area) / (1 - holed))


def peak(places, values):
    """Return where a curve seen at a few places is highest, and how high.

    Parameters
    ----------
    places : ndarray, shape (m,)
        Rising.
    values : ndarray, shape (m, n)
        Curves, one a column.

    Returns
    -------
    tuple of ndarray, each of shape (n,)
        Place and height of the top of the parabola through the highest value and its two
        neighbours; at an end, the end itself.
    """
    columns = np.arange(values.shape[1])
    top = np.argmax(values, axis=0)
    middle = np.clip(top, 1, places.size - 2)
    x0, x1, x2 = (places[middle + k] for k in (-1, 0, 1))
    y0, y1, y2 = (values[middle + k, columns] for k in (-1, 0, 1))
    rise, fall = (y1 - y0) / (x1 - x0), (y2 - y1) / (x2 - x1)
    bend = (fall - rise) / (x2 - x0)
    inside = (top == middle) & (bend < 0)
    place = (x0 + x1) / 2 - rise / (2 * np.where(inside, bend, -1.0))
    height = y0 + rise * (place - x0) + bend * (place - x0) * (place - x1)
    return (
        np.where(inside, place, places[top]),
        np.where(inside, height, values[top, columns]),
    )


def _average_putts(skill, distance_ft, past_ft, later, grid, stimp_ft):
    """Return average putts, shape (aims, n), with what follows a miss given."""
    shape, still = (skill.draws, distance_ft.size, grid.CELLS), later.sum(axis=-1)[..., None]
    found = []
    for past in past_ft:
        first = leaves(Strikes.of(skill.at(distance_ft), past), stimp_ft, grid)
        found.append(1 + (first.cells.reshape(shape) @ still)[..., 0].mean(axis=0))
    return np.array(found)


def _best_later(skill, grid, stimp_ft, past_ft):
    """Return the chances after a miss when every later putt is aimed at its best."""
    distance_ft = grid.cells_ft[:: grid.LATER]
    plan = np.full(distance_ft.size, PAST_FT)
    for _ in range(ROUNDS):
        later = later_putts(skill, grid, stimp_ft=stimp_ft, past_ft=_course(distance_ft, plan))
        average = _average_putts(skill, distance_ft, past_ft, later, grid, stimp_ft)
        # Where a tap-in drops at any pace the aim does not matter: keep the usual one.
        cost = average + 1e-6 * np.abs(past_ft - PAST_FT)[:, None]
        plan = peak(past_ft, -cost)[0]
    return later_putts(skill, grid, stimp_ft=stimp_ft, past_ft=_course(distance_ft, plan))


def _course(distance_ft, plan):
    return lambda wanted_ft: np.interp(np.log(wanted_ft), np.log(distance_ft), plan)
