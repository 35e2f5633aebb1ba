"""`putlab roll`: how one putt rolls on a plane slope, and how to hole it."""

from typing import Annotated

import typer

from putlab.cli.options import Output
from putlab.errors import UsageError
from putlab.settings import PAST_FT, STIMP_FT

# Spreads for the aim where none are given, an assumption: those of tour professionals in a
# published fit of direction and distance, 1.02 degrees and 0.080 of the distance (A. Gelman,
# "Model building and expansion for golf putting", Stan case study, 2019), rounded.
LINE_SD_DEG, PACE_SD_PCT = 1.0, 8.0

# Longer than any putt that a green allows.
LONGEST_FT = 200


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
        float,
        typer.Option(help="Your spread of start direction, degrees (assumed if not given)."),
    ] = LINE_SD_DEG,
    pace_sd_pct: Annotated[
        float, typer.Option(help="Your spread of roll-out, percent; assumed if left out.")
    ] = PACE_SD_PCT,
    output: Output = None,
):
    """Where a putt started straight at the hole stops, and how to hole it most often.

    The straight putt has the pace that on the flat would roll the distance and --past-ft
    more. The aim is the line and pace (as a roll-out on the flat) that drop most often for
    the spreads given, in this kit's model of a plane green.

      putlab roll --distance-ft 10 --slope-pct 2 --slope-to-deg 90

      putlab roll --distance-ft 10 --slope-pct 2 --slope-to-deg 90 -o roll.csv
    """
    _check(distance_ft, past_ft, slope_to_deg, line_sd_deg, pace_sd_pct)
    import pandas as pd

    from putlab.sloped_green.green import Green

    green = Green(stimp_ft, slope_pct)
    straight = _straight(green, distance_ft, past_ft, slope_to_deg)
    aimed = _aimed(green, distance_ft, slope_to_deg, line_sd_deg, pace_sd_pct)
    if output is None:
        _show(straight, aimed, distance_ft, past_ft, line_sd_deg, pace_sd_pct)
        return

    from putlab import __version__
    from putlab.writing import write_table

    asked = {"distance_ft": distance_ft, "past_ft": past_ft, "stimp_ft": stimp_ft}
    asked |= {"slope_pct": slope_pct, "slope_to_deg": slope_to_deg}
    asked |= {"line_sd_deg": line_sd_deg, "pace_sd_pct": pace_sd_pct}
    table = pd.DataFrame([straight | aimed])
    write_table(table, output, meta={"putlab": __version__, **asked})


def _check(distance_ft, past_ft, slope_to_deg, line_sd_deg, pace_sd_pct):
    from putlab.published import HOLE_RADIUS_FT

    finite = float("-inf") < slope_to_deg < float("inf")
    wrong = {
        "--distance-ft": (
            distance_ft,
            HOLE_RADIUS_FT < distance_ft <= LONGEST_FT,
            f"more than the hole's radius, {HOLE_RADIUS_FT:.3f}, and at most {LONGEST_FT}",
        ),
        "--past-ft": (
            past_ft,
            -distance_ft < past_ft <= LONGEST_FT,
            f"a target in front of the ball and at most {LONGEST_FT} past the hole",
        ),
        "--slope-to-deg": (slope_to_deg, finite, "a number of degrees"),
        "--line-sd-deg": (line_sd_deg, 0.01 <= line_sd_deg <= 30, "0.01 to 30 degrees"),
        "--pace-sd-pct": (pace_sd_pct, 0.1 <= pace_sd_pct <= 60, "0.1 to 60 percent"),
    }
    for name, (given, good, expected) in wrong.items():
        if not good:
            raise UsageError(f"{name}: got {given:g}; expected {expected}.")


def _straight(green, distance_ft, past_ft, slope_to_deg):
    """Return what a ball started straight at the hole does."""
    from putlab.roll import break_ft, stop_ft

    rolled = distance_ft + past_ft
    along, right = stop_ft(green, 0.0, rolled, slope_to_deg=slope_to_deg)
    drift = break_ft(green, distance_ft, rolled, slope_to_deg=slope_to_deg)
    return _plain({"stop_along_ft": along, "stop_right_ft": right, "break_ft": drift})


def _aimed(green, distance_ft, slope_to_deg, line_sd_deg, pace_sd_pct):
    """Return the line and pace that drop most often, where they finish and how often."""
    import numpy as np

    from putlab.roll import stop_ft
    from putlab.sloped_green.choice import choose
    from putlab.sloped_green.lies import Lies, Strike

    lies = Lies.on(green, distance_ft, slope_to_deg)
    line, rolled = choose(lies, line_sd_deg, pace_sd_pct)
    spreads = (np.array([value]) for value in (line_sd_deg, 0.0, pace_sd_pct, 0.0))
    strike = Strike(line, rolled, *spreads)
    along, right = stop_ft(green, line, rolled, slope_to_deg=slope_to_deg)
    values = {
        "aim_deg": line,
        "roll_flat_ft": rolled,
        "aim_past_ft": np.hypot(along - distance_ft, right),
        "one_putt": lies.around(strike).holed_chance(strike),
    }
    return _plain({name: value[0] for name, value in values.items()})


def _plain(values):
    """Return numbers to a billionth: rounding of sines is no drift, and no zero is signed."""
    return {name: round(float(value), 9) + 0.0 for name, value in values.items()}


def _show(straight, aimed, distance_ft, past_ft, line_sd_deg, pace_sd_pct):
    import math

    print(f"Started straight at the hole, with the pace of {distance_ft + past_ft:g} ft flat:")
    stop = f"{straight['stop_along_ft']:.2f} ft along the line"
    print(f"  it stops {stop}, {_side(straight['stop_right_ft'], 'ft')};")
    if math.isnan(straight["break_ft"]):
        print("  it never gets as far as the hole.")
    else:
        print(f"  passing the hole's distance it is {_side(straight['break_ft'], 'ft')}.")
    print(f"To hole it most often with spreads of {line_sd_deg:g} degrees, {pace_sd_pct:g} %:")
    print(f"  start it {_side(aimed['aim_deg'], 'degrees')} of the straight line to the hole,")
    print(f"  with the pace that rolls {aimed['roll_flat_ft']:.2f} ft on the flat;")
    print(f"  over a covered hole it would stop {aimed['aim_past_ft']:.1f} ft from it;")
    print(f"  it drops {aimed['one_putt']:.1%} of the time.")


def _side(value, unit):
    side = "right" if value >= 0 else "left"
    return f"{abs(value):.2f} {unit} {side}"
