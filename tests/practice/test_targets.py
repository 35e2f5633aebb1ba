"""Ordinary days scatter as the golfer does and look as the display shows; bands and news follow."""

import numpy as np
import pytest
from made_golfers import MadeGolfer
from made_logs import log_of, simulated_log
from scipy.stats import binom, norm

from putlab.base.words import lengths_in
from putlab.log.rules import ReadingRules
from putlab.model.spread import MISHIT_TIMES
from putlab.practice.targets import (
    FEWEST,
    NEWS,
    Band,
    Target,
    as_read,
    news_counts,
    ordinary_days,
    planned_putts,
    reading_share,
    readings_of,
    stepped,
    target,
    usual_band,
)

EXACT = ReadingRules()


def test_days_scatter_by_spread_and_share_an_offset():
    golfer = MadeGolfer(line_sd_deg=1.2, setup=(0.5, 0.0), line_bias_deg=0.3)
    days = ordinary_days(golfer, planned_putts(6.0, 40), EXACT, days=8000)["line"]
    assert days.mean() == pytest.approx(0.3, abs=0.02)
    assert np.sqrt(days.var(axis=1, ddof=1).mean()) == pytest.approx(1.2, rel=0.01)
    # The mean of a day: offset and 40 putts, 0.5^2 + 1.2^2 / 40.
    assert days.mean(axis=1).std() == pytest.approx(np.hypot(0.5, 1.2 / np.sqrt(40)), rel=0.03)


def test_a_day_has_its_form():
    golfer = MadeGolfer(form=0.3)
    days = ordinary_days(golfer, planned_putts(6.0, 400), EXACT, days=3000)["line"]
    assert np.log(days.std(axis=1)).std() == pytest.approx(np.hypot(0.3, 1 / 28), rel=0.06)


def test_mishits_are_four_times_as_wide():
    golfer = MadeGolfer(mishit_share=0.1)
    days = ordinary_days(golfer, planned_putts(6.0, 100), EXACT, days=4000)["line"]
    assert days.var() == pytest.approx(0.9 + 0.1 * 16, rel=0.03)


def test_line_is_shown_in_whole_degrees():
    golfer = MadeGolfer()
    rules = ReadingRules(line_step_deg=1.0)
    days = ordinary_days(golfer, planned_putts(6.0, 10), rules, days=500)["line"]
    assert np.all(days == np.round(days))


def test_a_backstop_stops_the_ball(rng):
    rules = ReadingRules(roll_limit_ft=11.0, roll_step_ft=0.1)
    shown = as_read("pace", np.array([[-5.0, 50.0]]), np.array([10.0, 10.0]), rules, rng)
    assert shown == pytest.approx(np.array([[-5.0, 10.0]]))


def test_a_ball_does_not_roll_back(rng):
    assert as_read("pace", np.array([[-400.0]]), np.array([10.0]), EXACT, rng)[0, 0] == -100


def test_no_step_shows_values_as_they_are():
    assert stepped(np.array([1.234]), None)[0] == 1.234


def test_readings_are_the_practice_putts_of_one_visit(rng):
    log = simulated_log(rng, sessions=2, lengths=[6.0, 10.0], each=4)
    putts = log.putts.copy()
    putts.loc[0, "drill"] = "counted"
    log = log_of(putts)
    today = readings_of(log, "player 1", "visit 01")
    assert len(today) == 7
    row = putts.iloc[1]
    assert today.loc[0, "line"] == row["line_deg"]
    assert today.loc[0, "pace"] == pytest.approx(100 * (row["roll_ft"] / row["distance_ft"] - 1))


EXACT = ReadingRules()
ONE_SD = norm.cdf(1) - norm.cdf(-1)


def share_inside(goal, golfer, rules):
    days = ordinary_days(golfer, planned_putts(goal.distance_ft, 20), rules, seed=2)
    return goal.holds(days[goal.component]).mean()


def test_the_band_holds_the_share_the_normal_law_says():
    golfer = MadeGolfer(line_sd_deg=1.0)
    goal = target(golfer, EXACT, 6.0, "line", 20)
    assert goal.half_width == 1.0
    assert share_inside(goal, golfer, EXACT) == pytest.approx(ONE_SD, abs=0.005)
    assert goal.usual == 14


def test_whole_degrees_reach_half_a_degree_further():
    # A reading of -1, 0 or 1 is anything within 1.5 degrees.
    golfer = MadeGolfer(line_sd_deg=1.5)
    rules = ReadingRules(line_step_deg=1.0)
    goal = target(golfer, rules, 6.0, "line", 20)
    assert goal.half_width == 1.0
    assert share_inside(goal, golfer, rules) == pytest.approx(ONE_SD, abs=0.005)


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
    found = Band(10.0, "pace", 1.0, limit_ft=11.0).holds(np.array([9.0, 10.0]))
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
    assert Target(6.0, "line", 1.0, np.inf, 10, 7, high, low).sentence == words


def test_an_exact_reading_tells_everything():
    assert reading_share(0.7) == pytest.approx(1, abs=1e-3)


def test_sensor_noise_takes_its_share_of_the_variance_squared():
    # d log(total sd) / d log(sd) = sd² / total², and the information is its square.
    assert reading_share(1.0, noise=0.5) == pytest.approx((1 / 1.25) ** 2, abs=1e-3)


def test_only_sd_against_step_matters():
    assert reading_share(0.5, step=0.5) == pytest.approx(reading_share(1, step=1), rel=1e-9)


@pytest.mark.parametrize(("step", "share"), [(1.0, 0.0), (0.5, 0.03), (2.0, 0.05)])
def test_information_is_the_mean_square_of_the_score_of_simulated_readings(step, share):
    rng = np.random.default_rng(4)
    place = rng.uniform(-step / 2, step / 2, 400_000)
    wild = rng.random(place.size) < share
    value = place + rng.standard_normal(place.size) * np.where(wild, MISHIT_TIMES, 1)
    middle = np.round(value / step) * step

    def logp(log_sd):
        ends = ((middle + side * step / 2 - place) / np.exp(log_sd) for side in (1, -1))
        high, low = ends
        parts = [(1 - share, 1), (share, MISHIT_TIMES)]
        return np.log(sum(w * (norm.cdf(high / k) - norm.cdf(low / k)) for w, k in parts))

    score = (logp(1e-4) - logp(-1e-4)) / 2e-4
    expected = np.mean(score**2) / 2
    assert reading_share(1.0, step=step, mishit_share=share) == pytest.approx(expected, rel=0.02)


def test_a_band_in_metres_is_marked_by_tenths_and_said_as_it_is():
    errors = np.random.default_rng(5).normal(0.0, 9.0, 4000)
    with lengths_in("m"):
        near, far = (usual_band("pace", errors, d / 0.3048, ReadingRules()) for d in (2.0, 6.0))
        # 70 % of a normal lie within 1.04 sd: 0.19 and 0.56 m, in steps of 5 and 10 cm.
        assert near.band == "roll 1.8 to 2.2\u202fm"
        assert far.band == "roll 5.4 to 6.6\u202fm"
        # Of a log in feet: 10 ft are 3.048 m, and nobody marks a floor by the millimetre.
        ten_ft = usual_band("pace", errors, 10.0, ReadingRules())
        assert ten_ft.band == "roll 2.75 to 3.35\u202fm"
