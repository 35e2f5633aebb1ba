"""`putlab advise`: which distance deserves the next hour, line or pace, and how sure."""

from pathlib import Path
from typing import Annotated

import typer

from putlab.cli.options import DEFAULT_SEED, Log, Output, Player, Seed
from putlab.settings import PAST_FT, STIMP_FT

Minutes = Annotated[float, typer.Option("--minutes", help="Practice time, minutes.")]
ReferenceFile = Annotated[
    Path | None,
    typer.Option(
        "--reference",
        help="CSV of distance_ft, average_putts to be compared with; default: the tour's.",
    ),
]
Mix = Annotated[
    str | None,
    typer.Option(
        "--mix",
        help="First putts of a round: 'tour', 'handicap 0', 'handicap 10' (default), "
        "'handicap 20', 'own' (counted in the log), or a CSV of distance_ft, first_putts.",
    ),
]
Weeks = Annotated[
    int | None,
    typer.Option("--weeks", help="Split so many weeks, two sessions each, as well."),
]
WhatIf = Annotated[
    bool,
    typer.Option(
        "--what-if",
        help="Make the choice anew under other assumptions, and say which flips it (slower).",
    ),
]
StimpFt = Annotated[float, typer.Option("--stimp-ft", help="Green speed of the rounds, feet.")]
PastFt = Annotated[
    float, typer.Option("--past-ft", help="How far past the hole you aim, feet.")
]


def advise(
    log: Log,
    minutes: Minutes = 60.0,
    player: Player = None,
    reference: ReferenceFile = None,
    mix: Mix = None,
    stimp_ft: StimpFt = STIMP_FT,
    past_ft: PastFt = PAST_FT,
    weeks: Weeks = None,
    what_if: WhatIf = False,
    output: Output = None,
    seed: Seed = DEFAULT_SEED,
):
    """Which distance deserves the next hour, line or pace, how sure, and what it saves.

    Strokes are those of a round of 18 holes: lost now to the reference, and saved by the time
    given when all of it goes to one distance and one component.

      putlab advise data_demo

      putlab advise data_demo --player birch --minutes 40 -o birch.csv

      putlab advise data_demo --player birch --weeks 4 --what-if
    """
    from putlab.writing import check_writable, write_table

    check_writable(output)
    choices = settle(log, minutes, player, reference, mix, stimp_ft, past_ft)
    fit, advice = advices(*choices, seed=seed)
    leans = [_leaning(one) for one in advice] if what_if else []
    says = {one.player: _says(one, weeks) for one in advice}
    if output is None:
        _show(advice, says, leans)
        return
    import pandas as pd

    meta = fit.meta() | {"log_sha256": choices[0].digest, "minutes": minutes, "says": says}
    meta["assumptions"] = {a.player: a.assumptions.to_dict("records") for a in advice}
    meta["what_if"] = {f.player: f.table.to_dict("records") for f in leans}
    write_table(pd.concat([a.table for a in advice], ignore_index=True), output, meta=meta)


def _says(one, weeks):
    """Return what the advice says, a sentence a line."""
    from putlab.decision.measuring import measuring
    from putlab.minutes import SHORTEST_SESSION, split_minutes, split_weeks

    said = [one.sentence, one.lost_sentence, measuring(one).sentence]
    if one.minutes >= SHORTEST_SESSION:
        said.append(f"Best split: {split_minutes(one.case, one.minutes).sentence}")
    if weeks is not None:
        split = split_weeks(one.case, one.minutes, weeks=weeks)
        said.append(f"{weeks} weeks, {split.sessions} sessions: {split.sentence}")
    return said


def _leaning(one):
    from putlab.cli.console import progress
    from putlab.sensitivity import sensitivity

    with progress(f"Choosing anew for {one.player} under other assumptions"):
        return sensitivity(one)


def settle(log, minutes, player, reference, mix, stimp_ft, past_ft):
    """Read the log and every choice, so that a wrong one is told before the fit.

    Parameters
    ----------
    log : pathlib.Path
        The log.
    minutes : float
        Practice time.
    player : str or None
        Only this player.
    reference : pathlib.Path or None
        CSV of average putts.
    mix : str or None
        Level, ``own``, or a CSV.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims.

    Returns
    -------
    tuple
        The log read, minutes, players, and what `putlab.worth.advise` takes.

    Raises
    ------
    UsageError
        One of them is not what it should be.
    """
    from putlab.cli import fitted
    from putlab.golfer import choose_player
    from putlab.strokes import read_reference
    from putlab.worth import check_minutes

    check_minutes(minutes)
    known = None if reference is None else read_reference(reference)
    putts = fitted.read(log)
    players = list(putts.putts["player"].unique())
    players = players if player is None else [choose_player(players, player)]
    round_mix = None if mix is None else _mix(mix, putts)
    options = {"reference": known, "mix": round_mix, "stimp_ft": stimp_ft, "past_ft": past_ft}
    return putts, minutes, players, options


def _mix(text, log):
    """Return the mix that was named."""
    from putlab import rounds

    if text == "own":
        return rounds.count_mix(log.putts)
    return rounds.read_mix(text) if text.endswith(".csv") else rounds.shipped_mix(text)


def advices(log, minutes, players, options, *, seed):
    """Fit the log and return the advice for every player.

    Parameters
    ----------
    log : putlab.log.Log
        A log that has been read.
    minutes : float
        Practice time.
    players : list of str
        Whom to advise.
    options : dict
        Passed to `putlab.worth.advise`.
    seed : int
        Seed of everything random.

    Returns
    -------
    tuple of putlab.golfer.SpreadFit and list of putlab.decision.advice.Advice
        The fit, and one advice a player.

    Raises
    ------
    FitError
        Nobody of them struck a putt that tells about practice.
    """
    from putlab.cli import fitted
    from putlab.cli.console import progress, say
    from putlab.errors import FitError
    from putlab.worth import advise as advise_golfer

    fit = fitted.fit(log, seed=seed)
    found = []
    with progress("Weighing the choices", total=len(players)) as advance:
        for done, player in enumerate(players, start=1):
            golfer = fit.golfer(player)
            try:
                found.append(advise_golfer(golfer, minutes=minutes, seed=seed, **options))
            except FitError as error:
                # Of a roster, those who can be advised are.
                if len(players) == 1:
                    raise
                say(f"Left out: {error}")
            advance(done)
    if not found:
        raise FitError("no player of the log has practised anything to be advised on.")
    return fit, found


def _show(advice, says, leans):
    from rich.console import Console
    from rich.table import Table

    from putlab.decision.advice import CAUTION, shown_table

    console = Console()
    for number, one in enumerate(advice):
        console.print(one.player + ":", style="bold", markup=False, highlight=False)
        said = says[one.player] + [
            f"Leans on: {f.sentence}" for f in leans[number : number + 1]
        ]
        for sentence in said:
            console.print(sentence, markup=False, highlight=False)
        shown = shown_table(one.table)
        table = Table(*shown.columns)
        for row in shown.itertuples(index=False):
            table.add_row(*row)
        console.print(table)
    console.print(CAUTION)
