"""The checks pass a right model, and notice what is wrong with wrong readings."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import kstest, norm

from putlab.posterior.checks import likely_mishits, putt_scores, readings_checks

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("component", ["line", "pace"])
def test_the_demo_passes_its_own_checks(demo_log, demo_fit, component):
    verdicts = readings_checks(demo_log, demo_fit, component)
    assert [v.name for v in verdicts] == ["spread", "tails", "rounding"]
    assert [v.result for v in verdicts] == ["pass", "pass", "pass"]


def test_scores_of_the_demo_are_standard_normal(demo_log, demo_fit, rng):
    scores = putt_scores(demo_log, demo_fit, "pace")
    u = rng.uniform(scores["below_lo"], scores["below_hi"])
    assert kstest(norm.ppf(u), "norm").pvalue > 0.01


def changed(log, **columns):
    return replace(log, putts=log.putts.assign(**columns))


def test_readings_rounded_by_hand_are_noticed(demo_log, demo_fit):
    even = (demo_log.putts["roll_ft"] / 0.2).round() * 0.2
    rounding = readings_checks(changed(demo_log, roll_ft=even), demo_fit, "pace")[2]
    assert rounding.result == "note"
    assert rounding.table["even"].item() == 1.0


def test_readings_of_somebody_wider_are_refused(demo_log, demo_fit):
    wide = (demo_log.putts["line_deg"] * 2).round()
    spread = readings_checks(changed(demo_log, line_deg=wide), demo_fit, "line")[0]
    assert spread.result == "fail"


def test_too_many_wild_putts_are_noticed(demo_log, demo_fit):
    wild = demo_log.putts["line_deg"].mask(demo_log.putts.index % 20 == 0, 15.0)
    tails = readings_checks(changed(demo_log, line_deg=wild), demo_fit, "line")[1]
    assert tails.result == "note"


def test_a_putt_listed_as_wild_is_far_out_and_still_counted(demo_log, demo_fit):
    listed = likely_mishits(demo_log, demo_fit)
    assert 0 < len(listed) < 0.03 * len(demo_log.putts)
    scores = putt_scores(demo_log, demo_fit, "line").set_index(["file", "row"])
    mine = listed[listed["component"] == "line"].set_index(["file", "row"])
    both = scores.loc[mine.index]
    middle = (both["lo"] + both["hi"]) / 2
    assert np.all(np.abs(middle - both["mu"]) > 2 * both["sd"])
    assert demo_fit.designs["line"].rows["count"].sum() == len(scores)
