"""Sessions in order: dates as ISO text, putts numbered, rows sorted."""

import datetime
import re

import numpy as np

ISO = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
STAMP = re.compile(r"(\d{4}-\d\d-\d\d)[T ]00:00(:00(\.0+)?)?(Z|\+00:00)?")
COMPACT = re.compile(r"(\d{4})(\d\d)(\d\d)", re.ASCII)
LOCAL = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d\d)", re.ASCII)

# Days since 1899-12-30, as spreadsheets count them, from 2000-01-01 to 2079-06-06.
SERIAL = range(36526, 65537)


def dated(labels):
    """Translate session labels to ISO dates where all of them are dates.

    Parameters
    ----------
    labels : list of str
        The distinct labels of a log.

    Returns
    -------
    names : dict of str to str
        New name of each label; most are unchanged.
    warnings : list of str
        What was taken to be a date, or could not be told.
    """
    plain = {label: STAMP.sub(r"\1", label) for label in labels}
    values = list(plain.values())
    if not values or all(_iso(v) for v in values):
        return plain, []
    for reader, what in (
        (_compact, "digits such as 20250314"),
        (_serial, "spreadsheet day numbers"),
    ):
        dates = [reader(v) for v in values]
        if all(dates):
            note = f"sessions given as {what} were read as dates: {values[0]} is {dates[0]}."
            return dict(zip(plain, dates, strict=True)), [note]
    return _local(plain)


def _iso(text):
    return ISO.fullmatch(text) is not None and _date(*text.split("-")) is not None


def _compact(text):
    found = COMPACT.fullmatch(text)
    return _date(*found.groups()) if found else None


def _serial(text):
    if not text.isascii() or not text.isdigit() or int(text[:9]) not in SERIAL:
        return None
    return (datetime.date(1899, 12, 30) + datetime.timedelta(days=int(text))).isoformat()


def _date(year, month, day):
    try:
        return datetime.date(int(year), int(month), int(day)).isoformat()
    except ValueError:
        return None


def _local(plain):
    """Read dates as a spreadsheet saves them in CSV, where day and month can be told."""
    found = {label: LOCAL.fullmatch(value) for label, value in plain.items()}
    if not all(found.values()):
        return plain, []
    orders = {"day/month/year": (2, 0), "month/day/year": (0, 2)}
    fits = {}
    for name, (month, day) in orders.items():
        dates = {label: _from_parts(match, month, day) for label, match in found.items()}
        if all(dates.values()):
            fits[name] = dates
    example = next(iter(plain))
    if len(fits) == 1:
        ((name, dates),) = fits.items()
        return dates, [f"session dates were read as {name}: {example} is {dates[example]}."]
    return plain, [
        f"sessions such as {example} look like dates, but day and month cannot be told "
        "apart; they are kept as labels in order of first appearance. Write 2025-03-14."
    ]


def _from_parts(match, month, day):
    parts = match.group(1, 2, 3)
    year = match[4] if len(match[4]) == 4 else "20" + match[4]
    return _date(year, parts[month], parts[day])


def ranks(sessions):
    """Return the order of sessions: by date where all are dates, else as they appear.

    Parameters
    ----------
    sessions : pandas.Series of str
        Session of each row, in file order.

    Returns
    -------
    dict of str to int
        Rank of each session, from 0.
    """
    names = list(sessions.unique())
    if all(_iso(name[:10]) and name[10:11] in ("", " ", "T") for name in names):
        names.sort()
    return {name: rank for rank, name in enumerate(names)}


def in_order(rows):
    """Number the putts of each session and sort the rows of a log.

    Parameters
    ----------
    rows : pandas.DataFrame
        Normalised rows in file order.

    Returns
    -------
    rows : pandas.DataFrame
        ``putt`` filled; sorted by session, then putt, then file order.
    unnumbered : int
        Sessions where some putts had no number, and so go by row order.
    """
    groups = rows.groupby(["player", "session"], sort=False, observed=True)
    by_row = groups.cumcount().to_numpy(dtype=float) + 1
    missing = rows["putt"].isna()
    partly = missing.groupby([rows["player"], rows["session"]], observed=True).transform("any")
    putt = np.where(partly, by_row, rows["putt"])
    rank = rows["session"].map(ranks(rows["session"])).to_numpy()
    order = np.lexsort((np.arange(len(rows)), putt, rank))
    mixed = partly & ~missing
    unnumbered = len(rows.loc[mixed, ["player", "session"]].drop_duplicates())
    return rows.assign(putt=putt).iloc[order].reset_index(drop=True), unnumbered
