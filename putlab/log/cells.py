"""One cell at a time: text or typed values to numbers, flags and labels.

Every reader takes a column as found and returns its values beside the cells that could not
be read, as ``{position: reason}``. Work is done once a distinct value: readings repeat.
"""

import datetime
import re
import unicodedata
from collections.abc import Callable, Sequence, Set
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from putlab.base.words import printable, unless_hidden
from putlab.base.writing import FORMULA_STARTS
from putlab.log.schema import LABEL_LIMIT, M_PER_FT

# What programs write for "nothing here": spreadsheets, R, databases, JSON.
BLANKS = {"", "na", "n/a", "nan", "null", "none", "<na>", "nat"}

# Words for units, and the length of each in metres.
UNITS = {
    word: unit
    for unit, words in {
        "ft": "ft feet foot '", "m": "m metre metres meter meters", "cm": "cm", "yd": "yd yards",
        "in": 'in inch inches "', "deg": "deg degree degrees °", "%": "% pct percent",
    }.items()
    for word in words.split()
}  # fmt: skip
IN_M = {"ft": M_PER_FT, "m": 1.0, "cm": 0.01, "yd": 3 * M_PER_FT, "in": M_PER_FT / 12}

# A number as people write it: 12, -1,5, 1.41 m, +1°, R2, 3 L.
SIDE = "left|right|l|r"
SHAPE = re.compile(
    rf"(?P<before>{SIDE})?\s*(?P<sign>[+-]?)(?P<size>(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d{{1,3}})?)"
    rf"\s*(?P<unit>{'|'.join(sorted(UNITS, key=len, reverse=True))})?\.?\s*(?P<after>{SIDE})?",
    re.ASCII,
)

# Feet and inches in one cell: 4'6", 4 ft 6 in, 4ft6.
FEET_INCHES = re.compile(
    r"(\d+)\s*(?:ft|feet|foot|')\.?\s*(\d\d?(?:[.,]\d+)?)\s*(?:in|inch|inches|\"|'')?\.?"
)
TYPED = str.maketrans("\u2212\u2019\u2032\u201d\u2033", "-''\"\"")

# A spreadsheet that takes 12.5 for the twelfth of May keeps a date.
DATE = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)

FLAGS = dict.fromkeys(
    ("true", "yes", "y", "1", "1.0", "made", "make", "holed", "in"), True
) | dict.fromkeys(("false", "no", "n", "0", "0.0", "missed", "miss", "not holed", "out"), False)

# Characters of a rejected cell that are quoted; the rest is counted.
QUOTED = 60

# Reasons by position in the column.
Unreadable = dict[int, str]


def read_numbers(
    column: pd.Series, *, whole: bool = False, unit: str = ""
) -> tuple[np.ndarray, Unreadable]:
    """Read a column of numbers in a unit, text (12,5; 1.41 m; R2) or typed; blanks are NaN."""
    values, unreadable = _read_distinct(column, partial(_number, whole=whole, unit=unit), np.nan)
    return values.astype(float), unreadable


def shape_of(text: str) -> re.Match[str] | None:
    """Return the parts of a number as people write it: sign, size, unit, side."""
    text = text.translate(TYPED).lower()
    both = FEET_INCHES.fullmatch(text)
    if both and (inches := float(both[2].replace(",", "."))) < 12:
        text = f"{int(both[1]) + inches / 12:.10g} ft"
    return SHAPE.fullmatch(text)


def _number(text: str, *, whole: bool, unit: str) -> float:
    shape = shape_of(text)
    if not shape:
        raise ValueError(_why_not(text.lower()))
    if whole and "," in text:
        raise ValueError("a comma in a whole number")  # 1,000 could be a thousand
    value = float(shape["sign"] + shape["size"].replace(",", "."))
    if np.isinf(value):
        raise ValueError("not a finite number")
    given = UNITS[shape["unit"]] if shape["unit"] else unit
    if given != unit:
        if given not in IN_M or unit not in IN_M:
            raise ValueError(f"{given} where {unit or 'no unit'} is expected")
        value = round(value * IN_M[given] / IN_M[unit], 9)
    if side := (shape["before"] or "") + (shape["after"] or ""):
        if unit != "deg" or shape["sign"] or side not in SIDE.split("|"):
            raise ValueError("not a plain number")
        value = -value if side.startswith("l") else value
    return value + 0.0  # -0 is 0, the same reading


def _why_not(text: str) -> str:
    if text.lstrip("+-") in ("inf", "infinity"):
        return "not a finite number"
    if text in ("true", "false"):
        return "true/false where a number is expected"
    if DATE.match(text):
        return "a date where a number is expected; did the spreadsheet turn 12.5 into one?"
    return "not a plain number"


def read_flags(column: pd.Series) -> tuple[Any, Unreadable]:
    """Read true/false, yes/no or 1/0 in any case as a boolean array; blanks are NA."""
    values, unreadable = _read_distinct(column, _flag, pd.NA)
    return pd.array(values, dtype="boolean"), unreadable


def _flag(text: str) -> bool:
    if text.lower() not in FLAGS:
        raise ValueError("not true or false")
    return FLAGS[text.lower()]


def read_labels(
    column: pd.Series, choices: Sequence[str] = (), blanks: Set[str] = BLANKS
) -> tuple[Any, Unreadable]:
    """Read labels (any, or only the choices) as an array of text; a date becomes ISO text."""
    values, unreadable = _read_distinct(column, partial(_label, choices=choices), None, blanks)
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
    column: pd.Series, read: Callable[[str], Any], missing: Any, blanks: Set[str] = BLANKS
) -> tuple[np.ndarray, Unreadable]:
    """Apply `read` once a distinct cell; the text of its `ValueError` is why it is unreadable."""
    codes, distinct = pd.factorize(column)
    # Code -1, a missing cell, takes the last entry.
    values, reasons = np.full(len(distinct) + 1, missing, dtype=object), {}
    for code, text in enumerate(map(text_of, np.asarray(distinct))):
        if text.lower() not in blanks:
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
    text = text_of(value) and unless_hidden(text_of(value))
    if len(text) > QUOTED:
        text = f"{text[:QUOTED]}… ({len(text):,} characters)"
    return printable(text)
