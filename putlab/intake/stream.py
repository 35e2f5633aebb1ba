"""The rows of all files of a log, chunk by chunk, with a tally of what could not be used."""

from dataclasses import dataclass, field

from putlab.errors import LogError
from putlab.intake.files import digest_of
from putlab.intake.header import match_columns
from putlab.intake.rows import WHOLE_ROW, rows_of
from putlab.intake.tables import open_tables
from putlab.schema import closest

# Unknown columns listed; a damaged file can have thousands.
MOST_NAMES = 20

REJECT_COLUMNS = ["file", "row", "column", "value", "reason"]


@dataclass
class Tally:
    """What has been read so far.

    Attributes
    ----------
    rows_read, rejected : int
        Rows seen, and those of them that cannot be used.
    rejects : list of tuple
        ``(file, row, column, value, reason)``, the first `most_rejects`.
    most_rejects : int or None
        How many rejects are kept; None keeps all.
    warnings, notes : list of str
        What to look at; what was left out or decided.
    digests : dict of str to str
        Digest of each file read and the file's name.
    unknown : dict of str to list of str
        Columns that are left out, and the tables that have them.
    """

    warnings: list = field(default_factory=list)
    notes: list = field(default_factory=list)
    most_rejects: int | None = None
    rows_read: int = 0
    rejected: int = 0
    rejects: list = field(default_factory=list)
    digests: dict = field(default_factory=dict)
    unknown: dict = field(default_factory=dict)

    def reject(self, records):
        """Count rejects and keep them while there is room.

        Parameters
        ----------
        records : list of tuple
            ``(file, row, column, value, reason)``.
        """
        self.rejected += len(records)
        room = None if self.most_rejects is None else self.most_rejects - len(self.rejects)
        self.rejects += records[:room]

    def reject_rows(self, rows, column, value, reason):
        """Count rows that could be read but cannot be used.

        Parameters
        ----------
        rows : pandas.DataFrame
            Rows with ``file`` and ``row``.
        column, reason : str
            Where the problem lies and what it is.
        value : str or pandas.Series
            The cell, one for all or one a row.
        """
        found = rows[["file", "row"]].assign(column=column, value=value, reason=reason)
        self.reject(list(found[REJECT_COLUMNS].itertuples(index=False, name=None)))


def stream(found, tally):
    """Yield the usable rows of a log, chunk by chunk.

    Parameters
    ----------
    found : putlab.intake.files.LogFiles
        The files.
    tally : Tally
        Grows by what is read, rejected and noticed.

    Yields
    ------
    pandas.DataFrame
        Rows as `rows_of` gives them, with ``file`` and ``row``.

    Raises
    ------
    LogError
        A file is damaged, or has not the columns of a log.
    """
    for path in found.paths:
        digest = digest_of(path)
        twin = tally.digests.get(digest)
        name = found.name_of(path)
        for rows in _rows_of_file(path, name, found.options.get(path, {}), tally):
            if twin:
                tally.reject_rows(rows, WHOLE_ROW, "", f"the file is a copy of {twin}")
            else:
                yield rows
        if twin:
            tally.warnings.append(f"{name} is a copy of {twin}, byte for byte; delete one.")
        tally.digests.setdefault(digest, name)
    tally.warnings += _left_out(tally.unknown)


def _left_out(unknown):
    """Say which columns are not used, with the nearest known name where there is one."""
    plain = []
    for column, tables in list(unknown.items())[:MOST_NAMES]:
        where = tables[0] if len(tables) == 1 else f"{len(tables)} tables"
        if near := closest(column):
            yield f"{where}: column {column!r} is not used: did you mean {near}?"
        else:
            plain.append(f"{column!r} ({where})")
    plain += [f"and {len(unknown) - MOST_NAMES} more"] * (len(unknown) > MOST_NAMES)
    if plain:
        yield f"columns that are not used: {', '.join(plain)}."


def _rows_of_file(path, name, options, tally):
    tables = open_tables(path, name, **options)
    for table, wanted in _logs(tables, tally):
        tally.notes += table.notes
        for chunk in table.chunks(wanted):
            tally.rows_read += chunk.rows
            rows, rejects = rows_of(chunk)
            tally.reject([(table.name, *reject) for reject in rejects])
            yield rows.assign(file=table.name, row=rows.index)


def _logs(tables, tally):
    """Return the tables that are logs; a workbook may hold sheets of other things."""
    logs, refused = [], {}
    for table in tables:
        try:
            wanted, unknown = match_columns(table.header, table.name)
        except LogError as error:
            refused[table.name] = error
            continue
        logs.append((table, wanted))
        for column in unknown:
            tally.unknown.setdefault(column, []).append(table.name)
    if not logs:
        raise next(iter(refused.values()))
    tally.warnings += [
        f"{name} was not read: it has not the columns of a log." for name in refused
    ]
    return logs
