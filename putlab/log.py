"""The log of putts: read it, keep what can be used, and say what could not and why."""

from dataclasses import dataclass, field

import pandas as pd

from putlab.errors import LogError
from putlab.intake.doubts import doubts, suspected_limits, where
from putlab.intake.files import digest_of, find_files, joint_digest
from putlab.intake.rows import WHOLE_ROW, match_columns, rows_of
from putlab.intake.sessions import dated, in_order
from putlab.intake.tables import Chunk, open_tables
from putlab.rules import ReadingRules, complete_rules, declared_rules
from putlab.schema import COLUMN, COLUMNS
from putlab.writing import write_text

REJECT_COLUMNS = ["file", "row", "column", "value", "reason"]

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
    rules : putlab.rules.ReadingRules
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


@dataclass
class _Gathered:
    """What has been read so far."""

    rows: list = field(default_factory=list)
    rejects: list = field(default_factory=list)
    warnings: list = field(default_factory=list)
    notes: list = field(default_factory=list)
    rows_read: int = 0

    def reject(self, rows, column, value, reason):
        """Move rows of a table to the rejects."""
        found = rows.assign(column=column, value=value, reason=reason)
        self.rejects += found[REJECT_COLUMNS].itertuples(index=False, name=None)


def read_log(path, *, rules=None, allow_empty=False):
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

    Examples
    --------
    >>> from putlab.log import read_log
    >>> log = read_log("data_demo")  # doctest: +SKIP
    >>> len(log.putts) + len(log.rejects) == log.rows_read  # doctest: +SKIP
    True
    """
    found = find_files(path)
    declared = found.rules | declared_rules(rules)
    gathered = _Gathered(warnings=list(found.warnings), notes=list(found.notes))
    digests = {}
    for file in found.paths:
        digest = digest_of(file)
        _read_file(file, found, gathered, copy_of=digests.get(digest))
        digests.setdefault(digest, file.name)
    return _assemble(gathered, declared, found, digests, path, allow_empty)


def _read_file(file, found, gathered, copy_of):
    """Read the tables of one file; only those of a workbook that are logs."""
    name = found.name_of(file)
    tables = open_tables(file, name, **found.options.get(file, {}))
    for table, wanted in matched(tables, gathered.warnings):
        gathered.notes += table.notes
        for chunk in table.chunks(wanted):
            gathered.rows_read += chunk.rows
            rows, rejects = rows_of(chunk)
            gathered.rejects += [(table.name, *reject) for reject in rejects]
            rows = rows.assign(file=table.name, row=rows.index)
            if copy_of:
                gathered.reject(rows, WHOLE_ROW, "", f"the file is a copy of {copy_of}")
            else:
                gathered.rows.append(rows)
    if copy_of:
        gathered.warnings.append(f"{name} is a copy of {copy_of}, byte for byte; delete one.")


def matched(tables, warnings):
    """Return the tables that are logs, each with the positions of its known columns.

    Parameters
    ----------
    tables : list of putlab.intake.tables.Table
        Tables of one file.
    warnings : list of str
        Grows by the columns that are left out.

    Returns
    -------
    list of tuple
        ``(table, {name: position})``.

    Raises
    ------
    LogError
        No table has the columns of a log.
    """
    logs, refused = [], []
    for table in tables:
        try:
            wanted, left_out = match_columns(table.header, table.name)
        except LogError as error:
            refused.append((table, error))
            continue
        logs.append((table, wanted))
        warnings += left_out
    if not logs:
        raise refused[0][1]
    warnings += [
        f"{table.name} is not read: it has not the columns of a log." for table, _ in refused
    ]
    return logs


def _assemble(gathered, declared, found, digests, path, allow_empty):
    """Settle what takes the whole log to know: players, dates, duplicates, order, rules."""
    if not gathered.rows_read:
        raise LogError(f"{path} has column names but no rows; expected a row a putt.")
    rows = _joined(gathered.rows)
    rows = _settle_players(rows, gathered)
    rows = _settle_sessions(rows, gathered)
    rows = _reject_duplicates(rows, gathered)
    rejects = _rejects_table(gathered.rejects)
    if rows.empty and not allow_empty:
        raise LogError(_nothing_usable(path, rejects))
    rows, unnumbered = in_order(rows)
    if unnumbered:
        gathered.warnings.append(
            f"putt is blank in parts of {unnumbered} sessions; they go by row order."
        )
    metric = rows["roll_in_m"].to_numpy()
    rules = complete_rules(declared, rows, metric_rolls=metric)
    gathered.warnings += doubts(rows) + suspected_limits(rows, rules)
    return Log(
        putts=rows[[column.name for column in COLUMNS] + ["file", "row"]],
        rejects=rejects,
        rules=rules,
        warnings=gathered.warnings,
        notes=gathered.notes,
        files=[found.name_of(p) for p in found.paths],
        rows_read=gathered.rows_read,
        digest=joint_digest(digests),
    )


def _joined(chunks):
    """Return chunks as one table whose labels are text."""
    chunks = chunks or [rows_of(Chunk(pd.DataFrame({})))[0].assign(file="", row=0)]
    names = [c.name for c in COLUMNS if c.kind == "label"] + ["file"]
    texts = [chunk.astype(dict.fromkeys(names, "str")) for chunk in chunks]
    return pd.concat(texts, ignore_index=True)


def _settle_players(rows, gathered):
    """Give a log that names nobody its one player; refuse a nameless row among named."""
    nameless = rows["player"].isna()
    if nameless.all():
        return rows.assign(player=rows["player"].fillna(ONE_PLAYER))
    gathered.reject(rows[nameless], "player", "", "blank, where other rows name a player")
    return rows[~nameless]


def _settle_sessions(rows, gathered):
    names, warnings = dated(list(rows["session"].unique()))
    gathered.warnings += warnings
    return rows.assign(session=rows["session"].map(names).astype("str"))


def _reject_duplicates(rows, gathered):
    """Reject a numbered putt that is there twice with every reading the same.

    Without ``putt`` numbers equal rows are honest repeats: whole degrees repeat.
    """
    names = [column.name for column in COLUMNS]
    numbered = rows["putt"].notna()
    again = rows.duplicated(names) & numbered
    if again.any():
        values = rows.loc[again, "putt"].map("{:g}".format)
        gathered.reject(rows[again], "putt", values, "this putt is there already, the same")
    rest = rows[~again]
    clash = (
        rest.duplicated(["player", "session", "distance_ft", "drill", "putt"])
        & rest["putt"].notna()
    )
    if clash.any():
        gathered.warnings.append(
            f"putt numbers repeat within a session with other readings ({where(rest[clash])}); "
            "all were kept. If two visits share a session label, give each its own."
        )
    return rest


def _rejects_table(records):
    table = pd.DataFrame(records, columns=REJECT_COLUMNS)
    table = table.astype(dict.fromkeys(["file", "column", "value", "reason"], "str"))
    return table.astype({"row": "int64"}).sort_values(["file", "row"], ignore_index=True)


def _nothing_usable(path, rejects):
    first = rejects.iloc[0]
    return (
        f"{path}: none of the {len(rejects):,} rows can be used. First: {first.file}, row "
        f"{first.row}, column {first.column}: got {first.value!r}; {first.reason}. "
        "`putlab check` lists the others."
    )


def write_log(putts, path):
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
    write_text(path, table.to_csv(index=False, lineterminator="\n"))
