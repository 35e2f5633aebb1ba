"""Arguments and options that several commands share, each worded once."""

from pathlib import Path
from typing import Annotated

import typer

from putlab.settings import SEED

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
