"""Figures, each with the words that say what it shows and the numbers it draws."""

from putlab.charts.beliefs import beliefs_chart
from putlab.charts.change import change_chart
from putlab.charts.chart import Chart
from putlab.charts.finish import finish_chart, ten_putts
from putlab.charts.first_visit import first_visit_chart
from putlab.charts.leans import leans_chart
from putlab.charts.losses import losses_chart
from putlab.charts.next_hour import next_hour_chart
from putlab.charts.progress import progress_chart, progress_table
from putlab.charts.record import record_chart
from putlab.charts.spread import new_day_table, spread_chart, visit_spreads

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
