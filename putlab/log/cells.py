"""One cell at a time: text or typed values to numbers, flags and labels.

Every function takes a column as read and returns its values beside the cells that could
not be read, as ``{position: reason}``. Work is done once a distinct value: readings repeat.
"""

import datetime
import re
import unicodedata
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

# Characters of a rejected cell that are shown; the rest is counted.
SHOWN = 60


def numbers(column: pd.Series, *, whole: bool = False) -> Any:
    """Read a column of numbers."""
    if pd.api.types.is_bool_dtype(column.dtype):
        present = np.flatnonzero(column.notna())
        return np.full(len(column), np.nan), dict.fromkeys(
            present.tolist(), "true/false where a number is expected"
        )
    if pd.api.types.is_numeric_dtype(column.dtype):
        values = _float64(column)
        infinite = np.flatnonzero(np.isinf(values))
        values[infinite] = np.nan
        return values, dict.fromkeys(infinite.tolist(), "not a finite number")
    return _by_distinct_value(column, _count if whole else _number, np.nan, float)


def _float64(column: Any) -> Any:
    """Return typed numbers as float64; a narrow float gets back its decimal value."""
    values = column.to_numpy(dtype=float, na_value=np.nan, copy=True)
    # 0.1 stored in 32 bits is 0.10000000149: steps and equal readings would be lost.
    kind = getattr(column.dtype, "numpy_dtype", column.dtype)
    decimals = {"float32": 5, "float16": 2}.get(str(kind).lower())
    # Adding 0 makes -0 into 0, the same reading.
    return (values if decimals is None else np.round(values, decimals)) + 0.0


def _count(text: Any) -> Any:
    return "a comma in a whole number" if "," in text else _number(text)


def _number(text: Any) -> Any:
    plain = text.replace("\u2212", "-")
    if NUMBER.fullmatch(plain):
        value = float(plain.replace(",", ".")) + 0.0  # -0 is 0, the same reading
        return value if np.isfinite(value) else "not a finite number"
    if plain.lower().lstrip("+-") in ("inf", "infinity"):
        return "not a finite number"
    if _iso_date(plain):
        return "a date where a number is expected; did the spreadsheet turn 12.5 into one?"
    return "not a plain number"


def flags(column: pd.Series) -> tuple:
    """Read a column of true/false."""
    if pd.api.types.is_bool_dtype(column.dtype):
        return pd.array(column, dtype="boolean"), {}
    values, wrong = _by_distinct_value(column, _flag, pd.NA, object)
    return pd.array(values, dtype="boolean"), wrong


def _flag(text: Any) -> Any:
    return FLAGS.get(text.lower(), "not true or false")


def labels(column: pd.Series, choices: Any = ()) -> Any:
    """Read a column of labels."""
    read = _choice(choices) if choices else _label
    return _by_distinct_value(column, read, None, object, categorical=True)


def _label(text: Any) -> Any:
    if text.startswith("'") and text[1:].startswith(FORMULA_STARTS):
        text = text[1:]  # how the kit, and spreadsheets, write text that begins like a formula
    if len(text) > LABEL_LIMIT:
        return _Wrong(f"a label of {len(text):,} characters; at most {LABEL_LIMIT}")
    if any(unicodedata.category(character) in ("Cc", "Cs") for character in text):
        return _Wrong("a line break or control character in a label")
    # The same name typed on two machines can differ in how an accent is stored.
    return unicodedata.normalize("NFC", text)


def _choice(choices: Any) -> Any:
    def read(text: Any) -> Any:
        return text.lower() if text.lower() in choices else _Wrong("not an accepted label")

    return read


class _Wrong(str):
    """A reason, kept apart from labels, which are text as well."""


def _by_distinct_value(
    column: Any, read: Any, missing: Any, dtype: Any, *, categorical: bool = False
) -> tuple:
    """Apply `read` once a distinct cell; a result that is a reason marks it wrong."""
    codes, distinct = pd.factorize(column)
    texts = [text_of(value) for value in distinct]
    results = [missing if text.lower() in BLANKS else read(text) for text in texts]
    bad = [isinstance(r, _Wrong if categorical else str) for r in results]
    clean = [missing if wrong else r for r, wrong in zip(results, bad, strict=True)]
    wrong = _wrong_positions(codes, results, bad)
    if categorical:
        return _categorical(codes, clean), wrong
    table = np.empty(len(clean) + 1, dtype=dtype)
    table[:-1], table[-1] = clean, missing  # code -1, a missing cell, takes the last entry
    return table[codes], wrong


def _wrong_positions(codes: Any, results: Any, bad: Any) -> dict:
    if not any(bad):
        return {}
    positions = np.flatnonzero(np.append(bad, False)[codes])
    return {int(p): str(results[codes[p]]) for p in positions}


def _categorical(codes: Any, clean: Any) -> Any:
    """Return labels by code; cells that differed only in space share a category."""
    merged, categories = pd.factorize(np.array([*clean, None], dtype=object))
    return pd.Categorical.from_codes(merged[codes], categories.astype(str).astype(object))


def text_of(value: Any) -> Any:
    """Return a cell as the text a person would type for it."""
    if isinstance(value, str):
        return value.strip().removeprefix("\ufeff")
    if isinstance(value, bool | np.bool_):
        return str(bool(value)).lower()
    if isinstance(value, float | np.floating):
        return np.format_float_positional(value, trim="-") if np.isfinite(value) else str(value)
    if isinstance(value, datetime.datetime):
        return _stamp(value)
    return str(value).strip()


def _stamp(value: Any) -> Any:
    """Return the date alone where a spreadsheet added midnight to it."""
    if pd.isna(value):
        return ""
    midnight = (value.hour, value.minute, value.second) == (0, 0, 0)
    return value.strftime("%Y-%m-%d" if midnight else "%Y-%m-%d %H:%M")


def _iso_date(text: Any) -> bool:
    try:
        datetime.date.fromisoformat(text[:10])
    except ValueError:
        return False
    return True


def shown(value: Any) -> Any:
    """Return a cell as it is shown in the rejects table."""
    text = "" if value is None or value is pd.NA else text_of(value)
    if len(text) > SHOWN:
        text = f"{text[:SHOWN]}… ({len(text):,} characters)"
    return printable(text)


def printable(text: str) -> Any:
    """Return text that no terminal takes for a command and no reader for a new line."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)
