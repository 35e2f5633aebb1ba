"""What is found of one player: the rooms' own results, and words made of them."""

from dataclasses import replace

import pytest
from demo_findings import findings

from putlab.pages.findings import condition_change
from putlab.practice.advice import advise
from putlab.rounds.estimate import estimate


def test_findings_are_those_of_the_front_door(demo_log, demo_fit):
    found = findings(demo_log, demo_fit, "birch")
    mine = demo_log.putts[demo_log.putts["player"] == "birch"]
    assert found.table.equals(estimate(demo_fit, ["birch"]).table)
    assert found.sentence == advise(demo_fit.golfer("birch")).sentence
    assert (found.putts, found.visits) == (len(mine), list(mine["session"].unique()))
    assert found.chart().name == "readings"
    at_ten = found.estimates.set_index("distance_ft").loc[10.0]
    assert found.at_reference["line_sd_deg"] == pytest.approx(at_ten["line_sd_deg"])


def test_where_most_is_lost_is_the_largest_of_the_table(demo_log, demo_fit):
    found = findings(demo_log, demo_fit, "birch")
    table = found.lost.table
    total = table[table["cause"] == "total"].set_index("stretch")["strokes"]
    where = total.drop("the round").idxmax()
    assert f"loses {total['the round']:.2f} strokes" in found.lost.sentence
    assert f"most is lost from {where} ({total[where]:.2f})" in found.lost.sentence


def test_a_change_is_looked_for_where_there_are_two_conditions(demo_fit):
    change = condition_change(demo_fit, "birch")
    assert (change.metric, change.conditions.after, change.several) == ("line", "new routine", None)
    assert condition_change(demo_fit, "alder") is None


def test_what_was_not_read_is_said(demo_log, demo_fit):
    found = findings(demo_log, demo_fit, "alder")
    assert found.not_read == ""
    assert replace(found, measured=["line"]).not_read.startswith("Pace of alder was not read")
    both = replace(found, measured=[], green=["Where from.", "What tells them apart."])
    assert both.not_read.startswith("Line and pace of alder were not read: what is said of them")
    assert "is what putts made or missed tell, and what was believed" in both.not_read
