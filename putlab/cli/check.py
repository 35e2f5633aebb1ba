"""`putlab check` and `import` of a log; `notebooks` and `cache`: what the kit brings and keeps."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer import Argument, Option

import putlab as pl
from putlab.base.errors import OutputError, UsageError
from putlab.base.settings import shipped
from putlab.base.words import HIDING, counted, unless_hidden
from putlab.base.writing import check_writable, said_of, write_table
from putlab.cli.console import EXIT_PROBLEM, harmless, say
from putlab.cli.options import FOOT, LogPath

if TYPE_CHECKING:
    import pandas as pd

    from putlab.log.read import Log

# Players, distances and reasons of rejected rows listed before "and more".
LISTED = 12


def check(
    log: LogPath,
    rejects: Annotated[Path | None, Option(help="Rejected rows, to this .csv or .json.")] = None,
) -> None:
    """Read a log and say what is in it, how it was read, and which rows cannot be used."""
    check_writable(rejects)
    read = pl.read_log(log, allow_empty=True, pseudonyms=HIDING.get())
    print(harmless("\n".join(_summary(unless_hidden(log, "the log"), read))))
    if rejects is not None:
        counts = {"rows": read.rows_read, "accepted": len(read.putts)}
        meta = {"putlab": pl.__version__, "files": read.files, "sha256": read.digest, **counts}
        write_table(read.rejects, rejects, meta=meta | {"rejected": len(read.rejects)})
        print(f"\nAll {len(read.rejects):,} rejected rows: {said_of(rejects)}")
    if len(read.rejects):
        raise typer.Exit(EXIT_PROBLEM)


def import_(
    log: LogPath,
    maps: Annotated[
        list[str], Option("--map", help='What a heading is: "Direction=line_deg"; may be repeated.')
    ] = [],  # noqa: B006 (typer's way)
    declare: Annotated[
        list[str], Option("--declare", help="How the readings were made: aim_past_ft=1; as above.")
    ] = [],  # noqa: B006
) -> None:
    """Read a log with headings of your own, confirm once what they mean, and keep that beside it.

    The next visit under the same headings then needs nothing.
    """
    if HIDING.get():
        raise UsageError("import asks about the log's own words: run it without --pseudonyms.")
    rules = _pairs(declare, float, "the second a number, as in aim_past_ft=1")
    columns = _pairs(maps, str, "as in Direction=line_deg")
    read = pl.read_log(log, columns=columns, rules=rules, guess=True)
    unsure = [f"*{heading}*" for heading in read.understood.unsure]
    for line in read.assumed:
        print(harmless(f"{'?' if line.startswith(tuple(unsure)) else ' '} {line}"))
    for line in (read.sentence, *read.warnings):
        print(harmless(line))
    try:
        if unsure and not typer.confirm("Are the lines with ? read as they are meant?"):
            raise typer.Abort
    except typer.Abort:
        raise UsageError(f"nothing was kept. {read.understood.question(log)}") from None
    if not (read.understood.columns or rules):
        print("Its headings are the kit's own: there is nothing to keep.")
        return
    kept = pl.keep_columns(log, read.understood.columns, **rules)
    print(f"Kept in {kept}; next: putlab report {log}")


def _pairs(texts: list[str], kind: type, example: str) -> dict[str, Any]:
    found = {}
    for text in texts:
        try:
            name, value = text.rsplit("=", 1)
            found[name.strip()] = kind(value.strip())
        except ValueError as error:
            said = f"{text!r}: expected two parts with = between, {example}."
            raise UsageError(said) from error
    return found


def _summary(name: str, read: Log) -> Iterator[str]:
    """Return the lines of the whole account, the answer first."""
    yield (
        f"{name}: {counted(len(read.files), 'file')}, "
        f"{read.rows_read:,} rows: {len(read.putts):,} accepted, {len(read.rejects):,} rejected."
    )
    for title, lines in {
        "Look at": read.warnings,
        "Read": _contents(read),
        "How the readings were made": _rules(read),
        "Assumed": read.assumed,
        "Also": read.notes,
        "Rejected": _rejects(read.rejects),
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
        f"{player} ({counted(struck, 'putt')}, {counted(sessions, 'session')})"
        for player, struck, sessions in visits.itertuples()
    ]
    yield _line("players", _some(players))
    names = putts["session"].unique()
    span = names[0] if len(names) == 1 else f"{len(names)}, {names[0]} to {names[-1]}"
    yield _line("sessions", span)
    lengths = (putts["distance_ft"] * FOOT[read.units]).round(2).value_counts()
    usual = ", ".join(f"{length:g}" for length in sorted(lengths.index[:LISTED]))
    others = f" and {len(lengths) - LISTED} others" if len(lengths) > LISTED else ""
    yield _line("distances", f"{usual} {read.units}{others}")
    for column in ("line_deg", "roll_ft", "holed", "leave_ft"):
        if count := putts[column].count():
            yield _line(column.replace("_ft", f"_{read.units}"), f"{count:,} readings")
    if count := read.on_green.sum():
        yield _line("on a green", f"{count:,} putts made or missed, nothing read on that visit")


def _line(name: str, text: str) -> str:
    return f"{name:<15} {text}"


def _some(items: Sequence[str]) -> str:
    more = f" and {len(items) - LISTED} more" if len(items) > LISTED else ""
    return ", ".join(items[:LISTED]) + more


def _rules(read: Log) -> Iterator[str]:
    for name, source in read.rules.source.items():
        value = getattr(read.rules, name)
        if read.units == "m" and name.endswith("_ft"):
            name, value = name.replace("_ft", "_m"), value and value * FOOT["m"]
        yield _line(name, f"{'none' if value is None else format(value, '.4g'):<8} {source}")


def _rejects(rejects: pd.DataFrame) -> Iterator[str]:
    """Say why rows cannot be used, the commonest reason first, with the first row of each."""
    kinds = rejects["reason"].str.split("; also ").str[0]
    groups = sorted(rejects.groupby([rejects["column"], kinds]), key=lambda group: -len(group[1]))
    for (column, reason), rows in groups[:LISTED]:
        first = rows.iloc[0]
        got = f": got '{first.value}'" if first.value else ""
        where = f"{first.file}, row {first.row}{got}"
        yield f"{counted(len(rows), 'row')}, {column}: {reason}; first: {where}"
    if len(groups) > LISTED:
        yield f"and {len(groups) - LISTED} reasons more; --rejects FILE writes every row."


# The notebooks, and the demo that they read.
FOLDERS = ("notebooks", "data_demo")


def notebooks(
    folder: Annotated[
        Path, Argument(metavar="DIR", help="Folder to copy into; made where it is missing.")
    ],
) -> None:
    """Copy the notebooks and the demo log into a folder to work in."""
    written, kept = copy_out(folder)
    say(f"{counted(len(written), 'file')} copied into {folder}.")
    if kept:
        names = ", ".join(str(path.relative_to(folder)) for path in kept)
        say(f"Left as they are, because they are yours now: {names}.")
    say(
        f"Open them with: uv run jupyter lab {folder}",
        "Begin with 00_start_here; the first cell of each names the log: put your own there.",
    )


def copy_out(target: Path) -> tuple[list[Path], list[Path]]:
    """Return what was copied, and what stays because somebody has another file there."""
    written, kept = [], []
    try:
        for source, goal in _to_copy(target):
            goal.parent.mkdir(parents=True, exist_ok=True)
            content = source.read_bytes()
            try:
                # "x": if somebody makes the file in this very moment, it is theirs.
                with open(goal, "xb") as stream:
                    stream.write(content)
                written.append(goal)
            except FileExistsError:
                kept += [goal] * (goal.read_bytes() != content)
    except OSError as error:
        raise OutputError(
            f"{target} could not be written: {error.strerror or error}. What was copied "
            "before stays; choose another folder."
        ) from error
    return written, kept


def _to_copy(target: Path) -> Iterator[tuple[Path, Path]]:
    """Yield the files to copy, but what running a notebook leaves behind, and their places."""
    for folder in FOLDERS:
        for path in sorted(shipped(folder).rglob("*")):
            if path.is_file() and not any(p.startswith((".", "__")) for p in path.parts[-2:]):
                yield path, target / folder / path.relative_to(shipped(folder))


def cache(clear: Annotated[bool, Option("--clear", help="Remove every kept fit.")] = False) -> None:
    """Where fits and reports (with their names) are kept for you alone; --clear removes them."""
    from putlab.base.cache import cache_folder, clear_cache, kept_entries, open_to_others

    if clear:
        typer.echo(f"{clear_cache()} kept fits removed from {cache_folder()}.")
        return
    sizes = [entry.lstat().st_size for entry in kept_entries()]
    typer.echo(f"{len(sizes)} kept fits, {sum(sizes) / 1e6:.1f} MB, in {cache_folder()}.")
    if open_to_others():
        say(
            "Others can write into this folder. Only fits that are yours are used; to be alone, "
            "close it (chmod 700) or name another as PUTLAB_CACHE."
        )
