"""Roll on a plane slope: against numerical integration, energy, and published relations."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from slope_simulation import acceleration, forces

from putlab.base.errors import UsageError
from putlab.green.aim import Green, NeverStops
from putlab.green.roll import break_ft, path, share_facing, stop_ft, velocity

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


@pytest.mark.parametrize("putt", PUTTS)
def test_course_and_speed_against_solve_ivp(putt):
    stimp_ft, slope_pct, slope_to_deg, line_deg, roll_ft = putt
    ours = path(Green(stimp_ft, slope_pct), line_deg, roll_ft, slope_to_deg=slope_to_deg)
    times = ours.time_s[:-1:20]
    theirs = integrate(*putt, span=(0, times[-1]), t_eval=times).y
    np.testing.assert_allclose(ours.along_ft[:-1:20], theirs[0], atol=1e-8)
    np.testing.assert_allclose(ours.right_ft[:-1:20], theirs[1], atol=1e-8)
    np.testing.assert_allclose(ours.speed_ft_s[:-1:20], np.hypot(*theirs[2:]), atol=1e-8)


@pytest.mark.parametrize("putt", PUTTS)
def test_resting_place_and_time_against_solve_ivp(putt):
    stimp_ft, slope_pct, slope_to_deg, line_deg, roll_ft = putt

    def slow(_, state):
        return np.hypot(*state[2:]) - 1e-5

    slow.terminal = True
    theirs = integrate(*putt, events=slow)
    green = Green(stimp_ft, slope_pct)
    stop = stop_ft(green, line_deg, roll_ft, slope_to_deg=slope_to_deg)
    np.testing.assert_allclose(stop, theirs.y[:2, -1], atol=1e-6)
    whole = path(green, line_deg, roll_ft, slope_to_deg=slope_to_deg).time_s[-1]
    assert whole == pytest.approx(theirs.t[-1], abs=1e-4)


def random_putts(rng, count):
    """Return greens that hold a ball, with one putt each."""
    while count:
        green = Green(rng.uniform(6, 14), rng.uniform(0, 6))
        if green.holds:
            yield green, rng.uniform(-180, 180), rng.uniform(0.5, 80), rng.uniform(0, 360)
            count -= 1


def test_energy_balance_to_a_millionth(rng):
    """Kinetic energy lost = friction × length rolled − pull × height fallen, per unit mass.

    Length is summed here from the points, not taken from the closed form.
    """
    for green, line_deg, roll_ft, slope_to_deg in random_putts(rng, 40):
        course = path(green, line_deg, roll_ft, slope_to_deg=slope_to_deg, points=40_001)
        to = np.radians(slope_to_deg)
        fallen = course.along_ft * np.cos(to) + course.right_ft * np.sin(to)
        chords = np.hypot(np.diff(course.along_ft), np.diff(course.right_ft))
        length = np.concatenate([[0], np.cumsum(chords)])
        kinetic = course.speed_ft_s**2 / 2
        work = green.deceleration_ft_s2 * length - green.pull_ft_s2 * fallen
        assert np.abs(kinetic[0] - kinetic - work).max() < 1e-6 * kinetic[0]
        np.testing.assert_allclose(course.length_ft, length, rtol=1e-6, atol=1e-6)


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
    right = path(Green(10, 3), 4, 20, slope_to_deg=75)
    left = path(Green(10, 3), -4, 20, slope_to_deg=-75)
    np.testing.assert_allclose(right.along_ft, left.along_ft, atol=1e-12)
    np.testing.assert_allclose(right.right_ft, -left.right_ft, atol=1e-12)


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
    course = path(green, line_deg, roll_ft, slope_to_deg=slope_to_deg, points=200_001)
    distance_ft = (course.along_ft.max() + course.along_ft[-1]) / 2
    crossed = np.flatnonzero(np.diff(course.along_ft > distance_ft))
    assert crossed.size == 2
    found = break_ft(green, distance_ft, roll_ft, line_deg=line_deg, slope_to_deg=slope_to_deg)
    assert found == pytest.approx(course.right_ft[crossed[0]], abs=1e-3)


def test_break_is_the_first_crossing_of_the_course_whichever_way_the_green_falls(rng):
    """Against the points of the course, itself checked against solve_ivp above."""
    reached = curled = 0
    for _ in range(150):
        green = Green(13, rng.uniform(3, 5.95))  # the steepest that holds a ball: 6.04 %
        line_deg, roll_ft, to = rng.uniform(-80, 80), rng.uniform(4, 20), rng.uniform(0, 360)
        even = np.linspace(1, 0, 20_001)
        # Even in q, and even in the speed of a ball that creeps to its end down a steep green.
        share = np.sort(np.concatenate([even, even ** (1 / (1 - green.ratio))]))[::-1]
        course = path(green, line_deg, roll_ft, slope_to_deg=to, share=share)
        farthest = course.along_ft.max()
        # Many of these are turned back: ask between where they got and where they end.
        distance_ft = rng.uniform(min(course.along_ft[-1], 0.9 * farthest), 1.02 * farthest)
        found = break_ft(green, distance_ft, roll_ft, line_deg=line_deg, slope_to_deg=to)
        if distance_ft > farthest or distance_ft <= 0:
            assert distance_ft <= 0 or np.isnan(found)
            continue
        first = np.argmax(course.along_ft >= distance_ft)
        expected = np.interp(
            distance_ft,
            *(part[first - 1 : first + 1] for part in (course.along_ft, course.right_ft)),
        )
        assert found == pytest.approx(expected, abs=1e-3)
        reached += 1
        curled += course.along_ft[-1] < distance_ft
    assert reached > 100
    assert curled > 15


def test_a_ball_faces_where_it_is_said_to():
    """The direction at the share found is the one asked for; 0 where it never turns to it."""
    for heading, facing in ((2.5, 1.0), (-1.4, -0.2), (3.0, 2.9)):
        down, side, _ = velocity(heading, share_facing(heading, facing, 0.4), 0.4)
        assert np.arctan2(side, down) == pytest.approx(facing, abs=1e-12)
    assert share_facing(0.5, 0.5, 0.4) == 1
    # A ball turns downhill only, never across the fall line; on the flat not at all.
    assert share_facing(0.5, [0.7, -0.2, 0.0], 0.4).tolist() == [0, 0, 0]
    assert share_facing([0.5, 1.0], 0.2, 0.0).tolist() == [0, 0]


def test_where_nothing_is_said_the_putt_is_straight_and_downhill():
    green = Green(9, 3)
    course, said = path(green, 2, 9), path(green, 2, 9, slope_to_deg=0, points=201)
    np.testing.assert_array_equal(course.right_ft, said.right_ft)
    assert stop_ft(green, 2, 9) == stop_ft(green, 2, 9, slope_to_deg=0)
    assert break_ft(green, 5, 9, line_deg=2) == pytest.approx(
        break_ft(green, 5, 9, line_deg=2, slope_to_deg=0), abs=1e-12
    )
    # Straight at the hole, straight down: no break at all.
    assert break_ft(green, 5, 9) == pytest.approx(0, abs=1e-12)


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
            path(Green(10, 9), 0, 10, slope_to_deg=slope_to_deg)


@pytest.mark.parametrize("slope_to_deg", [0, 60, 90, 150, 180])
def test_close_to_the_steepest_slope_still_agrees_with_solve_ivp(slope_to_deg):
    putt = (10, 7.8, slope_to_deg, 5, 3)
    course = path(Green(10, 7.8), 5, 3, slope_to_deg=slope_to_deg)
    times = course.time_s[:-1:50]
    theirs = integrate(*putt, span=(0, times[-1]), t_eval=times).y
    np.testing.assert_allclose(course.along_ft[:-1:50], theirs[0], atol=1e-7)
    np.testing.assert_allclose(course.right_ft[:-1:50], theirs[1], atol=1e-7)


def test_path_gives_one_course_a_putt_for_a_figure():
    course = path(Green(10, 2), [0, 1, 2], [10, 11, 12], slope_to_deg=90, points=50)
    assert course.along_ft.shape == course.speed_ft_s.shape == (3, 50)
    np.testing.assert_array_equal(course.along_ft[:, 0], 0)
    np.testing.assert_array_equal(course.speed_ft_s[:, -1], 0)
    stop = stop_ft(Green(10, 2), [0, 1, 2], [10, 11, 12], slope_to_deg=90)
    np.testing.assert_allclose([course.along_ft[:, -1], course.right_ft[:, -1]], stop)
    assert np.all(np.diff(course.time_s) > 0)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"stimp_ft": 0}, "green speed: got 0 ft"),
        ({"stimp_ft": float("nan")}, "green speed: got nan"),
        ({"slope_pct": -1}, "slope: got -1 %"),
        ({"slope_pct": float("inf")}, "slope: got inf"),
    ],
)
def test_what_is_not_a_green_is_refused(given, said):
    with pytest.raises(UsageError, match=said):
        Green(**given)
