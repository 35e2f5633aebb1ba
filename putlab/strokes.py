"""Strokes gained and lost on a reference: the tour's published record, or the user's own."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from putlab.errors import UsageError
from putlab.published import table

COLUMNS = ("distance_ft", "average_putts")


@dataclass(frozen=True)
class Reference:
    """Average putts to hole out of some group of golfers.

    Attributes
    ----------
    name : str
        Who: "tour average", say.
    source : str
        Where the figures come from.
    distance_ft, average_putts : ndarray, shape (n,)
        Rising distances, and the average putts from each.
    """

    name: str
    source: str
    distance_ft: np.ndarray
    average_putts: np.ndarray

    def at(self, distance_ft):
        """Return average putts from other distances.

        Parameters
        ----------
        distance_ft : array_like
            Distances in feet.

        Returns
        -------
        ndarray, same shape
            Straight between the distances known; NaN outside them: nothing is claimed there.
        """
        known = self.distance_ft, self.average_putts
        return np.interp(distance_ft, *known, left=np.nan, right=np.nan)

    def gained(self, distance_ft, putts):
        """Return strokes gained on the reference.

        Parameters
        ----------
        distance_ft : array_like
            Length of the first putt in feet.
        putts : array_like
            Putts taken, or expected, from there.

        Returns
        -------
        ndarray
            Above 0 where fewer were taken than the reference takes; NaN where it is silent.
        """
        return self.at(distance_ft) - np.asarray(putts, dtype=float)


def tour_reference():
    """Return the published average putts of tour professionals, 1 to 75 ft.

    Returns
    -------
    Reference
        With its source.
    """
    published = table("tour_average_putts")
    columns = (published.frame[name].to_numpy(dtype=float) for name in COLUMNS)
    return Reference("tour average", published.source, *columns)


def read_reference(path, *, source=None):
    """Read a reference of the user's own.

    Parameters
    ----------
    path : path-like
        A CSV with columns ``distance_ft`` and ``average_putts``, and perhaps ``source``.
    source : str, optional
        Where the figures come from, if no column says so.

    Returns
    -------
    Reference
        Named after the file; where no source is given, its source says just that.

    Raises
    ------
    UsageError
        The file cannot be read, lacks a column, or holds what cannot be average putts.
    """
    path = Path(path)
    frame = _frame(path)
    columns = [_numbers(path, frame, name) for name in COLUMNS]
    distance_ft, average_putts = columns
    if distance_ft.size < 2:
        raise _wrong(path, f"{distance_ft.size} row(s)", "two distances or more")
    if distance_ft[0] <= 0 or np.any(np.diff(distance_ft) <= 0):
        row = int(np.argmax(np.diff(distance_ft, prepend=0.0) <= 0))
        got = f"distance_ft {distance_ft[row]:g} in row {row + 2}"
        raise _wrong(path, got, "distances above 0, each longer than the one before")
    wrong = (average_putts < 1) | (average_putts > 10)
    if wrong.any():
        row = int(np.argmax(wrong))
        got = f"average_putts {average_putts[row]:g} in row {row + 2}"
        raise _wrong(path, got, "averages of 1 to 10 putts")
    return Reference(path.stem, _source(path, frame, source), *columns)


def _frame(path):
    import pandas as pd

    try:
        return pd.read_csv(path)
    except FileNotFoundError as error:
        raise UsageError(
            f"{path}: no such file. Give a CSV of {' and '.join(COLUMNS)}."
        ) from error
    except (OSError, ValueError) as error:
        raise UsageError(f"{path} could not be read as CSV: {error}") from error


def _numbers(path, frame, name):
    if name not in frame:
        known = ", ".join(map(str, frame.columns))
        raise _wrong(path, f"the columns {known}", f"a column {name}")
    numbers = frame[name].map(_number)
    if numbers.isna().any():
        row = int(np.argmax(numbers.isna()))
        raise _wrong(path, f"{name} '{frame[name].iloc[row]}' in row {row + 2}", "a number")
    return numbers.to_numpy(dtype=float)


def _number(value):
    try:
        number = float(value)
    except (TypeError, ValueError):
        return np.nan
    return number if np.isfinite(number) else np.nan


def _wrong(path, got, expected):
    return UsageError(f"{path}, reference of average putts: got {got}; expected {expected}.")


def _source(path, frame, source):
    if source:
        return source
    if "source" in frame:
        stated = frame["source"].dropna().astype(str).unique()
        if stated.size:
            return "; ".join(stated)
    return f"{path.name}, which states no source"
