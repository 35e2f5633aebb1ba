"""`putlab estimate`: spread, bias and putts of each player at each distance."""

from typing import Annotated, Any

import typer

from putlab.base.errors import UsageError
from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.cli.options import DEFAULT_SEED, LogPath, Output, Player, Seed


def estimate(
    log: LogPath, player: Player = None, output: Output = None, seed: Seed = DEFAULT_SEED
) -> None:
    """True line and pace spread by player and distance, each with its 90 % interval.

    Spread and bias are those within a visit, as on the player's last one. One putt, three
    putts and average putts are for a new day on a flat green whose line is known.

      putlab estimate data_demo

      putlab estimate data_demo --player birch -o birch.csv

      putlab estimate data_demo -o everybody.json
    """
    from putlab.base.writing import check_writable, write_table
    from putlab.cli import options as fitted

    check_writable(output)
    putts = fitted.read(log)
    from putlab.posterior.player import choose_player
    from putlab.rounds.estimate import estimate as estimated

    if player is not None:
        choose_player(list(putts.putts["player"].unique()), player)
    fit = fitted.fit(putts, seed=seed)
    players = [player] if player else fit.players
    table = estimated(fit, players).table
    fitted.say_of_greens(fit, players)
    if output is None:
        _show_estimate(table)
    else:
        write_table(table, output, meta=fit.meta() | {"log_sha256": putts.digest})


def _show_estimate(table: Any) -> None:
    from rich.console import Console
    from rich.table import Table

    shown = Table(title="Spread within a visit; putts on a new day (90 % intervals)")
    for name in ("Player", "Distance, ft", "Putts", "Line spread, °", "Line bias, °"):
        shown.add_column(name)
    for name in ("Pace spread, %", "Pace bias, %", "One putt", "Three putts", "Average putts"):
        shown.add_column(name)
    formats = {
        "line_sd_deg": "{:.2f}",
        "line_bias_deg": "{:+.2f}",
        "pace_sd_pct": "{:.1f}",
        "pace_bias_pct": "{:+.1f}",
        "one_putt": "{:.0%}",
        "three_putt": "{:.0%}",
        "average_putts": "{:.2f}",
    }
    for row in table.to_dict("records"):
        cells = [row["player"], f"{row['distance_ft']:g}", str(row["putts"])]
        cells += [_with_interval(row, name, form) for name, form in formats.items()]
        shown.add_row(*cells)
    Console().print(shown)


def _with_interval(row: Any, name: Any, form: Any) -> str:
    value, low, high = (form.format(row[name + end]) for end in ("", "_lo", "_hi"))
    return f"{value}\n[{low}, {high}]"


# `putlab holeout`: what one known skill makes of putts on a flat green.


# A spread of 0 is a perfect machine; this is as good as 0 and keeps every integral a normal.
NO_SPREAD = 1e-6

# Longer than any putt that a green allows.
LONGEST_FT = 200


def holeout(
    line_sd_deg: Annotated[
        float, typer.Option(help="Spread (standard deviation) of start direction, degrees.")
    ],
    pace_sd_pct: Annotated[
        float, typer.Option(help="Spread of roll-out, percent of the distance rolled.")
    ],
    line_bias_deg: Annotated[
        float, typer.Option(help="Mean start direction, degrees, + right.")
    ] = 0.0,
    pace_bias_pct: Annotated[
        float, typer.Option(help="Mean error of roll-out, percent, + too hard.")
    ] = 0.0,
    stimp_ft: Annotated[float, typer.Option(help="Green speed, feet.")] = STIMP_FT,
    past_ft: Annotated[
        float, typer.Option(help="How far past the hole the golfer aims to roll it, feet.")
    ] = PAST_FT,
    distances: Annotated[
        str, typer.Option(help="Lengths in feet: a list (3,6,10), a range (2-60), or both.")
    ] = "3,6,10",
    output: Output = None,
) -> None:
    """One putt, three putts, average putts and mean leave of one known skill, by distance."""
    from putlab.base.writing import check_writable, write_table

    check_writable(output)
    distance_ft = feet(distances)
    spreads = {"--line-sd-deg": line_sd_deg, "--pace-sd-pct": pace_sd_pct}
    for name, value in spreads.items():
        if not 0 <= value < float("inf"):
            raise UsageError(f"{name} must be 0 or more; got {value:g}.")

    from putlab.green.hole_out import hole_out
    from putlab.green.skill import Skill

    skill = Skill.constant(
        max(line_sd_deg, NO_SPREAD),
        max(pace_sd_pct, NO_SPREAD),
        line_bias_deg=line_bias_deg,
        pace_bias_pct=pace_bias_pct,
    )
    rising = sorted(set(distance_ft))
    result = hole_out(skill, rising, stimp_ft=stimp_ft, past_ft=past_ft).table
    result = result.iloc[[rising.index(d) for d in distance_ft]].reset_index(drop=True)
    if output is None:
        _show_holeout(result)
        return

    from putlab import __version__

    known = {"line_bias_deg": line_bias_deg, "pace_bias_pct": pace_bias_pct}
    known |= {"line_sd_deg": line_sd_deg, "pace_sd_pct": pace_sd_pct}
    green = {"stimp_ft": stimp_ft, "past_ft": past_ft, "conditions": "flat green"}
    write_table(result, output, meta={"putlab": __version__, **known, **green})


def feet(text: str) -> Any:
    """Read a list of distances such as ``3,6,10`` or ``2-5,10``."""
    found: list[float] = []
    for part in text.split(","):
        low, dash, high = part.strip().partition("-")
        try:
            values = range(int(low), int(high) + 1) if dash else [float(low)]
        except ValueError as error:
            raise UsageError(_bad_distances(text, part)) from error
        if not values or not all(0 < value <= LONGEST_FT for value in values):
            raise UsageError(_bad_distances(text, part))
        found += values
    return list(dict.fromkeys(float(value) for value in found))


def _bad_distances(text: Any, part: Any) -> str:
    return (
        f"--distances {text}: {part.strip() or 'nothing'} is not a distance. "
        f"Give feet above 0 and at most {LONGEST_FT}, as in 3,6,10 or 2-60."
    )


def _show_holeout(result: Any) -> None:
    from rich.console import Console
    from rich.table import Table

    titles = ("Distance, ft", "One putt", "Three putts or more", "Average putts", "Leave, ft")
    table = Table(*titles, title="Putts to hole out on a flat green")
    for row in result.itertuples(index=False):
        distance, one, three, average, leave = row
        table.add_row(
            f"{distance:g}", f"{one:.1%}", f"{three:.1%}", f"{average:.3f}", f"{leave:.1f}"
        )
    Console().print(table)


# `putlab roll`: how one putt rolls on a plane slope, and how to hole it.


# As in `putlab.green.roll`, which loads too slowly for `--help`.
LINE_SD_DEG, PACE_SD_PCT = 1.0, 8.0


def roll(
    distance_ft: Annotated[float, typer.Option(help="Length of the putt, feet.")],
    past_ft: Annotated[
        float, typer.Option(help="How far past the hole it would roll on the flat, feet.")
    ] = PAST_FT,
    slope_pct: Annotated[float, typer.Option(help="Steepness of the green, percent.")] = 0.0,
    slope_to_deg: Annotated[
        float,
        typer.Option(
            help="Which way is downhill, degrees clockwise from the line ball to hole: "
            "0 downhill putt, 90 falls to the right, 180 uphill."
        ),
    ] = 0.0,
    stimp_ft: Annotated[float, typer.Option(help="Green speed, feet.")] = STIMP_FT,
    line_sd_deg: Annotated[
        float, typer.Option(help="Your spread of start direction, degrees (assumed if not given).")
    ] = LINE_SD_DEG,
    pace_sd_pct: Annotated[
        float, typer.Option(help="Your spread of roll-out, percent; assumed if left out.")
    ] = PACE_SD_PCT,
    output: Output = None,
) -> None:
    """Where a putt started straight at the hole stops, and how to hole it most often.

    The straight putt has the pace that on the flat would roll the distance and --past-ft
    more. The aim is the line and pace (as a roll-out on the flat) that drop most often for
    the spreads given, in this kit's model of a plane green.

      putlab roll --distance-ft 10 --slope-pct 2 --slope-to-deg 90

      putlab roll --distance-ft 10 --slope-pct 2 --slope-to-deg 90 -o roll.csv
    """
    from putlab.green.roll import roll as rolled

    asked = {"distance_ft": distance_ft, "past_ft": past_ft, "stimp_ft": stimp_ft}
    asked |= {"slope_pct": slope_pct, "slope_to_deg": slope_to_deg}
    asked |= {"line_sd_deg": line_sd_deg, "pace_sd_pct": pace_sd_pct}
    try:
        putt = rolled(**asked)
    except UsageError as error:
        name, colon, rest = str(error).partition(":")
        flag = f"--{name.replace('_', '-')}" if name in asked else name
        raise UsageError(flag + colon + rest) from error
    if output is None:
        _show_roll(putt, distance_ft, past_ft, line_sd_deg, pace_sd_pct)
        return

    from putlab import __version__
    from putlab.base.writing import write_table

    write_table(putt.table, output, meta={"putlab": __version__, **asked})


def _show_roll(
    putt: Any, distance_ft: Any, past_ft: float, line_sd_deg: Any, pace_sd_pct: Any
) -> None:
    import math

    print(f"Started straight at the hole, with the pace of {distance_ft + past_ft:g} ft flat:")
    stop = f"{putt.stop_along_ft:.2f} ft along the line"
    print(f"  it stops {stop}, {_side(putt.stop_right_ft, 'ft')};")
    if math.isnan(putt.break_ft):
        print("  it never gets as far as the hole.")
    else:
        print(f"  passing the hole's distance it is {_side(putt.break_ft, 'ft')}.")
    print(f"To hole it most often with spreads of {line_sd_deg:g} degrees, {pace_sd_pct:g} %:")
    print(f"  start it {_side(putt.aim_deg, 'degrees')} of the straight line to the hole,")
    print(f"  with the pace that rolls {putt.roll_flat_ft:.2f} ft on the flat;")
    print(f"  over a covered hole it would stop {putt.aim_past_ft:.1f} ft from it;")
    print(f"  it drops {putt.one_putt:.1%} of the time.")


def _side(value: Any, unit: Any) -> str:
    side = "right" if value >= 0 else "left"
    return f"{abs(value):.2f} {unit} {side}"
