"""`putlab notebooks` and `putlab cache`: what the kit brings along, and what it keeps."""

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer

from putlab.base.errors import OutputError
from putlab.base.settings import shipped
from putlab.base.words import counted
from putlab.cli.console import say

# The notebooks, and the demo that they read.
FOLDERS = ("notebooks", "data_demo")


def notebooks(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="Folder to copy into; made where it is missing.")
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
        for source, goal in _pairs(target):
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


def _pairs(target: Path) -> Iterator[tuple[Path, Path]]:
    """Yield the files to copy, but what running a notebook leaves behind, and their places."""
    for folder in FOLDERS:
        for path in sorted(shipped(folder).rglob("*")):
            if path.is_file() and not any(p.startswith((".", "__")) for p in path.parts[-2:]):
                yield path, target / folder / path.relative_to(shipped(folder))


def cache(
    clear: Annotated[bool, typer.Option("--clear", help="Remove every kept fit.")] = False,
) -> None:
    """Where fits are kept on this machine, for you alone; --clear removes them."""
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
