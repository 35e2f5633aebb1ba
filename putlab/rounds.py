"""The mix of first putts in a round of 18 holes: shipped, counted, or the user's own."""

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from pathlib import Path

import numpy as np

from putlab.errors import LogError, UsageError

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
        source says how (`putlab.round_mixes`).

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

    with files("putlab").joinpath("data", "rounds.csv").open() as stream:
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
