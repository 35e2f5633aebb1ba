"""Raw cells to rows in feet: units, ranges, contradictions; bad rows set apart."""

from typing import Any

import numpy as np
import pandas as pd

from putlab.log.cells import BLANKS, quoted, read_flags, read_labels, read_numbers
from putlab.log.schema import COLUMN, COLUMNS, M_PER_FT, READINGS, Column
from putlab.log.tables import Broken

# Roll-out, leave and holed are each read to a step, feet and metres rounded: two of them
# contradict each other only beyond what coarse steps of a foot could explain.
CONTRADICTION_FT = 1.0

# Cells of a row that cannot be told apart belong to no column.
WHOLE_ROW = "(row)"


class Problems:
    """What is wrong with each bad row: the first problem, and a word on the others."""

    def __init__(self, raw: pd.DataFrame) -> None:
        self.raw = raw
        self.bad = np.zeros(len(raw), dtype=bool)
        self._found: dict[int, tuple[str, str, str]] = {}  # column, cell, reason by position

    def add(self, reasons: dict[int, str], column: str) -> None:
        """Note what is wrong with a column, by position of the row."""
        for position, reason in reasons.items():
            cell = "" if column == WHOLE_ROW else quoted(self.raw[column].iloc[position])
            first = self._found.setdefault(position, (column, cell, reason))
            if first[0] != column:
                more = f"{first[2]}; also {column} '{cell}': {reason}"
                self._found[position] = (*first[:2], more)
            self.bad[position] = True

    def add_where(self, mask: np.ndarray, column: str, reason: str) -> None:
        """Note the same problem of every row where a mask is true."""
        self.add(dict.fromkeys(np.flatnonzero(mask).tolist(), reason), column)

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
    rows = pd.DataFrame({"distance_in_m": False, "roll_in_m": False}, index=raw.index)
    for column in COLUMNS:
        _fill(rows, column, problems)
    planned = _need_reading(rows, problems)
    _whole_holes(rows)
    _contradictions(rows, problems)
    rejects = problems.records()
    rejects += [(row, WHOLE_ROW, quoted(value), reason) for row, value, reason in broken]
    out = problems.bad | planned
    return (rows[~out] if out.any() else rows), sorted(rejects)


def _fill(rows: pd.DataFrame, column: Column, problems: Problems) -> None:
    """Fill one column of the schema, whatever name and unit the file has it under."""
    values = _read(column, column.name, problems)
    if column.metric in problems.raw:
        # Feet win over metres where both agree.
        metres = _read(column, column.metric, problems)
        differ = np.abs(values - metres) > CONTRADICTION_FT
        problems.add_where(differ, column.name, f"it disagrees with {column.metric}")
        rows[column.metric.replace("_m", "_in_m")] = np.isnan(values)
        values = np.where(np.isnan(values), metres, values)
    if column.needed:
        # A cell that could not be read has its own reason already.
        name = column.name if column.name in problems.raw else column.metric
        reason = "blank; every row needs one"
        if column.metric:
            how = f'`putlab import FILE --map "{name}={name} down"`'
            reason += f"; if it stands for those below too: {how}"
        problems.add_where(pd.isna(values), name, reason)
    rows[column.name] = values


def _read(column: Column, name: str, problems: Problems) -> Any:
    """Return values in the schema's unit; a column that the file has not is all blank."""
    blank = pd.Series([None], dtype=object).repeat(len(problems.raw))
    cells = problems.raw.get(name, blank)
    if column.kind == "flag":
        values, unreadable = read_flags(cells)
    elif column.kind == "label":
        # To have no routine is a condition; to say nothing is none.
        blanks = BLANKS - {"none"} if column.name == "condition" else BLANKS
        values, unreadable = read_labels(cells, column.choices, blanks)
    else:
        unit = "m" if name == column.metric else column.unit
        values, unreadable = read_numbers(cells, whole=column.kind == "whole", unit=unit)
    reasons = {at: f"{reason}; expected {column.accepted}" for at, reason in unreadable.items()}
    problems.add(reasons, name)
    return values if column.kind in ("flag", "label") else _in_range(column, name, values, problems)


def _in_range(column: Column, name: str, values: np.ndarray, problems: Problems) -> np.ndarray:
    unit = " ft" if name == column.metric else ""
    values = in_feet(values) if unit else values
    outside = (values < column.least) | (values > column.most)
    if column.kind == "whole":
        outside |= values % 1 > 0
    problems.add_where(outside, name, f"out of range; expected {column.accepted}{unit}")
    return np.where(outside, np.nan, values)


def in_feet(metres: np.ndarray) -> np.ndarray:
    """Convert metres to feet by the exact 0.3048 m to the foot."""
    feet = metres / M_PER_FT
    # What is round to a billionth becomes so: 3.6576 m is 12 ft, equal to a 12 written in feet.
    near = np.round(feet, 6)
    return np.where(np.abs(feet - near) < 1e-9, near, feet)


def _need_reading(rows: pd.DataFrame, problems: Problems) -> np.ndarray:
    """Reject rows without a reading, and tell those that were planned and never filled in."""
    # A row whose reading could not be read has a reason already.
    silent = rows[list(READINGS)].isna().all(axis=1).to_numpy() & ~problems.bad
    planned = silent & rows["drill"].notna().to_numpy()
    reason = f"no reading: one of {', '.join(READINGS)} is needed"
    problems.add_where(silent & ~planned, WHOLE_ROW, reason)
    return planned


def _whole_holes(rows: pd.DataFrame) -> None:
    """Let a row that counts a hole's putts say what it says of the first: whether it dropped."""
    counted = rows["putts_taken"].notna() & ~(rows["putt_no"] > 1)
    rows["putt_no"] = rows["putt_no"].mask(counted & rows["hole_no"].notna(), 1.0)
    rows["holed"] = rows["holed"].mask(counted & rows["holed"].isna(), rows["putts_taken"] == 1)


def _contradictions(rows: pd.DataFrame, problems: Problems) -> None:
    """Reject rows whose readings cannot all be true of one putt."""
    distance, roll, leave = (rows[c].to_numpy() for c in ("distance_ft", "roll_ft", "leave_ft"))
    holed = rows["holed"].fillna(False).to_numpy(dtype=bool)
    first, slack = ~(rows["putt_no"] > 1).to_numpy(), CONTRADICTION_FT
    taken = rows["putts_taken"].to_numpy()
    # Ball, hole and rest are a triangle, and the path is no shorter than its side.
    beyond, short = leave > roll + distance + slack, leave < distance - roll - slack
    for name, where, reason in (
        ("leave_ft", holed & (leave > 0), "but holed is true"),
        ("roll_ft", holed & (roll < distance - slack), "short of the hole, but holed is true"),
        ("putts_taken", holed & first & (taken > 1), "but the first putt was holed"),
        ("putts_taken", ~holed & first & (taken == 1), "but the first putt was not holed"),
        ("leave_ft", beyond, "more than roll-out and distance together"),
        ("leave_ft", short, "less than the roll-out fell short by"),
    ):
        given = name if name in problems.raw else COLUMN[name].metric
        problems.add_where(where, given, f"contradiction: {reason}")
