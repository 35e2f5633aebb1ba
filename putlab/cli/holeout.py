"""`putlab holeout`: what one known skill makes of putts on a flat green."""

from typing import Annotated

import typer

from putlab.cli.options import Output
from putlab.errors import UsageError
from putlab.settings import PAST_FT, STIMP_FT

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
):
    """One putt, three putts, average putts and mean leave of one known skill, by distance.

    No log is needed: give the spreads, read off what they are worth on a flat green.

      putlab holeout --line-sd-deg 1.5 --pace-sd-pct 9

      putlab holeout --line-sd-deg 1.5 --pace-sd-pct 9 --distances 2-60 -o holeout.csv
    """
    from putlab.writing import check_writable, write_table

    check_writable(output)
    distance_ft = feet(distances)
    spreads = {"--line-sd-deg": line_sd_deg, "--pace-sd-pct": pace_sd_pct}
    for name, value in spreads.items():
        if not 0 <= value < float("inf"):
            raise UsageError(f"{name} must be 0 or more; got {value:g}.")

    from putlab.holeout import hole_out
    from putlab.skill import Skill

    skill = Skill.constant(
        max(line_sd_deg, NO_SPREAD),
        max(pace_sd_pct, NO_SPREAD),
        line_bias_deg=line_bias_deg,
        pace_bias_pct=pace_bias_pct,
    )
    rising = sorted(set(distance_ft))
    result = hole_out(skill, rising, stimp_ft=stimp_ft, past_ft=past_ft).table()
    result = result.iloc[[rising.index(d) for d in distance_ft]].reset_index(drop=True)
    if output is None:
        _show(result)
        return

    from putlab import __version__

    known = {"line_bias_deg": line_bias_deg, "pace_bias_pct": pace_bias_pct}
    known |= {"line_sd_deg": line_sd_deg, "pace_sd_pct": pace_sd_pct}
    green = {"stimp_ft": stimp_ft, "past_ft": past_ft, "conditions": "flat green"}
    write_table(result, output, meta={"putlab": __version__, **known, **green})


def feet(text):
    """Read a list of distances such as ``3,6,10`` or ``2-5,10``.

    Parameters
    ----------
    text : str
        Numbers and whole-foot ranges, separated by commas.

    Returns
    -------
    list of float
        Distances in feet, in the order given, each once.

    Raises
    ------
    UsageError
        A part is not a number above 0, or not a range of whole feet.
    """
    found = []
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


def _bad_distances(text, part):
    return (
        f"--distances {text}: {part.strip() or 'nothing'} is not a distance. "
        f"Give feet above 0 and at most {LONGEST_FT}, as in 3,6,10 or 2-60."
    )


def _show(result):
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
