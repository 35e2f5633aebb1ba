"""Figures, each with the words that say what it shows and the numbers it draws."""

from functools import singledispatch
from typing import Any

from putlab.base.errors import UsageError
from putlab.base.words import listed
from putlab.pages.chart import Chart
from putlab.pages.prior_charts import backtest_chart, first_visit_chart, prior_chart
from putlab.pages.putt_charts import change_chart, published_record_chart
from putlab.pages.readings_chart import readings_chart
from putlab.pages.skill_charts import (
    main_lengths_ft,
    progress_chart,
    progress_table,
    spread_chart,
    spread_table,
    unusual_visits,
    visit_spreads,
)
from putlab.pages.strokes_charts import (
    games_chart,
    next_hour_chart,
    players_chart,
    sensitivity_chart,
    strokes_lost_chart,
)
from putlab.posterior.backtest import Backtest
from putlab.posterior.player import Golfer
from putlab.practice.advice import Advice
from putlab.practice.sensitivity import Sensitivity
from putlab.rounds.estimate import Estimate
from putlab.rounds.reference import TourGolfer
from putlab.rounds.strokes import StrokesLost
from putlab.trial.compare import Comparison

__all__ = [
    "Chart", "backtest_chart", "change_chart", "chart_of", "first_visit_chart", "games_chart",
    "main_lengths_ft",
    "next_hour_chart", "players_chart", "prior_chart", "progress_chart", "progress_table",
    "published_record_chart", "readings_chart", "sensitivity_chart", "spread_chart",
    "spread_table", "strokes_lost_chart", "unusual_visits", "visit_spreads",
]  # fmt: skip


@singledispatch
def chart_of(result: Any) -> Chart:
    """Return the chart in which people look for a result first.

    Parameters
    ----------
    result : putlab.base.result.Result or putlab.posterior.player.Golfer
        What the front door returned: advice, a comparison, estimates of one player, ...

    Returns
    -------
    Chart
        The one for this kind of result.

    Raises
    ------
    UsageError
        No chart is drawn of this kind of result.
    """
    known = listed(sorted(kind.__name__ for kind in chart_of.registry if kind is not object))
    raise UsageError(f"no chart is drawn of a {type(result).__name__}; there is one of {known}.")


chart_of.register(Backtest, backtest_chart)
chart_of.register(Advice, next_hour_chart)
chart_of.register(StrokesLost, strokes_lost_chart)
chart_of.register(Comparison, change_chart)
chart_of.register(Sensitivity, sensitivity_chart)
chart_of.register(TourGolfer, published_record_chart)


@chart_of.register
def _(result: Golfer) -> Chart:
    return spread_chart(result.table, spread_table(result))


@chart_of.register
def _(result: Estimate) -> Chart:
    players = result.table["player"].unique()
    if len(players) > 1:
        raise UsageError(
            f"a chart of estimates shows one player; got {listed(players)}. Estimate one of them."
        )
    return spread_chart(result.table)
