"""`putlab review`: today against usual."""

from typing import Annotated

import typer

from putlab.cli.options import DEFAULT_SEED, Log, Output, Player, Seed

# Of the three looks at one length the gravest verdict is shown.
WORST_FIRST = ("news", "odd, but one of many looks", "ordinary", "too few putts")

Session = Annotated[
    str | None, typer.Option("--session", help="Visit to review [default: the last].")
]


def review(
    log: Log,
    session: Session = None,
    player: Player = None,
    output: Output = None,
    seed: Seed = DEFAULT_SEED,
):
    """After a session: is it news, or what this golfer does on an ordinary day?

    Spread, bias and share inside the target band at each length, against ordinary days of the
    same golfer known from the visits before. Many looks at once are allowed for, and too few
    putts are said to be too few.

      putlab review data_demo --player birch

      putlab review data_demo --session 2026-01-20 -o review.csv
    """
    from putlab.cli import fitted
    from putlab.writing import check_writable, write_table

    check_writable(output)
    putts = fitted.read(log)
    from putlab.review import review as review_one
    from putlab.review import review_everybody

    # The fit keeps its own seed, so that another seed of the days needs no other fit.
    options = {"session": session, "seed": seed}
    options["fit"] = lambda part: fitted.fit(part, seed=DEFAULT_SEED)
    if player is None:
        found = review_everybody(putts, **options)
    else:
        found = [review_one(putts, player=player, **options)]
    if output is None:
        for one in found:
            _show(one)
        return
    import pandas as pd

    says = {one.player: {"sentence": one.sentence, "notes": one.notes} for one in found}
    table = pd.concat([one.table for one in found], ignore_index=True)
    write_table(table, output, meta={"log_sha256": putts.digest, "seed": seed, "says": says})


TITLES = ("Distance, ft", "", "Putts", "Spread", "Bias", "Inside the band", "Verdict")


def _show(one):
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    console = Console()
    console.print(escape(one.sentence), style="bold", highlight=False)
    table = Table(*TITLES, title="Today, and the middle nine in ten of ordinary days")
    for (distance_ft, component), rows in one.table.groupby(["distance_ft", "component"]):
        cells = [_cell(row) for row in rows.itertuples()]
        verdict = min(rows["verdict"], key=WORST_FIRST.index)
        table.add_row(
            f"{distance_ft:g}", component, str(rows["putts"].iloc[0]), *cells, verdict
        )
    if len(one.table):
        console.print(table)
    for note in one.notes:
        console.print(escape(note), highlight=False)


def _cell(row):
    from putlab.review import numbers

    if row.today != row.today:
        return ""
    today, low, high = numbers(row)
    return today if row.p != row.p else f"{today}\n[{low}, {high}]"
