"""How widely line and pace scatter, by length, with the readings behind it."""

import pandas as pd

from putlab.base.errors import UsageError
from putlab.base.words import interval, length_words, listed, quantity
from putlab.log.read import Log
from putlab.model.readings import lengths_ft, practice_putts
from putlab.pages import chart
from putlab.pages.chart import Chart, chart_of
from putlab.posterior.player import Golfer
from putlab.rounds.estimate import Estimate

SPREAD_TITLE = {"line": "Line spread, degrees", "pace": "Pace spread, %"}

# Fewer readings than this say next to nothing about a spread.
FEWEST = 4


def visit_spreads(log: Log, player: str) -> pd.DataFrame:
    """Return the plain spread of the readings of each visit and length, NaN where they are few.

    Straight from the display: coarse steps, a backstop and mishits are still in it, which is
    why the estimates may differ. Columns ``session, distance_ft, line_sd_deg, pace_sd_pct``.
    """
    putts = practice_putts(log.putts)
    putts = putts.assign(
        distance_ft=lengths_ft(putts["distance_ft"])[putts["length"]],
        pace_pct=100 * (putts["roll_ft"] / putts["target_ft"] - 1),
    )
    groups = putts[putts["player"] == player].groupby(["session", "distance_ft"], sort=False)
    readings = groups[["line_deg", "pace_pct"]]
    table = readings.std().where(readings.count() >= FEWEST)
    return table.set_axis(list(chart.SPREAD_COLUMN.values()), axis=1).reset_index()


def spread_chart(estimates: pd.DataFrame) -> Chart:
    """Draw spread by distance for line and pace.

    Parameters
    ----------
    estimates : pandas.DataFrame
        One player's spread within a visit, such as rows of `putlab.rounds.estimate`.

    Returns
    -------
    Chart
        Two panels; its table is the estimates of spread.
    """
    with chart.line_and_pace(2.6, SPREAD_TITLE) as (figure, panels):
        for component, axis in panels.items():
            name = chart.SPREAD_COLUMN[component]
            chart.interval_marks(
                axis, estimates["distance_ft"], estimates, name, markersize=5.5, linewidth=1.4,
                label="within a visit", **chart.LOOK[component],
            )  # fmt: skip
            chart.distance_axis(axis, estimates["distance_ft"])
            axis.set_ylim(0, 1.1 * estimates[name + "_hi"].max())
    names = [name + end for name in chart.SPREAD_COLUMN.values() for end in ("", "_lo", "_hi")]
    table = estimates[["distance_ft", *names]].reset_index(drop=True)
    reading = "Marks with bars: this player within a visit, with the 90 % interval."
    return Chart("spread", "Spread by distance", _spread_alt(estimates), reading, figure, table)


@chart_of.register
def _(result: Golfer | Estimate) -> Chart:
    players = result.table["player"].unique()
    if len(players) > 1:
        raise UsageError(
            f"a chart of estimates shows one player; got {listed(players)}. Estimate one of them."
        )
    return spread_chart(result.table)


def _spread_alt(estimates: pd.DataFrame) -> str:
    said = []
    for component, name in chart.SPREAD_COLUMN.items():
        values = estimates[name]
        low, high = (estimates.loc[pick()] for pick in (values.idxmin, values.idxmax))
        said.append(
            f"{component} spread is least at {length_words(low['distance_ft'])} "
            f"({quantity(low[name], name)}) and most at {length_words(high['distance_ft'])} "
            f"({quantity(high[name], name)}, "
            f"{interval(high[name + '_lo'], high[name + '_hi'], name)})"
        )
    return f"Spread by distance for {estimates['player'].iloc[0]}: " + "; ".join(said) + "."
