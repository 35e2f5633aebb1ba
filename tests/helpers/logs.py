"""Logs made by hand for the tests of reading: small tables and the files that hold them."""

import io

import pandas as pd

GOOD = {
    "player": "ash",
    "session": "2025-03-14",
    "distance_ft": "10",
    "line_deg": "1",
    "roll_ft": "11.5",
}


def table(*rows, **columns):
    """Return a text table of good rows, each changed by a dict, or by whole columns."""
    rows = rows or ({},) * len(next(iter(columns.values()), [1]))
    frame = pd.DataFrame([GOOD | row for row in rows], dtype=object).fillna("")
    return frame.assign(**columns)


def csv_bytes(frame, *, encoding="utf-8", separator=",", mark=""):
    """Return a table as a text file."""
    text = io.StringIO()
    frame.to_csv(text, index=False, sep=separator, lineterminator="\n")
    return (mark + text.getvalue()).encode(encoding)


def write_csv(path, *rows, **columns):
    """Write a text table and return its path."""
    path.write_bytes(csv_bytes(table(*rows, **columns)))
    return path


def reasons(log):
    """Return rejects as {row: (column, reason)}."""
    return {r.row: (r.column, r.reason) for r in log.rejects.itertuples()}
