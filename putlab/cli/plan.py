"""`putlab plan`: the next session, as a list for the floor and rows to fill in."""

from typing import Annotated

import typer

from putlab.cli.advise import advices, settle
from putlab.cli.options import DEFAULT_SEED, Log, Output, Player
from putlab.settings import PAST_FT, STIMP_FT

Minutes = Annotated[
    float, typer.Option("--minutes", help="Whole session, warm-up and game included, minutes.")
]
OrderSeed = Annotated[
    int, typer.Option("--seed", help="Seed of the order of sets and of the holes dealt.")
]
Session = Annotated[
    str | None,
    typer.Option("--session", help="Visit written into the rows [default: today's date]."),
]


def plan(
    log: Log,
    minutes: Minutes = 40.0,
    player: Player = None,
    session: Session = None,
    output: Output = None,
    seed: OrderSeed = DEFAULT_SEED,
):
    """The next session: drills, putts, order, what to aim for and what would be news.

    Without -o the list is shown. A .html file is the list to print, with boxes for readings;
    a .csv file has a row a putt and is a log once line_deg or roll_ft is filled in; an .xlsx
    file has both.

      putlab plan data_demo --minutes 40 --player birch

      putlab plan data_demo --minutes 40 --player birch --seed 7 -o plan.html
    """
    from putlab.cli.options import DEFAULT_SEED as FIT_SEED
    from putlab.minutes import GAME_MINUTES, WARM_UP_MINUTES, drill_minutes
    from putlab.plan_sheet import check_ending, write_plan
    from putlab.writing import check_writable

    check_ending(output)
    check_writable(output)
    drills = drill_minutes(minutes, WARM_UP_MINUTES, GAME_MINUTES)
    # The fit's own seed stays: another order of the same drills needs no other posterior.
    choices = settle(log, drills, player, None, None, STIMP_FT, PAST_FT)
    fit, advice = advices(*choices, seed=FIT_SEED)
    plans = [_planned(choices[0], fit, one, minutes, seed, session) for one in advice]
    if output is None:
        for one in plans:
            _show(one)
    else:
        write_plan(plans, output)


def _planned(log, fit, advice, minutes, seed, session):
    import datetime

    from putlab.plan import plan_session

    return plan_session(
        fit.golfer(advice.player),
        log.rules,
        advice,
        minutes=minutes,
        seed=seed,
        session=session or datetime.date.today().isoformat(),
        stimp_ft=last_stimp_ft(log, advice.player),
    )


def last_stimp_ft(log, player):
    """Return the green speed of a player's last putts, where it was written down.

    Parameters
    ----------
    log : putlab.log.Log
        A log that has been read.
    player : str
        Label.

    Returns
    -------
    float or None
        Feet.
    """
    known = log.putts.loc[log.putts["player"] == player, "stimp_ft"].dropna()
    return float(known.iloc[-1]) if len(known) else None


# Columns of the list in a terminal.
WIDTHS = (6, 18, 14, 18, 0)


def _show(one):
    from rich.console import Console

    from putlab.plan_sheet import list_rows

    console = Console()
    for row in list_rows(one):
        if len(row) > 1:
            row = [f"{cell:<{width}}" for cell, width in zip(row, WIDTHS, strict=False)]
        console.print("".join(row).rstrip(), markup=False, highlight=False)
    console.print()
