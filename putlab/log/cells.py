"""One cell at a time: text or typed values to numbers, flags and labels.

Every reader takes a column as found and returns its values beside the cells that could not
be read, as ``{position: reason}``. Work is done once a distinct value: readings repeat.
"""

import datetime
import re
import unicodedata
from collections.abc import Callable, Sequence
from decimal import Decimal
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from putlab.base.words import printable
from putlab.base.writing import FORMULA_STARTS
from putlab.log.schema import LABEL_LIMIT

# What programs write for "nothing here": spreadsheets, R, databases, JSON.
BLANKS = {"", "na", "n/a", "nan", "null", "none", "<na>", "nat"}

NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d{1,3})?", re.ASCII | re.IGNORECASE)

# A spreadsheet that takes 12.5 for the twelfth of May keeps a date.
DATE = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)

FLAGS = dict.fromkeys(
    ("true", "yes", "y", "1", "1.0", "made", "make", "holed", "in"), True
) | dict.fromkeys(("false", "no", "n", "0", "0.0", "missed", "miss", "not holed", "out"), False)

# Characters of a rejected cell that are quoted; the rest is counted.
QUOTED = 60

# Reasons by position in the column.
Unreadable = dict[int, str]


def read_numbers(column: pd.Series, *, whole: bool = False) -> tuple[np.ndarray, Unreadable]:
    """Read a column of numbers, text (a decimal comma is understood) or typed; blanks are NaN."""
    values, unreadable = _read_distinct(column, partial(_number, whole=whole), np.nan)
    return values.astype(float), unreadable


def _number(text: str, *, whole: bool) -> float:
    plain = text.replace("\u2212", "-").lower()
    value = float(plain.replace(",", ".")) if NUMBER.fullmatch(plain) else np.nan
    if whole and "," in plain:
        raise ValueError("a comma in a whole number")  # 1,000 could be a thousand
    if np.isinf(value) or plain.lstrip("+-") in ("inf", "infinity"):
        raise ValueError("not a finite number")
    if plain in ("true", "false"):
        raise ValueError("true/false where a number is expected")
    if DATE.match(plain):
        raise ValueError(
            "a date where a number is expected; did the spreadsheet turn 12.5 into one?"
        )
    if np.isnan(value):
        raise ValueError("not a plain number")
    return value + 0.0  # -0 is 0, the same reading


def read_flags(column: pd.Series) -> tuple[Any, Unreadable]:
    """Read true/false, yes/no or 1/0 in any case as a boolean array; blanks are NA."""
    values, unreadable = _read_distinct(column, _flag, pd.NA)
    return pd.array(values, dtype="boolean"), unreadable


def _flag(text: str) -> bool:
    if text.lower() not in FLAGS:
        raise ValueError("not true or false")
    return FLAGS[text.lower()]


def read_labels(column: pd.Series, choices: Sequence[str] = ()) -> tuple[Any, Unreadable]:
    """Read labels (any, or only the choices) as an array of text; a date becomes ISO text."""
    values, unreadable = _read_distinct(column, partial(_label, choices=choices), None)
    return pd.array(values, dtype="str"), unreadable


def _label(text: str, choices: Sequence[str]) -> str:
    if choices and text.lower() not in choices:
        raise ValueError("not an accepted label")
    if text.startswith("'") and text[1:].startswith(FORMULA_STARTS):
        text = text[1:]  # how the kit, and spreadsheets, write text that begins like a formula
    if len(text) > LABEL_LIMIT:
        raise ValueError(f"a label of {len(text):,} characters; at most {LABEL_LIMIT}")
    if any(unicodedata.category(character) in ("Cc", "Cs") for character in text):
        raise ValueError("a line break or control character in a label")
    # The same name typed on two machines can differ in how an accent is stored.
    return text.lower() if choices else unicodedata.normalize("NFC", text)


def _read_distinct(
    column: pd.Series, read: Callable[[str], Any], missing: Any
) -> tuple[np.ndarray, Unreadable]:
    """Apply `read` once a distinct cell; the text of its `ValueError` is why it is unreadable."""
    codes, distinct = pd.factorize(column)
    # Code -1, a missing cell, takes the last entry.
    values, reasons = np.full(len(distinct) + 1, missing, dtype=object), {}
    for code, text in enumerate(map(text_of, np.asarray(distinct))):
        if text.lower() not in BLANKS:
            try:
                values[code] = read(text)
            except ValueError as error:
                reasons[code] = str(error)
    bad = np.flatnonzero(np.isin(codes, list(reasons)))
    return values[codes], {int(position): reasons[codes[position]] for position in bad}


def text_of(value: Any) -> str:
    """Return a cell as the text a person would type for it: 12 for 12.0, dates in ISO form."""
    if value is None or value is pd.NA or value is pd.NaT:
        return ""
    if isinstance(value, str):
        return value.strip() if value.isascii() else _without_unseen(value).strip()
    if isinstance(value, bytes):
        return text_of(value.decode("utf-8", "backslashreplace"))
    if isinstance(value, bool | np.bool_):
        return str(bool(value)).lower()
    if isinstance(value, Decimal):
        value = float(value)
    if isinstance(value, float | np.floating):
        # The shortest text that means it: 0.1 in 32 bits, not 0.10000000149, which hides its step.
        return np.format_float_positional(value, trim="-") if np.isfinite(value) else str(value)
    if isinstance(value, datetime.datetime):
        # A spreadsheet adds midnight to a date alone.
        midnight = (value.hour, value.minute, value.second) == (0, 0, 0)
        return value.strftime("%Y-%m-%d" if midnight else "%Y-%m-%d %H:%M")
    return str(value).strip()


def _without_unseen(text: str) -> str:
    """Return text without what nobody sees (zero-width, soft hyphen, direction marks)."""
    return "".join(c for c in text if unicodedata.category(c) != "Cf")


def quoted(value: Any) -> str:
    """Return a cell as the rejects table quotes it: harmless, and shortened with its length."""
    text = text_of(value)
    if len(text) > QUOTED:
        text = f"{text[:QUOTED]}… ({len(text):,} characters)"
    return printable(text)
