"""The mix of first putts in a round of 18 holes: shipped, counted, or the user's own.

`python -m putlab.rounds.first_putts` remakes the shipped mixes: the tour's from its published
record less the putts after a miss, club golfers' from greens hit and the median length after
them (assumptions), and the median after others with which they take the published putts.
"""

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.optimize import brentq
from scipy.stats import norm

from putlab.base.errors import LogError, UsageError
from putlab.green import published
from putlab.green.hole_out import hole_out
from putlab.green.leaves import leave_within
from putlab.rounds.reference import (
    LEVELS,
    TOUR,
    UserTable,
    level_named,
    level_names,
    level_skill,
    tour_golfer,
    toward_ninety,
)

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
        lengths_ft = np.atleast_1d(np.asarray(lengths_ft, dtype=float))
        if np.any(lengths_ft <= 0) or np.any(np.diff(lengths_ft) <= 0):
            raise UsageError(f"lengths_ft must be above 0 and rising; got {lengths_ft}.")
        eye, known = np.eye(lengths_ft.size), np.log(lengths_ft)
        weights = [np.interp(np.log(self.distance_ft), known, row) for row in eye]
        return np.array(weights) @ self.first_putts

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


def levels() -> list[str]:
    """Return the levels of play whose mix is shipped."""
    return list(_shipped()["level"].unique())


def shipped_mix(level: str = LEVEL) -> RoundMix:
    """Return a level's mix ("10" or "handicap 10"): all but the tour's, derived, are assumed."""
    name = level_named(level)
    if name is None:
        raise UsageError(f"no mix of first putts for '{level}'; there are {level_names()}.")
    frame = _shipped().query("level == @name")
    return _mix(name, frame, frame["source"].iloc[0], assumed=name != TOUR)


@lru_cache
def _shipped() -> pd.DataFrame:
    with files("putlab").joinpath("green", "data", "rounds.csv").open() as stream:
        return pd.read_csv(stream)


def read_mix(path: str | PathLike[str]) -> RoundMix:
    """Read a mix of the user's own: counts of any number of holes, brought to 18."""
    own = UserTable.read(path, COLUMNS, "mix of first putts")
    own.check("distance_ft", (own.frame["distance_ft"] > 0).to_numpy(), "a distance above 0")
    own.check("first_putts", (own.frame["first_putts"] >= 0).to_numpy(), "a count of 0 or more")
    if not own.frame["first_putts"].sum() > 0:
        raise own.wrong("no putt", "a count above 0 at one distance or more")
    return _mix(own.path.stem, own.frame, own.source)


def count_mix(putts: pd.DataFrame) -> RoundMix:
    """Count the first putts of a log's own rounds and counted games."""
    first = putts[(putts["putt_no"] == 1) & putts["hole_no"].notna()]
    if first.empty:
        raise LogError(
            "the log counts no first putts: none of its rows has a hole_no and putt_no 1. "
            "Use a shipped mix, or write down hole_no and putt_no on the green."
        )
    counts = first.groupby("distance_ft").size().rename("first_putts").reset_index()
    source = f"counted: {len(first)} holes in {first['session'].nunique()} session(s)"
    return _mix("own rounds", counts, source)


def _mix(level: str, frame: pd.DataFrame, source: str, *, assumed: bool = False) -> RoundMix:
    """Return a mix from counts of any number of holes."""
    totals = frame.groupby("distance_ft")["first_putts"].sum()
    counts = totals.to_numpy(dtype=float)
    first_putts = HOLES * counts / counts.sum()
    return RoundMix(level, totals.index.to_numpy(float), first_putts, source, assumed)


# How the shipped mixes were made.

# Edges of the record's bins, read off their mean distances (0.28, 0.97, 1.93, ... ft).
BIN_EDGES_FT = np.array(
    [0, 0.5, *np.arange(1.5, 14), 15.5, 17.5, 19.5, 21.5, 22.5]
    + [*np.arange(26.5, 55, 4), 60.5, 66.5, 72.5, np.inf]
)

# Farther from the hole than any miss stops, feet.
BEYOND_FT = 500.0

# Spread of the logarithm of either length: the middle two thirds lie between half the median
# and twice the median (assumption).
LOG_SD = 0.7

# Assumptions, at scratch and how much more for each stroke of handicap: greens hit of 18, and
# the median first putt after one, feet.
GREENS_HIT, APPROACH_FT = (10.0, -0.3), (24.0, 0.3)

# Medians after a missed green among which one is sought, feet.
CHIP_FROM_FT, CHIP_TO_FT = 1.0, 30.0

# Lengths that stand for the club golfers' first putts, feet.
LENGTHS_FT = np.array([2, 3, 4, 5, 6, 7, 8, 10, 12, 15, 18, 22, 27, 33, 40, 50, 60.0])


def later_putts_expected() -> tuple[pd.DataFrame, np.ndarray]:
    """Return the tour's record, and how many putts in each of its bins followed a miss."""
    record = published.table("putts_made_broadie_2018").frame
    golfer, edges_ft = tour_golfer(), BIN_EDGES_FT[1:-1]
    roll = {"stimp_ft": golfer.stimp_ft, "past_ft": golfer.past_ft}
    within = leave_within(golfer.skill, record["distance_ft"], [*edges_ft, BEYOND_FT], **roll)[0]
    share = np.diff(within, axis=1, prepend=0.0) / within[:, -1:]
    return record, (record["tries"] - record["made"]).to_numpy() @ share


def tour_mix() -> pd.DataFrame:
    """Return the tour's first putts of a round, derived from its record."""
    record, later = later_putts_expected()
    first = np.maximum(record["tries"] - later, 0.0)
    source = f"derived: {published.SOURCES['putts_made_broadie_2018']}, less the putts after a miss"
    # Putts of a foot are never first ones; what is left of the bins is rounding.
    kept = record["distance_ft"] > 1.5
    return _mix_table("tour", record["distance_ft"][kept], first[kept], source)


def putts_a_round(handicap: float) -> float:
    """Return putts a round: straight in handicap between the published (assumption)."""
    tour, ninety = published.TOUR_PUTTS_A_ROUND, published.NINETY_PUTTS_A_ROUND
    return tour + toward_ninety(handicap) * (ninety - tour)


def assumed_counts(greens_hit: float, approach_ft: float, chip_ft: float) -> np.ndarray:
    """Return first putts from greens hit of 18 and the medians after them and after others."""
    middles = np.log(LENGTHS_FT[:-1] * LENGTHS_FT[1:]) / 2
    edges = np.concatenate([[-np.inf], middles, [np.inf]])
    counts = [
        holes * np.diff(norm.cdf((edges - np.log(median_ft)) / LOG_SD))
        for holes, median_ft in ((greens_hit, approach_ft), (HOLES - greens_hit, chip_ft))
    ]
    return np.sum(counts, axis=0)


def assumed_mix(level: str) -> pd.DataFrame:
    """Return a club level's first putts, with which its golfer takes its putts a round."""
    handicap = LEVELS[level]
    greens_hit, approach_ft = (a + b * handicap for a, b in (GREENS_HIT, APPROACH_FT))
    wanted = putts_a_round(handicap)
    each = hole_out(level_skill(level), LENGTHS_FT).average_putts[0]

    def too_many(chip_ft: float) -> float:
        return float(assumed_counts(greens_hit, approach_ft, chip_ft) @ each) - wanted

    chip_ft = round(brentq(too_many, CHIP_FROM_FT, CHIP_TO_FT), 1)
    source = (
        f"assumption: {greens_hit:g} greens hit, first putts of {approach_ft:g} ft after them and "
        f"{chip_ft:g} ft after others (medians), the latter solved for {wanted:.1f} putts a round"
    )
    counts = assumed_counts(greens_hit, approach_ft, chip_ft)
    return _mix_table(level, LENGTHS_FT, counts, source)


def all_mixes() -> pd.DataFrame:
    """Return the shipped table: ``level, distance_ft, first_putts, source``."""
    mixes = [tour_mix(), *(assumed_mix(level) for level in LEVELS if level != TOUR)]
    return pd.concat(mixes, ignore_index=True)


def _mix_table(level: str, distance_ft: Any, first_putts: Any, source: str) -> pd.DataFrame:
    a_round = (HOLES * np.asarray(first_putts) / np.sum(first_putts)).round(4)
    columns = {"level": level, "distance_ft": np.asarray(distance_ft), "first_putts": a_round}
    return pd.DataFrame(columns | {"source": source})


if __name__ == "__main__":
    path = Path(str(files("putlab").joinpath("green", "data", "rounds.csv")))
    all_mixes().to_csv(path, index=False)
    print(f"wrote {path}")
