"""Raw cells to rows in feet: units, ranges, contradictions; bad rows set apart."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from putlab.base.errors import LogError
from putlab.log.cells import flags, labels, numbers, printable, shown
from putlab.log.schema import (
    ACCEPTED_NAMES,
    COLUMN,
    COLUMNS,
    M_PER_FT,
    READINGS,
    closest,
    tidy,
)

if TYPE_CHECKING:
    from putlab.log.tables import Chunk

# Roll-out, leave and holed are each read to a step; two of them contradict each other only
# beyond what coarse steps of a foot could explain.
CONTRADICTION_FT = 1.0

# Cells of a row that cannot be told apart belong to no column.
WHOLE_ROW = "(row)"


class Problems:
    """What is wrong with each bad row: the first problem, and a word on the others."""

    def __init__(self) -> None:
        self._by_position: dict[int, Any] = {}

    def add(self, position: int, column: str, value: Any, reason: str) -> None:
        """Note a problem."""
        position = int(position)
        if position not in self._by_position:
            self._by_position[position] = (column, shown(value), reason)
            return
        first_column, first_value, first_reason = self._by_position[position]
        if first_column != column:
            more = f"{first_reason}; also {column} '{shown(value)}': {reason}"
            self._by_position[position] = (first_column, first_value, more)

    def where(self, rows: int) -> Any:
        """Return which of a chunk's rows are bad."""
        bad = np.zeros(rows, dtype=bool)
        bad[list(self._by_position)] = True
        return bad

    def records(self, index: Any) -> Any:
        """Return ``(row, column, value, reason)`` for each bad row."""
        return [(int(index[at]), *self._by_position[at]) for at in sorted(self._by_position)]


def rows_of(chunk: Chunk) -> tuple:
    """Turn a chunk of raw cells into usable rows and rejects."""
    problems = Problems()
    raw = chunk.frame
    values = {column.name: _column(column, raw, problems) for column in COLUMNS}
    values |= {f"{name}_in_m": _in_metres(name, raw) for name in ("distance", "roll")}
    rows = pd.DataFrame(values, index=raw.index, copy=False)
    _need_reading(rows, problems)
    _contradictions(rows, raw, problems)
    bad = problems.where(len(raw))
    broken = [(row, WHOLE_ROW, shown(value), why) for row, value, why in chunk.broken]
    rejects = sorted(problems.records(raw.index) + broken)
    return (rows[~bad] if bad.any() else rows), rejects


def _in_metres(length: Any, raw: Any) -> Any:
    """Return which rows give a length in metres only."""
    if f"{length}_m" not in raw:
        return np.zeros(len(raw), dtype=bool)
    if f"{length}_ft" not in raw:
        return np.ones(len(raw), dtype=bool)
    return np.isnan(numbers(raw[f"{length}_ft"])[0])


def _column(column: Any, raw: Any, problems: Any) -> Any:
    """Return one column of the schema, whatever name and unit the file has it under."""
    if column.name not in raw and column.metric not in raw:
        return _absent(column, len(raw))
    if column.kind == "label":
        values, wrong = labels(raw[column.name], column.choices)
        _note(column, column.name, raw, wrong, problems)
    elif column.kind == "flag":
        values, wrong = flags(raw[column.name])
        _note(column, column.name, raw, wrong, problems)
    else:
        values = _number(column, raw, problems)
        wrong = {}
    if column.needed:
        _need(column, raw, values, problems)
    return values


def _absent(column: Any, rows: Any) -> Any:
    if column.kind == "label":
        return pd.Categorical.from_codes(np.full(rows, -1), categories=pd.Index([], dtype=object))
    if column.kind == "flag":
        return pd.array([pd.NA], dtype="boolean").repeat(rows)
    return np.full(rows, np.nan)


def _note(column: Any, name: Any, raw: Any, wrong: Any, problems: Any) -> None:
    for position, reason in wrong.items():
        problems.add(
            position, name, raw[name].iloc[position], f"{reason}; expected {column.accepted}"
        )


def _need(column: Any, raw: Any, values: Any, problems: Any) -> None:
    name = column.name if column.name in raw else column.metric
    for position in np.flatnonzero(pd.isna(values)):
        # A cell that could not be read has its own reason already.
        problems.add(position, name, raw[name].iloc[position], "blank; every row needs one")


def _number(column: Any, raw: Any, problems: Any) -> Any:
    """Return numbers in the schema's unit; feet win over metres where both agree."""
    feet = _read(column, column.name, raw, 1.0, problems)
    if column.metric is None or column.metric not in raw:
        return feet
    metric = _read(column, column.metric, raw, M_PER_FT, problems)
    if feet is None:
        return metric
    _disagreement(column, raw, feet, metric, problems)
    return np.where(np.isnan(feet), metric, feet)


def _read(column: Any, name: Any, raw: Any, unit: Any, problems: Any) -> Any:
    if name not in raw:
        return None
    values, wrong = numbers(raw[name], whole=column.kind == "whole")
    _note(column, name, raw, wrong, problems)
    values = in_feet(values) if unit == M_PER_FT else values
    outside = _outside(column, values)
    for position in np.flatnonzero(outside):
        extra = "" if unit == 1.0 else " ft"
        problems.add(
            position,
            name,
            raw[name].iloc[position],
            f"out of range; expected {column.accepted}{extra}",
        )
    values[outside] = np.nan
    return values


def in_feet(metres: np.ndarray) -> np.ndarray:
    """Convert metres to feet by the exact 0.3048 m to the foot."""
    feet = metres / M_PER_FT
    near = np.round(feet, 6)
    return np.where(np.abs(feet - near) < 1e-9, near, feet)


def _outside(column: Any, values: Any) -> Any:
    with np.errstate(invalid="ignore"):
        low = values <= column.least if column.above else values < column.least
        outside = low | (values > column.most)
        if column.kind == "whole":
            outside |= values != np.floor(values)
    return outside & ~np.isnan(values)


def _disagreement(column: Any, raw: Any, feet: Any, metric: Any, problems: Any) -> None:
    """Reject rows whose feet and metres differ by more than their rounding."""
    written_m = metric * M_PER_FT
    allowed = _half_unit(feet) + _half_unit(written_m) / M_PER_FT + 1e-6
    with np.errstate(invalid="ignore"):
        differ = np.abs(feet - metric) > allowed
    for position in np.flatnonzero(differ):
        metres = shown(raw[column.metric].iloc[position])
        problems.add(
            position,
            column.name,
            raw[column.name].iloc[position],
            f"{column.metric} says {metres}, which is {metric[position]:.4g} ft: they disagree",
        )


def _half_unit(values: Any) -> Any:
    """Return half a unit of the last decimal that each value was written with."""
    half = np.full(len(values), 0.5e-4)
    for decimals in (3, 2, 1, 0):
        whole = np.abs(values - np.round(values, decimals)) < 1e-7
        half[whole] = 0.5 * 10.0**-decimals
    return half


def _need_reading(rows: Any, problems: Any) -> None:
    # A row whose reading could not be read has been told so already.
    silent = rows[list(READINGS)].isna().all(axis=1).to_numpy() & ~problems.where(len(rows))
    names = ", ".join(READINGS)
    for position in np.flatnonzero(silent):
        problems.add(position, WHOLE_ROW, "", f"no reading: one of {names} is needed")


def _contradictions(rows: Any, raw: Any, problems: Any) -> None:
    """Reject rows whose readings cannot all be true of one putt."""
    distance, roll, leave = (rows[c].to_numpy() for c in ("distance_ft", "roll_ft", "leave_ft"))
    holed = rows["holed"].fillna(False).to_numpy(dtype=bool)
    slack = CONTRADICTION_FT
    with np.errstate(invalid="ignore"):
        _contradict(problems, raw, "leave_ft", holed & (leave > 0), "but holed is true")
        short = holed & (roll < distance - slack)
        _contradict(problems, raw, "roll_ft", short, "short of the hole, but holed is true")
        # Ball, hole and rest are a triangle, and the path is no shorter than its side.
        far = leave > roll + distance + slack
        _contradict(problems, raw, "leave_ft", far, "more than roll-out and distance together")
        near = leave < distance - roll - slack
        _contradict(problems, raw, "leave_ft", near, "less than the roll-out fell short by")


def _contradict(problems: Any, raw: Any, column: Any, where: Any, reason: Any) -> None:
    name = column if column in raw else COLUMN[column].metric
    for position in np.flatnonzero(where):
        problems.add(position, name, raw[name].iloc[position], f"contradiction: {reason}")


# The names of a table's columns: which are known, which are missing.


# Column names listed in a message; a damaged file can have thousands.
NAMES_SHOWN = 30


def match_columns(header: list[str], name: str) -> tuple:
    """Find the known columns of a table."""
    wanted, unknown = {}, []
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


def _require(wanted: Any, header: Any, name: Any) -> None:
    filled = {ACCEPTED_NAMES[known] for known in wanted}
    missing = [_either(c) for c in COLUMNS if c.needed and c.name not in filled]
    if not filled & set(READINGS):
        missing.append("one of " + ", ".join(_either(COLUMN[c]) for c in READINGS))
    if not missing:
        return
    names = [str(h).strip()[:40] for h in header[:NAMES_SHOWN] if str(h).strip()]
    found = ", ".join(printable(n) for n in names) or "none"
    near = {n: closest(n) for n in names if tidy(n) not in ACCEPTED_NAMES}
    hints = "".join(f" Is {n!r} {near[n]}?" for n in near if near[n])
    raise LogError(
        f"{name}: missing {'; '.join(missing)}. Columns found: {found}.{hints} "
        "The first row must hold the column names."
    )


def _either(column: Any) -> Any:
    return f"{column.name} (or {column.metric})" if column.metric else column.name
