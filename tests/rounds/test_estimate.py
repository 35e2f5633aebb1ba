"""The table of estimates recovers the demo's truth and says what it says it does."""

import json

import numpy as np
import pandas as pd
import pytest
from conftest import DEMO

from putlab.green.hole_out import hole_out
from putlab.green.skill import Skill
from putlab.rounds.estimate import COLUMNS, estimate_table

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def table(demo_fit):
    return estimate_table(demo_fit)


@pytest.fixture(scope="module")
def truth():
    told = json.loads((DEMO / "truth.json").read_text())
    return pd.DataFrame(told["within_a_visit_at_the_end"])


def test_the_columns_are_the_promised_ones(table):
    assert list(table.columns) == COLUMNS
    assert len(table) == 18
    assert table.notna().all(axis=None)


@pytest.mark.parametrize("name", ["line_sd_deg", "pace_sd_pct"])
def test_most_intervals_hold_the_truth_of_the_demo(table, truth, name):
    both = table.merge(truth, on=["player", "distance_ft"], suffixes=("", "_true"))
    assert len(both) == 18
    true = both[name + "_true"]
    assert 0.80 <= true.between(both[name + "_lo"], both[name + "_hi"]).mean() <= 1.0


def test_putts_grow_with_distance_and_with_spread(table):
    for _, player in table.groupby("player"):
        assert player["average_putts"].is_monotonic_increasing
    worst = table.groupby("player")["average_putts"].mean().idxmax()
    assert worst == "rowan"  # the widest by truth


def test_the_putts_are_those_of_the_new_day_skill(demo_fit, table):
    """Hole out one draw by itself, as `putlab holeout` would."""
    from putlab.rounds.estimate import strokes_skill

    skill = strokes_skill(demo_fit.golfer("alder"))
    one = Skill(skill.distance_ft, *(getattr(skill, n)[:1] for n in SKILL_NAMES))
    alone = hole_out(one, [10.0]).one_putt[0, 0]
    row = table[(table["player"] == "alder") & (table["distance_ft"] == 10)].iloc[0]
    draws = hole_out(skill, [10.0]).one_putt[:, 0]
    assert alone == pytest.approx(draws[0], abs=1e-6)
    assert row["one_putt"] == pytest.approx(draws.mean(), abs=1e-6)


SKILL_NAMES = ("line_sd_deg", "line_bias_deg", "pace_sd_pct", "pace_bias_pct")


def test_one_player_can_be_asked_for(demo_fit, table):
    alone = estimate_table(demo_fit, ["birch"])
    pd.testing.assert_frame_equal(alone, table[table["player"] == "birch"].reset_index(drop=True))
    assert np.all(alone["line_sd_deg_lo"] < alone["line_sd_deg"])
