"""The checks pass a right model, and notice what is wrong with chains and with readings."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from scipy.stats import kstest, norm

from putlab.base.settings import ESS_LIMIT
from putlab.model.spread import tree_of
from putlab.posterior.checks import (
    FAIL,
    NOTE,
    PASS,
    Verdict,
    convergence,
    failures,
    putt_scores,
    readings_checks,
    verdict_table,
)

VERDICTS = [
    Verdict("R-hat", PASS, "The chains agree."),
    Verdict("tails", NOTE, "A few putts are far out.", pd.DataFrame({"putt": [3]})),
    Verdict("divergences", FAIL, "The sampler lost its way."),
]


def test_the_table_has_a_row_a_check_in_their_order():
    table = verdict_table(VERDICTS)
    assert table.to_dict("list") == {
        "check": ["R-hat", "tails", "divergences"],
        "result": ["pass", "note", "fail"],
        "sentence": ["The chains agree.", "A few putts are far out.", "The sampler lost its way."],
    }


def test_no_checks_make_an_empty_table_of_the_same_columns():
    table = verdict_table([])
    assert list(table.columns) == ["check", "result", "sentence"]
    assert table.empty


def test_only_a_fail_keeps_a_fit_out():
    assert failures(VERDICTS) == [VERDICTS[2]]
    assert failures(VERDICTS[:2]) == []


# Convergence


def tree(draws, diverged=0):
    diverging = np.zeros(draws.shape[:2], dtype=bool)
    diverging.flat[:diverged] = True
    return tree_of(xr.Dataset({"spread": (("chain", "draw"), draws)}), diverging)


def test_chains_that_agree_pass(rng):
    verdicts = convergence(tree(rng.standard_normal((4, 1000))))
    assert verdict_table(verdicts)["result"].tolist() == ["pass", "pass", "pass"]


def test_chains_apart_fail_and_the_quantity_is_named(rng):
    draws = rng.standard_normal((4, 1000)) + np.arange(4)[:, None]
    failed = failures(convergence(tree(draws)))
    assert "spread" in failed[0].sentence
    assert failed[0].name == "R-hat"


def test_sticky_chains_fail_for_want_of_effective_draws(rng):
    steps = rng.standard_normal((4, 1000))
    sticky = np.zeros_like(steps)
    for i in range(1, 1000):
        # AR(1) with rho = 0.95 has an effective share of (1 - rho) / (1 + rho) = 2.6 %.
        sticky[:, i] = 0.95 * sticky[:, i - 1] + steps[:, i]
    verdict = convergence(tree(sticky))[1]
    assert verdict.result == "fail"
    assert verdict.table["lowest_ess_bulk"].item() < ESS_LIMIT


@pytest.mark.parametrize(("diverged", "result"), [(0, "pass"), (3, "note"), (100, "fail")])
def test_divergences_are_told_or_fail(rng, diverged, result):
    assert convergence(tree(rng.standard_normal((4, 1000)), diverged))[2].result == result


# Readings


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
