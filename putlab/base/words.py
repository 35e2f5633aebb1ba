"""Numbers as a golfer reads them: fixed places, units, signs turned into words."""

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from contextvars import ContextVar
from difflib import get_close_matches
from typing import Any

from putlab.base.settings import M_PER_FT

# A thin, unbreakable space between a number and its unit.
THIN = "\u202f"

# Spaces that stand in the kit's own sentences, though Python calls them unprintable.
SPACES = THIN + "\u00a0"

# The unit in which lengths are said, ``ft`` or ``m``: an option of what is shown, as inside
# every length is in feet. `lengths_in` sets it to that of the log that is spoken of.
SPOKEN = ContextVar("spoken", default="ft")

# Whether nothing that may be a name is said: a log is read, or a command runs, under pseudonyms.
HIDING = ContextVar("hiding", default=False)
HIDDEN = "(hidden)"

# Decimal places of each column; shares of putts become whole percent.
PLACES = {
    "line_sd_deg": 2, "line_bias_deg": 2, "pace_sd_pct": 1, "pace_bias_pct": 1,
    "average_putts": 2, "strokes_lost": 2, "saved_next_hour": 2,
}  # fmt: skip
SIDES = {"line_bias_deg": ("right", "left"), "pace_bias_pct": ("long", "short")}


def quantity(value: float, name: str) -> str:
    """Return a number of the estimates in words: ``0.83°``, ``4.8 % short``."""
    if name in SIDES:
        return f"{plain(abs(value), name)}{unit(name)} {_side(value, name)}".strip()
    return plain(value, name) + unit(name)


def _side(value: float, name: str) -> str:
    straight = float(plain(abs(value), name)) == 0
    return "" if straight else SIDES[name][value < 0]


def interval(low: float, high: float, name: str) -> str:
    """Return the two ends of an interval in words: ``1.2 left to 0.3 right``."""
    if name not in SIDES:
        ends = [plain(low, name), plain(high, name)]
        # Both ends under 1 %: "<1 to <1" would say no more.
        return ends[0] if ends[0] == ends[1] and ends[0][0] in "<>" else " to ".join(ends)
    ends = [plain(abs(value), name) for value in (low, high)]
    sides = [_side(value, name) for value in (low, high)]
    if sides[0] == sides[1]:
        # Read as sizes the nearer end comes first: 3.2 to 6.5 short.
        return " to ".join(sorted(ends, key=float)) + f" {sides[0]}".rstrip()
    return " to ".join(f"{end} {side}".strip() for end, side in zip(ends, sides, strict=True))


def with_interval(row: Any, name: str) -> str:
    """Return ``name`` of a table's row in words, with the interval that ``_lo``, ``_hi`` end."""
    return f"{quantity(row[name], name)} ({interval(row[name + '_lo'], row[name + '_hi'], name)})"


def signed(value: float, name: str) -> str:
    """Return a number with its sign and unit, for a table whose head says what + means."""
    return _signed(value, name) + unit(name)


def signed_interval(low: float, high: float, name: str) -> str:
    """Return the two ends of an interval with their signs."""
    return f"{_signed(low, name)} to {_signed(high, name)}"


def _signed(value: float, name: str) -> str:
    text = plain(value, name)
    return text if text.startswith("−") or float(text) == 0 else f"+{text}"


def plain(value: float, name: str) -> str:
    """Return a number to the places of its column, without a unit."""
    if not name.endswith("_putt"):
        return minus(f"{value:.{PLACES[name.removeprefix('green_')]}f}")
    # Whole percent: a small chance is never none, and a large one never certain.
    percent = 100 * value
    if 0 < percent < 0.5:
        return "<1"
    return ">99" if 99.5 <= percent < 100 else f"{percent:.0f}"


def minus(text: str) -> str:
    """Return numbers with a true minus sign, and nought without any."""
    return re.sub(r"-(?=\d)", "−", re.sub(r"-(?=0(\.0+)?\b(?!\.))", "", text))


@contextmanager
def _held(choice: ContextVar, value: object) -> Iterator[None]:
    before = choice.set(value)
    try:
        yield
    finally:
        choice.reset(before)


def lengths_in(units: str) -> AbstractContextManager[None]:
    """Say lengths in feet or metres, ``ft`` or ``m``, for a while."""
    return _held(SPOKEN, units)


def length_words(distance_ft: float) -> str:
    """Return a length with its unit, that of the log: ``8 ft``, ``2.4 m``."""
    return f"{length_number(distance_ft)}\u00a0{SPOKEN.get()}"


def spoken(distance_ft: float) -> float:
    """Return a length in the unit in which lengths are said."""
    return distance_ft * (M_PER_FT if SPOKEN.get() == "m" else 1.0)


def lengths_said(text: str) -> str:
    """Return a text that tells lengths in feet with the unit in which lengths are said."""
    return re.sub(r"\b([\d.]+) ft\b", lambda told: length_words(float(told[1])), text)


def unit_name() -> str:
    """Return the unit in which lengths are said, in full."""
    return {"ft": "feet", "m": "metres"}[SPOKEN.get()]


def length_number(distance_ft: float) -> str:
    """Return a length as people write it: to a tenth, or 5 cm where it was chosen so."""
    if SPOKEN.get() == "ft":
        return f"{round(distance_ft, 1):g}"
    metres = spoken(distance_ft)
    fives = round(metres / 0.05)
    return f"{fives * 0.05 if math.isclose(metres, fives * 0.05) else round(metres, 1):.4g}"


def lengths_words(lengths_ft: Iterable[float]) -> str:
    """Return several lengths with their unit: ``3, 6 and 10 ft``."""
    return f"{listed(map(length_number, lengths_ft))}\u00a0{SPOKEN.get()}"


def together(text: str) -> str:
    """Return an interval that breaks before its "to" or not at all."""
    return text.replace(" to ", " to\u00a0")


def names_hidden(hidden: bool) -> AbstractContextManager[None]:
    """Say nothing that may be a name, for a while."""
    return _held(HIDING, hidden or HIDING.get())


def unless_hidden(text: object, instead: str = HIDDEN) -> str:
    """Return a text that may be a name, or what is said instead of names."""
    return instead if HIDING.get() else str(text)


def no_such(what: str, wanted: str, known: Sequence[str], who: str = "the log") -> str:
    """Return that a label is not there, which there are, and the nearest of them."""
    shown = ", ".join(map(repr, known[:12])) + ", …" * (len(known) > 12)
    near = get_close_matches(wanted, known, n=1, cutoff=0.4)
    hint = f" Did you mean {near[0]!r}?" if near else ""
    return f"no {what} {unless_hidden(repr(wanted))} here; {who} has {shown}.{hint}"


def printable(text: str) -> str:
    """Return text that no terminal takes for a command and no reader for a new line."""
    if text.isprintable():
        return text
    codes = ((c, c.encode("unicode_escape").decode()) for c in text)
    return "".join(c if c.isprintable() or c in SPACES else code for c, code in codes)


def shortened(text: str, most: int = 24) -> str:
    """Return a text that is not longer than fits."""
    return text if len(text) <= most else text[: most - 1] + "…"


def unit(name: str) -> str:
    """Return the unit of a column, as it follows a number."""
    if name.endswith("_deg"):
        return "°"
    return THIN + "%" if name.endswith(("_pct", "_putt")) else ""


def sure(probability: float, places: int = 0) -> str:
    """Return a probability in percent as a person says it, never as certain."""
    least = 10.0 ** -(2 + places)
    said = min(max(probability, least), 1 - least)
    side = "under " if probability < said else "over " if probability > said else ""
    return side + percent(said, places)


def percent(share: float, places: int = 0) -> str:
    """Return a share in percent, whole unless said otherwise."""
    return f"{100 * share:.{places}f}{THIN}%"


# How sure, in words: from each probability on (convention of the kit).
CONFIDENCE = {
    0.95: "almost certainly", 0.65: "likely", 0.35: "about even", 0.05: "unlikely",
    0.0: "almost certainly not",
}  # fmt: skip


def confidence(probability: float) -> str:
    """Return a probability in the kit's words of confidence."""
    return next(word for least, word in CONFIDENCE.items() if probability >= least)


def listed(items: Iterable[object], last: str = "and") -> str:
    """Return items as a list in words."""
    *first, end = map(str, items)
    return f"{', '.join(first)} {last} {end}" if first else end


def counted(number: int, noun: str) -> str:
    """Return a number with its noun."""
    return f"{number:,} {noun}{'' if number == 1 else 's'}"
