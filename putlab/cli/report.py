"""`putlab report`: a log of putts in, a coach's report out."""

import argparse
import filecmp
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from putlab.base.errors import OutputError, UsageError
from putlab.base.settings import shipped
from putlab.cli.options import DEFAULT_SEED, LogPath, Player, Seed

Page = Annotated[
    Path, typer.Option("-o", "--output", help="HTML file to write; '-' is standard output.")
]
EachPlayer = Annotated[
    bool,
    typer.Option(
        "--each-player",
        help="Fit each player alone, side by side: for a roster too long for one fit.",
    ),
]
Workers = Annotated[
    int | None,
    typer.Option(
        "--workers", min=1, help="Processes of this machine for --each-player; default: one a core."
    ),
]
Cluster = Annotated[
    str | None,
    typer.Option(
        "--cluster",
        metavar="ADDRESS",
        help="Scheduler of a Dask cluster that does the fits of --each-player.",
    ),
]


def report(
    log: LogPath,
    player: Player = None,
    output: Page = Path("report.html"),
    seed: Seed = DEFAULT_SEED,
    each_player: EachPlayer = False,
    workers: Workers = None,
    cluster: Cluster = None,
) -> None:
    """One page to read, print and send: what to practise next, how sure, and why.

    The page needs nothing else: figures are inside it, and it opens without a connection.

      putlab report data_demo

      putlab report data_demo --player birch -o birch.html

      putlab report club.parquet --each-player --cluster tcp://scheduler:8786
    """
    from putlab.base.writing import check_writable
    from putlab.cli import options as fitted
    from putlab.cli.console import say

    check_writable(output)
    if (cluster or workers) and not each_player:
        raise UsageError(
            "--workers and --cluster share out the fits of --each-player; give it too."
        )
    if cluster and workers:
        raise UsageError("a --cluster has its own workers; leave out --workers.")
    putts = fitted.read(log)
    from putlab.posterior.player import choose_player

    if player is not None:
        choose_player(list(putts.putts["player"].unique()), player)
    if each_player:
        _apart(output, putts, player, seed=seed, workers=workers, cluster=cluster)
    else:
        _together(output, putts, player, seed)
    if str(output) != "-":
        say(f"{output} is written: open it in a browser, or print it.")


def _together(output: Any, putts: Any, player: str | None, seed: int) -> None:
    from putlab.cli import options as fitted
    from putlab.cli.console import progress

    fit = fitted.fit(putts, seed=seed)
    from putlab.pages.page import report as report_on

    with progress("Writing the report") as advance:
        report_on(putts, fit, output, player=player, progress=advance)


def _apart(output: Any, putts: Any, player: str | None, **options: Any) -> None:
    from putlab.cli.console import progress
    from putlab.pages.page import roster_report

    with progress("Fitting each player alone") as advance:
        roster_report(putts, output, player=player, progress=advance, **options)


# `putlab cache`: where fits are kept, and how to remove them.


Clear = Annotated[bool, typer.Option("--clear", help="Remove every kept fit.")]


def cache(clear: Clear = False) -> None:
    """Where fits are kept on this machine, for you alone; --clear removes them."""
    from putlab.base.cache import cache_folder, clear_cache

    if clear:
        typer.echo(f"{clear_cache()} kept fits removed from {cache_folder()}.")
        return
    entries = list(cache_folder().glob("*.npz"))
    size_mb = sum(entry.stat().st_size for entry in entries) / 1e6
    typer.echo(f"{len(entries)} kept fits, {size_mb:.1f} MB, in {cache_folder()}.")


# `putlab notebooks`: a folder of notebooks to learn from and work in.


Folder = Annotated[
    Path, typer.Argument(metavar="DIR", help="Folder to copy into; made where it is missing.")
]


def notebooks(folder: Folder) -> None:
    """Copy the notebooks and the demo log into a folder to work in."""
    from putlab.base.words import counted
    from putlab.cli.console import say

    copied = copy_out(folder)
    say(f"{counted(len(copied.written), 'file')} copied into {folder}.")
    if copied.kept:
        names = ", ".join(str(path.relative_to(folder)) for path in copied.kept[:5])
        more = f" and {len(copied.kept) - 5} more" if len(copied.kept) > 5 else ""
        say(f"Left as they are, because they are yours now: {names}{more}.")
    say("Open one in JupyterLab; its first cell names the log: put your own there.")


# The notebooks and the demo: find them, copy them out to work in, run them anew.


FOLDERS = ("notebooks", "data_demo")

# A notebook that takes longer is stuck; the cold fit of the demo takes a minute or two.
CELL_SECONDS = 600


@dataclass(frozen=True)
class Copied:
    """What a copy did."""

    written: list
    kept: list


def copy_out(target: str | Path) -> Any:
    """Copy the notebooks and the demo into a folder, never over a file that is there."""
    target = Path(target)
    written, kept = [], []
    try:
        for folder in FOLDERS:
            for source in _files(shipped(folder)):
                goal = target / folder / source.relative_to(shipped(folder))
                if _place(source, goal):
                    written.append(goal)
                elif not filecmp.cmp(source, goal, shallow=False):
                    kept.append(goal)
    except OSError as error:
        raise OutputError(
            f"{target} could not be written: {error.strerror or error}. What was copied "
            "before stays; choose another folder."
        ) from error
    return Copied(written, kept)


def _files(folder: Any) -> Any:
    """Return the files to copy, without what running a notebook leaves behind."""
    return sorted(
        path
        for path in folder.rglob("*")
        if path.is_file() and not any(part.startswith((".", "__")) for part in path.parts[-2:])
    )


def _place(source: Any, goal: Any) -> bool:
    """Copy a file where there is none; tell whether it was copied."""
    goal.parent.mkdir(parents=True, exist_ok=True)
    try:
        # "x": if somebody makes the file in this very moment, it is theirs.
        with open(goal, "xb") as stream, open(source, "rb") as content:
            shutil.copyfileobj(content, stream)
    except FileExistsError:
        return False
    return True


def execute(path: str | Path) -> None:
    """Run a notebook top to bottom and keep its outputs in it."""
    import nbformat
    from nbclient import NotebookClient

    from putlab.base.writing import write_text

    path = Path(path)
    notebook = nbformat.read(path, as_version=4)
    client = NotebookClient(
        notebook,
        timeout=CELL_SECONDS,
        startup_timeout=CELL_SECONDS,
        kernel_name="python3",
        resources={"metadata": {"path": str(path.parent)}},
    )
    client.execute()
    write_text(path, nbformat.writes(_tidy(notebook)) + "\n")


def _tidy(notebook: Any) -> Any:
    """Drop what differs between machines and says nothing: times and exact versions."""
    for cell in notebook.cells:
        cell.metadata.pop("execution", None)
    notebook.metadata = {
        "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
        "language_info": {"name": "python"},
    }
    return notebook


def _main() -> None:
    parser = argparse.ArgumentParser(prog="python -m putlab.cli.report", description=__doc__)
    parser.add_argument("--execute", action="store_true", help="run the notebooks anew")
    parser.add_argument("names", nargs="*", help="only notebooks whose name starts so")
    given = parser.parse_args()
    for path in sorted(shipped("notebooks").glob("*.ipynb")):
        if not given.names or path.name.startswith(tuple(given.names)):
            print(path.name, flush=True)
            if given.execute:
                execute(path)


if __name__ == "__main__":
    _main()
