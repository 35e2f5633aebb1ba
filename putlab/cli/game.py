"""`putlab game`: counted games judged, and a game dealt to play."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from typer import Argument, Option

import putlab as pl
from putlab.base.errors import UsageError
from putlab.base.settings import PAST_FT, SEED
from putlab.base.writing import SHEET, TABLE, check_writable, write_table
from putlab.cli import options
from putlab.cli.console import in_words, progress, say, show, tell
from putlab.cli.options import Output, PastFt, Player, Seed, Session, Units

if TYPE_CHECKING:
    import pandas as pd

    from putlab.log.read import Log
    from putlab.rounds.first_putts import RoundMix

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
    "chance_as_low": ("This or\nlower", "{:.0%}"),
}


def game(
    log: Annotated[Path | None, Argument(metavar="[LOG]", help=options.LOG)] = None,
    player: Player = None,
    output: Output = None,
    deal: Annotated[
        int | None, Option(help="Deal a game of so many holes (9 or 18) instead.")
    ] = None,
    seed: Seed = SEED,
    level: Annotated[
        str | None, Option(help="Deal the lengths of this level's round; see --deal.")
    ] = None,
    slopes: Annotated[
        str, Option(help="Deal from these slopes, percent; 0: a level mat.")
    ] = "1,2,3",
    longest: Annotated[
        float | None,
        Option(help="No hole dealt is longer [default: the log's longest, else 40 ft]."),
    ] = None,
    units: Units = None,
    session: Session = None,
    past_ft: PastFt = PAST_FT,
    reference: Annotated[
        Path | None,
        Option(help="CSV of distance_ft, average_putts to be compared with; default: tour."),
    ] = None,
) -> None:
    """Counted games, par two, nothing conceded: the score against what was expected."""
    check_writable(output, TABLE if deal is None else SHEET)
    if deal is not None:
        read = None if log is None else options.read(log, player)
        units = options.unit(units, read)
        mix, room_ft = _mix(read, player, level)
        longest_ft = room_ft if longest is None else options.feet(f"{longest:g}", units)[0]
        card = pl.deal_game(
            mix,
            deal,
            seed=seed,
            session=options.visit(session, output),
            slopes_pct=_percents(slopes),
            longest_ft=longest_ft,
            step_ft=STEP[units] / options.FOOT[units],
        )
        _hand_out(card.assign(player=player), mix, output, longest_ft, units)
    elif log is None:
        raise UsageError("give a LOG with counted games, or --deal 9 to deal one.")
    else:
        _judge(log, player, seed, past_ft, reference, output)


def _mix(log: Log | None, player: str | None, level: str | None) -> tuple[RoundMix, float]:
    """The round dealt from, and the longest putt there is room for."""
    if log is None:
        return pl.round_mix(level) if level else pl.round_mix(), LONGEST_FT
    putts = (log.only(player) if player else log).putts
    counted = (putts["putt_no"] == 1) & putts["hole_no"].notna()
    own = counted.any() and level is None
    mix = pl.round_mix("own", putts) if own else pl.round_mix(level) if level else pl.round_mix()
    return mix, putts.loc[~(putts["putt_no"] > 1), "distance_ft"].max()


def _percents(text: str) -> list[float]:
    try:
        return [float(part) for part in text.split(",")]
    except ValueError as error:
        raise UsageError(f"--slopes {text}: give percents, as in 1,2,3.") from error


def _hand_out(
    card: pd.DataFrame, mix: RoundMix, output: Path | None, longest_ft: float, units: str
) -> None:
    longest = f"{longest_ft * options.FOOT[units]:.3g} {units}"
    say(f"Lengths: {mix.level} ({mix.source}); none longer than {longest} (--longest).")
    if output is None:
        show(
            pl.games.card_in_words(card, units), f"Counted game of {len(card)} holes, each par two"
        )
        say("Nothing is conceded. Write the card to fill in with -o card.csv.")
    else:
        pl.write_sheet(card, output, units=units)


def _judge(
    path: Path,
    player: str | None,
    seed: int,
    past_ft: float,
    reference_path: Path | None,
    output: Path | None,
) -> None:
    reference = pl.read_reference(reference_path) if reference_path else pl.tour_reference()
    log = options.read(path, player)
    # Before the fit, so that a log without games costs no minute.
    holes, _ = pl.games.finished_holes((log.only(player) if player else log).putts)
    fit = options.fit(log, seed=seed)
    played = []
    for label in holes["player"].unique():
        with progress(f"Judging the games of {label}") as advance:
            how = {"reference": reference, "past_ft": past_ft, "advance": advance}
            played.append(pl.judge_games(fit, log.putts, label, **how))

    import pandas as pd

    table = pd.concat([each.table for each in played], ignore_index=True)
    for each in played:
        for note in each.notes:
            say(f"Look at: {note}")
    if output is None:
        title = f"Counted games; reference: {reference.name}"
        show(in_words(table, COLUMNS, missing="-"), title, whole=("Player", "Visit"))
        tell(*(each.sentence for each in played))
        say(f"{reference.name}: {reference.source}.")
    else:
        meta = fit.meta() | {"log_sha256": log.digest, "reference": reference.source}
        write_table(table, output, meta=meta)
