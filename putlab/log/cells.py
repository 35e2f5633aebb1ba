"""One cell at a time: text or typed values to numbers, flags and labels.

Every reader takes a column as found and returns its values beside the cells that could not
be read, as ``{position: reason}``. Work is done once a distinct value: readings repeat.
"""

import datetime
import re
import unicodedata
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd

from putlab.base.writing import FORMULA_STARTS
from putlab.log.schema import LABEL_LIMIT

# What programs write for "nothing here": spreadsheets, R, databases, JSON.
BLANKS = {"", "na", "n/a", "nan", "null", "none", "<na>", "nat"}

NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d{1,3})?", re.ASCII | re.IGNORECASE)

FLAGS = dict.fromkeys(("true", "yes", "y", "1", "1.0"), True) | dict.fromkeys(
    ("false", "no", "n", "0", "0.0"), False
)

# Characters of a rejected cell that are quoted; the rest is counted.
QUOTED = 60

# Reasons by position in the column.
Unreadable = dict[int, str]


class Reason(str):
    """Why a cell could not be read: a type of its own, as labels are text too."""


INFINITE = Reason("not a finite number")


def read_numbers(column: pd.Series, *, whole: bool = False) -> tuple[np.ndarray, Unreadable]:
    """Read a column of numbers, text (a decimal comma is understood) or typed; blanks are NaN."""
    if pd.api.types.is_bool_dtype(column.dtype):
        present = np.flatnonzero(column.notna()).tolist()
        reason = "true/false where a number is expected"
        return np.full(len(column), np.nan), dict.fromkeys(present, reason)
    if pd.api.types.is_numeric_dtype(column.dtype):
        values = _float64(column)
        infinite = np.flatnonzero(np.isinf(values))
        values[infinite] = np.nan
        return values, dict.fromkeys(infinite.tolist(), INFINITE)
    values, unreadable = _read_distinct(column, _count if whole else _number, np.nan)
    return values.astype(float), unreadable


def _float64(column: pd.Series) -> np.ndarray:
    """Return typed numbers as float64; a narrow float gets back its decimal value."""
    values = column.to_numpy(dtype=float, na_value=np.nan, copy=True)
    # 0.1 stored in 32 bits is 0.10000000149: steps and equal readings would be lost.
    kind = getattr(column.dtype, "numpy_dtype", column.dtype)
    decimals = {"float32": 5, "float16": 2}.get(str(kind).lower())
    # Adding 0 makes -0 into 0, the same reading.
    return (values if decimals is None else np.round(values, decimals)) + 0.0


def _count(text: str) -> float | Reason:
    # 1,000 could be a thousand where a whole number is expected.
    return Reason("a comma in a whole number") if "," in text else _number(text)


def _number(text: str) -> float | Reason:
    plain = text.replace("\u2212", "-")
    if NUMBER.fullmatch(plain):
        value = float(plain.replace(",", ".")) + 0.0  # -0 is 0, the same reading
        return value if np.isfinite(value) else INFINITE
    if plain.lower().lstrip("+-") in ("inf", "infinity"):
        return INFINITE
    if _is_iso_date(plain):
        return Reason("a date where a number is expected; did the spreadsheet turn 12.5 into one?")
    return Reason("not a plain number")


def _is_iso_date(text: str) -> bool:
    try:
        datetime.date.fromisoformat(text[:10])
    except ValueError:
        return False
    return True


def read_flags(column: pd.Series) -> tuple[Any, Unreadable]:
    """Read true/false, yes/no or 1/0 in any case as a boolean array; blanks are NA."""
    if pd.api.types.is_bool_dtype(column.dtype):
        return pd.array(column, dtype="boolean"), {}
    unknown = Reason("not true or false")
    values, unreadable = _read_distinct(column, lambda t: FLAGS.get(t.lower(), unknown), pd.NA)
    return pd.array(values, dtype="boolean"), unreadable


def read_labels(column: pd.Series, choices: Sequence[str] = ()) -> tuple[Any, Unreadable]:
    """Read labels (any, or only the choices) as an array of text; a date becomes ISO text."""

    def choice(text: str) -> str:
        return text.lower() if text.lower() in choices else Reason("not an accepted label")

    values, unreadable = _read_distinct(column, choice if choices else _label, None)
    return pd.array(values, dtype="str"), unreadable


def _label(text: str) -> str:
    if text.startswith("'") and text[1:].startswith(FORMULA_STARTS):
        text = text[1:]  # how the kit, and spreadsheets, write text that begins like a formula
    if len(text) > LABEL_LIMIT:
        return Reason(f"a label of {len(text):,} characters; at most {LABEL_LIMIT}")
    if any(unicodedata.category(character) in ("Cc", "Cs") for character in text):
        return Reason("a line break or control character in a label")
    # The same name typed on two machines can differ in how an accent is stored.
    return unicodedata.normalize("NFC", text)


def _read_distinct(
    column: pd.Series, read: Callable[[str], Any], missing: Any
) -> tuple[np.ndarray, Unreadable]:
    """Apply `read` once a distinct cell; a result that is a `Reason` marks it unreadable."""
    codes, distinct = pd.factorize(column)
    texts = [text_of(value) for value in distinct]
    # Code -1, a missing cell, takes the last entry.
    results = [missing if t.lower() in BLANKS else read(t) for t in texts] + [missing]
    bad = np.array([isinstance(result, Reason) for result in results])
    values = np.empty(len(results), dtype=object)
    values[:] = [missing if isinstance(result, Reason) else result for result in results]
    unreadable = {int(p): str(results[codes[p]]) for p in np.flatnonzero(bad[codes])}
    return values[codes], unreadable


def text_of(value: Any) -> str:
    """Return a cell as the text a person would type for it: 12 for 12.0, dates in ISO form."""
    if value is None or value is pd.NA or value is pd.NaT:
        return ""
    if isinstance(value, str):
        return value.strip().removeprefix("\ufeff")
    if isinstance(value, bool | np.bool_):
        return str(bool(value)).lower()
    if isinstance(value, float | np.floating):
        return np.format_float_positional(value, trim="-") if np.isfinite(value) else str(value)
    if isinstance(value, datetime.datetime):
        # A spreadsheet adds midnight to a date alone.
        midnight = (value.hour, value.minute, value.second) == (0, 0, 0)
        return value.strftime("%Y-%m-%d" if midnight else "%Y-%m-%d %H:%M")
    return str(value).strip()


def quoted(value: Any) -> str:
    """Return a cell as the rejects table quotes it: harmless, and shortened with its length."""
    text = text_of(value)
    if len(text) > QUOTED:
        text = f"{text[:QUOTED]}… ({len(text):,} characters)"
    return printable(text)


def printable(text: str) -> str:
    """Return text that no terminal takes for a command and no reader for a new line."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)
