"""Figures, each with the words that say what it shows and the numbers it draws."""

from putlab.pages.chart import Chart
from putlab.pages.prior_charts import beliefs_chart, first_visit_chart
from putlab.pages.putt_charts import change_chart, finish_chart, record_chart, ten_putts
from putlab.pages.skill_charts import (
    new_day_table,
    progress_chart,
    progress_table,
    spread_chart,
    visit_spreads,
)
from putlab.pages.strokes_charts import leans_chart, losses_chart, next_hour_chart

__all__ = [
    "Chart",
    "beliefs_chart",
    "change_chart",
    "finish_chart",
    "first_visit_chart",
    "leans_chart",
    "losses_chart",
    "new_day_table",
    "next_hour_chart",
    "progress_chart",
    "progress_table",
    "record_chart",
    "spread_chart",
    "ten_putts",
    "visit_spreads",
]
