"""Numbers as a golfer reads them: fixed places, units, signs turned into words."""

import re

# A thin, unbreakable space between a number and its unit.
THIN = "\u202f"

PLACES = {
    "line_sd_deg": 2,
    "line_bias_deg": 2,
    "pace_sd_pct": 1,
    "pace_bias_pct": 1,
    "one_putt": 0,
    "three_putt": 0,
    "average_putts": 2,
    "strokes_lost": 2,
    "saved_next_hour": 2,
    "expected_regret": 3,
}
SIDES = {"line_bias_deg": ("right", "left"), "pace_bias_pct": ("long", "short")}


def quantity(value, name):
    """Return a number of the estimates in words.

    Parameters
    ----------
    value : float
        The number.
    name : str
        Its column, which fixes places, unit and what its sign means.

    Returns
    -------
    str
        Such as ``0.83°``, ``7.4 %`` or ``4.8 % short``.
    """
    if name in SIDES:
        size, side = _size_and_side(value, name)
        return f"{size} {side}".strip()
    return plain(value, name) + unit(name)


def _size_and_side(value, name):
    size = plain(abs(value), name)
    straight = float(size) == 0
    return size + unit(name), "" if straight else SIDES[name][0 if value > 0 else 1]


def interval(low, high, name):
    """Return the two ends of an interval in words.

    Parameters
    ----------
    low, high : float
        The ends.
    name : str
        Column they belong to.

    Returns
    -------
    str
        Such as ``0.72 to 0.96`` or ``1.2 left to 0.3 right``.
    """
    if name not in SIDES:
        ends = [plain(low, name), plain(high, name)]
        # Both ends under 1 %: "<1 to <1" would say no more.
        return ends[0] if ends[0] == ends[1] and ends[0][0] in "<>" else " to ".join(ends)
    ends = [plain(abs(value), name) for value in (low, high)]
    sides = [_size_and_side(value, name)[1] for value in (low, high)]
    if sides[0] == sides[1]:
        # Read as sizes the nearer end comes first: 3.2 to 6.5 short.
        return " to ".join(sorted(ends, key=float)) + f" {sides[0]}".rstrip()
    return " to ".join(f"{end} {side}".strip() for end, side in zip(ends, sides, strict=True))


def signed(value, name):
    """Return a number with its sign and unit, for a table whose head says what + means.

    Parameters
    ----------
    value : float
        The number.
    name : str
        Its column.

    Returns
    -------
    str
        Such as ``+0.64°`` or ``−4.8 %``.
    """
    return _signed(value, name) + unit(name)


def signed_interval(low, high, name):
    """Return the two ends of an interval with their signs.

    Parameters
    ----------
    low, high : float
        The ends.
    name : str
        Column they belong to.

    Returns
    -------
    str
        Such as ``−0.02 to +0.25``.
    """
    return f"{_signed(low, name)} to {_signed(high, name)}"


def _signed(value, name):
    text = plain(value, name)
    return text if text.startswith("−") or float(text) == 0 else f"+{text}"


def plain(value, name):
    """Return a number to the places of its column, without a unit.

    Parameters
    ----------
    value : float
        The number.
    name : str
        Column it belongs to; shares of putts become percent.

    Returns
    -------
    str
        Such as ``0.83``.
    """
    if name.endswith("_putt"):
        return _percent(100 * value)
    return minus(f"{value:.{PLACES[name]}f}")


def _percent(value):
    """Return whole percent; a small chance is never none, and a large one never certain."""
    if 0 < value < 0.5:
        return "<1"
    return ">99" if 99.5 <= value < 100 else f"{value:.0f}"


def minus(text):
    """Return numbers with a true minus sign, and nought without any.

    Parameters
    ----------
    text : str
        One number, or text with numbers in it.

    Returns
    -------
    str
        The same with − for each - before a digit.
    """
    return re.sub(r"-(?=\d)", "−", re.sub(r"-(?=0(\.0+)?\b(?!\.))", "", text))


def feet(distance_ft):
    """Return a distance in words.

    Parameters
    ----------
    distance_ft : float
        Feet.

    Returns
    -------
    str
        Such as ``10 ft``, to a tenth at most.
    """
    return f"{round(distance_ft, 1):g}\u00a0ft"


def together(text):
    """Return an interval that breaks before its "to" or not at all.

    Parameters
    ----------
    text : str
        Such as ``0.72 to 0.96``.

    Returns
    -------
    str
        The same, for a narrow column: two lines at most.
    """
    return text.replace(" to ", " to\u00a0")


def shortened(text, most=24):
    """Return a text that is not longer than fits.

    Parameters
    ----------
    text : str
        Text, perhaps from a log.
    most : int
        Characters.

    Returns
    -------
    str
        The text, cut and ended with … where it is longer.
    """
    text = str(text)
    return text if len(text) <= most else text[: most - 1] + "…"


def unit(name):
    """Return the unit of a column, as it follows a number.

    Parameters
    ----------
    name : str
        Column.

    Returns
    -------
    str
        Degree sign, percent sign after a thin space, or nothing.
    """
    if name.endswith("_deg"):
        return "°"
    return THIN + "%" if name.endswith(("_pct", "_putt")) else ""


def sure(probability):
    """Return a probability as a person says it, never as certain.

    Parameters
    ----------
    probability : float
        From 0 to 1.

    Returns
    -------
    str
        Whole percent; ``under 1 %`` and ``over 99 %`` at the ends.
    """
    if probability < 0.01:
        return f"under 1{THIN}%"
    if probability > 0.99:
        return f"over 99{THIN}%"
    return f"{100 * probability:.0f}{THIN}%"


def listed(items):
    """Return items as a list in words.

    Parameters
    ----------
    items : list of str
        One or more.

    Returns
    -------
    str
        Such as ``3, 6 and 10``.
    """
    items = [str(item) for item in items]
    return " and ".join([", ".join(items[:-1]), items[-1]]) if len(items) > 1 else items[0]


def counted(number, noun):
    """Return a number with its noun.

    Parameters
    ----------
    number : int
        How many.
    noun : str
        In the singular; an s is added for other numbers.

    Returns
    -------
    str
        Such as ``9 putts`` or ``1,887 rows``.
    """
    return f"{number:,} {noun}{'' if number == 1 else 's'}"
