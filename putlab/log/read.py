"""The log of putts: read it, keep what can be used, and say what could not and why."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pandas as pd

from putlab.base.errors import LogError
from putlab.base.writing import FORMULA_STARTS, write_text
from putlab.log.doubts import (
    dated,
    doubts,
    in_order,
    repeated_sessions,
    suspected_limits,
    where,
)
from putlab.log.files import REJECT_COLUMNS, Tally, find_files, joint_digest, stream
from putlab.log.package import ReadingRules, complete_rules, declared_rules
from putlab.log.rows import rows_of
from putlab.log.schema import COLUMN, COLUMNS
from putlab.log.tables import Chunk

# The label of the player of a log that names none.
ONE_PLAYER = "player"


@dataclass(frozen=True)
class Log:
    """A log of putts, normalised to feet.

    Attributes
    ----------
    putts : pandas.DataFrame
        One usable row a putt: every column of the schema, then ``file`` and ``row``.
        Labels are text, numbers float with NaN, ``holed`` a nullable boolean. Ordered by
        session (by date where all are ISO dates, else as they appear), then by putt.
    rejects : pandas.DataFrame
        Rows that could not be used: ``file, row, column, value, reason``. Rows are
        numbered as a spreadsheet shows them, the header being row 1; in Parquet, which
        has no header row, from 1.
    rules : putlab.log.package.ReadingRules
        How the readings were made, each field with its source.
    warnings, notes : list of str
        What to look at; what was left out or decided.
    files : list of str
        Names of the files read, in order.
    rows_read : int
        Rows in them: usable and rejected. Blank rows are not counted.
    digest : str
        SHA-256 of the files' content.
    """

    putts: pd.DataFrame
    rejects: pd.DataFrame
    rules: ReadingRules
    warnings: list = field(default_factory=list)
    notes: list = field(default_factory=list)
    files: list = field(default_factory=list)
    rows_read: int = 0
    digest: str = ""

    def only(self, player: str) -> Log:
        """Return the log of one player's putts, under the same reading rules and hash."""
        mine = self.putts[self.putts["player"] == player].reset_index(drop=True)
        return replace(self, putts=mine, rejects=self.rejects.head(0), warnings=[], notes=[])


def read_log(path: str | Path, *, rules: Any = None, allow_empty: bool = False) -> Any:
    """Read a log of putts.

    Parameters
    ----------
    path : path-like
        A .csv, .tsv, .parquet or .xlsx file, or a folder of them, read by name. A
        ``datapackage.json`` beside them may list the files and declare reading rules.
    rules : Mapping or ReadingRules, optional
        Reading rules that win over those declared beside the log.
    allow_empty : bool
        Return a log of which no row can be used, instead of refusing it.

    Returns
    -------
    Log
        Usable rows, rejects, and the rules of reading.

    Raises
    ------
    LogError
        The log is missing, damaged, lacks a needed column, or has no usable row.
    UsageError
        A rule given is unknown or cannot have its value.

    Examples
    --------
    >>> from putlab.log.read import read_log
    >>> log = read_log("data_demo")  # doctest: +SKIP
    >>> len(log.putts) + len(log.rejects) == log.rows_read  # doctest: +SKIP
    True
    """
    found = find_files(path)
    declared = found.rules | declared_rules(rules)
    tally = Tally(list(found.warnings), list(found.notes))
    rows = _joined(stream(found, tally))
    if not tally.rows_read:
        raise LogError(f"{path} has column names but no rows; expected a row a putt.")
    rows = _settled(rows, tally)
    rejects = rejects_table(tally.rejects)
    if rows.empty and not allow_empty:
        raise LogError(nothing_usable(path, tally.rejected, rejects))
    rules = complete_rules(declared, rows, metric_rolls=rows["roll_in_m"].to_numpy())
    tally.warnings += doubts(rows) + suspected_limits(rows, rules)
    return Log(
        putts=rows[[column.name for column in COLUMNS] + ["file", "row"]],
        rejects=rejects,
        rules=rules,
        warnings=tally.warnings,
        notes=tally.notes,
        files=[found.name_of(file) for file in found.paths],
        rows_read=tally.rows_read,
        digest=joint_digest(tally.digests),
    )


def _joined(chunks: Any) -> Any:
    """Return chunks as one table whose labels are text."""
    names = [column.name for column in COLUMNS if column.kind == "label"] + ["file"]
    nothing = rows_of(Chunk(pd.DataFrame({})))[0].assign(file="", row=0)
    rows = pd.concat(list(chunks) or [nothing], ignore_index=True)
    return rows.astype(dict.fromkeys(names, "str"))


def _settled(rows: Any, tally: Any) -> Any:
    """Settle what takes the whole log to know: players, duplicates, dates, order."""
    rows = _settle_players(rows, tally)
    rows = _reject_duplicates(rows, tally)
    tally.warnings += repeated_sessions(rows)
    names, warnings = dated(list(rows["session"].unique()))
    tally.warnings += warnings
    rows = rows.assign(session=rows["session"].map(names).astype("str"))
    rows, unnumbered = in_order(rows)
    if unnumbered:
        tally.warnings.append(
            f"putt is blank in parts of {unnumbered} sessions; they go by row order."
        )
    return rows


def _settle_players(rows: Any, tally: Any) -> Any:
    """Give a log that names nobody its one player; refuse a nameless row among named."""
    nameless = rows["player"].isna()
    if nameless.all():
        return rows.assign(player=rows["player"].fillna(ONE_PLAYER))
    tally.reject_rows(rows[nameless], "player", "", "blank, where other rows name a player")
    return rows[~nameless]


def _reject_duplicates(rows: Any, tally: Any) -> Any:
    """Reject a numbered putt that is there twice with every reading the same."""
    names = [column.name for column in COLUMNS]
    numbered = rows["putt"].notna()
    again = rows.duplicated(names) & numbered
    if again.any():
        values = rows.loc[again, "putt"].map("{:g}".format)
        tally.reject_rows(rows[again], "putt", values, "this putt is there already, the same")
    rest = rows[~again]
    clash = (
        rest.duplicated(["player", "session", "distance_ft", "drill", "putt"])
        & rest["putt"].notna()
    )
    if clash.any():
        tally.warnings.append(
            f"putt numbers repeat within a session with other readings ({where(rest[clash])}); "
            "all were kept. If two visits share a session label, give each its own."
        )
    return rest


def rejects_table(records: list[tuple]) -> Any:
    """Return rejects as a table."""
    table = pd.DataFrame(records, columns=REJECT_COLUMNS)
    table = table.astype(dict.fromkeys(["file", "column", "value", "reason"], "str"))
    return table.astype({"row": "int64"}).sort_values(["file", "row"], ignore_index=True)


def nothing_usable(path: str | Path, rejected: int, rejects: pd.DataFrame) -> Any:
    """Return the message for a log of which no row can be used."""
    first = rejects.iloc[0]
    return (
        f"{path}: none of the {rejected:,} rows can be used. First: {first.file}, row "
        f"{first.row}, column {first.column}: got '{first.value}'; {first.reason}. "
        "`putlab check` lists the others."
    )


def as_text_in_spreadsheets(label: str) -> Any:
    """Mark a label that a spreadsheet would run as a formula; reading takes it off again."""
    return "'" + label if label.startswith(FORMULA_STARTS) else label


def write_log(putts: pd.DataFrame, path: str | Path) -> None:
    """Write putts as a CSV log; columns that are all blank are left out.

    Parameters
    ----------
    putts : pandas.DataFrame
        Any columns of the schema, in feet; others (``file``, ``row``) are left out.
    path : path-like
        The .csv file; ``-`` is standard output.

    Raises
    ------
    OutputError
        The file could not be written; the old one is untouched.
    """
    names = [c.name for c in COLUMNS if c.name in putts and putts[c.name].notna().any()]
    table = putts[names].copy()
    for name in names:
        if COLUMN[name].kind == "whole":
            table[name] = table[name].astype("Int64")
        elif COLUMN[name].kind == "flag":
            table[name] = table[name].map({True: "true", False: "false"}, na_action="ignore")
        elif COLUMN[name].kind == "label":
            table[name] = table[name].map(as_text_in_spreadsheets, na_action="ignore")
    write_text(path, table.to_csv(index=False, lineterminator="\n"))


# Labels in place of names, the same ones every time a log is read.


def with_pseudonyms(log: Log) -> Any:
    """Return the log with players called ``player 1``, ``player 2`` and so on."""
    names = log.putts["player"].drop_duplicates()
    labels = {name: f"player {number}" for number, name in enumerate(names, start=1)}
    rejects = log.rejects.copy()
    rejects.loc[rejects["column"] == "player", "value"] = "(hidden)"
    putts = log.putts.assign(player=log.putts["player"].map(labels))
    return replace(
        log,
        putts=putts,
        rejects=rejects,
        warnings=[_without(text, labels) for text in log.warnings],
        notes=[_without(text, labels) for text in log.notes],
    )


def _without(text: Any, labels: Any) -> Any:
    # Longest first, so that a name inside another is not replaced in part.
    for name in sorted(labels, key=len, reverse=True):
        text = text.replace(name, labels[name])
    return text
