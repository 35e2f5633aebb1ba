"""Arguments and options that several commands share, each worded once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from putlab.base.settings import SEED
from putlab.cli import console
from putlab.cli.console import progress, say

if TYPE_CHECKING:
    from putlab.log.read import Log
    from putlab.posterior.fit import Fit

LogPath = Annotated[
    Path, typer.Argument(metavar="LOG", help="A log of putts (.csv, .parquet, .xlsx) or a folder.")
]
Player = Annotated[
    str | None, typer.Option("--player", "-p", help="Only this player (label as in the log).")
]
Output = Annotated[
    Path | None, typer.Option("-o", "--output", help="File to write; '-' is standard output.")
]
Seed = Annotated[int, typer.Option("--seed", help="Seed of everything random.")]
DEFAULT_SEED = SEED


# Reading and fitting a log for a command, with its messages and progress.


def read(path: Path) -> Any:
    """Read a log and tell about what was left out."""
    from putlab.log.read import read_log

    log = labelled(read_log(path))
    if len(log.rejects):
        say(
            f"{len(log.rejects)} of {log.rows_read} rows can't be used and were left out; "
            f"`putlab check {path} --rejects rejects.csv` lists them."
        )
    for warning in log.warnings:
        say(f"Look at: {warning}")
    return log


def labelled(log: Log) -> Log:
    """Return the log under labels instead of names, where the command was asked for that."""
    if not console.pseudonyms:
        return log
    from putlab.log.read import with_pseudonyms

    return with_pseudonyms(log)


def fit(log: Log, *, seed: int) -> Fit:
    """Fit the spread model, showing that work goes on."""
    with progress("Fitting (a new log takes a minute, or several; a known one a second)"):
        from putlab.posterior.fit import fit_log

        return fit_log(log, seed=seed)


def say_of_greens(fit: Fit, players: list[str]) -> None:
    """Tell what putts made or missed on a green have added, or that they were left out."""
    for left_out in fit.checks.get("green", []):
        say(left_out.sentence)
    for player in players:
        if fit.green_putts(player):
            say(" ".join(fit.green_sentences(player)))
