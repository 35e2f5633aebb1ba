"""The mix of first putts in a round of 18 holes: shipped, counted, or the user's own."""

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from pathlib import Path

import numpy as np
from scipy.stats import norm

from putlab.base.errors import LogError, UsageError
from putlab.green.leaves import leave_within
from putlab.green.published import SOURCES, table
from putlab.rounds.reference import tour_golfer

HOLES = 18

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
        Where the counts come from, or that they are an assumption.
    """

    level: str
    distance_ft: np.ndarray
    first_putts: np.ndarray
    source: str

    def onto(self, lengths_ft):
        """Share the first putts among other lengths: those practised, say.

        Parameters
        ----------
        lengths_ft : array_like, shape (m,)
            Lengths in feet, rising.

        Returns
        -------
        ndarray, shape (m,)
            First putts a round that each length stands for, adding up to 18: a putt between
            two lengths is shared straight in log distance, one beyond them goes to the last.
        """
        lengths_ft = np.atleast_1d(np.asarray(lengths_ft, dtype=float))
        if np.any(lengths_ft <= 0) or np.any(np.diff(lengths_ft) <= 0):
            raise UsageError(f"lengths_ft must be above 0 and rising; got {lengths_ft}.")
        eye, known = np.eye(lengths_ft.size), np.log(lengths_ft)
        weights = [np.interp(np.log(self.distance_ft), known, row) for row in eye]
        return np.array(weights) @ self.first_putts

    def average(self, putts):
        """Return what a round adds up to.

        Parameters
        ----------
        putts : ndarray, shape (..., n)
            Average putts, or strokes lost, at each of `distance_ft`.

        Returns
        -------
        ndarray, shape (...)
            Per round of 18 holes.
        """
        return np.asarray(putts) @ self.first_putts


def levels():
    """Return the levels of play whose mix is shipped.

    Returns
    -------
    list of str
        Each with its source in `shipped_mix`.
    """
    return list(_shipped()["level"].unique())


def shipped_mix(level=LEVEL):
    """Return a shipped mix.

    Parameters
    ----------
    level : str
        One of `levels`.

    Returns
    -------
    RoundMix
        The tour's is derived from a published record, the others are assumptions; the
        source says how (`putlab.rounds.first_putts`).

    Raises
    ------
    UsageError
        No such level.
    """
    if level not in levels():
        known = ", ".join(f"'{name}'" for name in levels())
        raise UsageError(f"no mix of first putts for '{level}'; there are {known}.")
    frame = _shipped().query("level == @level")
    return _mix(level, frame, frame["source"].iloc[0])


@lru_cache
def _shipped():
    import pandas as pd

    with files("putlab").joinpath("green", "data", "rounds.csv").open() as stream:
        return pd.read_csv(stream)


def read_mix(path):
    """Read a mix of the user's own.

    Parameters
    ----------
    path : path-like
        A CSV with columns ``distance_ft, first_putts`` and perhaps ``source``. Counts may be
        of any number of holes; they are brought to 18.

    Returns
    -------
    RoundMix
        Named after the file.

    Raises
    ------
    UsageError
        The file cannot be read, lacks a column, or a count is below 0.
    """
    import pandas as pd

    path = Path(path)
    try:
        frame = pd.read_csv(path)
    except FileNotFoundError as error:
        raise UsageError(f"{path}: no such file. Give a CSV of first putts.") from error
    except (OSError, ValueError) as error:
        raise UsageError(f"{path} could not be read as CSV: {error}") from error
    for name in ("distance_ft", "first_putts"):
        if name not in frame:
            known = ", ".join(map(str, frame.columns))
            raise UsageError(f"{path}, mix of first putts: no column {name}; it has {known}.")
        frame[name] = pd.to_numeric(frame[name], errors="coerce")
    bad = ~(frame["distance_ft"] > 0) | ~(frame["first_putts"] >= 0)
    if bad.any():
        row = int(np.argmax(bad)) + 2
        raise UsageError(
            f"{path}, mix of first putts, row {row}: a distance above 0 and a count of 0 or "
            "more are expected."
        )
    if not frame["first_putts"].sum() > 0:
        raise UsageError(f"{path}, mix of first putts: no putt is counted.")
    stated = frame.get("source", pd.Series(dtype=str)).dropna().astype(str).unique()
    return _mix(path.stem, frame, "; ".join(stated) or f"{path.name}, which states no source")


def count_mix(putts):
    """Count the first putts of the user's own rounds and counted games.

    Parameters
    ----------
    putts : pandas.DataFrame
        A log's putts: ``distance_ft, hole_no, putt_no, session`` and the rest.

    Returns
    -------
    RoundMix
        Its source says how many holes it rests on.

    Raises
    ------
    LogError
        No row is the first putt of a hole.
    """
    first = putts[(putts["putt_no"] == 1) & putts["hole_no"].notna()]
    if first.empty:
        raise LogError(
            "the log counts no first putts: none of its rows has a hole_no and putt_no 1. "
            "Use a shipped mix, or write down hole_no and putt_no on the green."
        )
    counts = first.groupby("distance_ft").size().rename("first_putts").reset_index()
    source = f"counted: {len(first)} holes in {first['session'].nunique()} session(s)"
    return _mix("own rounds", counts, source)


def _mix(level, frame, source):
    """Return a mix from counts of any number of holes."""
    totals = frame.groupby("distance_ft")["first_putts"].sum()
    counts = totals.to_numpy(dtype=float)
    return RoundMix(level, totals.index.to_numpy(float), HOLES * counts / counts.sum(), source)


# How the shipped mixes of first putts were made; `python -m putlab.rounds.first_putts` remakes them.


HOLES = 18

# Edges of Broadie's bins, read off their mean distances (0.28, 0.97, 1.93, ... ft).
BIN_EDGES_FT = np.array(
    [0, 0.5, *np.arange(1.5, 14), 15.5, 17.5, 19.5, 21.5, 22.5]
    + [*np.arange(26.5, 55, 4), 60.5, 66.5, 72.5, np.inf]
)

# Farther from the hole than any miss stops, feet.
BEYOND_FT = 500.0

# Greens hit of 18; median first putt after a green hit, and after a shot from beside the
# green, feet. Assumptions; the tour's are near its derived mix (two thirds of greens hit:
# common knowledge).
ASSUMED = {
    "handicap 0": (10, 24.0, 7.0),
    "handicap 10": (7, 27.0, 9.0),
    "handicap 20": (4, 30.0, 12.0),
}
TOUR_ASSUMED = (12, 19.0, 4.5)

# Spread of the logarithm of either length: the middle two thirds lie between half the median
# and twice the median (assumption).
LOG_SD = 0.7

# Lengths that stand for the club golfers' first putts, feet.
LENGTHS_FT = np.array([2, 3, 4, 5, 6, 7, 8, 10, 12, 15, 18, 22, 27, 33, 40, 50, 60.0])


def later_putts_expected():
    """Return how many of the putts in the published record were not first putts.

    Returns
    -------
    tuple of pandas.DataFrame and ndarray
        Broadie's table (2018), and the putts expected in each of its bins after a miss.
    """
    record = table("putts_made_broadie_2018").frame
    golfer, edges_ft = tour_golfer(), BIN_EDGES_FT[1:-1]
    within = leave_within(
        golfer.skill,
        record["distance_ft"],
        [*edges_ft, BEYOND_FT],
        stimp_ft=golfer.stimp_ft,
        past_ft=golfer.past_ft,
    )[0]
    share = np.diff(within, axis=1, prepend=0.0) / within[:, -1:]
    return record, (record["tries"] - record["made"]).to_numpy() @ share


def tour_mix():
    """Return the tour's first putts of a round, derived.

    Returns
    -------
    pandas.DataFrame
        ``level, distance_ft, first_putts, source``.
    """
    record, later = later_putts_expected()
    first = np.maximum(record["tries"] - later, 0.0)
    source = f"derived: {SOURCES['putts_made_broadie_2018']}, less the putts after a miss"
    # Putts of a foot are never first ones; what is left of the bins is rounding.
    kept = record["distance_ft"] > 1.5
    return _mix_table("tour", record["distance_ft"][kept], first[kept], source)


def assumed_mix(level, greens_hit, approach_ft, chip_ft):
    """Return a round's first putts from greens hit and two median lengths.

    Parameters
    ----------
    level : str
        Name of the level of play.
    greens_hit : float
        Greens hit of 18.
    approach_ft, chip_ft : float
        Median first putt after a green hit, and after a shot from beside the green, feet.

    Returns
    -------
    pandas.DataFrame
        ``level, distance_ft, first_putts, source``.
    """
    middles = np.log(LENGTHS_FT[:-1] * LENGTHS_FT[1:]) / 2
    edges = np.concatenate([[-np.inf], middles, [np.inf]])
    counts = [
        holes * np.diff(norm.cdf((edges - np.log(median_ft)) / LOG_SD))
        for holes, median_ft in ((greens_hit, approach_ft), (HOLES - greens_hit, chip_ft))
    ]
    source = (
        f"assumption: {greens_hit:g} greens hit, first putts of {approach_ft:g} ft after "
        f"them and {chip_ft:g} ft after others (medians)"
    )
    return _mix_table(level, LENGTHS_FT, sum(counts), source)


def all_mixes():
    """Return the shipped table.

    Returns
    -------
    pandas.DataFrame
        ``level, distance_ft, first_putts, source``.
    """
    import pandas as pd

    mixes = [tour_mix(), *(assumed_mix(level, *numbers) for level, numbers in ASSUMED.items())]
    return pd.concat(mixes, ignore_index=True)


def _mix_table(level, distance_ft, first_putts, source):
    import pandas as pd

    first_putts = HOLES * np.asarray(first_putts) / np.sum(first_putts)
    columns = {"level": level, "distance_ft": np.asarray(distance_ft)}
    return pd.DataFrame({**columns, "first_putts": first_putts.round(4), "source": source})


if __name__ == "__main__":
    path = files("putlab").joinpath("green", "data", "rounds.csv")
    all_mixes().to_csv(path, index=False)
    print(f"wrote {path}")
