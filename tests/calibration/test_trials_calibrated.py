"""The verdict holds its word: false alarms, power and coverage over 200 simulated trials.

What ``trials.py`` has written is read; what it has not yet fitted is fitted now, which takes
hours from nothing.
"""

import json
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from record import RESULTS  # noqa: E402
from trials import run, screen_against_sampling  # noqa: E402

pytestmark = pytest.mark.calibration

TRIALS = 200


def figures(name):
    run(name, TRIALS)
    return read(f"trials_{name}")


def read(name):
    found = json.loads((RESULTS / f"{name}.json").read_text("utf-8"))
    return found["figures"]


@pytest.mark.parametrize("name", ["nothing", "practice"])
def test_nothing_is_said_of_nothing_however_often_one_looks(name):
    found = figures(name)
    assert found["trials"] == TRIALS
    assert found["ever_either"] <= 0.05


@pytest.mark.parametrize("name", ["before-after", "before-after-straight"])
def test_a_before_and_after_does_not_credit_practice_to_the_change(name):
    found = figures(name)
    assert found["trials"] == TRIALS
    assert found["ever_helped"] <= 0.05


def test_a_true_cut_is_seen_with_the_designed_number_of_putts():
    found = figures("cut")
    assert found["ever_helped"] >= 0.75
    assert 0.87 <= found["coverage_at_last_look"] <= 0.93


def test_the_screen_lets_no_verdict_pass():
    """Where the approximation is far from a verdict, sampling in full gives none."""
    screen_against_sampling()
    found = read("trials_screen")
    assert found["screened_out"] >= 15
    assert found["screened_out_wrongly"] == 0
    # Sampled twice, one verdict in thirty near its bar differs too.
    assert found["same_verdict_quick"] >= found["same_verdict_again"]
    assert found["ends_apart_mean_quick"] < 0.1
