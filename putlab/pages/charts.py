"""Figures, each with the words that say what it shows and the numbers it draws."""

from putlab.pages.chart import Chart, chart_of
from putlab.pages.progress_charts import (
    change_chart,
    diary_chart,
    main_lengths_ft,
    progress_chart,
    progress_table,
    unusual_visits,
)
from putlab.pages.skill_charts import backtest_chart, readings_chart, spread_chart, visit_spreads
from putlab.pages.strokes_charts import (
    games_chart,
    next_hour_chart,
    players_chart,
    sensitivity_chart,
    strokes_lost_chart,
)
