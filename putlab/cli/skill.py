"""`putlab report` and `estimate` of a log; `holeout` and `roll` of a skill that is known."""

from __future__ import annotations

import math
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from typer import Option

import putlab as pl
from putlab.base.errors import UsageError
from putlab.base.settings import LINE_SD_DEG, PACE_SD_PCT, PAST_FT, SEED, STIMP_FT
from putlab.base.words import percent, plain
from putlab.base.writing import check_writable, said_of, write_table
from putlab.cli import options
from putlab.cli.console import in_words, progress, say, show

if TYPE_CHECKING:
    from putlab.green.roll import Roll


PAGE = Path("report.html")


def report(
    log: options.LogPath,
    player: options.Player = None,
    units: options.Units = None,
    output: Annotated[Path, options.place(())] = PAGE,
    seed: options.Seed = SEED,
    each_player: Annotated[bool, Option("--each-player", help="Fit each player alone.")] = False,
    workers: Annotated[int | None, options.number("Processes for --each-player", 1, 1024)] = None,
    cluster: Annotated[str | None, Option(help="Dask scheduler for --each-player.")] = None,
) -> None:
    """One page to read, print and send: what to practise next, how sure, and why.

    The page needs nothing else: figures are inside it, and it opens without a connection.

      putlab report data_demo

      putlab report data_demo --player birch -o birch.html

      putlab report club.parquet --each-player --cluster tcp://scheduler:8786
    """
    sharing = {"workers": workers, "cluster": cluster}
    if any(sharing.values()) and not each_player:
        raise UsageError("--workers and --cluster share out the fits of --each-player; give it.")
    if all(sharing.values()):
        raise UsageError("a --cluster has its own workers; leave out --workers.")
    read = options.read(log, player, units)
    how: dict[str, Any] = {"each_player": True, "seed": seed, **sharing}
    if not each_player:
        how = {"fit": options.fit(read, seed=seed)}
    advance = progress("Fitting each player alone" if each_player else "Writing the report")
    pl.report(read, path=output, player=player, progress=advance, **how)
    if str(output) != "-":
        say(f"{said_of(output)} is written: open it in a browser, or print it.")


SPREADS = {
    "distance_ft": ("Distance, ft", "{:g}"),
    "putts": ("Putts", "{}"),
    "line_sd_deg": ("Line spread, °", "{:.2f}"),
    "line_bias_deg": ("Line bias, °", "{:+.2f}"),
    "pace_sd_pct": ("Pace spread, %", "{:.1f}"),
    "pace_bias_pct": ("Pace bias, %", "{:+.1f}"),
}
STROKES = {
    "distance_ft": ("Distance, ft", "{:g}"),
    "one_putt": ("One putt, %", partial(plain, name="one_putt")),
    "three_putt": ("Three putts, %", partial(plain, name="three_putt")),
    "average_putts": ("Average putts", "{:.2f}"),
}


def estimate(
    log: options.LogPath,
    player: options.Player = None,
    units: options.Units = None,
    output: options.Output = None,
    posterior: Annotated[
        Path | None, Option(metavar="FILE.nc", help="All draws, for ArviZ.")
    ] = None,
    seed: options.Seed = SEED,
) -> None:
    """True line and pace spread by player and distance, each with its 90 % interval.

    Spread and bias are those within a visit, as on the player's last one. One putt, three
    putts and average putts are for a new day on a flat green whose line is known.

      putlab estimate data_demo

      putlab estimate data_demo --player birch -o birch.csv

      putlab estimate data_demo -o everybody.json

      putlab estimate data_demo --posterior draws.nc
    """
    check_writable(posterior, kinds=(".nc",))
    read = options.read(log, player, units)
    fit = options.fit(read, seed=seed)
    players = [player] if player else fit.players
    table = pl.estimate(fit, players).table
    for left_out in fit.checks.get("green", []):
        say(left_out.sentence)
    for name in filter(fit.green_putts, players):
        say(" ".join(fit.green_sentences(name)))
    if posterior:
        fit.to_netcdf(posterior)
        say(f"{posterior} is written: `arviz.from_netcdf` opens it.")
    if output is None:
        # Two tables, so that each fits a screen of 80 columns.
        ranges = "90 % interval"
        for name, rows in table.groupby("player", sort=False):
            show(in_words(rows, SPREADS), f"{name}: spread within a visit, with its {ranges}")
            title = f"{name}: putts on a new day on a flat green, with {ranges}s"
            show(in_words(rows, STROKES), title)
    else:
        write_table(table, output, meta=fit.meta() | {"log_sha256": read.digest})


BACKTEST = {
    "player": ("Player", "{}"),
    "session": ("Visit", "{}"),
    "component": ("Line or pace", "{}"),
    "readings": ("Readings", "{}"),
    "held_50": ("50 % range held", percent),
    "held_90": ("90 % range held", percent),
    "log_score": ("Log score", "{:.2f}"),
    "plain_log_score": ("of mean and sd", "{:.2f}"),
    "last_visit_log_score": ("of last visit's", "{:.2f}"),
}


def backtest(
    log: options.LogPath,
    player: options.Player = None,
    visits: Annotated[int, options.number("How many of the last visits to predict", 1, 10_000)] = 3,
    output: options.Output = None,
    seed: options.Seed = SEED,
) -> None:
    """Each of the last visits predicted from those before it: did the ranges hold?

    As long as a report for every visit. A report of the same log then says the result.

      putlab backtest data_demo --player birch
    """
    read = options.read(log, player)
    advance = progress("Fitting what came before")
    found = pl.backtest(read, visits=visits, seed=seed, progress=advance)
    table = found.table if player is None else found.table[found.table["player"] == player]
    if output is None:
        say(found.sentence if player is None else found.sentence_of(player))
        show(in_words(table, BACKTEST), "The last visits, each predicted from those before it")
    else:
        write_table(table, output, meta={"seed": seed, "log_sha256": read.digest})


# A spread of 0 is a perfect machine; this is as good as 0 and keeps every integral a normal.
NO_SPREAD = 1e-6

HOLED_OUT = {
    "distance_ft": ("Distance, ft", "{:g}"),
    "one_putt": ("One putt", "{:.1%}"),
    "three_putt": ("Three putts or more", "{:.1%}"),
    "average_putts": ("Average putts", "{:.3f}"),
    "mean_leave_ft": ("Leave, ft", "{:.1f}"),
}


def holeout(
    line_sd_deg: Annotated[float, options.number("Spread of start direction, degrees", 0, 90)],
    pace_sd_pct: Annotated[float, options.number("Spread of roll-out, percent", 0, 300)],
    line_bias_deg: Annotated[float, options.number("Mean line, degrees right", -90, 90)] = 0.0,
    pace_bias_pct: Annotated[float, options.number("Mean pace error, percent", -100, 300)] = 0.0,
    stimp_ft: options.StimpFt = STIMP_FT,
    past_ft: options.PastFt = PAST_FT,
    lengths: options.Lengths = "3,6,10",
    output: options.Output = None,
) -> None:
    """One putt, three putts, average putts and mean leave of one known skill, by distance."""
    spreads = {"line_sd_deg": line_sd_deg, "pace_sd_pct": pace_sd_pct}
    biases = {"line_bias_deg": line_bias_deg, "pace_bias_pct": pace_bias_pct}
    green = {"stimp_ft": stimp_ft, "past_ft": past_ft}
    skill = pl.Skill.constant(*(max(value, NO_SPREAD) for value in spreads.values()), **biases)
    result = pl.hole_out(skill, sorted(options.feet(lengths)), **green).table
    if output is None:
        show(in_words(result, HOLED_OUT), "Putts to hole out on a flat green")
    else:
        meta = {"putlab": pl.__version__, **biases, **spreads, **green, "conditions": "flat green"}
        write_table(result, output, meta=meta)


def roll(
    distance_ft: Annotated[float, options.number("Length of the putt, feet", 0.2, 200)],
    past_ft: options.PastFt = PAST_FT,
    slope_pct: Annotated[float, options.number("Steepness of the green, percent", 0, 30)] = 0.0,
    slope_to_deg: Annotated[float, options.number("Downhill: 0 along, 90 right", -360, 360)] = 0.0,
    stimp_ft: options.StimpFt = STIMP_FT,
    line_sd_deg: Annotated[float, options.number("Line spread, degrees", 0.01, 30)] = LINE_SD_DEG,
    pace_sd_pct: Annotated[float, options.number("Pace spread, percent", 0.1, 60)] = PACE_SD_PCT,
    output: options.Output = None,
) -> None:
    """Where a putt started straight at the hole stops, and how to hole it most often.

    The straight putt has the pace that on the flat would roll the distance and --past-ft
    more. The aim is the line and pace (as a roll-out on the flat) that drop most often for
    the spreads given, in this kit's model of a plane green.

      putlab roll --distance-ft 10 --slope-pct 2 --slope-to-deg 90

      putlab roll --distance-ft 10 --slope-pct 2 --slope-to-deg 90 -o roll.csv
    """
    asked = {"distance_ft": distance_ft, "past_ft": past_ft, "stimp_ft": stimp_ft}
    asked |= {"slope_pct": slope_pct, "slope_to_deg": slope_to_deg}
    asked |= {"line_sd_deg": line_sd_deg, "pace_sd_pct": pace_sd_pct}
    putt = pl.roll(**asked)
    if output is None:
        _say_roll(putt, asked)
    else:
        write_table(putt.table, output, meta={"putlab": pl.__version__, **asked})


def _say_roll(putt: Roll, asked: dict[str, float]) -> None:
    passing = f"passing the hole's distance it is {_side(putt.break_ft)}"
    if math.isnan(putt.break_ft):
        passing = "it never gets as far as the hole"
    print(
        f"Started straight at the hole, with the pace of "
        f"{asked['distance_ft'] + asked['past_ft']:g} ft flat:\n"
        f"  it stops {putt.stop_along_ft:.2f} ft along the line, {_side(putt.stop_right_ft)};\n"
        f"  {passing}.\n"
        f"For spreads of {asked['line_sd_deg']:g} degrees and {asked['pace_sd_pct']:g} %:\n"
        f"  {putt.sentence}\n  Over a covered hole it would stop {putt.aim_past_ft:.1f} ft from it."
    )


def _side(value_ft: float) -> str:
    return f"{abs(value_ft):.2f} ft {'right' if value_ft >= 0 else 'left'}"
