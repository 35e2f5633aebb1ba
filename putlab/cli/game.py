"""`putlab game`: counted games judged, and a game dealt to play."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from typer import Argument, Option

import putlab as pl
from putlab.base.errors import UsageError
from putlab.base.settings import PAST_FT, SEED
from putlab.base.words import listed, sure
from putlab.base.writing import SHEET, TABLE, check_writable, write_table
from putlab.cli import options
from putlab.cli.console import in_words, progress, say, show, tell, together
from putlab.cli.options import PastFt, Player, Seed, Units, Visit

if TYPE_CHECKING:
    from putlab.log.read import Log
    from putlab.rounds.first_putts import RoundMix
    from putlab.rounds.games import JudgedGames
    from putlab.rounds.reference import Reference

# Room for the longest putt where no log says (an assumption), and the step of lengths dealt.
LONGEST_FT, STEP = 40.0, {"ft": 1.0, "m": 0.1}

COLUMNS = {
    "player": ("Player", "{}"),
    "session": ("Visit", "{}"),
    "holes": ("Holes", "{}"),
    "score": ("Score", "{}"),
    "expected_score": ("Usual score", "{:.1f}"),
    "gained_on_self": ("Better than\nusual", "{:+.1f}"),
    "gained_on_reference": ("Against the\nreference", "{:+.1f}"),
    "chance_as_low": ("This or\nlower", sure),
}


def game(
    log: Annotated[Path | None, Argument(metavar="LOG", help=options.LOG)] = None,
    player: Player = None,
    output: Annotated[Path | None, options.place((*TABLE, *SHEET))] = None,
    deal: Annotated[int | None, Option(help="Deal a game of 9 or 18 holes instead.")] = None,
    seed: Seed = SEED,
    level: Annotated[str | None, Option(help="Deal the lengths of this level's round.")] = None,
    slopes: Annotated[str, Option(help="Deal from these slopes, percent; 0: level.")] = "1,2,3",
    longest: Annotated[
        float | None, Option(help="Deal no longer hole [default: the log's longest, or 40 ft].")
    ] = None,
    units: Units = None,
    session: Visit = None,
    past_ft: PastFt = PAST_FT,
    reference: Annotated[
        Path | None, Option(help="CSV of distance_ft, average_putts; default: tour.")
    ] = None,
) -> None:
    """Counted games, par two, nothing conceded: the score against what was expected."""
    check_writable(output, TABLE if deal is None else SHEET)
    dealing = {"--level": level, "--longest": longest, "--session": session, "--units": units}
    given = [name for name, value in dealing.items() if value is not None]
    if deal is None and given:
        raise UsageError(f"{listed(given)} go with --deal, which is not given.")
    if deal is not None and reference:
        raise UsageError("--reference judges a LOG, and --deal asks for none: leave one out.")
    against = pl.read_reference(reference) if reference else pl.tour_reference()
    read = None if log is None else options.read(log, player, units)
    if deal is not None:
        unit = read.units if read else options.unit(units)
        mix, room_ft = _mix(read, player, level)
        longest_ft = room_ft if longest is None else options.feet(f"{longest:g}", unit)[0]
        card = pl.deal_game(
            mix,
            deal,
            seed=seed,
            session=options.visit(session, output),
            slopes_pct=_percents(slopes),
            longest_ft=longest_ft,
            step_ft=STEP[unit] / options.FOOT[unit],
        )
        longest_said = f"{longest_ft * options.FOOT[unit]:.3g} {unit}"
        say(f"Lengths: {mix.level} ({mix.source}); none longer than {longest_said} (--longest).")
        if output is not None:
            pl.write_sheet(card.assign(player=player), output, units=unit)
            return
        show(pl.games.card_in_words(card), f"Counted game of {deal} holes, each par two")
        say("Nothing is conceded. Write the card to fill in with -o card.csv.")
    elif read is None:
        raise UsageError("give a LOG with counted games, or --deal 9 to deal one.")
    else:
        # Before the fit, so that a log without games costs no minute.
        holes, _ = pl.games.finished_holes((read.only(player) if player else read).putts)
        fit = options.fit(read, seed=seed)
        played, how = [], {"reference": against, "past_ft": past_ft}
        for name in holes["player"].unique():
            progress(f"Judging the games of {name}")
            played.append(pl.judge_games(fit, read.putts, name, **how))
        _tell(played, against, fit.meta() | {"log_sha256": read.digest}, output)


def _mix(log: Log | None, player: str | None, level: str | None) -> tuple[RoundMix, float]:
    """The round dealt from, and the longest putt there is room for."""
    mix = pl.round_mix(level) if level else pl.round_mix()
    if log is None:
        return mix, LONGEST_FT
    putts = (log.only(player) if player else log).putts
    if level is None and ((putts["putt_no"] == 1) & putts["hole_no"].notna()).any():
        mix = pl.round_mix("own", putts)
    return mix, putts.loc[~(putts["putt_no"] > 1), "distance_ft"].max()


def _percents(text: str) -> list[float]:
    try:
        return [float(part) for part in text.split(",")]
    except ValueError as error:
        raise UsageError(f"--slopes {text}: give percents, as in 1,2,3.") from error


def _tell(played: list[JudgedGames], reference: Reference, meta: dict, output: Path | None) -> None:
    table = together(played)
    for note in (note for each in played for note in each.notes):
        say(f"Look at: {note}")
    if output is None:
        title = f"Counted games; reference: {reference.name}"
        show(in_words(table, COLUMNS), title, whole=("Player", "Visit"))
        tell(*(each.sentence for each in played))
        say(f"{reference.name}: {reference.source}.")
    else:
        write_table(table, output, meta=meta | {"reference": reference.source})
