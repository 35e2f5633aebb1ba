"""The mix of first putts in a round of 18 holes: shipped, counted, or the user's own.

The shipped table says of each mix how it was derived (`tests/helpers/shipped_figures.py`).
"""

from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from putlab.base.errors import LogError, UsageError
from putlab.green import published
from putlab.green.skill import interpolation_weights, rising
from putlab.rounds.reference import TOUR, level_named, level_names, read_columns

HOLES = 18
COLUMNS = ("distance_ft", "first_putts")

# The mix used where nothing is said.
LEVEL = "handicap 10"


@dataclass(frozen=True)
class RoundMix:
    """First putts of a round by length.

    Attributes
    ----------
    level : str
        Whose round: "tour", "handicap 10", "own rounds".
    distance_ft, first_putts : ndarray, shape (n,)
        Lengths, rising, and how many first putts of each a round of 18 holes has.
    source : str
        Where the counts come from, in words.
    assumed : bool
        Whether they are an assumption about golfers at large, from which one golfer may stray.
    """

    level: str
    distance_ft: np.ndarray
    first_putts: np.ndarray
    source: str
    assumed: bool = False

    def onto(self, lengths_ft: ArrayLike) -> np.ndarray:
        """Return the first putts that each of other lengths (practised, say) stands for."""
        # One between two lengths is shared straight in log distance, one beyond goes to the last.
        known = np.log(rising("lengths_ft", lengths_ft))
        return interpolation_weights(known, np.log(self.distance_ft)) @ self.first_putts

    def among(self, lengths_ft: ArrayLike) -> "RoundMix":
        """Return the same first putts on other lengths only."""
        return replace(self, distance_ft=np.asarray(lengths_ft), first_putts=self.onto(lengths_ft))

    def average(self, putts: ArrayLike) -> np.ndarray:
        """Return what putts or strokes, shape (..., n), at each length add up to in a round."""
        return np.asarray(putts) @ self.first_putts


def round_mix(name: str = LEVEL, putts: pd.DataFrame | None = None) -> RoundMix:
    """Return the first putts of a round by name.

    Parameters
    ----------
    name : str
        A level whose mix is shipped ("tour", "handicap 10"), "own" for those counted in
        ``putts``, or a CSV file of ``distance_ft, first_putts``.
    putts : pandas.DataFrame, optional
        A log's putts.

    Returns
    -------
    RoundMix
        Brought to 18 holes.

    Raises
    ------
    UsageError
        No such level or file, or no putts given to count.
    LogError
        The putts hold no first putt of a hole.
    """
    if name == "own" and putts is not None:
        return count_mix(putts)
    return read_mix(name) if name.endswith(".csv") else shipped_mix(name)


def shipped_mix(level: str = LEVEL) -> RoundMix:
    """Return a level's mix ("10" or "handicap 10"): all but the tour's, derived, are assumed."""
    name = level_named(level)
    if name is None:
        raise UsageError(f"no mix of first putts for '{level}'; there are {level_names()}.")
    frame = published.shipped("rounds").query("level == @name")
    return _mix(name, frame, frame["source"].iloc[0], assumed=name != TOUR)


def read_mix(path: str | PathLike[str]) -> RoundMix:
    """Read a mix of the user's own: counts of any number of holes, brought to 18."""
    above = (lambda feet: feet > 0), "a distance above 0"
    counts = (lambda putts: putts >= 0), "a count of 0 or more"
    wanted = dict(zip(COLUMNS, (above, counts), strict=True))
    frame, source = read_columns(path, "mix of first putts", wanted)
    if not frame["first_putts"].sum() > 0:
        raise UsageError(f"{path}: got no putt; expected a count above 0 at one distance or more.")
    return _mix(Path(path).stem, frame, source)


def count_mix(putts: pd.DataFrame) -> RoundMix:
    """Count the first putts of a log's own rounds and counted games."""
    first = putts[(putts["putt_no"] == 1) & putts["hole_no"].notna()]
    if first.empty:
        raise LogError(
            "the log counts no first putts: none of its rows has a hole_no and putt_no 1. "
            "Use a shipped mix, or write down hole_no and putt_no on the green."
        )
    source = f"counted: {len(first)} holes in {first['session'].nunique()} session(s)"
    return _mix("own rounds", first.assign(first_putts=1), source)


def _mix(level: str, frame: pd.DataFrame, source: str, *, assumed: bool = False) -> RoundMix:
    """Return a mix from counts of any number of holes."""
    totals = frame.groupby("distance_ft")["first_putts"].sum()
    counts = totals.to_numpy(dtype=float)
    first_putts = HOLES * counts / counts.sum()
    return RoundMix(level, totals.index.to_numpy(float), first_putts, source, assumed)
