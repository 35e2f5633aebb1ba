"""What a fit says of a player, at lengths practised, between and beyond."""

import numpy as np
import pytest

from putlab.base.errors import UsageError
from putlab.base.settings import INTERVAL
from putlab.posterior.player import choose_player, summary

pytestmark = pytest.mark.slow


def width(skill):
    low, high = np.quantile(np.log(skill.line_sd_deg), [0.05, 0.95], axis=0)
    return high - low


def test_at_a_practised_length_the_skill_is_the_fitted_level(demo_fit):
    alder = demo_fit.golfer("alder")
    within = alder.skill([10.0], new_day=False)
    length = list(demo_fit.designs["line"].lengths_ft).index(10.0)
    now = alder.draws("line", "trend") * alder._practised_now()
    expected = np.exp(alder.draws("line", "level")[:, length] + now)
    assert within.line_sd_deg[:, 0] == pytest.approx(expected)


def test_the_answer_widens_between_and_beyond_the_practised_lengths(demo_fit):
    widths = width(demo_fit.golfer("alder").skill([10.0, 12.6, 36.0, 60.0], new_day=False))
    assert widths[1] > widths[0]
    assert widths[3] > widths[2]


def test_a_new_day_is_wider_by_the_setup_and_form(demo_fit):
    rowan = demo_fit.golfer("rowan")
    within, new = (rowan.skill([10.0], new_day=n).pace_sd_pct[:, 0] for n in (False, True))
    form = rowan.draws("pace", "form_sd")
    setup = rowan.draws("pace", "setup_sd")
    assert new**2 == pytest.approx(within**2 * np.exp(2 * form**2) + setup**2)


def test_counting_changes_spread_by_the_fitted_factor(demo_fit):
    rowan = demo_fit.golfer("rowan")
    calm, counted = (rowan.skill([6.0], new_day=False, counted=c) for c in (False, True))
    ratio = (counted.line_sd_deg / calm.line_sd_deg)[:, 0]
    assert ratio == pytest.approx(np.exp(rowan.draws("line", "counted")))


def test_the_condition_of_the_last_visit_is_the_one_told(demo_fit):
    shares = demo_fit.condition_now.set_index("player")["condition"]
    assert shares["birch"] == "new routine"


def test_one_question_asked_twice_has_one_answer(demo_fit):
    one, two = (demo_fit.golfer("birch").skill([4.5, 50.0]) for _ in range(2))
    assert np.array_equal(one.line_sd_deg, two.line_sd_deg)


def test_an_unknown_player_is_answered_with_the_known_ones():
    with pytest.raises(UsageError, match="Did you mean 'birch'"):
        choose_player(["alder", "birch"], "brich")
    with pytest.raises(UsageError, match="has 2 players; name one"):
        choose_player(["alder", "birch"], None)


def test_the_summary_is_the_kits_interval(rng):
    mean, low, high = summary(rng.normal(3, 2, (200_000, 1)))
    # 1.645 is the standard normal's 95 % point (any statistical table).
    assert INTERVAL == 0.90
    assert low.item() == pytest.approx(3 - 2 * 1.645, abs=0.03)
    assert high.item() == pytest.approx(3 + 2 * 1.645, abs=0.03)
    assert mean.item() == pytest.approx(3, abs=0.02)
