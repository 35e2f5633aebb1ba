"""Strokes lost, saved and given away: sums, words and marks that match the tables."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
from demo_findings import findings, one

from putlab.base.words import sure
from putlab.pages.strokes_charts import (
    next_hour_chart,
    players_chart,
    sensitivity_chart,
    shown_causes,
)
from putlab.rounds.games import judge_games


def test_causes_add_up_to_the_strokes_lost(demo_log, demo_fit):
    causes = findings(demo_log, demo_fit, "alder").lost.table
    wide = causes.pivot(index="stretch", columns="cause", values="strokes")
    assert np.allclose(wide.drop(columns="total").sum(axis=1), wide["total"], atol=1e-9)
    assert shown_causes(wide.assign(aim=0.0)).count("aim") == 0


def test_the_choice_is_ringed_where_it_stands(demo_log, demo_fit):
    advice = findings(demo_log, demo_fit, "birch").advice
    chart = next_hour_chart(advice)
    axis = chart.figure.axes[0]
    rings = [line for line in axis.lines if line.get_fillstyle() == "none"]
    assert [int(round(ring.get_xdata()[0])) for ring in rings] == [i for i, _ in advice.chosen]
    assert advice.row["saved_next_hour"] in [ring.get_ydata()[0] for ring in rings]
    assert all(sure(advice.p_chosen) in ring.get_label() for ring in rings)


def test_games_drawn_are_those_judged(demo_log, demo_fit):
    found = findings(demo_log, demo_fit, "alder")
    played = judge_games(demo_fit, demo_log.putts, "alder").scores
    # Ratios are solved together there and one alone here: a hair of interpolation apart.
    pd.testing.assert_frame_equal(found.games, played, rtol=1e-4)
    better = (played["gained_on_self"] > 0).sum()
    assert (
        f"{len(played)} counted games of alder: {better} better than usual"
        in one(found, "games").alt
    )


def test_players_are_set_side_by_side():
    table = pd.DataFrame({"player": ["a", "b"]})
    for name in ("strokes_lost", "line_sd_deg", "pace_sd_pct"):
        table = table.assign(**{name: [1.0, 2.0], f"{name}_lo": 0.5, f"{name}_hi": 2.5})
    chart = players_chart(table)
    assert [t.get_text() for t in chart.figure.axes[0].get_yticklabels()] == ["a", "b"]
    assert "a 1.00; b 2.00" in chart.alt


def sensitivity_of(costs, flips, tied):
    table = pd.DataFrame(
        {
            "assumption": ["as assumed", "green speed", "learning rate"],
            "value": ["", "8 ft", "0.04"],
            "flips": [False, *flips], "tied": [True, *tied], "costs": [0.0, *costs],
        }
    )  # fmt: skip
    return SimpleNamespace(table=table, choice=(1, "line"))


def test_what_the_choice_leans_on_counts_what_would_flip_it():
    chart = sensitivity_chart(sensitivity_of([0.02, 0.08], [True, True], [True, False]))
    assert (
        "Of 2 other assumptions 1 would make another choice than line from 4 to 8\xa0ft"
        in chart.alt
    )
    assert "most costly is learning rate 0.04, 0.08 strokes" in chart.alt
    points = {line.get_label(): len(line.get_xdata()) for line in chart.figure.axes[0].lines}
    assert (points["another, but tied"], points["another"]) == (1, 1)
    assert points["still the choice"] == 0


def test_next_to_nothing_given_away_looks_like_next_to_nothing():
    chart = sensitivity_chart(sensitivity_of([0.0001, 0.0002], [False] * 2, [True] * 2))
    assert chart.figure.axes[0].get_xlim()[1] >= 0.05


def test_words_of_strokes_give_the_numbers_drawn(demo_log, demo_fit):
    found = findings(demo_log, demo_fit, "birch")
    causes = found.lost.table
    total = causes[(causes["cause"] == "total") & (causes["stretch"] != "the round")]
    worst = total.loc[total["strokes"].idxmax()]
    assert f"{worst['stretch']} ({worst['strokes']:.2f}, " in one(found, "losses").alt
    best = found.advice.table.loc[found.advice.table["saved_next_hour"].idxmax()]
    said = one(found, "next-hour").alt
    assert f"most for {best['component']} " in said
    assert f"{best['stretch']} ({best['saved_next_hour']:.2f}, " in said
