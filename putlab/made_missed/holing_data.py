"""Putts that were made or missed on a green, from a log to counted outcomes.

A visit in which nothing was read but whether putts dropped is taken as one to a real green;
a putt without a reading among others that have one was missed by the sensor.
A miss tells more where the log has how far it was left (itself, or as the length of the next
putt on that hole), and a little more where it has only how many putts followed.
"""

import numpy as np
import pandas as pd

from putlab.design import session_table
from putlab.readings import conditions_held, visit_read
from putlab.rules import ROLL_STEPS_FT, common_step
from putlab.settings import STIMP_FT

# Nearly every putt this short drops, whoever strikes it: it says nothing about spread.
SHORTEST_FT = 1.5

# Leaves are told apart this finely, feet. Ends lie between the tenths that a tape shows, and
# bands stay narrow against the scatter of roll-outs.
LEAVE_BANDS_FT = np.array(
    [0, 0.55, 1.05, 1.55, 2.05, 2.55, 3.05, 3.55, 4.05, 5.05, 6.05, 7.05, 8.55, 10.05, 12.05,
     14.05, 17.05, 20.05, 25.05, 32.05, 45.05, 150]
)  # fmt: skip

# Lengths within this, in log distance, are struck at as one: the chance of holing differs by
# under 0.01 across it, and the mean is taken.
SAME_DISTANCE = 0.03

# Practice before a putt, on the model's log scale, to the nearest of this: a trend of 0.1
# would move spread by 5 % at most, and as often up as down.
SAME_PRACTICE = 1.0

# Green speeds to the nearest half foot: greens are not even to less.
SAME_STIMP_FT = 0.5

# What putts are alike in. The first few putts of a practice visit may scatter wider; those of
# a round, after a warm-up and holes apart, are as any.
ALIKE = ["player", "distance_ft", "stimp_ft", "condition", "counted", "practised"]


def green_putts(putts):
    """Return the putts of visits to a green: known is whether they dropped, nothing was read.

    Parameters
    ----------
    putts : pandas.DataFrame
        The normalised log, in order.

    Returns
    -------
    pandas.DataFrame
        Columns `ALIKE` (rounded to what matters) with ``made``, ``low_ft, high_ft`` (what a
        leave lay between; NaN where unknown), and ``followed``: the putts that followed, 1
        or 2 (two or more), where only they are known.
    """
    putts = _in_holes(putts)
    visits = session_table(putts).set_index(["player", "session"])["practised"]
    putts["counted"] = (putts["drill"] == "counted").fillna(False).astype(bool)
    putts["condition"] = conditions_held(putts)
    putts["stimp_ft"] = _nearest(putts["stimp_ft"].fillna(STIMP_FT), SAME_STIMP_FT)
    visit = pd.MultiIndex.from_frame(putts[["player", "session"]])
    putts["practised"] = _nearest(visits.reindex(visit).to_numpy(), SAME_PRACTICE)
    putts = putts[on_green(putts)]
    putts = putts.assign(made=putts["holed"].astype(bool), **_left(putts))
    putts["distance_ft"] = _merged(putts["distance_ft"].to_numpy(float))
    return putts[[*ALIKE, "made", "low_ft", "high_ft", "followed"]].reset_index(drop=True)


def on_green(putts):
    """Tell which putts were struck on a green and say something of the golfer's spread.

    Parameters
    ----------
    putts : pandas.DataFrame
        The normalised log.

    Returns
    -------
    pandas.Series of bool
        Putts with an outcome in visits of the player without a reading, but for the shortest.
    """
    tells = putts["holed"].notna() & (putts["distance_ft"] >= SHORTEST_FT)
    return tells & ~visit_read(putts)


def told(putts):
    """Return what each player's putts on a green tell.

    Parameters
    ----------
    putts : pandas.DataFrame
        From `green_putts`.

    Returns
    -------
    pandas.DataFrame
        By player: ``putts, made, misses, leaves, followed``.
    """
    missed = ~putts["made"]
    columns = {
        "putts": True,
        "made": putts["made"],
        "misses": missed,
        "leaves": missed & putts["high_ft"].notna(),
        "followed": missed & putts["followed"].notna(),
    }
    flags = pd.DataFrame(columns, index=putts.index).astype(int)
    return flags.groupby(putts["player"], sort=False).sum()


def _in_holes(putts):
    """Number the putts on each hole, and look ahead to what followed."""
    putts = putts.copy()
    visit = [putts["player"], putts["session"]]
    before = putts.groupby(visit)[["hole_no", "putt_no"]].shift()
    # The same number again, from putt 1, is the hole of another game.
    starts = (putts["hole_no"] != before["hole_no"]) | (putts["putt_no"] <= before["putt_no"])
    hole = putts.groupby([*visit, starts.groupby(visit).cumsum()])
    number = putts["putt_no"].fillna(hole.cumcount() + 1).where(putts["hole_no"].notna())
    putts["putt_no"] = number
    following = hole["putt_no"].shift(-1) == number + 1
    putts["next_ft"] = hole["distance_ft"].shift(-1).where(following)
    putts["last_no"] = hole["putt_no"].transform("max")
    putts["finished"] = hole["holed"].transform("last")
    return putts


def _left(putts):
    """Return bounds of the leave of each miss, or how many putts followed it."""
    missed = ~putts["holed"].astype(bool)
    leave = putts["leave_ft"].fillna(putts["next_ft"]).where(missed).to_numpy(float)
    low, high = leave_bounds(leave, common_step(leave, ROLL_STEPS_FT))
    followed = (putts["last_no"] - putts["putt_no"]).clip(upper=2)
    only_number = missed & np.isnan(leave) & putts["finished"].fillna(False).astype(bool)
    followed = followed.where(only_number & (followed > 0))
    return {"low_ft": low, "high_ft": high, "followed": followed}


def leave_bounds(leave_ft, step_ft):
    """Return what each leave lay between.

    Parameters
    ----------
    leave_ft : ndarray, shape (n,)
        Distances left; NaN where unknown.
    step_ft : float
        Step of the reading; 0 where it is fine.

    Returns
    -------
    tuple of ndarray, each of shape (n,)
        Feet. A coarse reading keeps its own interval, a fine one falls into a band. Nothing
        is left inside the hole, so the first band reaches down to it.
    """
    bands = LEAVE_BANDS_FT
    known = ~np.isnan(leave_ft)
    place = np.searchsorted(bands, np.where(known, leave_ft, 1.0), side="right")
    place = np.clip(place, 1, bands.size - 1)
    low, high = bands[place - 1], bands[place]
    if step_ft >= 0.25:
        low = np.maximum(leave_ft - step_ft / 2, 0.0)
        high = np.maximum(leave_ft + step_ft / 2, bands[1])
    low = np.where(low < bands[1], 0.0, low)
    return np.where(known, low, np.nan), np.where(known, high, np.nan)


def _nearest(values, step):
    return np.round(np.asarray(values, dtype=float) / step) * step


def _merged(distance_ft):
    """Return distances with near ones replaced by their mean."""
    group = pd.Series(np.round(np.log(distance_ft) / SAME_DISTANCE))
    return pd.Series(distance_ft).groupby(group).transform("mean").to_numpy()
