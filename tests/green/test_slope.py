"""Roll on a plane slope: against numerical integration, energy, and published relations."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from slope_simulation import acceleration, forces, roll_out

from putlab.base.errors import UsageError
from putlab.green.slope import (
    Green,
    NeverStops,
    aim_past,
    break_ft,
    displacement,
    share_facing,
    stop_ft,
    velocity,
)

# Green speed, slope, direction of downhill, start line, flat roll-out.
PUTTS = [
    (10, 2, 90, 0, 11),
    (10, 2, 180, 0, 11),
    (10, 2, 0, 0.0, 11),
    (8, 4.5, 135, -7, 40),
    (13, 4, 20, 3, 25),
    (12, 5, 200, 12, 6),
    (9, 0, 0, 1.5, 30),
    (11, 0.001, 77, -2, 15),
    (7, 10, 250, 10, 20),
]


def integrate(stimp_ft, slope_pct, slope_to_deg, line_deg, roll_ft, **options):
    """Integrate the equations of motion in the putt's own frame with scipy."""
    friction, pull = forces(stimp_ft, slope_pct)
    to, line = np.radians(slope_to_deg), np.radians(line_deg)
    down = pull * np.array([np.cos(to), np.sin(to)])
    speed = np.sqrt(2 * friction * roll_ft)

    def motion(_, state):
        return np.r_[state[2:], acceleration(state[2:], friction, down)]

    start = [0, 0, speed * np.cos(line), speed * np.sin(line)]
    options = {"method": "DOP853", "rtol": 1e-12, "atol": 1e-12} | options
    span = options.pop("span", (0, 60 * roll_ft))
    return solve_ivp(motion, span, start, **options)


def course(green, line_deg, roll_ft, slope_to_deg, share):
    """Return along, right and speed where shares of the speed across the slope are left."""
    heading, to = np.radians(line_deg - slope_to_deg), np.radians(slope_to_deg)
    gone = displacement(heading, share, green.ratio)
    down, across = gone.real, gone.imag
    along = (down * np.cos(to) - across * np.sin(to)) * roll_ft
    right = (down * np.sin(to) + across * np.cos(to)) * roll_ft
    speed = velocity(heading, share, green.ratio)[1] * green.start_speed_ft_s(roll_ft)
    return along, right, speed


def shares_of(green, count):
    """Return shares even in q, and even in the speed of a ball that creeps down the slope."""
    even = np.linspace(1, 0, count)
    return np.unique(np.concatenate([even, even ** (1 / (1 - green.ratio))]))[::-1]


# The last three are close to the steepest slope that holds a ball.
@pytest.mark.parametrize("putt", [*PUTTS, *((10, 7.8, to, 5, 3) for to in (60, 90, 150))])
def test_course_and_speed_against_solve_ivp(putt):
    """Speed only falls, so that it says which moment of theirs is which place of ours."""
    stimp_ft, slope_pct, slope_to_deg, line_deg, roll_ft = putt
    places = np.array([0.9, 0.6, 0.3, 0.1, 0.02])
    green = Green(stimp_ft, slope_pct)
    along, right, speed = course(green, line_deg, roll_ft, slope_to_deg, places)

    def slow(_, state):
        return np.hypot(*state[2:]) - speed[-1] / 2

    slow.terminal = True
    theirs = integrate(*putt, events=slow, dense_output=True)
    for i in range(places.size):
        moment = brentq(lambda t: np.hypot(*theirs.sol(t)[2:]) - speed[i], 0, theirs.t[-1])  # noqa: B023
        np.testing.assert_allclose(theirs.sol(moment)[:2], [along[i], right[i]], atol=1e-6)


@pytest.mark.parametrize("putt", PUTTS)
def test_resting_place_against_solve_ivp(putt):
    stimp_ft, slope_pct, slope_to_deg, line_deg, roll_ft = putt

    def slow(_, state):
        return np.hypot(*state[2:]) - 1e-5

    slow.terminal = True
    theirs = integrate(*putt, events=slow)
    stop = stop_ft(Green(stimp_ft, slope_pct), line_deg, roll_ft, slope_to_deg=slope_to_deg)
    np.testing.assert_allclose(stop, theirs.y[:2, -1], atol=1e-6)


def random_putts(rng, count):
    """Return greens that hold a ball, with one putt each."""
    while count:
        green = Green(rng.uniform(6, 14), rng.uniform(0, 6))
        if green.holds:
            yield green, rng.uniform(-180, 180), rng.uniform(0.5, 80), rng.uniform(0, 360)
            count -= 1


def test_energy_balance_to_a_millionth(rng):
    """Kinetic energy lost = friction × length rolled − pull × height fallen, per unit mass.

    Length is summed here from the points of the course.
    """
    for green, line_deg, roll_ft, slope_to_deg in random_putts(rng, 40):
        share = shares_of(green, 20_001)
        along, right, speed = course(green, line_deg, roll_ft, slope_to_deg, share)
        to = np.radians(slope_to_deg)
        fallen = along * np.cos(to) + right * np.sin(to)
        chords = np.hypot(np.diff(along), np.diff(right))
        length = np.concatenate([[0], np.cumsum(chords)])
        kinetic = speed**2 / 2
        work = green.deceleration_ft_s2 * length - green.pull_ft_s2 * fallen
        assert np.abs(kinetic[0] - kinetic - work).max() < 1e-6 * kinetic[0]


def test_green_speed_corrected_for_slope(rng):
    """2 × up × down ÷ (up + down) = level (A. D. Brede, USGA Green Section Record 28, 1990)."""
    for green, _, roll_ft, _ in random_putts(rng, 200):
        up, _ = stop_ft(green, 0, roll_ft, slope_to_deg=180)
        down, _ = stop_ft(green, 0, roll_ft, slope_to_deg=0)
        assert 2 * up * down / (up + down) == pytest.approx(roll_ft, rel=1e-9)


def test_stimpmeter_speed_rolls_the_green_speed_on_the_flat():
    """6.00 ft/s rolls the Stimpmeter reading (USGA Stimpmeter Instruction Booklet)."""
    for stimp_ft in (7.5, 10, 13):
        assert Green(stimp_ft).start_speed_ft_s(stimp_ft) == pytest.approx(6.00, rel=1e-12)


def test_straight_up_and_down_are_the_textbook_roll_outs():
    green = Green(11, 3)
    friction, pull = forces(11, 3)
    speed_squared = 2 * friction * 20
    for slope_to_deg, slowing in ((180, friction + pull), (0, friction - pull)):
        along, right = stop_ft(green, 0, 20, slope_to_deg=slope_to_deg)
        assert along == pytest.approx(speed_squared / (2 * slowing), rel=1e-12)
        assert right == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize("slope_to_deg", [0, 1e-7, 45, 90, 179.9999999, 180, 270])
def test_vanishing_slope_is_the_flat_green(slope_to_deg):
    for slope_pct in (1e-300, 1e-15, 1e-9):
        along, right = stop_ft(Green(10, slope_pct), 2, 15, slope_to_deg=slope_to_deg)
        assert along == pytest.approx(15 * np.cos(np.radians(2)), abs=1e-8)
        assert right == pytest.approx(15 * np.sin(np.radians(2)), abs=1e-8)


def test_nearly_straight_putts_join_the_straight_ones():
    for slope_to_deg in (0, 180):
        straight = np.array(stop_ft(Green(12, 4), 0, 20, slope_to_deg=slope_to_deg))
        for tilt in (1e-6, -1e-6):
            near = np.array(stop_ft(Green(12, 4), 0, 20, slope_to_deg=slope_to_deg + tilt))
            np.testing.assert_allclose(near, straight, atol=1e-5)


def test_a_putt_across_the_slope_is_its_mirror_image():
    right = stop_ft(Green(10, 3), 4, 20, slope_to_deg=75)
    left = stop_ft(Green(10, 3), -4, 20, slope_to_deg=-75)
    np.testing.assert_allclose(right[0], left[0], atol=1e-12)
    np.testing.assert_allclose(right[1], -left[1], atol=1e-12)


@pytest.mark.parametrize("putt", PUTTS)
def test_break_against_solve_ivp(putt):
    stimp_ft, slope_pct, slope_to_deg, line_deg, roll_ft = putt
    distance_ft = 0.7 * roll_ft

    def passes(_, state):
        return state[0] - distance_ft

    def slow(_, state):
        return np.hypot(*state[2:]) - 1e-5

    passes.direction, passes.terminal, slow.terminal = 1, True, True
    theirs = integrate(*putt, events=[passes, slow])
    green = Green(stimp_ft, slope_pct)
    ours = break_ft(green, distance_ft, roll_ft, line_deg=line_deg, slope_to_deg=slope_to_deg)
    if theirs.t_events[0].size:
        assert ours == pytest.approx(theirs.y_events[0][0][1], abs=1e-8)
    else:
        assert np.isnan(ours)


def test_break_is_missing_where_the_ball_never_gets_there():
    green = Green(10, 3)
    found = break_ft(green, 10, [9, 11, 15], slope_to_deg=[90, 180, 180])
    assert np.isnan(found).tolist() == [True, True, False]


def test_break_is_taken_the_first_time_where_the_ball_curls_back():
    """A ball up a steep fast slope turns and comes back over where it has been."""
    green, line_deg, roll_ft, slope_to_deg = Green(13, 5), 50, 8, 180
    along, right, _ = course(green, line_deg, roll_ft, slope_to_deg, shares_of(green, 100_001))
    distance_ft = (along.max() + along[-1]) / 2
    crossed = np.flatnonzero(np.diff(along > distance_ft))
    assert crossed.size == 2
    found = break_ft(green, distance_ft, roll_ft, line_deg=line_deg, slope_to_deg=slope_to_deg)
    assert found == pytest.approx(right[crossed[0]], abs=1e-3)


def test_break_is_the_first_crossing_of_the_course_whichever_way_the_green_falls(rng):
    """Against the points of the course, itself checked against solve_ivp above."""
    reached = curled = 0
    for _ in range(150):
        green = Green(13, rng.uniform(3, 5.95))  # the steepest that holds a ball: 6.04 %
        line_deg, roll_ft, to = rng.uniform(-80, 80), rng.uniform(4, 20), rng.uniform(0, 360)
        along, right, _ = course(green, line_deg, roll_ft, to, shares_of(green, 20_001))
        farthest = along.max()
        # Many of these are turned back: ask between where they got and where they end.
        distance_ft = rng.uniform(min(along[-1], 0.9 * farthest), 1.02 * farthest)
        found = break_ft(green, distance_ft, roll_ft, line_deg=line_deg, slope_to_deg=to)
        if distance_ft > farthest or distance_ft <= 0:
            assert distance_ft <= 0 or np.isnan(found)
            continue
        first = np.argmax(along >= distance_ft)
        around = slice(first - 1, first + 1)
        expected = np.interp(distance_ft, along[around], right[around])
        assert found == pytest.approx(expected, abs=1e-3)
        reached += 1
        curled += along[-1] < distance_ft
    assert reached > 100
    assert curled > 15


def test_a_ball_faces_where_it_is_said_to():
    """The direction at the share found is the one asked for; 0 where it never turns to it."""
    for heading, facing in ((2.5, 1.0), (-1.4, -0.2), (3.0, 2.9)):
        direction, _ = velocity(heading, share_facing(heading, facing, 0.4), 0.4)
        assert np.angle(direction) == pytest.approx(facing, abs=1e-12)
    assert share_facing(0.5, 0.5, 0.4) == 1
    # A ball turns downhill only, never across the fall line; on the flat not at all.
    assert share_facing(0.5, [0.7, -0.2, 0.0], 0.4).tolist() == [0, 0, 0]
    assert share_facing([0.5, 1.0], 0.2, 0.0).tolist() == [0, 0]


def test_straight_at_the_hole_straight_down_does_not_break():
    assert break_ft(Green(9, 3), 5, 9) == pytest.approx(0, abs=1e-12)


def test_a_putt_square_to_the_line_gets_nowhere_along_it():
    assert np.isnan(break_ft(Green(10, 2), 1, 10, line_deg=90, slope_to_deg=90))


def test_a_ball_that_would_not_stop_is_said_so():
    with pytest.raises(NeverStops, match=r"slope of 9 % at a green speed of 10 ft.*7\.86 %"):
        stop_ft(Green(10, 9), 0, 10)
    assert not Green(10, 9).holds
    # 100 tan(asin(1.8 / (5/7 × 32.174))): friction equals the pull.
    steepest = 100 * np.tan(np.arcsin(1.8 / (5 / 7 * 9.80665 / 0.3048)))
    assert Green(10, steepest * (1 - 1e-9)).holds
    assert not Green(10, steepest * (1 + 1e-9)).holds
    for slope_to_deg in (0, 90, 180):
        with pytest.raises(NeverStops, match="would not stop"):
            break_ft(Green(10, 9), 5, 10, slope_to_deg=slope_to_deg)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"stimp_ft": 0}, "stimp_ft 0: expected a reading above 0"),
        ({"stimp_ft": float("nan")}, "stimp_ft nan"),
        ({"slope_pct": -1}, "slope_pct -1: expected 0 or more"),
        ({"slope_pct": float("inf")}, "slope_pct inf"),
    ],
)
def test_what_is_not_a_green_is_refused(given, said):
    with pytest.raises(UsageError, match=said):
        Green(**given)


@pytest.mark.parametrize("slope_to_deg", [0, 35, 90, 145, 180, 300])
def test_aim_runs_over_the_middle_and_stops_past(slope_to_deg):
    """Rolled step by step: with the hole covered it stops 1.5 ft from the middle."""
    line, roll = aim_past(Green(11, 3), 12, 1.5, slope_to_deg=slope_to_deg)
    nowhere = 1e6
    along, right, _ = roll_out(11, 3, [slope_to_deg], nowhere, line, roll, step_s=0.005)
    assert np.hypot(along - 12, right) == pytest.approx(1.5, abs=1e-3)
    _, _, holed = roll_out(11, 3, [slope_to_deg], 12, line, roll, step_s=0.005)
    assert holed.all()
    # Off by a hole's radius either side at the hole, it misses.
    tilt = np.degrees(np.array([-1, 1]) * 0.2 / 12)
    assert not roll_out(11, 3, slope_to_deg, 12, line + 2 * tilt, roll)[2].any()
