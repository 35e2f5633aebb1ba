"""Estimates under other beliefs: the table says how far each moves the answer."""

import numpy as np
import pytest

from putlab.model.priors import LINE_PRIORS, PRIORS
from putlab.posterior import player as module


class StubGolfer:
    """A golfer whose log spread is the log of the prior's median, exactly known to 10 %."""

    def __init__(self, priors):
        self.priors = priors

    def golfer(self, player):
        return self

    def log_spread_and_bias(self, component, distance_ft):
        middle = np.log(self.priors[component].sd_median)
        draws = middle + np.linspace(-0.1, 0.1, 2001)[:, None]
        return draws, np.zeros_like(draws)


def test_each_belief_is_moved_alone_and_its_effect_told(monkeypatch):
    asked = []

    def stub(log, *, priors):
        asked.append(priors)
        return StubGolfer(priors)

    monkeypatch.setattr(module, "fit_log", stub)
    table = module.prior_sensitivity(None, "p", "line", 10.0).set_index("priors")
    assert all(priors["pace"] is PRIORS["pace"] for priors in asked)
    assert table.loc["as shipped", "moved"] == 0
    assert table.loc["weak spots half the size", "moved"] == pytest.approx(0)
    # 1.4 times the median, against a shipped interval from exp(-0.09) to exp(0.09).
    assert table.loc["golfers a third wider", "moved"] == pytest.approx(0.4 / 0.181, rel=0.01)


def test_factors_multiply_only_the_named_priors():
    changed = module.scaled(LINE_PRIORS, {"sd_median": 2.0})
    assert changed.sd_median == 2 * LINE_PRIORS.sd_median
    assert changed.bump_median == LINE_PRIORS.bump_median


@pytest.mark.slow
def test_the_least_practised_length_is_found(demo_fit):
    golfer = demo_fit.golfer("alder")
    putts = golfer.practised.set_index("distance_ft")["putts"]
    assert putts[module.least_practised_ft(golfer)] == putts.min()
