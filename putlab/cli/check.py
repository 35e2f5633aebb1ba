"""`putlab check`: is this log in order, and what was read from it?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

import putlab as pl
from putlab.base.words import counted
from putlab.base.writing import check_writable, write_table
from putlab.cli.console import EXIT_PROBLEM, harmless, pseudonyms
from putlab.cli.options import LogPath

if TYPE_CHECKING:
    from putlab.log.read import Log

# Rejected rows shown; `--rejects` writes them all.
SHOWN = 5

# Players and distances listed before "and more".
LISTED = 12


def check(
    log: LogPath,
    rejects: Annotated[
        Path | None, typer.Option(help="Write every rejected row to this .csv or .json file.")
    ] = None,
) -> None:
    """Read a log and say what is in it, how it was read, and which rows cannot be used."""
    check_writable(rejects)
    read = pl.read_log(log, allow_empty=True, pseudonyms=pseudonyms.get())
    print(harmless("\n".join(_summary(str(log), read))))
    if rejects is not None:
        counts = {"rows": read.rows_read, "accepted": len(read.putts)}
        meta = {"putlab": pl.__version__, "files": read.files, "sha256": read.digest, **counts}
        write_table(read.rejects, rejects, meta=meta | {"rejected": len(read.rejects)})
        print(f"\nAll {len(read.rejects):,} rejected rows: {rejects}")
    if len(read.rejects):
        raise typer.Exit(EXIT_PROBLEM)


def _summary(name: str, read: Log) -> Iterator[str]:
    """Return the lines of the whole account, the answer first."""
    yield (
        f"{name}: {counted(len(read.files), 'file')}, "
        f"{read.rows_read:,} rows: {len(read.putts):,} accepted, {len(read.rejects):,} rejected."
    )
    total = len(read.rejects)
    for title, lines in {
        "Read": _contents(read),
        "How the readings were made": _rules(read),
        "Look at": read.warnings,
        "Also": read.notes,
        "Rejected" + f", the first {SHOWN} of {total:,}" * (total > SHOWN): _first_rejects(read),
    }.items():
        if lines := list(lines):
            yield f"\n{title}"
            yield from (f"  {line}" for line in lines)


def _contents(read: Log) -> Iterator[str]:
    putts = read.putts
    yield _line("files", _some(read.files))
    if putts.empty:
        return
    visits = putts.groupby("player", sort=False)["session"].agg(["size", "nunique"])
    players = [
        f"{player} ({struck:,} putts, {counted(sessions, 'session')})"
        for player, struck, sessions in visits.itertuples()
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
    if count := int(read.on_green.sum()):
        yield _line("on a green", f"{count:,} putts made or missed, nothing read on that visit")


def _line(name: str, text: str) -> str:
    return f"{name:<15} {text}"


def _some(items: Sequence[str]) -> str:
    more = f" and {len(items) - LISTED} more" if len(items) > LISTED else ""
    return ", ".join(items[:LISTED]) + more


def _rules(read: Log) -> Iterator[str]:
    for name, source in read.rules.source.items():
        value = getattr(read.rules, name)
        yield _line(name, f"{'none' if value is None else format(value, 'g'):<8} {source}")


def _first_rejects(read: Log) -> Iterator[str]:
    for reject in read.rejects.head(SHOWN).itertuples():
        got = f" got '{reject.value}';" if reject.value else ""
        yield f"{reject.file}, row {reject.row}, {reject.column}:{got} {reject.reason}"
