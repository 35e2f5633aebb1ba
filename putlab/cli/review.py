"""`putlab review`: today against usual."""

from typing import Annotated

import typer

from putlab.cli.options import DEFAULT_SEED, Log, Output, Player, Seed

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
    from putlab.review import review as review_log

    # The fit keeps its own seed, so that another seed of the days needs no other fit.
    found = review_log(
        putts,
        player=player,
        session=session,
        seed=seed,
        fit=lambda part: fitted.fit(part, seed=DEFAULT_SEED),
    )
    if output is None:
        for one in found:
            _show(one)
        return
    import pandas as pd

    says = {one.player: {"sentence": one.sentence, "notes": one.notes} for one in found}
    table = pd.concat([one.table for one in found], ignore_index=True)
    write_table(table, output, meta={"log_sha256": putts.digest, "seed": seed, "says": says})


TITLES = ("Distance, ft", "Look", "Putts", "Today", "Ordinary days", "Chance", "Verdict")


def _show(one):
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    from putlab.review import numbers
    from putlab.wording import sure

    console = Console()
    console.print(escape(one.sentence), style="bold", highlight=False)
    table = Table(*TITLES, title="Chance: that an ordinary day is as far out")
    for row in one.table.itertuples():
        today, low, high = numbers(row)
        name = f"{row.component} {row.look}"
        few = row.p != row.p
        ends, chance = ("", "") if few else (f"{low} to {high}", sure(row.p))
        table.add_row(
            f"{row.distance_ft:g}", name, str(row.putts), today, ends, chance, row.verdict
        )
    console.print(table)
    for note in one.notes:
        console.print(escape(note), highlight=False)
