"""Which files make up a log."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from putlab.base.errors import LogError
from putlab.log.cells import printable
from putlab.log.package import PACKAGE, read_datapackage
from putlab.log.rows import WHOLE_ROW, match_columns, rows_of
from putlab.log.schema import closest
from putlab.log.tables import ENDINGS, open_tables, reading

if TYPE_CHECKING:
    import pandas as pd

# Programs that save tables in other forms, which a spreadsheet can save again.
OTHER_TABLES = (".xls", ".xlsm", ".xlsb", ".ods", ".numbers", ".gz", ".zip", ".pq", ".feather")


@dataclass
class LogFiles:
    """The files of a log, in reading order."""

    paths: list
    root: Path
    options: dict = field(default_factory=dict)
    rules: dict = field(default_factory=dict)
    notes: list = field(default_factory=list)
    warnings: list = field(default_factory=list)

    def name_of(self, path: Path) -> Any:
        """Return what a file is called in messages and rejects."""
        # A name that is no valid text, or holds control characters, must not reach a terminal.
        return printable(path.relative_to(self.root).as_posix())


def find_files(path: str | Path) -> Any:
    """Find the files of a log."""
    path = Path(path)
    if path.name == PACKAGE:
        path = path.parent
    with reading(str(path)):
        _must_exist(path)
        found = _of_folder(path) if path.is_dir() else _of_file(path)
    for file in found.paths:
        _must_be_file(file)
    return found


def _must_exist(path: Any) -> None:
    if path.is_symlink() and not path.exists():
        raise LogError(f"{path} is a link that leads nowhere; give the log itself.")
    if not path.exists():
        raise LogError(
            f"{path} does not exist; give a log of putts ({', '.join(ENDINGS)}) or a folder."
        )


def _must_be_file(path: Any) -> None:
    if path.is_symlink() and not path.exists():
        raise LogError(f"{path} is a link that leads nowhere; delete it or give it its file.")
    if not path.is_file():
        raise LogError(f"{path} is not a file; expected one of {', '.join(ENDINGS)}.")


def _of_file(path: Any) -> Any:
    if path.suffix.lower() not in ENDINGS:
        raise LogError(
            f"{path} cannot be read: its ending is {path.suffix or 'missing'}; expected one "
            f"of {', '.join(ENDINGS)}. Spreadsheets can save as .xlsx or .csv."
        )
    found = LogFiles([path], path.parent)
    package = path.parent / PACKAGE
    if package.is_file():
        _declared(found, package, only=path)
    return found


def _of_folder(folder: Any) -> Any:
    package = folder / PACKAGE
    found = LogFiles([], folder)
    if package.is_file():
        _declared(found, package)
    if not found.paths:
        found.paths = _log_files(folder, found)
    if not found.paths:
        raise LogError(
            f"{folder} holds no log; expected files that end in {', '.join(ENDINGS)} in the "
            "folder itself, not in folders inside it."
        )
    return found


def _declared(found: Any, package: Any, only: Any = None) -> None:

    declared = read_datapackage(package)
    wanted = [r for r in declared.resources if only is None or only in r.paths]
    if only is None:
        found.paths = list(dict.fromkeys(p for resource in wanted for p in resource.paths))
        others = sorted(p.name for p in package.parent.iterdir() if _is_log(p))
        left = [name for name in others if name not in declared.listed]
        if found.paths and left:
            found.warnings.append(
                f"{', '.join(left)} not read: {PACKAGE} does not list them. Add them there, or "
                "take it away to read every file."
            )
    elif not wanted:
        found.notes.append(f"{PACKAGE} does not list {only.name}; its rules are not used.")
    for resource in wanted:
        found.options |= dict.fromkeys(resource.paths, resource.options)
    found.rules = declared.rules_of(wanted)
    found.warnings += declared.warnings


def _is_log(path: Any) -> Any:
    return path.suffix.lower() in ENDINGS and not _left_out(path)


def _left_out(path: Any) -> Any:
    name = path.name.lower()
    return name.startswith((".", "~$", "truth", "readme", "reject"))


def _log_files(folder: Any, found: Any) -> Any:
    """Return the log files of a folder by name, and note what else is there."""
    inside = sorted(folder.iterdir(), key=lambda path: path.name)
    chosen = [path for path in inside if _is_log(path) and not path.is_dir()]
    for path in inside:
        if path in chosen or path.name.startswith(".") or path.name == PACKAGE:
            continue
        if path.suffix.lower() in OTHER_TABLES:
            found.warnings.append(
                f"{path.name} was not read: save it as .xlsx or .csv to include it."
            )
        else:
            found.notes.append(f"{path.name}{'/' if path.is_dir() else ''} is not read.")
    return chosen


def digest_of(path: str | Path) -> Any:
    """Return the SHA-256 of a file's content."""
    with reading(Path(path).name), Path(path).open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def joint_digest(digests: Any) -> Any:
    """Return one digest for the files of a log, in their order."""
    digests = list(digests)
    if len(digests) == 1:
        return digests[0]
    return hashlib.sha256("\n".join(digests).encode()).hexdigest()


# The rows of all files of a log, chunk by chunk, with a tally of what could not be used.


# Unknown columns listed; a damaged file can have thousands.
MOST_NAMES = 20

REJECT_COLUMNS = ["file", "row", "column", "value", "reason"]


@dataclass
class Tally:
    """What has been read so far."""

    warnings: list = field(default_factory=list)
    notes: list = field(default_factory=list)
    most_rejects: int | None = None
    rows_read: int = 0
    rejected: int = 0
    rejects: list = field(default_factory=list)
    digests: dict = field(default_factory=dict)
    unknown: dict = field(default_factory=dict)

    def reject(self, records: list[tuple]) -> None:
        """Count rejects and keep them while there is room."""
        self.rejected += len(records)
        room = None if self.most_rejects is None else self.most_rejects - len(self.rejects)
        self.rejects += records[:room]

    def reject_rows(
        self, rows: pd.DataFrame, column: str, value: str | pd.Series, reason: str
    ) -> None:
        """Count rows that could be read but cannot be used."""
        found = rows[["file", "row"]].assign(column=column, value=value, reason=reason)
        self.reject(list(found[REJECT_COLUMNS].itertuples(index=False, name=None)))


def stream(found: LogFiles, tally: Tally) -> Iterator[Any]:
    """Yield the usable rows of a log, chunk by chunk."""
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
    tally.warnings += _left_out_again(tally.unknown)


def _left_out_again(unknown: Any) -> Iterator[Any]:
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


def _rows_of_file(path: Any, name: Any, options: Any, tally: Any) -> Iterator[Any]:
    tables = open_tables(path, name, **options)
    for table, wanted in _logs(tables, tally):
        tally.notes += table.notes
        for chunk in table.chunks(wanted):
            tally.rows_read += chunk.rows
            rows, rejects = rows_of(chunk)
            tally.reject([(table.name, *reject) for reject in rejects])
            yield rows.assign(file=table.name, row=rows.index)


def _logs(tables: Any, tally: Any) -> Any:
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
    tally.warnings += [f"{name} was not read: it has not the columns of a log." for name in refused]
    return logs
