"""The checks pass a right model, and notice what is wrong with readings."""

from dataclasses import replace

import pandas as pd
import pytest
from scipy.stats import kstest, norm

from putlab.posterior.checks import (
    FAIL,
    NOTE,
    PASS,
    Verdict,
    failures,
    putt_scores,
    readings_checks,
)

VERDICTS = [
    Verdict("R-hat", PASS, "The chains agree."),
    Verdict("tails", NOTE, "A few putts are far out.", pd.DataFrame({"putt": [3]})),
    Verdict("divergences", FAIL, "The sampler lost its way."),
]


def test_only_a_fail_keeps_a_fit_out():
    assert failures(VERDICTS) == [VERDICTS[2]]
    assert failures(VERDICTS[:2]) == []


@pytest.mark.slow
@pytest.mark.parametrize("component", ["line", "pace"])
def test_the_demo_passes_its_own_checks(demo_log, demo_fit, component):
    verdicts = readings_checks(demo_log, demo_fit, component)
    assert [v.name for v in verdicts] == ["spread", "tails", "rounding"]
    assert [v.result for v in verdicts] == ["pass", "pass", "pass"]


@pytest.mark.slow
def test_scores_of_the_demo_are_standard_normal(demo_log, demo_fit, rng):
    scores = putt_scores(demo_log, demo_fit, "pace")
    u = rng.uniform(scores["below_lo"], scores["below_hi"])
    assert kstest(norm.ppf(u), "norm").pvalue > 0.01


def changed(log, **columns):
    return replace(log, putts=log.putts.assign(**columns))


@pytest.mark.slow
def test_readings_rounded_by_hand_are_noticed(demo_log, demo_fit):
    even = (demo_log.putts["roll_ft"] / 0.2).round() * 0.2
    rounding = readings_checks(changed(demo_log, roll_ft=even), demo_fit, "pace")[2]
    assert rounding.result == "note"
    assert rounding.table["even"].item() == 1.0


@pytest.mark.slow
def test_readings_of_somebody_wider_are_refused(demo_log, demo_fit):
    wide = (demo_log.putts["line_deg"] * 2).round()
    spread = readings_checks(changed(demo_log, line_deg=wide), demo_fit, "line")[0]
    assert spread.result == "fail"


@pytest.mark.slow
def test_too_many_wild_putts_are_noticed(demo_log, demo_fit):
    wild = demo_log.putts["line_deg"].mask(demo_log.putts.index % 20 == 0, 15.0)
    tails = readings_checks(changed(demo_log, line_deg=wild), demo_fit, "line")[1]
    assert tails.result == "note"
