"""How far spread and bias come down, worked by hand for one golfer."""

from dataclasses import replace

import numpy as np
import pytest
from made_golfers import LENGTHS_FT, made_state

from putlab.practice.case import draw_effect
from putlab.practice.learning import Learning

# Nothing uncertain: every draw is the median.
SURE = Learning(rate_log_sd=1e-9, yield_log_sd=0, carry_log_sd=0, bias_log_sd=0)
NODES = np.array([3.0, 6.0, 12.0])


@pytest.fixture
def practice():
    who, rng = made_state(putts=40), np.random.default_rng(1)
    return draw_effect(who, SURE, NODES, np.arange(5), rng)


def test_an_hour_at_one_length_narrows_as_worked_by_hand(practice):
    found = practice.changes([6.0], {"line": [100.0], "pace": [0.0]})
    # 12 ft is twice 6 ft: exp(-log 2 / 0.7) of a putt counts there.
    counts = 100 * np.exp(-np.log(2) / 0.7)
    so_far = (40 * np.exp(-np.abs(np.log(LENGTHS_FT / 12)) / 0.7)).sum()
    spread, bias = found["line"]
    assert spread[:, 2] == pytest.approx((1 + counts / (100 + so_far)) ** -0.08)
    assert bias[:, 2] == pytest.approx(0.5 ** (counts / SURE.bias_putts))


def test_a_quarter_of_a_putt_for_line_counts_for_pace(practice):
    line_only = practice.changes([6.0], {"line": [100.0], "pace": [0.0]})["pace"]
    pace_only = practice.changes([6.0], {"line": [0.0], "pace": [25.0]})["pace"]
    assert np.allclose(line_only, pace_only)


def test_practice_only_narrows():
    who, rng = made_state(), np.random.default_rng(1)
    practice = draw_effect(who, Learning(), NODES, np.arange(50), rng)
    for spread, bias in practice.changes([10.0], {"line": [60.0], "pace": [9.0]}).values():
        assert np.all((spread > 0) & (spread < 1))
        assert np.all((bias > 0) & (bias < 1))


def test_a_length_that_teaches_nothing_changes_nothing(practice):
    dull = replace(practice, yields={c: 0 * v for c, v in practice.yields.items()})
    spread, bias = dull.changes([6.0], {"line": [100.0], "pace": [50.0]})["line"]
    assert np.all(spread == 1)
    assert np.all(bias == 1)
