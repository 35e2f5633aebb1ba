"""`putlab game`: counted games judged, and a game dealt to play."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from putlab.base.errors import UsageError
from putlab.base.settings import PAST_FT
from putlab.cli.console import progress, say
from putlab.cli.options import DEFAULT_SEED, Output, Player, Seed

if TYPE_CHECKING:
    pass

COLUMNS = {
    "player": ("Player", "{}"),
    "session": ("Visit", "{}"),
    "holes": ("Holes", "{}"),
    "score": ("Score", "{}"),
    "expected_score": ("Usual score", "{:.1f}"),
    "gained_on_self": ("Gained on\nself", "{:+.1f}"),
    "gained_on_reference": ("Gained on\nref.", "{:+.1f}"),
    "chance_as_low": ("This or\nlower", "{:.0%}"),
}


def game(
    log: Annotated[
        Path | None, typer.Argument(metavar="[LOG]", help="A log of putts with counted games.")
    ] = None,
    player: Player = None,
    output: Output = None,
    deal: Annotated[
        int | None, typer.Option(help="Deal a game of so many holes (9 or 18) instead.")
    ] = None,
    seed: Seed = DEFAULT_SEED,
    level: Annotated[
        str | None, typer.Option(help="Deal the lengths of this level's round; see --deal.")
    ] = None,
    slopes: Annotated[
        str, typer.Option(help="Deal from these slopes, percent; 0 is a level mat.")
    ] = "1,2,3",
    session: Annotated[
        str | None, typer.Option(help="Visit written on the card dealt [default: today's date].")
    ] = None,
    past_ft: Annotated[
        float, typer.Option(help="How far past the hole the golfer aims to roll it, feet.")
    ] = PAST_FT,
    reference: Annotated[
        Path | None,
        typer.Option(
            help="CSV of distance_ft, average_putts to gain strokes on [default: tour average]."
        ),
    ] = None,
) -> None:
    """Counted games, par two, nothing conceded: the score against what was expected."""
    from putlab.base.writing import check_writable

    check_writable(output)
    if deal is not None:
        _deal(_mix(log, player, level), player, deal, seed, session, slopes, output)
    elif log is None:
        raise UsageError("give a LOG with counted games, or --deal 9 to deal one.")
    else:
        _judge(log, player, seed, past_ft, reference, output)


def _deal(
    mix: Any, player: str | None, holes: Any, seed: int, session: Any, slopes: Any, output: Any
) -> None:
    from datetime import date

    from putlab.base.writing import write_table
    from putlab.rounds.games import card_in_words, deal_game

    session = session or date.today().isoformat()
    card = deal_game(mix, holes, seed=seed, session=session, slopes_pct=_percents(slopes))
    if player:
        card["player"] = player
    say(f"Lengths: {mix.level} ({mix.source}).")
    if output is None:
        _show(card_in_words(card), f"Counted game of {holes} holes, each par two")
        say("Nothing is conceded. Write the card to fill in with -o card.csv.")
    else:
        write_table(card, output, meta={"seed": seed, "mix": mix.source})


def _mix(log: Path | None, player: str | None, level: Any) -> Any:
    from putlab.rounds.first_putts import LEVEL, count_mix, shipped_mix

    if log is None:
        return shipped_mix(level or LEVEL)
    if level is not None:
        raise UsageError("give a LOG or a --level to take the lengths from, not both.")
    from putlab.cli import options as fitted

    putts = fitted.read(log).putts
    return count_mix(putts[putts["player"] == player] if player else putts)


def _percents(text: Any) -> list:
    try:
        return [float(part) for part in text.split(",")]
    except ValueError as error:
        raise UsageError(f"--slopes {text}: give percents, as in 1,2,3.") from error


def _judge(
    path: Any, player: str | None, seed: int, past_ft: float, reference: Any, output: Any
) -> None:
    from putlab.base.writing import write_table
    from putlab.cli import options as fitted
    from putlab.rounds.reference import read_reference, tour_reference

    reference = read_reference(reference) if reference else tour_reference()
    log = fitted.read(path)
    players = _players(log.putts, player)
    fit = fitted.fit(log, seed=seed)
    played = [_judge_one(fit, log.putts, label, past_ft, reference) for label in players]

    import pandas as pd

    table = pd.concat([each.table for each in played], ignore_index=True)
    for each in played:
        for note in each.notes:
            say(f"Look at: {note}")
    if output is None:
        shown = pd.DataFrame(
            {
                title: table[name].map(form.format, na_action="ignore").fillna("-")
                for name, (title, form) in COLUMNS.items()
            }
        )
        _show(shown, f"Counted games; reference: {reference.name}")
        for each in played:
            print(each.sentence)
        say(f"{reference.name}: {reference.source}.")
    else:
        meta = fit.meta() | {"log_sha256": log.digest, "reference": reference.source}
        write_table(table, output, meta=meta)


def _players(putts: Any, player: str | None) -> list:
    from putlab.rounds.games import finished_holes

    known = list(putts["player"].drop_duplicates())
    if player is not None:
        from putlab.posterior.player import choose_player

        known = [choose_player(known, player)]
    holes, _ = finished_holes(putts[putts["player"].isin(known)])
    return list(holes["player"].drop_duplicates())


def _judge_one(fit: Any, putts: Any, player: str, past_ft: float, reference: Any) -> Any:
    with progress(f"Judging the games of {player}") as advance:
        from putlab.rounds.games import judge_games

        return judge_games(
            fit, putts, player, reference=reference, past_ft=past_ft, advance=advance
        )


def _show(table: Any, title: Any) -> None:
    from rich.console import Console
    from rich.table import Table

    shown = Table(title=title)
    for name in table.columns:
        shown.add_column(name, no_wrap=name in ("Player", "Visit"))
    for row in table.itertuples(index=False):
        shown.add_row(*map(str, row))
    Console().print(shown)
