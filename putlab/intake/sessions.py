"""Sessions in order: dates as ISO text, putts numbered, rows sorted."""

import datetime
import re

import numpy as np

ISO = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
STAMP = re.compile(r"(\d{4}-\d\d-\d\d)[T ]00:00(:00(\.0+)?)?(Z|\+00:00)?")
YEAR_FIRST = re.compile(r"(\d{4})([./-])(\d{1,2})\2(\d{1,2})", re.ASCII)
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
    dates = {label: _clear_date(text) for label, text in plain.items()}
    unclear = [label for label, date in dates.items() if date is None]
    local = {label: LOCAL.fullmatch(plain[label]) for label in unclear}
    if not all(local.values()):
        return plain, []
    orders = _orders(local)
    if len(orders) > 1:
        return plain, [
            f"sessions such as {unclear[0]} look like dates, but day and month cannot be told "
            "apart; they are kept as labels in order of first appearance. Write 2025-03-14."
        ]
    for name, found in orders.items():
        return dates | found, [_said(unclear[0], found[unclear[0]], name)]
    if unclear:
        return plain, []
    changed = [label for label, date in dates.items() if date != plain[label]]
    return dates, [_said(changed[0], dates[changed[0]], "dates")] if changed else []


def _said(label, date, what):
    return f"sessions were read as {what}: {label} is {date}."


def _clear_date(text):
    """Return the ISO date of a label that can only mean one day, else None."""
    if found := YEAR_FIRST.fullmatch(text):
        return _date(found[1], found[3], found[4])
    if found := COMPACT.fullmatch(text):
        return _date(*found.groups())
    if text.isascii() and text.isdigit() and int(text[:9]) in SERIAL:
        return (datetime.date(1899, 12, 30) + datetime.timedelta(days=int(text))).isoformat()
    return None


def _date(year, month, day):
    try:
        return datetime.date(int(year), int(month), int(day)).isoformat()
    except ValueError:
        return None


def _orders(local):
    """Return the orders of day and month that make dates of all labels that need one."""
    orders = {"day/month/year": (2, 0), "month/day/year": (0, 2)}
    fits = {}
    for name, (month, day) in orders.items() if local else ():
        dates = {label: _from_parts(match, month, day) for label, match in local.items()}
        if all(dates.values()):
            fits[name] = dates
    return fits


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
    if all(_starts_with_iso_date(name) for name in names):
        names.sort()
    return {name: rank for rank, name in enumerate(names)}


def _starts_with_iso_date(name):
    day, rest = name[:10], name[10:11]
    return rest in ("", " ", "T") and ISO.fullmatch(day) and _clear_date(day) == day


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
