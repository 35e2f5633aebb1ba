"""`putlab report`: a log of putts in, a coach's report out."""

from pathlib import Path
from typing import Annotated

import typer

from putlab.cli.options import DEFAULT_SEED, Log, Player, Seed
from putlab.errors import UsageError

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
        "--workers",
        min=1,
        help="Processes of this machine for --each-player; default: one a core.",
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
    log: Log,
    player: Player = None,
    output: Page = Path("report.html"),
    seed: Seed = DEFAULT_SEED,
    each_player: EachPlayer = False,
    workers: Workers = None,
    cluster: Cluster = None,
):
    """One page to read, print and send: what to practise next, how sure, and why.

    The page needs nothing else: figures are inside it, and it opens without a connection.

      putlab report data_demo

      putlab report data_demo --player birch -o birch.html

      putlab report club.parquet --each-player --cluster tcp://scheduler:8786
    """
    from putlab.cli import fitted
    from putlab.cli.console import say
    from putlab.writing import check_writable

    check_writable(output)
    if (cluster or workers) and not each_player:
        raise UsageError(
            "--workers and --cluster share out the fits of --each-player; give it too."
        )
    if cluster and workers:
        raise UsageError("a --cluster has its own workers; leave out --workers.")
    putts = fitted.read(log)
    from putlab.golfer import choose_player

    if player is not None:
        choose_player(list(putts.putts["player"].unique()), player)
    if each_player:
        _apart(output, putts, player, seed=seed, workers=workers, cluster=cluster)
    else:
        _together(output, putts, player, seed)
    if str(output) != "-":
        say(f"{output} is written: open it in a browser, or print it.")


def _together(output, putts, player, seed):
    from putlab.cli import fitted
    from putlab.cli.console import progress

    fit = fitted.fit(putts, seed=seed)
    from putlab.report import write_report

    with progress("Writing the report") as advance:
        write_report(output, putts, fit, player=player, progress=advance)


def _apart(output, putts, player, **options):
    from putlab.cli.console import progress
    from putlab.roster_report import write_roster_report

    with progress("Fitting each player alone") as advance:
        write_roster_report(output, putts, player=player, progress=advance, **options)
