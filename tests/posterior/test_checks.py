"""The checks pass a right model, and notice what is wrong with readings."""

from dataclasses import replace

import pandas as pd
import pytest
from scipy.stats import kstest

from putlab.posterior.checks import FAIL, NOTE, PASS, Verdict, failures, putt_scores, spread_check
from putlab.posterior.fit import checks_of

VERDICTS = [
    Verdict("R-hat", PASS, "The chains agree."),
    Verdict("tails", NOTE, "A few putts are far out.", pd.DataFrame({"putt": [3]})),
    Verdict("divergences", FAIL, "The sampler lost its way."),
]


def test_only_a_fail_keeps_a_fit_out():
    assert failures(VERDICTS) == [VERDICTS[2]]
    assert failures(VERDICTS[:2]) == []


def test_where_nobody_has_two_readings_there_is_no_spread_to_check():
    found = spread_check(pd.DataFrame({"player": ["a", "b"], "z": [0.1, 2.0]}))
    assert found.result == NOTE
    assert "Nobody has two readings" in found.sentence


@pytest.mark.slow
def test_the_demo_passes_its_own_checks(demo_log, demo_fit):
    found = checks_of(demo_log, demo_fit)
    of_one = ["spread", "two sides", "largest"]
    assert [v.name for v in found["line"]] == [v.name for v in found["pace"]] == of_one
    of_both = ["tails", "together", "within a visit", "streaks"]
    assert [v.name for v in found["line with pace"]] == of_both
    assert {v.result for verdicts in found.values() for v in verdicts} == {"pass"}


@pytest.mark.slow
def test_scores_of_the_demo_are_standard_normal(demo_log, demo_fit):
    scores = putt_scores(demo_log, demo_fit, "pace")
    assert kstest(scores["z"], "norm").pvalue > 0.01


def changed(log, **columns):
    return replace(log, putts=log.putts.assign(**columns))


@pytest.mark.slow
def test_readings_of_somebody_wider_are_refused(demo_log, demo_fit):
    wide = (demo_log.putts["line_deg"] * 2).round()
    spread = checks_of(changed(demo_log, line_deg=wide), demo_fit)["line"][0]
    assert spread.result == "fail"


@pytest.mark.slow
def test_too_many_wild_putts_are_noticed(demo_log, demo_fit):
    wild = demo_log.putts["line_deg"].mask(demo_log.putts.index % 20 == 0, 15.0)
    tails = checks_of(changed(demo_log, line_deg=wild), demo_fit)["line with pace"][0]
    assert tails.result == "note"
