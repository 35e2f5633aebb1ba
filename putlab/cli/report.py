"""`putlab report`: a log of putts in, a coach's report out."""

from pathlib import Path
from typing import Annotated

import typer

from putlab.cli.options import DEFAULT_SEED, Log, Player, Seed

Page = Annotated[
    Path, typer.Option("-o", "--output", help="HTML file to write; '-' is standard output.")
]


def report(
    log: Log,
    player: Player = None,
    output: Page = Path("report.html"),
    seed: Seed = DEFAULT_SEED,
):
    """One page to read, print and send: what to practise next, how sure, and why.

    The page needs nothing else: figures are inside it, and it opens without a connection.

      putlab report data_demo

      putlab report data_demo --player birch -o birch.html
    """
    from putlab.cli import fitted
    from putlab.cli.console import progress, say
    from putlab.writing import check_writable

    check_writable(output)
    putts = fitted.read(log)
    from putlab.golfer import choose_player

    if player is not None:
        choose_player(list(putts.putts["player"].unique()), player)
    fit = fitted.fit(putts, seed=seed)
    from putlab.report import write_report

    with progress("Writing the report") as advance:
        write_report(output, putts, fit, player=player, progress=advance)
    if str(output) != "-":
        say(f"{output} is written: open it in a browser, or print it.")
