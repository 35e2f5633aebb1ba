"""`putlab check`: is this log in order, and what was read from it?"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from putlab.cli.console import EXIT_PROBLEM, progress
from putlab.cli.options import LogPath

if TYPE_CHECKING:
    from putlab.log.rules import ReadingRules

# Rejected rows shown; `--rejects` writes them all.
SHOWN = 5

# Players and distances listed before "and more".
LISTED = 12

# Bytes that take about a second to read; a progress line is shown beyond.
LONG = 20_000_000

Rejects = Annotated[
    Path | None,
    typer.Option("--rejects", help="Write every rejected row to this .csv or .json file."),
]


def check(log: LogPath, rejects: Rejects = None) -> None:
    """Read a log and say what is in it, how it was read, and which rows cannot be used."""
    from putlab.base.writing import check_writable, write_table
    from putlab.cli import options as fitted

    check_writable(rejects)
    read = fitted.labelled(_read(log))
    print("\n".join(_summary(str(log), read)))
    if rejects is not None:
        write_table(read.rejects, rejects, meta=_meta(read))
        print(f"\nAll {len(read.rejects):,} rejected rows: {rejects}")
    if len(read.rejects):
        raise typer.Exit(EXIT_PROBLEM)


def _read(path: Any) -> Any:
    from putlab.log.read import read_log

    if not _long(path):
        return read_log(path, allow_empty=True)
    with progress(f"Reading {path}"):
        return read_log(path, allow_empty=True)


def _long(path: Any) -> Any:
    """Return whether reading will take long; what cannot be read is refused by the reader."""
    with contextlib.suppress(OSError):
        files = path.iterdir() if path.is_dir() else [path]
        return sum(p.stat().st_size for p in files if p.is_file()) > LONG
    return False


def _meta(read: Any) -> dict:
    from putlab import __version__

    return {
        "putlab": __version__,
        "files": read.files,
        "sha256": read.digest,
        "rows": read.rows_read,
        "accepted": len(read.putts),
        "rejected": len(read.rejects),
    }


def _summary(name: Any, read: Any) -> Iterator[Any]:
    """Return the lines of the whole account, the answer first."""
    from putlab.log.cells import printable

    files = f"{len(read.files)} file{'s' if len(read.files) > 1 else ''}"
    yield (
        f"{printable(name)}: {files}, {read.rows_read:,} rows: {len(read.putts):,} accepted, "
        f"{len(read.rejects):,} rejected."
    )
    for title, lines in (
        ("Read", _contents(read)),
        ("How the readings were made", _rules(read.rules)),
        ("Look at", read.warnings),
        ("Also", read.notes),
        (_rejects_title(read), _first_rejects(read.rejects)),
    ):
        lines = list(lines)
        if lines:
            yield f"\n{title}"
            yield from (f"  {line}" for line in lines)


def _contents(read: Any) -> Iterator[Any]:
    putts = read.putts
    yield _line("files", _some(read.files))
    if putts.empty:
        return
    sessions = putts.drop_duplicates(["player", "session"]).groupby("player").size()
    players = [
        f"{player} ({struck:,} putts, {_plural(sessions[player], 'session')})"
        for player, struck in putts["player"].value_counts(sort=False).items()
    ]
    yield _line("players", _some(players))
    names = putts["session"].unique()
    span = names[0] if len(names) == 1 else f"{len(names)}, {names[0]} to {names[-1]}"
    yield _line("sessions", span)
    lengths = putts["distance_ft"].round(2).value_counts()
    usual = ", ".join(f"{length:g}" for length in sorted(lengths.index[:LISTED]))
    others = f" and {len(lengths) - LISTED} others" if len(lengths) > LISTED else ""
    yield _line("distances", f"{usual} ft{others}")
    for column in ("line_deg", "roll_ft", "holed", "leave_ft"):
        if count := int(putts[column].notna().sum()):
            yield _line(column, f"{count:,} readings")
    if count := int(_on_green(putts).sum()):
        yield _line("on a green", f"{count:,} putts made or missed, nothing read on that visit")


def _on_green(putts: Any) -> Any:
    from putlab.model.readings import on_green

    return on_green(putts)


def _plural(count: Any, noun: Any) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"


def _line(name: Any, text: Any) -> str:
    return f"{name:<15} {text}"


def _some(items: Any) -> Any:
    more = f" and {len(items) - LISTED} more" if len(items) > LISTED else ""
    return ", ".join(items[:LISTED]) + more


def _rules(rules: ReadingRules) -> Iterator[Any]:
    from putlab.log.rules import MEANINGS

    for name in MEANINGS:
        value = getattr(rules, name)
        shown = "none" if value is None else f"{value:g}"
        yield f"{name:<15} {shown:<8} {rules.source[name]}"


def _rejects_title(read: Any) -> Any:
    total = len(read.rejects)
    return "Rejected" if total <= SHOWN else f"Rejected, the first {SHOWN} of {total:,}"


def _first_rejects(rejects: Any) -> Iterator[Any]:
    for reject in rejects.head(SHOWN).itertuples():
        got = f" got '{reject.value}';" if reject.value else ""
        yield f"{reject.file}, row {reject.row}, {reject.column}:{got} {reject.reason}"
