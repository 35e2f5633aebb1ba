"""Arguments and options that several commands share, each worded once."""

from pathlib import Path
from typing import Annotated

import typer

from putlab.base.settings import SEED
from putlab.cli import console
from putlab.cli.console import progress, say

Log = Annotated[
    Path,
    typer.Argument(metavar="LOG", help="A log of putts (.csv, .parquet, .xlsx) or a folder."),
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


def read(path):
    """Read a log and tell about what was left out.

    Parameters
    ----------
    path : pathlib.Path
        The log.

    Returns
    -------
    putlab.log.read.Log
        Usable rows and rejects; under labels instead of names where that was asked for.
    """
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


def labelled(log):
    """Return the log under labels instead of names, where the command was asked for that.

    Parameters
    ----------
    log : putlab.log.read.Log
        A log that has been read.

    Returns
    -------
    putlab.log.read.Log
        The log to go on with.
    """
    if not console.pseudonyms:
        return log
    from putlab.log.read import with_pseudonyms

    return with_pseudonyms(log)


def fit(log, *, seed):
    """Fit the spread model, showing that work goes on.

    Parameters
    ----------
    log : putlab.log.read.Log
        A log that has been read.
    seed : int
        Seed of the fit.

    Returns
    -------
    putlab.posterior.fit.Fit
        Line and pace of every player.
    """
    with progress("Fitting (a new log takes a minute, or several; a known one a second)"):
        from putlab.posterior.fit import fit_log

        return fit_log(log, seed=seed)


def say_of_greens(fit, players):
    """Tell what putts made or missed on a green have added, or that they were left out.

    Parameters
    ----------
    fit : putlab.posterior.fit.Fit
        Fit of the log.
    players : list of str
        Whom to tell of.
    """
    from putlab.posterior.fit import GreenFit

    if not isinstance(fit, GreenFit):
        for left_out in fit.checks.get("green", []):
            say(left_out.sentence)
        return
    for player in players:
        if fit.green_putts(player):
            say(" ".join(fit.sentences(player)))
