"""`putlab advise`: which distance deserves the next hour, line or pace, and how sure."""

from pathlib import Path
from typing import Annotated, Any

import typer

from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.cli.options import DEFAULT_SEED, LogPath, Output, Player, Seed

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
    int | None, typer.Option("--weeks", help="Split so many weeks, two sessions each, as well.")
]
WhatIf = Annotated[
    bool,
    typer.Option(
        "--what-if",
        help="Make the choice anew under other assumptions, and say which flips it (slower).",
    ),
]
StimpFt = Annotated[float, typer.Option("--stimp-ft", help="Green speed of the rounds, feet.")]
PastFt = Annotated[float, typer.Option("--past-ft", help="How far past the hole you aim, feet.")]


def advise(
    log: LogPath,
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
) -> None:
    """Which distance deserves the next hour, line or pace, how sure, and what it saves."""
    from putlab.base.writing import check_writable, write_table

    check_writable(output)
    choices = settle(log, minutes, player, reference, mix, stimp_ft, past_ft)
    fit, advice = advices(*choices, seed=seed)
    leans = [_leaning(one) for one in advice] if what_if else []
    says = {one.player: _says(one, weeks) for one in advice}
    if output is None:
        _show_advise(advice, says, leans)
        return
    import pandas as pd

    meta = fit.meta() | {"log_sha256": choices[0].digest, "minutes": minutes, "says": says}
    meta["assumptions"] = {a.player: a.assumptions.to_dict("records") for a in advice}
    meta["what_if"] = {f.player: f.table.to_dict("records") for f in leans}
    write_table(pd.concat([a.table for a in advice], ignore_index=True), output, meta=meta)


def _says(one: Any, weeks: Any) -> Any:
    """Return what the advice says, a sentence a line."""
    from putlab.practice.split import SHORTEST_SESSION

    said = [one.sentence, one.lost_sentence, one.measuring().sentence]
    if one.minutes >= SHORTEST_SESSION:
        said.append(f"Best split: {one.split().sentence}")
    if weeks is not None:
        split = one.split(weeks=weeks)
        said.append(f"{weeks} weeks, {split.sessions} sessions: {split.sentence}")
    return said


def _leaning(one: Any) -> Any:
    from putlab.cli.console import progress

    with progress(f"Choosing anew for {one.player} under other assumptions"):
        return one.what_if()


def settle(
    log: Path,
    minutes: float,
    player: str | None,
    reference: Path | None,
    mix: str | None,
    stimp_ft: float,
    past_ft: float,
) -> Any:
    """Read the log and every choice, so that a wrong one is told before the fit."""
    from putlab.cli import options as fitted
    from putlab.posterior.player import choose_player
    from putlab.practice.advice import check_minutes
    from putlab.rounds.reference import read_reference

    check_minutes(minutes)
    known = None if reference is None else read_reference(reference)
    putts = fitted.read(log)
    players = list(putts.putts["player"].unique())
    players = players if player is None else [choose_player(players, player)]
    round_mix = None if mix is None else _mix(mix, putts)
    options = {"reference": known, "mix": round_mix, "stimp_ft": stimp_ft, "past_ft": past_ft}
    return putts, minutes, players, options


def _mix(text: Any, log: Any) -> Any:
    """Return the mix that was named."""
    from putlab.rounds import first_putts as rounds

    if text == "own":
        return rounds.count_mix(log.putts)
    return rounds.read_mix(text) if text.endswith(".csv") else rounds.shipped_mix(text)


def advices(log: Any, minutes: float, players: list[str], options: dict, *, seed: int) -> Any:
    """Fit the log and return the advice for every player."""
    from putlab.base.errors import FitError
    from putlab.cli import options as fitted
    from putlab.cli.console import progress, say
    from putlab.practice.advice import advise as advise_golfer

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


def _show_advise(advice: Any, says: Any, leans: Any) -> None:
    from rich.console import Console
    from rich.table import Table

    from putlab.practice.advice import CAUTION, shown_table

    console = Console()
    for number, one in enumerate(advice):
        console.print(one.player + ":", style="bold", markup=False, highlight=False)
        said = says[one.player] + [f"Leans on: {f.sentence}" for f in leans[number : number + 1]]
        for sentence in said:
            console.print(sentence, markup=False, highlight=False)
        shown = shown_table(one.table)
        table = Table(*shown.columns)
        for row in shown.itertuples(index=False):
            table.add_row(*row)
        console.print(table)
    console.print(CAUTION)


# `putlab plan`: the next session, as a list for the floor and rows to fill in.


SessionMinutes = Annotated[
    float, typer.Option("--minutes", help="Whole session, warm-up and game included, minutes.")
]
OrderSeed = Annotated[
    int, typer.Option("--seed", help="Seed of the order of sets and of the holes dealt.")
]
PlanSession = Annotated[
    str | None,
    typer.Option("--session", help="Visit written into the rows [default: today's date]."),
]


def plan(
    log: LogPath,
    minutes: SessionMinutes = 40.0,
    player: Player = None,
    session: PlanSession = None,
    output: Output = None,
    seed: OrderSeed = DEFAULT_SEED,
) -> None:
    """The next session: drills, putts, order, what to aim for and what would be news."""
    from putlab.base.writing import check_writable
    from putlab.cli.options import DEFAULT_SEED as FIT_SEED
    from putlab.pages.sheet import check_ending, write_plan
    from putlab.practice.split import drill_minutes

    check_ending(output)
    check_writable(output)
    drills = drill_minutes(minutes)
    # The fit's own seed stays: another order of the same drills needs no other posterior.
    choices = settle(log, drills, player, None, None, STIMP_FT, PAST_FT)
    fit, advice = advices(*choices, seed=FIT_SEED)
    plans = [_planned(choices[0], fit, one, minutes, seed, session) for one in advice]
    if output is None:
        for one in plans:
            _show_plan(one)
    else:
        write_plan(plans, output)


def _planned(log: Any, fit: Any, advice: Any, minutes: Any, seed: int, session: Any) -> Any:
    import datetime

    from putlab.practice.plan import plan

    return plan(
        fit.golfer(advice.player),
        log.rules,
        advice,
        minutes=minutes,
        seed=seed,
        session=session or datetime.date.today().isoformat(),
        stimp_ft=last_stimp_ft(log, advice.player),
    )


def last_stimp_ft(log: Any, player: str) -> Any:
    """Return the green speed of a player's last putts, where it was written down."""
    known = log.putts.loc[log.putts["player"] == player, "stimp_ft"].dropna()
    return float(known.iloc[-1]) if len(known) else None


# Columns of the list in a terminal.
WIDTHS = (6, 18, 14, 18, 0)


def _show_plan(one: Any) -> None:
    from rich.console import Console

    from putlab.pages.sheet import list_rows

    console = Console()
    for row in list_rows(one):
        if len(row) > 1:
            row = [f"{cell:<{width}}" for cell, width in zip(row, WIDTHS, strict=False)]
        console.print("".join(row).rstrip(), markup=False, highlight=False)
    console.print()


# `putlab review`: today against usual.


# Of the three looks at one length the gravest verdict is shown.
WORST_FIRST = ("news", "odd, but one of many looks", "ordinary", "too few putts")

ReviewSession = Annotated[
    str | None, typer.Option("--session", help="Visit to review [default: the last].")
]


def review(
    log: LogPath,
    session: ReviewSession = None,
    player: Player = None,
    output: Output = None,
    seed: Seed = DEFAULT_SEED,
) -> None:
    """After a session: is it news, or what this golfer does on an ordinary day?"""
    from putlab.base.writing import check_writable, write_table
    from putlab.cli import options as fitted

    check_writable(output)
    putts = fitted.read(log)
    from putlab.practice.review import review as review_one
    from putlab.practice.review import review_everybody

    # The fit keeps its own seed, so that another seed of the days needs no other fit.
    options: dict[str, Any] = {"session": session, "seed": seed}
    options["fit"] = lambda part: fitted.fit(part, seed=DEFAULT_SEED)
    if player is None:
        found = review_everybody(putts, **options)
    else:
        found = [review_one(putts, player=player, **options)]
    if output is None:
        for one in found:
            _show_review(one)
        return
    import pandas as pd

    says = {one.player: {"sentence": one.sentence, "notes": one.notes} for one in found}
    table = pd.concat([one.table for one in found], ignore_index=True)
    write_table(table, output, meta={"log_sha256": putts.digest, "seed": seed, "says": says})


TITLES = ("Distance, ft", "", "Putts", "Spread", "Bias", "Inside the band", "Verdict")


def _show_review(one: Any) -> None:
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    console = Console()
    console.print(escape(one.sentence), style="bold", highlight=False)
    table = Table(*TITLES, title="Today, and the middle nine in ten of ordinary days")
    for (distance_ft, component), rows in one.table.groupby(["distance_ft", "component"]):
        cells = [_cell(row) for row in rows.itertuples()]
        verdict = min(rows["verdict"], key=WORST_FIRST.index)
        table.add_row(f"{distance_ft:g}", component, str(rows["putts"].iloc[0]), *cells, verdict)
    if len(one.table):
        console.print(table)
    for note in one.notes:
        console.print(escape(note), highlight=False)


def _cell(row: Any) -> Any:
    from putlab.practice.review import numbers

    if row.today != row.today:
        return ""
    today, low, high = numbers(row)
    return today if row.p != row.p else f"{today}\n[{low}, {high}]"
