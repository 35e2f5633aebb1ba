"""`putlab start`: putts to strike and a sheet to write their readings in, before there is a log."""

from pathlib import Path
from typing import Annotated

from typer import Option

import putlab as pl
from putlab.base.settings import SEED
from putlab.base.writing import SHEET, check_writable
from putlab.cli import options
from putlab.cli.console import say
from putlab.cli.options import Seed, Sheet, Units, Visit

# Three stretches of those that advice is given for, on a mat of six or seven metres.
LENGTHS = {"ft": "4,10,20", "m": "1,3,6"}


def start(
    output: Sheet = None,
    lengths: Annotated[str | None, Option(help="Lengths [default: 4,10,20 ft; 1,3,6 m].")] = None,
    units: Units = None,
    putts: Annotated[int, Option(help="Putts of each player.")] = 60,
    holes: Annotated[int, Option(help="Holes of the counted game, or 0.")] = 9,
    players: Annotated[str | None, Option(help="Labels, as in alder,birch.")] = None,
    session: Visit = None,
    seed: Seed = SEED,
) -> None:
    """A sheet to fill in: a workbook, or a page for the phone on the floor beside the mat.

      putlab start --lengths 1,3,6 --units m

      putlab start --lengths 4,10,33 --players alder,birch -o visit.html

    Both load as a log once readings stand in them; what is left blank is no putt.
    """
    output = output or Path(f"{options.visit(session)}.xlsx")
    check_writable(output, SHEET)
    unit = options.unit(units)
    rows = pl.first_visit(
        options.feet(lengths or LENGTHS[unit], unit),
        putts=putts,
        holes=holes,
        players=[name.strip() for name in players.split(",")] if players else [None],
        session=options.visit(session, output),
        seed=seed,
    )
    pl.write_sheet(rows, output, units=unit)
    counted = (rows["drill"] == "counted").sum()
    say(f"{output}: {len(rows) - counted} putts and {counted} holes to fill in.")
