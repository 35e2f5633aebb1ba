"""Arguments and options that several commands share, each worded once; a log read and fitted."""

from __future__ import annotations

import contextlib
import datetime
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from typer import Argument, CallbackParam, Option

import putlab as pl
from putlab.base.errors import UsageError
from putlab.base.settings import M_PER_FT, SEED
from putlab.base.words import HIDING, SPOKEN, unless_hidden
from putlab.base.writing import SHEET, TABLE, check_writable
from putlab.cli.console import progress, say

if TYPE_CHECKING:
    from putlab.log.read import Log
    from putlab.posterior.fit import Fit


def number(meaning: str, least: float, most: float) -> Any:
    """Declare an option that takes a number of a range; a range of typer's own lets nan through."""

    def checked(param: CallbackParam, value: float | None) -> float | None:
        if value is not None and not least <= value <= most:
            raise UsageError(f"{param.opts[0]}: got {value:g}; expected {least:g} to {most:g}.")
        return value

    return Option(help=f"{meaning}, {least:g} to {most:g}.", callback=checked)


def place(kinds: Sequence[str]) -> Any:
    """Declare the option of a file to write; a place or ending that can't be is refused at once."""

    def checked(output: Path | None) -> Path | None:
        check_writable(output, kinds)
        return output

    return Option("-o", "--output", help="File to write; '-': standard output.", callback=checked)


LOG = "A log of putts (.csv, .parquet, .xlsx) or a folder."
LogPath = Annotated[Path, Argument(metavar="LOG", help=LOG)]
Player = Annotated[str | None, Option("--player", "-p", help="Only this player, as in the log.")]
Output = Annotated[Path | None, place(TABLE)]
Sheet = Annotated[Path | None, place(SHEET)]
# The most that numpy and nutpie take for a seed.
Seed = Annotated[int, Option(help="Seed of everything random.", min=0, max=2**32 - 1)]
Visit = Annotated[str | None, Option(help="Visit written into the rows [default: today].")]
Lengths = Annotated[str, Option(help="Lengths: a list (3,6,10), a range (2-60), or both.")]
Units = Annotated[Literal["ft", "m"] | None, Option(help="Unit of lengths [default: the log's].")]
StimpFt = Annotated[float, number("Green speed, feet", 1, 30)]
PastFt = Annotated[float, number("How far past the hole the golfer aims to roll it, feet", 0, 20)]

FITTING = "Fitting (a new log takes a minute, or several; a known one a second)"

# Longer than any putt that a green allows.
LONGEST_FT = 200

# A foot in each unit.
FOOT = {"ft": 1.0, "m": M_PER_FT}


def read(path: Path, player: str | None = None, units: str | None = None) -> Log:
    """Read a log that holds a player, to be answered in a unit; tell about what was left out."""
    log = pl.read_log(path, pseudonyms=HIDING.get())
    if len(log.rejects):
        say(
            f"{len(log.rejects)} of {log.rows_read} rows can't be used and were left out; "
            f"`putlab check {unless_hidden(path, 'LOG')} --rejects rejects.csv` lists them."
        )
    for warning in log.warnings:
        say(f"Look at: {warning}")
    if player is not None:
        log.choose(player)
    return replace(log, units=unit(units or log.units))


def fit(log: Log, *, seed: int = SEED) -> Fit:
    """Fit the spread model, showing that work goes on."""
    progress(FITTING)
    return pl.fit(log, seed=seed)


def unit(units: str | None) -> str:
    """Say lengths in a unit from here on: feet where none is given."""
    SPOKEN.set(units or "ft")
    return SPOKEN.get()


def visit(session: str | None, output: Path | None = None) -> str | None:
    """The visit written into rows: as said, or today's; a page asks the phone for the day."""
    on_phone = output is not None and output.suffix.lower() == ".html"
    return session or (None if on_phone else datetime.date.today().isoformat())


def feet(text: str, units: str = "ft") -> list[float]:
    """Read a list of lengths such as ``3,6,10`` or ``2-5,10``, given in a unit, as feet."""
    found: list[float] = []
    most = LONGEST_FT * FOOT[units]
    for part in text.split(","):
        low, dash, high = part.strip().partition("-")
        values: Sequence[float] = []
        with contextlib.suppress(ValueError):
            values = range(int(low), int(high) + 1) if dash else [float(low)]
        if not values or not all(0 < value <= most for value in values):
            raise UsageError(
                f"lengths {text}: {part.strip() or 'nothing'} is not a length. "
                f"Give {units} above 0 and at most {most:g}, as in 3,6,10 or 2-60."
            )
        found += values
    return list(dict.fromkeys(float(value) / FOOT[units] for value in found))
