"""What a verdict may get wrong, and what it sees, in the designs people use: the record's bars.

The record is that of ``trial_designs.py``, which says how it was made.
"""

import json

import pytest
from record import RESULTS

RECORD = json.loads((RESULTS / "trial_designs.json").read_text("utf-8"))["figures"]

# Nothing is true of these, and a verdict is given; of the next none is.
TOLD = ("shuffled", "sixty", "alternating", "bad-days", "three", "practice")
REFUSED = ("first", "lengths", "bad-spell")


@pytest.mark.parametrize("name", TOLD)
def test_of_nothing_no_more_than_one_trial_in_twenty_says_something(name):
    found = RECORD[name]
    assert found["trials"] >= 1000
    assert found["helped_or_hurt"]["share"] <= 0.05
    assert found["helped_or_hurt"]["hi"] < 0.065


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_told_apart_gets_no_verdict(name):
    found = RECORD[name]
    assert found["trials"] >= 1000
    assert found["helped_or_hurt"]["share"] == 0
    # But for the few who never came upon a bad spell, and so tried nothing.
    assert found["refused_by_design"]["share"] + found["one_condition_only"]["share"] == 1


@pytest.mark.parametrize("name", ["cut", "cut-trend", "cut-three"])
def test_the_cut_planned_for_is_seen_at_the_planned_size(name):
    found = RECORD[name]
    assert found["trials"] >= 1000
    assert found["helped"]["share"] >= 0.75


def test_checking_after_every_visit_costs_less_than_a_tenth_of_the_chance():
    # One check of the same putts, at the 5 % of a textbook, sees the cut somewhat more often.
    checked, once = (RECORD["cut"][of]["share"] for of in ("helped", "helped_by_one_check_at_last"))
    assert once - 0.1 < checked < once


def test_whole_visits_of_one_condition_miss_the_cut_more_often_as_compare_says():
    # Form from day to day stands between the two: the same putts tell less.
    by_visits, shuffled = RECORD["cut-alternating"], RECORD["cut"]
    assert by_visits["helped"]["hi"] < 0.75
    name = "information_of_designed_at_last"
    assert by_visits[name] < 0.8 < shuffled[name]


def test_the_quick_answer_lies_within_a_quarter_of_an_sd_of_sampling_and_says_the_same():
    found = RECORD["quick_against_sampling"]
    assert found["quick"]["mean_apart_in_sd"]["most"] < 0.25
    assert found["quick"]["sd_ratio"]["least"] > 0.9
    assert found["quick"]["sd_ratio"]["most"] < 1.1
    assert found["quick"]["same_verdict"] == found["logs"]
    # It is `compare`'s own answer, to the last digits.
    assert found["z_apart_from_compare_most"] < 1e-9


def test_near_the_bar_ten_seeds_give_one_verdict_and_of_the_demo_too():
    found = json.loads((RESULTS / "trial_seeds.json").read_text("utf-8"))["figures"]
    assert found["near_the_bar"]["logs"] >= 30
    for logs in (found["near_the_bar"], found["hall"]):
        assert logs["seeds"] == 10
        assert logs["one_verdict"] == logs["logs"]
    # Without the longer fit they would not.
    near = found["near_the_bar"]
    assert near["one_verdict_without_settling"] < near["logs"]
