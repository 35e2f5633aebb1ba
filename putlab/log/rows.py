"""Raw cells to rows in feet: units, ranges, contradictions; bad rows set apart."""

import numpy as np
import pandas as pd

from putlab.base.errors import LogError
from putlab.log.cells import printable, quoted, read_flags, read_labels, read_numbers
from putlab.log.schema import (
    ACCEPTED_NAMES,
    COLUMN,
    COLUMNS,
    M_PER_FT,
    READINGS,
    Column,
    closest,
    tidy,
)
from putlab.log.tables import Broken

# Roll-out, leave and holed are each read to a step; two of them contradict each other only
# beyond what coarse steps of a foot could explain.
CONTRADICTION_FT = 1.0

# Cells of a row that cannot be told apart belong to no column.
WHOLE_ROW = "(row)"

# Column names listed in a message; a damaged file can have thousands.
NAMES_LISTED = 30


class Problems:
    """What is wrong with each bad row: the first problem, and a word on the others."""

    def __init__(self, raw: pd.DataFrame) -> None:
        self.raw = raw
        self._found: dict[int, tuple[str, str, str]] = {}  # column, cell, reason by position

    def add(self, position: int, column: str, reason: str) -> None:
        """Note a problem of the row at a position."""
        cell = "" if column == WHOLE_ROW else quoted(self.raw[column].iloc[position])
        first = self._found.setdefault(position, (column, cell, reason))
        if first[0] != column:
            self._found[position] = (*first[:2], f"{first[2]}; also {column} '{cell}': {reason}")

    def add_all(self, where: np.ndarray, column: str, reason: str) -> None:
        """Note the same problem of every row where a mask is true."""
        for position in np.flatnonzero(where):
            self.add(int(position), column, reason)

    def bad(self) -> np.ndarray:
        """Return a mask of the rows with a problem, shape (rows,)."""
        bad = np.zeros(len(self.raw), dtype=bool)
        bad[list(self._found)] = True
        return bad

    def records(self) -> list[tuple[int, str, str, str]]:
        """Return ``(row, column, value, reason)`` for each bad row."""
        return [(int(self.raw.index[at]), *found) for at, found in self._found.items()]


def rows_of(
    raw: pd.DataFrame, broken: Broken
) -> tuple[pd.DataFrame, list[tuple[int, str, str, str]]]:
    """Turn raw cells into usable rows in feet and rejects ``(row, column, value, reason)``.

    The index is the row's number; ``distance_in_m`` and ``roll_in_m`` tell which were given
    in metres.
    """
    problems = Problems(raw)
    values = {column.name: _values(column, raw, problems) for column in COLUMNS}
    values |= {f"{name}_in_m": _in_metres(name, raw) for name in ("distance", "roll")}
    rows = pd.DataFrame(values, index=raw.index, copy=False)
    _need_reading(rows, problems)
    _contradictions(rows, problems)
    rejects = problems.records()
    rejects += [(row, WHOLE_ROW, quoted(value), reason) for row, value, reason in broken]
    bad = problems.bad()
    return (rows[~bad] if bad.any() else rows), sorted(rejects)


def _in_metres(length: str, raw: pd.DataFrame) -> np.ndarray:
    """Return which rows give a length in metres only."""
    if f"{length}_m" not in raw:
        return np.zeros(len(raw), dtype=bool)
    return np.isnan(read_numbers(_cells(f"{length}_ft", raw))[0])


def _cells(name: str, raw: pd.DataFrame) -> pd.Series:
    """Return a column of raw cells, all blank where the file has none of that name."""
    return raw[name] if name in raw else pd.Series([None], dtype=object).repeat(len(raw))


def _values(column: Column, raw: pd.DataFrame, problems: Problems) -> np.ndarray:
    """Return one column of the schema, whatever name and unit the file has it under."""
    if column.kind in ("label", "flag"):
        cells = _cells(column.name, raw)
        read = read_flags(cells) if column.kind == "flag" else read_labels(cells, column.choices)
        values, unreadable = read
        _note(unreadable, column, column.name, problems)
    else:
        values = _lengths_and_numbers(column, raw, problems)
    if column.needed:
        # A cell that could not be read has its own reason already.
        name = column.name if column.name in raw else column.metric
        problems.add_all(pd.isna(values), str(name), "blank; every row needs one")
    return values


def _note(unreadable: dict[int, str], column: Column, name: str, problems: Problems) -> None:
    for position, reason in unreadable.items():
        problems.add(position, name, f"{reason}; expected {column.accepted}")


def _lengths_and_numbers(column: Column, raw: pd.DataFrame, problems: Problems) -> np.ndarray:
    """Return numbers in the schema's unit; feet win over metres where both agree."""
    values = _numbers_in_range(column, column.name, raw, problems)
    if column.metric is None or column.metric not in raw:
        return values
    converted = _numbers_in_range(column, column.metric, raw, problems)
    _disagreement(column, values, converted, problems)
    return np.where(np.isnan(values), converted, values)


def _numbers_in_range(
    column: Column, name: str, raw: pd.DataFrame, problems: Problems
) -> np.ndarray:
    values, unreadable = read_numbers(_cells(name, raw), whole=column.kind == "whole")
    _note(unreadable, column, name, problems)
    unit = " ft" if name == column.metric else ""
    values = in_feet(values) if unit else values
    with np.errstate(invalid="ignore"):
        outside = values <= column.least if column.above else values < column.least
        outside |= values > column.most
        if column.kind == "whole":
            outside |= ~np.isnan(values) & (values != np.floor(values))
    problems.add_all(outside, name, f"out of range; expected {column.accepted}{unit}")
    return np.where(outside, np.nan, values)


def in_feet(metres: np.ndarray) -> np.ndarray:
    """Convert metres to feet by the exact 0.3048 m to the foot."""
    feet = metres / M_PER_FT
    # What is round to a billionth becomes so: 3.6576 m is 12 ft, equal to a 12 written in feet.
    near = np.round(feet, 6)
    return np.where(np.abs(feet - near) < 1e-9, near, feet)


def _disagreement(
    column: Column, feet: np.ndarray, converted: np.ndarray, problems: Problems
) -> None:
    """Reject rows whose feet and metres differ by more than their rounding."""
    allowed = _half_unit(feet) + _half_unit(converted * M_PER_FT) / M_PER_FT + 1e-6
    with np.errstate(invalid="ignore"):
        differ = np.abs(feet - converted) > allowed
    for position in np.flatnonzero(differ):
        metres = quoted(problems.raw[column.metric].iloc[position])
        said = f"{column.metric} says {metres}, which is {converted[position]:.4g} ft"
        problems.add(int(position), column.name, f"{said}: they disagree")


def _half_unit(values: np.ndarray) -> np.ndarray:
    """Return half a unit of the last decimal that each value was written with."""
    half = np.full(len(values), 0.5e-4)
    for decimals in (3, 2, 1, 0):
        half[np.abs(values - np.round(values, decimals)) < 1e-7] = 0.5 * 10.0**-decimals
    return half


def _need_reading(rows: pd.DataFrame, problems: Problems) -> None:
    # A row whose reading could not be read has a reason already.
    silent = rows[list(READINGS)].isna().all(axis=1).to_numpy() & ~problems.bad()
    problems.add_all(silent, WHOLE_ROW, f"no reading: one of {', '.join(READINGS)} is needed")


def _contradictions(rows: pd.DataFrame, problems: Problems) -> None:
    """Reject rows whose readings cannot all be true of one putt."""
    distance, roll, leave = (rows[c].to_numpy() for c in ("distance_ft", "roll_ft", "leave_ft"))
    holed = rows["holed"].fillna(False).to_numpy(dtype=bool)
    slack = CONTRADICTION_FT
    with np.errstate(invalid="ignore"):
        # Ball, hole and rest are a triangle, and the path is no shorter than its side.
        found = (
            ("leave_ft", holed & (leave > 0), "but holed is true"),
            ("roll_ft", holed & (roll < distance - slack), "short of the hole, but holed is true"),
            (
                "leave_ft",
                leave > roll + distance + slack,
                "more than roll-out and distance together",
            ),
            ("leave_ft", leave < distance - roll - slack, "less than the roll-out fell short by"),
        )
    for name, where, reason in found:
        given = name if name in problems.raw else str(COLUMN[name].metric)
        problems.add_all(where, given, f"contradiction: {reason}")


def match_columns(header: list[str], name: str) -> tuple[dict[str, int], list[str]]:
    """Return the known columns of a table by position, and the names of the others."""
    wanted: dict[str, int] = {}
    unknown = []
    for position, found in enumerate(header):
        known = tidy(found)
        if known in wanted:
            raise LogError(f"{name}: two columns are called {known}; rename or delete one.")
        if known in ACCEPTED_NAMES:
            wanted[known] = position
        elif known and not known.startswith("index_level"):
            unknown.append(str(found).strip()[:60])
    _require(wanted, header, name)
    return wanted, unknown


def _require(wanted: dict[str, int], header: list[str], name: str) -> None:
    filled = {ACCEPTED_NAMES[known] for known in wanted}
    missing = [_either(c) for c in COLUMNS if c.needed and c.name not in filled]
    if not filled & set(READINGS):
        missing.append("one of " + ", ".join(_either(COLUMN[c]) for c in READINGS))
    if not missing:
        return
    names = [str(h).strip()[:40] for h in header[:NAMES_LISTED] if str(h).strip()]
    found = ", ".join(printable(n) for n in names) or "none"
    near = {n: closest(n) for n in names if tidy(n) not in ACCEPTED_NAMES}
    hints = "".join(f" Is {n!r} {near[n]}?" for n in near if near[n])
    raise LogError(
        f"{name}: missing {'; '.join(missing)}. Columns found: {found}.{hints} "
        "The first row must hold the column names."
    )


def _either(column: Column) -> str:
    return f"{column.name} (or {column.metric})" if column.metric else column.name
