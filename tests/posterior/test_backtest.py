"""Visits predicted from those before: scores worked out by hand, ranges that hold, what is kept."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from made_logs import simulated_log
from scipy.stats import norm
from true_golfers import steady

from putlab.base.errors import UsageError
from putlab.pages.charts import chart_of
from putlab.posterior import backtest as room
from putlab.posterior.backtest import Backtest, backtest, kept_backtest

# As many lengths and visits as other tests fit: they share a compilation.
LENGTHS_FT = [4.0, 8.0, 14.0, 24.0]
QUICK = {"draws": 400, "tune": 300, "chains": 4, "cores": 2}


def log_of_visits(rng, sessions, **more):
    """Return 36 putts a visit of a golfer who is a little right and long."""
    line = steady(0.0, 0.2, visit_bias_sd=0.3, mishit_share=0.02, lengths=4)
    pace = steady(np.log(8.0), 2.0, visit_bias_sd=2.0, mishit_share=0.02, lengths=4)
    made = {"line": line, "pace": pace, "lengths": LENGTHS_FT, "each": 9} | more
    return simulated_log(rng, sessions=sessions, **made)


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    log = log_of_visits(np.random.default_rng(3), 5)
    # As of one file a visit, whose rows are numbered anew.
    rows = log.putts.groupby("session").cumcount() + 2
    log = replace(log, putts=log.putts.assign(row=rows))
    return log, backtest(log, visits=2, **QUICK)


@pytest.mark.slow
def test_the_last_visits_are_predicted_and_the_result_is_kept(found):
    log, result = found
    table = result.table
    assert table["session"].unique().tolist() == ["visit 04", "visit 05"]
    assert table["readings"].tolist() == [36] * 4
    # 144 readings that share four offsets: the truth is 90 %, three standard errors are 15 %.
    assert 0.75 <= result.readings["held_90"].mean() <= 1
    assert (
        "Each of the last 2 visits, predicted from those before: the 90\u202f%" in result.sentence
    )
    kept = kept_backtest(log)
    pd.testing.assert_frame_equal(kept.table, table)
    assert kept.sentence == result.sentence
    assert chart_of(result).table["place"].between(-4, 4).all()


@pytest.mark.slow
def test_a_visit_is_foreseen_from_nothing_of_its_own(found):
    """Whatever the last visit reads, what was thought of it stays the same."""
    log, result = found
    last = log.putts["session"] == "visit 05"
    wider = log.putts["line_deg"].where(~last, 2 * log.putts["line_deg"])
    other = backtest(replace(log, putts=log.putts.assign(line_deg=wider)), visits=1, **QUICK)
    ours = result.readings.query("session == 'visit 05' and component == 'line'")
    theirs = other.readings.query("component == 'line'")
    same = log.putts.loc[last, "line_deg"].to_numpy() == 0
    assert same.any()
    assert theirs["chance"].to_numpy()[same] == pytest.approx(ours["chance"].to_numpy()[same])


def test_the_plain_score_is_a_normal_of_mean_and_sd():
    known = pd.DataFrame({"length": [0, 0, 0, 1], "shown": [1.0, 2.0, 3.0, 9.0]})
    putts = pd.DataFrame({"length": [0, 1], "lo": [1.5, 1.5], "hi": [2.5, 2.5]})
    one, few = room._by_mean(putts, known)
    assert one == pytest.approx(norm.cdf(0.5) - norm.cdf(-0.5))
    middle, sd = 3.75, np.std([1, 2, 3, 9], ddof=1)
    assert few == pytest.approx(norm.cdf(2.5, middle, sd) - norm.cdf(1.5, middle, sd))


def test_a_wide_reading_counts_by_the_part_inside_the_range():
    rows = pd.DataFrame({"low": [0.0, 0.4, 0.0], "high": [0.1, 0.6, 0.01]})
    ranged = room._with_ranges(rows)
    assert ranged["held_90"].tolist() == pytest.approx([0.5, 1.0, 0.0])
    assert ranged["held_50"].tolist() == pytest.approx([0.0, 1.0, 0.0])


def test_scores_and_words_follow_from_chances():
    row = {"player": "birch", "session": "b", "component": "line", "distance_ft": 10.0, "row": 1}
    row |= {"low": 0.4, "high": 0.5, "held_50": 1.0, "held_90": 1.0}
    rows = [row | {"chance": 0.2, "plain": 0.1, "last_visit": 0.4}] * 2
    result = Backtest(pd.DataFrame(rows))
    assert result.table["plain_log_score"].item() == pytest.approx(np.log(0.1))
    assert "100\u202f% likelier than by the plain mean" in result.sentence
    assert "50\u202f% less likely than by the last visit's" in result.sentence


def test_one_visit_can_not_be_held_against_others(rng):
    with pytest.raises(UsageError, match="log another visit first"):
        backtest(log_of_visits(rng, 1))
