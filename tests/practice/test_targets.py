"""Target bands: near seven in ten, and news by the binomial law."""

import numpy as np
import pytest
from made_golfers import MadeGolfer
from scipy.stats import binom, norm

from putlab.log.package import ReadingRules
from putlab.practice.targets import FEWEST, NEWS, Target, inside, news_counts, target

EXACT = ReadingRules()


def test_the_band_holds_the_share_the_normal_law_says():
    golfer = MadeGolfer(line_sd_deg=1.0)
    goal = target(golfer, EXACT, 6.0, "line", 20)
    assert goal.half_width == 1.0
    assert goal.usual_share == pytest.approx(norm.cdf(1) - norm.cdf(-1), abs=0.005)
    assert goal.usual == 14


def test_whole_degrees_reach_half_a_degree_further():
    # A reading of -1, 0 or 1 is anything within 1.5 degrees.
    golfer = MadeGolfer(line_sd_deg=1.5)
    goal = target(golfer, ReadingRules(line_step_deg=1.0), 6.0, "line", 20)
    assert goal.half_width == 1.0
    assert goal.usual_share == pytest.approx(norm.cdf(1) - norm.cdf(-1), abs=0.005)


def test_news_is_what_the_binomial_law_calls_rare():
    counts = binom.rvs(20, 0.7, size=200_000, random_state=1)
    high, low = news_counts(counts, 20)
    assert high == int(binom.isf(NEWS, 20, 0.7)) + 1
    assert low == int(binom.ppf(NEWS, 20, 0.7)) - 1


def test_a_golfer_known_roughly_needs_more_for_news():
    sure, rough = (
        target(MadeGolfer(log_sd=s, setup=(s, 0.0)), EXACT, 6.0, "line", 20) for s in (0, 0.5)
    )
    assert rough.news_low < sure.news_low


def test_two_good_ones_in_a_row_are_not_news():
    for putts in range(1, FEWEST):
        goal = target(MadeGolfer(), EXACT, 6.0, "line", putts)
        assert (goal.news_high, goal.news_low) == (None, None)
        assert "no count would be news" in goal.sentence


def test_a_pace_band_is_in_feet_of_roll():
    goal = target(MadeGolfer(pace_sd_pct=10.0), EXACT, 20.0, "pace", 20)
    assert goal.half_width == 2.0
    assert goal.band.startswith("roll 18 to 22")


def test_a_ball_at_the_backstop_is_out():
    rules = ReadingRules(roll_limit_ft=11.0)
    found = inside("pace", np.array([9.0, 10.0]), 1.0, 10.0, rules)
    assert found.tolist() == [True, False]


def test_a_band_stays_clear_of_the_backstop():
    golfer, rules = MadeGolfer(pace_sd_pct=20.0), ReadingRules(roll_limit_ft=38.0)
    assert target(golfer, rules, 36.0, "pace", 20).half_width < 2.0


@pytest.mark.parametrize(
    ("high", "low", "words"),
    [
        (9, 3, "7 of 10 is your usual; 9 or more, or 3 or fewer, would be news"),
        (10, None, "7 of 10 is your usual; all 10 would be news"),
        (None, 0, "7 of 10 is your usual; none would be news"),
    ],
)
def test_the_words_say_what_would_be_news(high, low, words):
    assert Target(6.0, "line", 10, 1.0, 7, 0.7, high, low).sentence == words
