"""Chances on the holes of a game, and how much wider the spread is when it counts."""

import brute_force
import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from putlab.green.published import green_spread
from putlab.green.skill import Skill
from putlab.green.slope import Green
from putlab.green.slope_hole_out import slope_more_than
from putlab.rounds import expected
from putlab.rounds.expected import LOG_RATIOS, RATIOS_SOLVED, counted_ratio, hole_chances, scaled

GOLFER = Skill.constant(1.3, 9.0)


def holes_table(distance_ft, **columns):
    blank = {"stimp_ft": 10.0, "slope_pct": np.nan, "slope_to_deg": np.nan}
    return pd.DataFrame({"distance_ft": distance_ft} | blank | columns)


def test_scaling_widens_spread_and_leaves_bias():
    skill = Skill(np.array([5.0, 20]), [[1.0, 1.2]], [[0.3, 0.1]], [[9.0, 8]], [[-2.0, 1]])
    wide = scaled(skill, (0.5, 2.0))
    assert wide.line_sd_deg == pytest.approx(np.array([[0.5, 0.6], [2, 2.4]]))
    assert wide.pace_bias_pct == pytest.approx(np.array([[-2.0, 1], [-2, 1]]))


def test_sloping_holes_against_solving_the_slope_for_each_draw():
    rng = np.random.default_rng(1)
    shape = (6, 1)
    skill = Skill(
        np.array([10.0]),
        1.2 * np.exp(0.1 * rng.normal(size=shape)),
        0.1 * rng.normal(size=shape),
        9 * np.exp(0.1 * rng.normal(size=shape)),
        -1.0,
    )
    holes = holes_table([5.0, 12, 30], slope_pct=2.1, slope_to_deg=[90.0, 0, 135])
    found = hole_chances(skill, holes)[0]
    lies = holes["distance_ft"], holes["slope_to_deg"]
    reading = skill.wider(*green_spread())
    more = slope_more_than(reading, Green(10.0, 2.0), *lies, past_ft=1.0)
    one, two = 1 - more[1], more[1] - more[2]
    for putts, chance in enumerate((one, two)):
        assert np.abs(found[..., putts] - chance).max() < 0.02
        assert np.abs(found[..., putts].mean(axis=0) - chance.mean(axis=0)).max() < 0.003
    assert found.sum(axis=-1) == pytest.approx(np.ones((6, 3)))


def test_reading_is_added_on_slopes_only(monkeypatch):
    monkeypatch.setattr(expected, "_on_slope", lambda more, *rest: more)
    flat, slope = holes_table([15.0]), holes_table([15.0], slope_pct=2.0, slope_to_deg=180.0)
    known, read = (hole_chances(golfer, flat) for golfer in (GOLFER, GOLFER.wider(*green_spread())))
    assert read[0, 0, 0, 0] < known[0, 0, 0, 0] - 0.01
    assert hole_chances(GOLFER, slope) == pytest.approx(read)


def test_ratio_is_recovered_from_struck_games():
    lengths_ft = np.tile([4.0, 7, 12, 20, 33], 160)
    holes = holes_table(lengths_ft)
    rng = np.random.default_rng(12)
    setting = ([10], [1.3 * 1.35], [0.0], [9.0 * 1.35], [0.0], 10.0, 1.0)
    putts = [brute_force.play(setting, d, 1, rng)[0][0] for d in lengths_ft]
    found = counted_ratio(hole_chances(GOLFER, holes, ratios=RATIOS_SOLVED), putts)
    low, high = found.interval
    assert low < 1.35 < high
    assert high / low < 1.2
    assert found.chance_wider > 0.999


def test_ratio_intervals_hold_as_often_as_they_say():
    """Ratio from the prior, golfer from the draws, putts from both: 90 % must be covered."""
    rng = np.random.default_rng(3)
    shape = (30, 1)
    skill = Skill(
        np.array([10.0]),
        1.3 * np.exp(0.15 * rng.normal(size=shape)),
        0.0,
        9 * np.exp(0.15 * rng.normal(size=shape)),
        0.0,
    )
    holes = holes_table([4.0, 7, 10, 14, 20, 28, 6, 9, 40] * 4)
    chances = hole_chances(skill, holes, ratios=RATIOS_SOLVED)
    inside, times = 0, 300
    for _ in range(times):
        log_ratio = np.clip(rng.normal(0, 0.25), LOG_RATIOS[0], LOG_RATIOS[-1])
        draw = rng.integers(30)
        node = np.interp(log_ratio, np.log(RATIOS_SOLVED), np.arange(RATIOS_SOLVED.size))
        low, part = (
            int(min(node, RATIOS_SOLVED.size - 2)),
            node - int(min(node, RATIOS_SOLVED.size - 2)),
        )
        mixed = (1 - part) * chances[low, draw] + part * chances[low + 1, draw]
        taken = 1 + (rng.random((len(holes), 1)) > np.cumsum(mixed, axis=1)).sum(axis=1)
        lo, hi = counted_ratio(chances, taken).interval
        inside += lo < np.exp(log_ratio) < hi
    assert binom.cdf(inside, times, 0.9) > 0.005
    assert binom.sf(inside - 1, times, 0.9) > 0.005


def test_no_games_leave_the_prior():
    chances = hole_chances(GOLFER, holes_table([10.0]), ratios=RATIOS_SOLVED)[:, :, :0]
    found = counted_ratio(chances, [])
    # Normal prior of the log ratio: 90 % within 1.645 x 0.25 of no change.
    ends = np.exp([-1.645 * 0.25, 1.645 * 0.25])
    assert found.interval == pytest.approx(ends, rel=0.002)
    assert found.chance_wider == pytest.approx(0.5)


def test_many_putts_on_one_hole_do_not_settle_the_ratio():
    holes = holes_table([5.0] * 9)
    chances = hole_chances(GOLFER, holes, ratios=RATIOS_SOLVED)
    tidy, lapse = (counted_ratio(chances, putts) for putts in ([1] * 9, [1] * 8 + [9]))
    assert lapse.median < 1.6
    assert tidy.median < lapse.median
