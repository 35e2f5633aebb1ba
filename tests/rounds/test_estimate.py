"""Estimates against the demo's truth, and putts by holing out."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from conftest import DEMO

from putlab.green.hole_out import PUTT_OUTCOMES, hole_out
from putlab.green.published import green_spread
from putlab.green.skill import SKILL_QUANTITIES
from putlab.posterior.player import summary
from putlab.rounds.estimate import DRAWS, OWN_CURVE, estimate
from putlab.rounds.expected import new_day_skill


@pytest.fixture(scope="module")
def table(demo_fit):
    return estimate(demo_fit).table


@pytest.fixture(scope="module")
def truth():
    truth = json.loads((DEMO / "hall/truth.json").read_text())
    return pd.DataFrame(truth["within_a_visit_at_the_end"])


@pytest.mark.slow
def test_the_columns_are_the_promised_ones(table):
    numbers = (*SKILL_QUANTITIES, *PUTT_OUTCOMES, *(f"green_{name}" for name in PUTT_OUTCOMES))
    ends = [name + end for name in numbers for end in ("", "_lo", "_hi")]
    assert list(table.columns) == ["player", "distance_ft", "putts", "sessions", *ends, *OWN_CURVE]
    assert len(table) == 18
    assert table.notna().all(axis=None)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["line_sd_deg", "pace_sd_pct"])
def test_most_intervals_hold_the_truth_of_the_demo(table, truth, name):
    both = table.merge(truth, on=["player", "distance_ft"], suffixes=("", "_true"))
    assert len(both) == 18
    true = both[name + "_true"]
    assert 0.80 <= true.between(both[name + "_lo"], both[name + "_hi"]).mean() <= 1.0


@pytest.mark.slow
def test_putts_grow_with_distance_and_with_spread(table):
    for _, player in table.groupby("player"):
        assert player["average_putts"].is_monotonic_increasing
    worst = table.groupby("player")["average_putts"].mean().idxmax()
    assert worst == "rowan"  # the widest by truth


@pytest.mark.slow
def test_the_putts_are_those_of_the_new_day_skill(demo_fit, table):
    """Hole out draws by themselves, as `putlab holeout` would."""
    skill = new_day_skill(demo_fit.golfer("alder")).thinned(DRAWS)
    row = table[(table["player"] == "alder") & (table["distance_ft"] == 10)].iloc[0]
    draws = hole_out(skill, [10.0]).one_putt[:, 0]
    assert row["one_putt"] == pytest.approx(draws.mean(), abs=1e-6)
    few = np.linspace(0, skill.draws - 1, 20).astype(int)
    alone = [hole_out(skill[i : i + 1], [10.0]).one_putt[0, 0] for i in few]
    # In each the wild putts are the mean golfer's; over draws that evens out.
    assert np.mean(alone) == pytest.approx(draws[few].mean(), abs=5e-4)
    ordinary = replace(skill, line_wild=np.zeros(1), pace_wild=np.zeros(1))
    first = hole_out(ordinary[:1], [10.0]).one_putt[0, 0]
    assert first == pytest.approx(hole_out(ordinary, [10.0]).one_putt[0, 0], abs=1e-6)


@pytest.mark.slow
def test_one_player_can_be_asked_for(demo_fit, table):
    alone = estimate(demo_fit, ["birch"]).table
    pd.testing.assert_frame_equal(alone, table[table["player"] == "birch"].reset_index(drop=True))
    assert np.all(alone["line_sd_deg_lo"] < alone["line_sd_deg"])


@pytest.mark.slow
def test_putts_on_a_green_are_those_of_the_published_reading(demo_fit, table):
    """The demo holds no putts on a green: published reading and surface, in quadrature."""
    every = new_day_skill(demo_fit.golfer("alder")).wider(*green_spread())
    on_green = every.thinned(DRAWS)
    own = table[table["player"] == "alder"]
    # At all lengths together: putts are integrated in groups, whose nodes their widest sets.
    draws, at = hole_out(on_green, own["distance_ft"]), list(own["distance_ft"]).index(10)
    row = own.iloc[at]
    assert row["green_average_putts"] == pytest.approx(draws.average_putts[:, at].mean(), abs=1e-6)
    low, high = np.quantile(draws.one_putt[:, at], [0.05, 0.95])
    ends = row["green_one_putt_lo"], row["green_one_putt_hi"]
    assert ends == pytest.approx((low, high), abs=1e-6)
    assert row["green_one_putt"] < row["one_putt"]
    # All draws say the same within half of the last digit shown.
    shown = own[[f"green_average_putts{end}" for end in ("", "_lo", "_hi")]].to_numpy().T
    whole = summary(hole_out(every, own["distance_ft"]).average_putts)
    assert shown == pytest.approx(np.array(whole), abs=0.005)


@pytest.mark.slow
def test_the_sentence_tells_every_player_at_the_middle_length(demo_fit, table):
    said = estimate(demo_fit).sentence
    for player, rows in table.groupby("player"):
        row = rows[rows["distance_ft"] == 10].iloc[0]
        assert f"{player} from 10\u00a0ft: line scatters by {row['line_sd_deg']:.2f}°" in said
