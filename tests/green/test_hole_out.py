"""Putts to hole out: against brute force, adaptive integration and plain reasoning."""

from dataclasses import replace

import brute_force
import numpy as np
import pytest
from made_skills import uneven_skills
from refined import refined
from scipy import integrate
from scipy.stats import norm

from putlab.base.errors import UsageError
from putlab.green import hole_out as module
from putlab.green.hole_out import PUTT_OUTCOMES, HoleOut, cached_hole_out, hole_out, later_putts
from putlab.green.leaves import LeaveGrid
from putlab.green.skill import Skill

DISTANCES_FT = np.array([2.0, 3, 5, 8, 12, 20, 35, 60])
TOUR_LIKE = Skill.constant(1.4, 9.0)


def many_skills(draws, seed=5):
    """Return skills all over the range that the error bound speaks of."""
    rng = np.random.default_rng(seed)
    return Skill(
        np.array([10.0]),
        np.exp(rng.uniform(np.log(0.2), np.log(4), (draws, 1))),
        rng.normal(0, 0.5, (draws, 1)),
        np.exp(rng.uniform(np.log(2), np.log(30), (draws, 1))),
        rng.normal(0, 5, (draws, 1)),
    )


@pytest.mark.parametrize("name", ["wild, biased right and soft", "varies with distance"])
def test_within_the_bars_of_a_brute_force(name):
    table = brute_force.compare(brute_force.SETTINGS[name], [3, 10, 30, 60], 800_000, seed=11)
    # Sampling error of 800,000 holes: at most 0.0006 for a chance, 0.0009 for the average.
    assert table["one_putt_off"].abs().max() < 0.002
    assert table["three_putt_off"].abs().max() < 0.002
    assert table["average_putts_off"].abs().max() < 0.004
    assert table["mean_leave_off_ft"].abs().max() < 0.03


@pytest.mark.parametrize("mishits", [(0.02, 0.05), (0.05, 0.0)])
def test_mishits_are_within_the_bars_of_a_brute_force(mishits):
    setting = brute_force.SETTINGS["varies with distance"]
    table = brute_force.compare(setting, [3, 10, 30, 60], 800_000, seed=12, mishits=mishits)
    assert table["one_putt_off"].abs().max() < 0.002
    assert table["three_putt_off"].abs().max() < 0.002
    assert table["average_putts_off"].abs().max() < 0.004
    assert table["mean_leave_off_ft"].abs().max() < 0.03


def test_the_mean_golfers_mishits_stand_for_those_of_every_draw():
    plain = uneven_skills(40, seed=2)
    share = np.random.default_rng(3).beta(2, 60, (40, 1))
    wild_sds = {
        "line_wild_sd_deg": 4 * plain.line_sd_deg,
        "pace_wild_sd_pct": 4 * plain.pace_sd_pct,
    }
    skill = replace(plain, line_wild=share, pace_wild=share, **wild_sds)
    together = hole_out(skill, [4, 8, 20, 45]).average_putts.mean(axis=0)
    alone = [hole_out(skill[[i]], [4, 8, 20, 45]).average_putts[0] for i in range(40)]
    # Draws that differ as these do (spread by a fifth) make it wrong by 0.0018 at most.
    assert together == pytest.approx(np.mean(alone, axis=0), abs=0.002)


@pytest.mark.calibration
def test_within_the_bars_of_several_million_putts_a_setting():
    table = brute_force.record()
    assert table["one_putt_off"].abs().max() < 0.002
    assert table["three_putt_off"].abs().max() < 0.002
    assert table["average_putts_off"].abs().max() < 0.004


@pytest.mark.parametrize("skill", [many_skills(12), uneven_skills(12, seed=6)])
def test_error_bound_against_four_times_the_nodes(skill):
    for stimp_ft, past_ft in [(10, 1.0), (13, 0.25), (8, 2.5)]:
        plain = hole_out(skill, DISTANCES_FT, stimp_ft=stimp_ft, past_ft=past_ft)
        with refined(4):
            fine = hole_out(skill, DISTANCES_FT, stimp_ft=stimp_ft, past_ft=past_ft)
        for name in ("one_putt", "three_putt", "average_putts"):
            error = np.abs(getattr(plain, name) - getattr(fine, name))
            assert error.max() < 0.001
            assert np.quantile(error, 0.9) < 0.0003


def test_error_bound_where_misses_run_past_on_a_fast_green():
    """Steady in line, off to the left, wild in pace: of 72 golfers drawn the hardest to cut."""
    skill = Skill.constant(0.471, 22.6, line_bias_deg=-0.866, pace_bias_pct=-5.5)
    how = {"stimp_ft": 13, "past_ft": 0.25}
    plain = hole_out(skill, [8.0], **how).average_putts
    with refined(4):
        fine = hole_out(skill, [8.0], **how).average_putts
    assert plain == pytest.approx(fine, abs=0.001)


@pytest.mark.parametrize(("line_sd_deg", "pace_sd_pct", "distance_ft"), [(1, 8, 6), (2, 4, 4)])
def test_one_putt_and_leave_against_adaptive_integration(line_sd_deg, pace_sd_pct, distance_ft):
    """scipy's adaptive `dblquad` over direction and roll-out, conventions typed in again."""
    radius, hardest = 4.25 / 24, (1.63 / 0.3048) ** 2 / (2 * 1.8)
    spread = (distance_ft + 1) * pace_sd_pct / 100

    def window(angle):
        u = (distance_ft * np.sin(angle) / radius) ** 2
        along = distance_ft * np.cos(angle)
        return along - radius * np.sqrt(1 - u), along + hardest * (1 - u) ** 2

    def density(roll, angle):
        return norm.pdf(roll, distance_ft + 1, spread) * norm.pdf(angle, 0, np.radians(line_sd_deg))

    def leave(roll, angle):
        along, aside = distance_ft * np.cos(angle), distance_ft * np.sin(angle)
        return density(roll, angle) * np.hypot(roll - along, aside)

    edge, reach = np.arcsin(radius / distance_ft), np.radians(8 * line_sd_deg)
    low, high = distance_ft + 1 - 8 * spread, distance_ft + 1 + 8 * spread
    options = {"epsabs": 1e-6, "epsrel": 1e-5}
    holed = (
        2
        * integrate.dblquad(
            density, 0, edge, lambda t: window(t)[0], lambda t: window(t)[1], **options
        )[0]
    )
    total = integrate.dblquad(leave, edge, reach, low, high, **options)[0]
    total += integrate.dblquad(leave, 0, edge, low, lambda t: window(t)[0], **options)[0]
    total += integrate.dblquad(leave, 0, edge, lambda t: window(t)[1], high, **options)[0]
    out = hole_out(Skill.constant(line_sd_deg, pace_sd_pct), [distance_ft], stimp_ft=10)
    assert out.one_putt[0, 0] == pytest.approx(holed, abs=1e-4)
    assert out.mean_leave_ft[0, 0] == pytest.approx(2 * total / (1 - holed), abs=0.01)


def test_perfect_pace_leaves_the_angle_model_of_a_textbook():
    """Pace that always just reaches: made when |angle| < asin(R / d) (Gelman, Nolan 2002)."""
    skill = Skill.constant(1.53, 1e-4)
    out = hole_out(skill, DISTANCES_FT, stimp_ft=10, past_ft=0.01)
    half_deg = np.degrees(np.arcsin(4.25 / 24 / DISTANCES_FT))
    # At 0.01 ft past, the speed limit closes the outer 2 % of the hole (u < 0.98).
    limit = np.sqrt(1 - np.sqrt(0.01 / ((1.63 / 0.3048) ** 2 / 3.6)))
    expected = 2 * norm.cdf(half_deg * limit / 1.53) - 1
    assert out.one_putt[0] == pytest.approx(expected, abs=0.002)


def test_draws_are_solved_one_by_one_whatever_their_company(monkeypatch):
    # In two pieces, on two threads.
    monkeypatch.setattr(module, "PUTTS_AT_ONCE", 1000)
    skill = many_skills(45)
    out = hole_out(skill, DISTANCES_FT)
    for draw in (0, 21, 44):
        alone = Skill.constant(
            skill.line_sd_deg[draw, 0],
            skill.pace_sd_pct[draw, 0],
            line_bias_deg=skill.line_bias_deg[draw, 0],
            pace_bias_pct=skill.pace_bias_pct[draw, 0],
        )
        # Putts solved together may be given a few nodes more: within the error bound.
        expected = hole_out(alone, DISTANCES_FT).average_putts[0]
        assert out.average_putts[draw] == pytest.approx(expected, abs=0.001)


def test_same_input_gives_the_same_output_to_the_last_bit(monkeypatch):
    # In several pieces, on two threads.
    monkeypatch.setattr(module, "PUTTS_AT_ONCE", 1000)
    skill = many_skills(60)
    first, second = (hole_out(skill, DISTANCES_FT).more_than for _ in range(2))
    assert np.array_equal(first, second)


def test_a_bias_right_costs_what_one_left_does():
    right, left = (
        hole_out(Skill.constant(1.4, 9, line_bias_deg=bias), DISTANCES_FT) for bias in (0.7, -0.7)
    )
    assert right.average_putts == pytest.approx(left.average_putts, abs=1e-4)
    assert right.mean_leave_ft == pytest.approx(left.mean_leave_ft, abs=1e-4)


def test_more_spread_never_helps_at_one_distance_and_average_rises_with_distance():
    grid = [(line, pace) for line in (0.5, 1, 2, 4) for pace in (4, 8, 16)]
    averages = {
        pair: hole_out(Skill.constant(*pair), DISTANCES_FT).average_putts[0] for pair in grid
    }
    for line, pace in grid:
        # Single precision: 2 ft and 3 ft are equal to 7 digits for the steadiest.
        assert np.all(np.diff(averages[line, pace]) > -1e-6)
        if (2 * line, pace) in averages:
            assert np.all(averages[2 * line, pace] >= averages[line, pace] - 1e-6)


def test_hopeless_golfer_stops_at_ten_putts():
    out = hole_out(Skill.constant(60.0, 90.0), [60.0])
    assert out.more_than.shape == (10, 1, 1)
    assert 2 < out.average_putts[0, 0] <= 10


def test_nothing_missed_has_no_mean_leave():
    out = hole_out(Skill.constant(1e-6, 1e-6), [3.0, 30.0])
    assert out.one_putt == pytest.approx(np.ones((1, 2)))
    assert np.all(np.isnan(out.mean_leave_ft))
    assert out.table["mean_leave_ft"].isna().all()


@pytest.mark.parametrize(
    ("distance_ft", "options", "match"),
    [
        ([0.0], {}, "above 0 and rising"),
        ([0.0, 5.0], {}, "above 0 and rising"),
        ([5.0, 3.0], {}, "above 0 and rising"),
        ([np.nan], {}, "above 0 and rising"),
        ([], {}, "above 0 and rising"),
        ([[5.0, 6.0]], {}, "above 0 and rising"),
        ([5.0, 5.0], {}, "above 0 and rising"),
        ([5.0, np.inf], {}, "above 0 and rising"),
        ([5.0], {"stimp_ft": np.nan}, "stimp_ft nan: expected a number above 0"),
        ([5.0], {"stimp_ft": np.inf}, "stimp_ft inf: expected a number above 0"),
        ([5.0], {"past_ft": np.nan}, "past_ft nan: expected 0 or more"),
        ([5.0], {"stimp_ft": 0}, "stimp_ft 0: expected a number above 0"),
        ([5.0], {"past_ft": -1.0}, "past_ft -1.0: expected 0 or more"),
    ],
)
def test_wrong_arguments_are_named(distance_ft, options, match):
    with pytest.raises(UsageError, match=match):
        hole_out(TOUR_LIKE, distance_ft, **options)


def test_putts_to_come_sum_to_the_average_from_there():
    """`hole_out` counts the first putt by itself, so the two meet only in what they say."""
    grid = LeaveGrid()
    later = later_putts(TOUR_LIKE, grid, stimp_ft=10.0, past_ft=1.0)[0]
    assert np.all(later[:, 0] == 1)
    cells = np.searchsorted(grid.cells_ft, [3.0, 10.0, 40.0])
    expected = hole_out(TOUR_LIKE, grid.cells_ft[cells], past_ft=1.0).average_putts[0]
    assert later[cells].sum(axis=-1) == pytest.approx(expected, abs=0.001)


def test_to_die_at_the_hole_is_a_target():
    out = hole_out(TOUR_LIKE, [5.0], past_ft=0)
    # Half of the putts that are on line are short of the centre: by hand between a third
    # and two thirds of those struck a foot past.
    assert 0.3 < out.one_putt[0, 0] / hole_out(TOUR_LIKE, [5.0]).one_putt[0, 0] < 0.8


def test_where_nothing_is_said_the_green_is_ordinary_and_the_target_a_foot_past():
    plain = hole_out(TOUR_LIKE, [6.0, 20.0])
    said = hole_out(TOUR_LIKE, [6.0, 20.0], stimp_ft=10, past_ft=1)
    assert np.array_equal(plain.more_than, said.more_than)


def made_by_hand():
    """Two draws at one length: chances in eighths, and a draw that never misses."""
    more = np.zeros((10, 2, 1))
    more[0] = 1
    more[1, 0], more[2, 0], more[3, 0] = 6 / 8, 2 / 8, 1 / 8
    return HoleOut(np.array([9.0]), more, np.array([[3.0], [np.nan]]))


def test_chances_of_so_many_putts_by_hand():
    out = made_by_hand()
    assert out.one_putt[:, 0].tolist() == [2 / 8, 1]
    assert out.three_putt[:, 0].tolist() == [2 / 8, 0]
    assert out.average_putts[:, 0].tolist() == [1 + 9 / 8, 1]


def test_the_sentence_tells_of_the_longest_putt():
    assert made_by_hand().sentence == (
        "From 9 ft: one putt 62.5% of the time, three or more 12.5%, 1.56 putts on average."
    )


def test_the_table_is_the_mean_over_draws_and_its_leave_the_mean_over_misses():
    out = made_by_hand()
    row = out.table.iloc[0]
    assert row[["distance_ft", "one_putt", "three_putt", "average_putts"]].tolist() == [
        9.0, 5 / 8, 1 / 8, 1 + 9 / 16,
    ]  # fmt: skip
    assert row["mean_leave_ft"] == 3.0
    out.more_than[1, 1], out.mean_leave_ft[1] = 2 / 8, 7.0
    # Six misses at 3 ft for every two at 7 ft.
    assert out.table["mean_leave_ft"].item() == pytest.approx(4.0)


# Distance, green speed, spread of line and of pace. The fourth is slower than any green; in
# the last two one putt in thirty does not move at all, at the hole and beside it.
MISSES = [
    (3.0, 8.0, 1.5, 14),
    (12.0, 12.0, 1.5, 14),
    (40.0, 8.0, 1.5, 14),
    (6.0, 0.8, 1.5, 14),
    (3.0, 10.0, 0.5, 60),
    (8.0, 10.0, 9.0, 60),
]


@pytest.mark.parametrize(("distance_ft", "stimp_ft", "line_sd_deg", "pace_sd_pct"), MISSES)
def test_misses_and_their_mean_leave_against_struck_putts(
    distance_ft, stimp_ft, line_sd_deg, pace_sd_pct
):
    rng = np.random.default_rng(12)
    angle = np.radians(0.4 + line_sd_deg * rng.normal(size=1_000_000))
    spread = pace_sd_pct / 100
    roll = np.maximum((distance_ft + 1) * (1.05 + spread * rng.normal(size=angle.size)), 0)
    aside, along = distance_ft * np.sin(angle), distance_ft * np.cos(angle)
    u = np.minimum(np.abs(aside) * 24 / 4.25, 1)
    over = u < 1
    reaches = roll >= along - 4.25 / 24 * np.sqrt(1 - u**2)
    too_fast = np.maximum(roll - along, 0) * 36 / stimp_ft > (1.63 / 0.3048 * (1 - u**2)) ** 2
    missed = ~(over & reaches & ~too_fast)
    skill = Skill.constant(line_sd_deg, pace_sd_pct, line_bias_deg=0.4, pace_bias_pct=5)
    out = hole_out(skill, [distance_ft], stimp_ft=stimp_ft)
    assert 1 - out.one_putt[0, 0] == pytest.approx(missed.mean(), abs=0.0015)
    leave = np.hypot(aside, roll - along)[missed].mean()
    assert out.mean_leave_ft[0, 0] == pytest.approx(leave, abs=0.01, rel=0.003)


def test_a_golfer_whose_putts_leave_more_than_the_usual_grid():
    """From 150 ft, 40 % in pace: leaves reach 200 ft and more. Brute force, typed in apart."""
    setting = ([10], [4.0], [0.0], [40.0], [0.0], 10.0, 1.0)
    table = brute_force.compare(setting, [150], 200_000, seed=3)
    assert table["average_putts_off"].abs().max() < 0.012
    assert table["mean_leave_off_ft"].abs().max() < 0.3


def test_leaves_beyond_the_usual_grid_cost_more_than_its_end():
    """From 400 ft, half as hard again: most leave some 200 ft. Brute force, typed in apart."""
    setting = ([10], [1.5], [0.0], [20.0], [50.0], 10.0, 1.0)
    table = brute_force.compare(setting, [20, 400], 100_000, seed=8)
    # Sampling error of the average 0.0055.
    assert table["average_putts_off"].abs().max() < 0.015


def test_from_inside_the_hole_only_too_hard_a_putt_misses():
    # From 0.1 ft, 1.1 ft hard with 1.0 ft of spread: over the hole only beyond 8.0 ft.
    out = hole_out(Skill.constant(1.0, 100 / 1.1), [0.1])
    assert out.one_putt[0, 0] == pytest.approx(1, abs=1e-4)


def test_so_many_distances_that_draws_are_solved_one_at_a_time(monkeypatch):
    skill = many_skills(3)
    together = hole_out(skill, DISTANCES_FT).average_putts
    monkeypatch.setattr(module, "PUTTS_AT_ONCE", 5)
    # Putts solved together may be given a few nodes more: within the error bound.
    assert hole_out(skill, DISTANCES_FT).average_putts == pytest.approx(together, abs=0.001)


def test_every_distance_has_its_own_row_of_the_table():
    skill = many_skills(3)
    whole = hole_out(skill, [4.0, 25.0]).table
    for row, distance_ft in zip(whole.to_numpy(), (4.0, 25.0), strict=True):
        alone = hole_out(skill, [distance_ft]).table.to_numpy()[0]
        assert row == pytest.approx(alone, abs=2e-3)


KNOWN_FT = np.array([2.0, 10.0, 60.0])
ASKED_FT = np.array([4.0, 20.0])
GREEN = {"stimp_ft": 10.0, "past_ft": 1.0}


def golfer(line_sd_deg=1.2):
    flat = np.ones((2, 3))
    return Skill(KNOWN_FT, line_sd_deg * flat, 0 * flat, 9 * flat, 0 * flat)


def test_what_is_kept_is_what_was_solved(own_cache, monkeypatch):
    first = cached_hole_out(golfer(), ASKED_FT, **GREEN)
    solved = hole_out(golfer(), ASKED_FT, **GREEN)
    monkeypatch.setattr(module, "hole_out", lambda *_, **__: pytest.fail("solved again"))
    again = cached_hole_out(golfer(), ASKED_FT, **GREEN)
    for name in PUTT_OUTCOMES:
        np.testing.assert_array_equal(getattr(first, name), getattr(solved, name))
        np.testing.assert_array_equal(getattr(again, name), getattr(solved, name))


@pytest.mark.parametrize("other", [{"stimp_ft": 9.0}, {"past_ft": 2.0}])
def test_another_green_or_aim_is_another_question(own_cache, other):
    usual = cached_hole_out(golfer(), ASKED_FT, **GREEN)
    changed = cached_hole_out(golfer(), ASKED_FT, **GREEN | other)
    assert not np.array_equal(usual.average_putts, changed.average_putts)
    wider = cached_hole_out(golfer(1.5), ASKED_FT, **GREEN)
    assert (wider.average_putts > usual.average_putts).all()
