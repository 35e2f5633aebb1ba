"""`putlab start`, `advise`, `plan`, `review`, `game`: what to practise, and what it showed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from typer import Argument, Option

import putlab as pl
from putlab.base.errors import FitError, UsageError
from putlab.base.settings import PAST_FT, SEED, STIMP_FT
from putlab.base.words import listed, sure
from putlab.base.writing import SHEET, TABLE, check_writable, said_of, write_table
from putlab.cli import options
from putlab.cli.console import in_words, progress, say, show, tell, together

if TYPE_CHECKING:
    from putlab.log.read import Log
    from putlab.posterior.fit import Fit
    from putlab.practice.advice import Advice
    from putlab.rounds.first_putts import RoundMix
    from putlab.rounds.games import JudgedGames
    from putlab.rounds.reference import Reference


# Three stretches of those that advice is given for, on a mat of six or seven metres.
LENGTHS = {"ft": "4,10,20", "m": "1,3,6"}


def start(
    output: options.Sheet = None,
    lengths: Annotated[str | None, Option(help="Lengths [default: 4,10,20 ft; 1,3,6 m].")] = None,
    units: options.Units = None,
    putts: Annotated[int, Option(help="Putts of each player.")] = 60,
    holes: Annotated[int, Option(help="Holes of the counted game, or 0.")] = 9,
    players: Annotated[str | None, Option(help="Labels, as in alder,birch.")] = None,
    session: options.Visit = None,
    seed: options.Seed = SEED,
) -> None:
    """A sheet to fill in: a workbook, or a page for the phone on the floor beside the mat.

      putlab start --lengths 1,3,6 --units m

      putlab start --lengths 4,10,33 --players alder,birch -o visit.html

    Both load as a log once readings stand in them; what is left blank is no putt.
    """
    output = output or Path(f"{options.visit(session)}.xlsx")
    check_writable(output, SHEET)
    unit = options.unit(units)
    rows = pl.first_visit(
        options.feet(lengths or LENGTHS[unit], unit),
        putts=putts,
        holes=holes,
        players=[name.strip() for name in players.split(",")] if players else [None],
        session=options.visit(session, output),
        seed=seed,
    )
    pl.write_sheet(rows, output, units=unit)
    counted = (rows["drill"] == "counted").sum()
    say(f"{said_of(output)}: {len(rows) - counted} putts and {counted} holes to fill in.")


def advise(
    log: options.LogPath,
    minutes: Annotated[float, options.number("Practice time, minutes", 1, 6000)] = 60.0,
    player: options.Player = None,
    experience: Annotated[
        str | None,
        Option(help="Putts struck at a length before: new, season, club, professional, a number."),
    ] = None,
    reference: Annotated[
        str | None, Option(help="Who strokes are lost to: tour, scratch, handicap 5 to 25, a CSV.")
    ] = None,
    mix: Annotated[
        str | None, Option(help="First putts: tour, scratch, 5 to 25 (default 10), own, or a CSV.")
    ] = None,
    stimp_ft: options.StimpFt = STIMP_FT,
    past_ft: options.PastFt = PAST_FT,
    hours: Annotated[float, options.number("The longer horizon: hours in all", 0.1, 10_000)] = 10.0,
    weeks: Annotated[int, options.number("Weeks they are spread over", 1, 520)] = 10,
    what_if: Annotated[bool, Option("--what-if", help="Which assumption flips it? Slow.")] = False,
    units: options.Units = None,
    output: options.Output = None,
    seed: options.Seed = SEED,
) -> None:
    """Which distance deserves the next hour, line or pace, how sure, and what it saves."""
    # Every choice is read before the fit, so that a wrong one costs no minute.
    known = pl.reference_golfer(reference, stimp_ft=stimp_ft, past_ft=past_ft)
    read = options.read(log, player, units)
    asked: dict[str, Any] = {"minutes": minutes, "stimp_ft": stimp_ft, "past_ft": past_ft}
    asked |= {"reference": known, "experience": experience}
    asked["mix"] = None if mix is None else pl.round_mix(mix, read.putts)
    fit = options.fit(read, seed=seed)
    advice = _advice_for(fit, player, seed=seed, **asked)
    says = {one.player: one.says(hours=hours, weeks=weeks) for one in advice}
    leans = {}
    for one in advice if what_if else ():
        progress(f"Choosing anew for {one.player} under other assumptions")
        leans[one.player] = pl.what_if(one)
    if output is None:
        for one in advice:
            tell(f"{one.player}:", style="bold")
            tell(*says[one.player])
            if what_if:
                tell(f"Leans on: {leans[one.player].sentence}")
            show(one.shown)
        tell(advice[0].caution)
        return
    meta = fit.meta() | {"log_sha256": read.digest, "minutes": minutes, "says": says}
    meta["assumptions"] = {a.player: a.assumptions.to_dict("records") for a in advice}
    meta["what_if"] = {name: found.table.to_dict("records") for name, found in leans.items()}
    write_table(together(advice), output, meta=meta)


def _advice_for(fit: Fit, player: str | None, **asked: Any) -> list[Advice]:
    """Return the advice for a player or, of a roster, for those who can be advised."""
    players = fit.players if player is None else [player]
    found, advance = [], progress("Weighing the choices")
    for done, name in enumerate(players, start=1):
        try:
            found.append(pl.advise(fit.golfer(name), **asked))
        except FitError as error:
            if len(players) == 1:
                raise
            say(f"Left out: {error}")
        advance(done, len(players))
    if not found:
        raise FitError("no player of the log has practised anything to be advised on.")
    return found


def plan(
    log: options.LogPath,
    minutes: Annotated[float, options.number("Whole session, minutes", 1, 600)] = 40,
    player: options.Player = None,
    session: options.Visit = None,
    lengths: Annotated[str | None, Option(help="The only lengths to drill, as in 4,10,33.")] = None,
    units: options.Units = None,
    output: options.Sheet = None,
    seed: options.Seed = SEED,
) -> None:
    """The next session: drills, putts, order, what to aim for and what would be news."""
    drills = pl.drill_minutes(minutes)
    read = options.read(log, player, units)
    # The fit's own seed stays: another order of the same drills needs no other posterior.
    fit = options.fit(read)
    plans = [
        pl.plan(
            fit.golfer(one.player),
            read.rules,
            one,
            minutes=minutes,
            seed=seed,
            session=options.visit(session, output),
            stimp_ft=_last_stimp_ft(read, one.player),
            lengths_ft=() if lengths is None else options.feet(lengths, read.units),
        )
        for one in _advice_for(fit, player, minutes=drills, seed=SEED)
    ]
    if output is not None:
        import pandas as pd

        rows = pd.concat([one.log_rows for one in plans], ignore_index=True)
        pl.write_sheet(rows, output, units=read.units, plans=plans)
        return
    for row in (row for one in plans for row in [*one.listing, ()]):
        tell("".join(f"{c:<{w}}" for c, w in zip(row, WIDTHS, strict=False)).rstrip())


# Columns of the list in a terminal.
WIDTHS = (6, 18, 14, 18, 0)


def _last_stimp_ft(log: Log, player: str) -> float | None:
    """Return the green speed of a player's last putts, where it was written down."""
    known = log.only(player).putts["stimp_ft"].dropna()
    return float(known.iloc[-1]) if len(known) else None


def review(
    log: options.LogPath,
    session: Annotated[str | None, Option(help="Visit to review [default: the last].")] = None,
    player: options.Player = None,
    units: options.Units = None,
    output: options.Output = None,
    seed: options.Seed = SEED,
) -> None:
    """After a session: is it news, or what this golfer does on an ordinary day?"""
    read = options.read(log, player, units)
    # The fit keeps its own seed, so that another seed of the days needs no other fit.
    asked: dict[str, Any] = {"session": session, "seed": seed, "fit": options.fit}
    found = pl.review_everybody(read, players=None if player is None else [player], **asked)
    if output is None:
        for one in found:
            tell(one.sentence, style="bold")
            if len(one.table):
                show(one.shown, "Today, and the middle nine in ten of ordinary days")
            tell(*one.notes)
        return
    says = {one.player: {"sentence": one.sentence, "notes": one.notes} for one in found}
    meta = {"log_sha256": read.digest, "seed": seed, "says": says}
    write_table(together(found), output, meta=meta)


# Room for the longest putt where no log says (an assumption), and the step of lengths dealt.
LONGEST_FT, STEP = 40.0, {"ft": 1.0, "m": 0.1}

GAMES = {
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
    player: options.Player = None,
    output: Annotated[Path | None, options.place((*TABLE, *SHEET))] = None,
    deal: Annotated[int | None, Option(help="Deal a game of 9 or 18 holes instead.")] = None,
    seed: options.Seed = SEED,
    level: Annotated[str | None, Option(help="Deal the lengths of this level's round.")] = None,
    slopes: Annotated[str, Option(help="Deal from these slopes, percent; 0: level.")] = "1,2,3",
    longest: Annotated[
        float | None, Option(help="Deal no longer hole [default: the log's longest, or 40 ft].")
    ] = None,
    units: options.Units = None,
    session: options.Visit = None,
    past_ft: options.PastFt = PAST_FT,
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
        show(in_words(table, GAMES), title, whole=("Player", "Visit"))
        tell(*(each.sentence for each in played))
        say(f"{reference.name}: {reference.source}.")
    else:
        write_table(table, output, meta=meta | {"reference": reference.source})
