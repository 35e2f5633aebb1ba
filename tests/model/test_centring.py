"""Centring is chosen from moments: known sizes are found, and few putts change nothing."""

import numpy as np
import pandas as pd
import pytest
from designs import spread_design as design_of
from made_logs import simulated_log
from true_golfers import steady

from putlab.model import design as centring

LENGTHS_FT = [4.0, 8.0, 15.0, 28.0]
SIZE = {"players": 2, "lengths": len(LENGTHS_FT)}


def shares(rng, each, **line):
    log = simulated_log(
        rng,
        line=steady(np.log(1.2), **SIZE, **line),
        players=2,
        lengths=LENGTHS_FT,
        each=each,
        line_step_deg=0.1,
    )
    design = design_of(log)
    used = np.arange(len(design.sessions))
    return {
        "level": design.data["centre_level"],
        "bias": design.data["centre_bias"],
        "visit_bias": design.data["centre_visit_bias"][used],
        "visit_form": design.data["centre_visit_form"][used],
    }


def test_of_few_putts_the_sizes_are_the_typical_ones(rng):
    found = shares(rng, each=1)
    # Four putts a visit; the guess before looking stays: v n / (1 + v n) by hand.
    assert found["visit_form"] == pytest.approx(0.035**2 * 8 / (1 + 0.035**2 * 8))
    assert np.all(found["visit_bias"] <= 0.125**2 * 4 / (1 + 0.125**2 * 4) + 1e-12)


def test_what_varies_is_centred_and_what_does_not_is_not(rng):
    """Two hundred putts at a length and visit: far too many for the typical sizes to matter."""
    varied = shares(rng, each=200, visit_bias_sd=0.4, visit_form_sd=0.15)
    alike = shares(rng, each=200)
    for name in ("visit_bias", "visit_form"):
        assert np.all(varied[name] > 0.45)
        assert np.all(alike[name] < varied[name] - 0.15)
    assert np.all(varied["visit_bias"] > 0.9)


@pytest.mark.parametrize("true_sd", [0.05, 0.2])
def test_a_small_variance_is_found_from_values_and_their_precision(rng, true_sd):
    """A thousand values about each player's mean, as `var` finds them less their noise."""
    players, precision = np.repeat([0, 1, 2, 3], 250), pd.Series(np.full(1000, 400.0))
    noise = rng.normal(0, 1 / 20, 1000)
    value = pd.Series(players + rng.normal(0, true_sd, 1000) + noise)
    table = pd.DataFrame({"player": players})
    found = centring._guess(1.0, table, value, precision)
    apart = value.groupby(players).transform("mean")
    expected = (value - apart).var(ddof=4) - 1 / 400
    # Worth four degrees of freedom, the typical size of 1 pulls a little.
    assert np.log(found) == pytest.approx(np.log(expected) * 996 / 1000, abs=0.02)


def test_a_line_over_lengths_is_no_weak_spot(rng):
    x = np.tile(np.log([0.4, 0.8, 1.5, 2.8]), 50)
    table = pd.DataFrame({"player": np.repeat(np.arange(50), 4)})
    value = pd.Series(table["player"] + 0.3 * x + rng.normal(0, 0.01, 200))
    precision = pd.Series(np.full(200, 1e4))
    flat = centring._guess(1.0, table, value, precision)
    straight = centring._guess(1.0, table, value, precision, x)
    assert straight < 1e-4 < 1e-2 < flat


def test_readings_that_never_differ_leave_the_typical_sizes(rng):
    log = simulated_log(rng, each=3)
    log.putts["line_deg"] = 0.0
    found = design_of(log).data["centre_visit_bias"]
    assert np.all(np.isfinite(found))
    assert found.max() == pytest.approx(0.125**2 * 18 / (1 + 0.125**2 * 18))
