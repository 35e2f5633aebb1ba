"""Capture by the hole: against published limits, plain formulas and numerical integration."""

from functools import partial

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, minimize_scalar
from slope_simulation import BALL_FT, G_FT_S2, HOLE_FT, LIMIT_FT_S, acceleration, forces

from putlab.green.aim import Green, NeverStops
from putlab.green.capture import capture_limit_ft_s, closest_approach, holing_rolls, places
from putlab.green.roll import path


def test_limit_on_the_flat_is_the_published_one():
    """1.63 m/s in the middle (Holmes 1991); × (1 − (δ/R)²) off it, R = 54 mm.

    The parabola is Penner's (2002), recalled from memory.
    """
    assert capture_limit_ft_s(0) * 0.3048 == pytest.approx(1.63, rel=1e-12)
    half = capture_limit_ft_s(np.array([0.5, -0.5, 1, 1.5]) * HOLE_FT) / LIMIT_FT_S
    np.testing.assert_allclose(half, [0.75, 0.75, 0, -1.25], atol=1e-12)
    assert pytest.approx(54, abs=0.1) == HOLE_FT * 304.8


@pytest.mark.parametrize("slope_pct", [0, 2, 5])
@pytest.mark.parametrize("heading_deg", [0, 60, 180])
def test_limit_on_a_slope_is_the_free_fall_ratio(slope_pct, heading_deg):
    """Fly a ball off the near rim and find the speed at which it just drops its radius."""
    tilt = np.arctan(slope_pct / 100)

    def short_of_far_rim(speed, tilt):
        seconds = np.sqrt(2 * BALL_FT / (G_FT_S2 * np.cos(tilt)))
        pull = G_FT_S2 * np.sin(tilt) * np.cos(np.radians(heading_deg))
        return speed * seconds + pull * seconds**2 / 2 - (2 * HOLE_FT - BALL_FT)

    ratio = brentq(short_of_far_rim, 1, 9, (tilt,)) / brentq(short_of_far_rim, 1, 9, (0.0,))
    found = capture_limit_ft_s(0, slope_pct=slope_pct, heading_deg=heading_deg)
    assert found / LIMIT_FT_S == pytest.approx(ratio, rel=1e-9)


def test_flat_green_is_the_plain_convention(rng):
    """Offset D sin θ, speed² = 2 a (r − D cos θ), reached if it crosses the near rim."""
    count = 40_000
    distance = rng.uniform(0.5, 40, count)
    roll, line = distance * rng.uniform(0.8, 1.6, count), rng.normal(0, 2, count)
    offset, along = distance * np.sin(np.radians(line)), distance * np.cos(np.radians(line))
    over = np.abs(offset) < HOLE_FT
    reached = over & (roll >= along - np.sqrt(np.where(over, HOLE_FT**2 - offset**2, 0)))
    speed = np.sqrt(2 * 36 / 22 * np.maximum(roll - along, 0))
    holed = reached & (speed <= LIMIT_FT_S * (1 - (offset / HOLE_FT) ** 2))
    found = closest_approach(Green(11), distance, line, roll)
    np.testing.assert_array_equal(found.holed, holed)
    ran_by = roll > along
    np.testing.assert_allclose(found.offset_ft[ran_by], offset[ran_by], atol=1e-9)
    np.testing.assert_allclose(found.speed_ft_s[ran_by], speed[ran_by], atol=1e-7)


@pytest.mark.parametrize(
    ("green", "distance_ft", "slope_to_deg", "line_deg", "roll_ft"),
    [
        (Green(10, 2), 10, 90, -5.2, 12),
        (Green(10, 2), 10, 90, -4.6, 12),
        (Green(13, 4), 25, 40, -12, 24),
        (Green(8, 5), 6, 180, 0.8, 11),
        (Green(12, 3), 40, 250, 6, 50),
        (Green(9, 0), 5, 0, 1.2, 6),
        (Green(11, 4), 8, 0, -0.5, 5),
    ],
)
def test_closest_approach_against_solve_ivp(green, distance_ft, slope_to_deg, line_deg, roll_ft):
    friction, pull = forces(green.stimp_ft, green.slope_pct)
    to, line = np.radians(slope_to_deg), np.radians(line_deg)
    down = pull * np.array([np.cos(to), np.sin(to)])
    speed = np.sqrt(2 * friction * roll_ft)

    def motion(_, state):
        return np.r_[state[2:], acceleration(state[2:], friction, down)]

    def slow(_, state):
        return np.hypot(*state[2:]) - 1e-4

    slow.terminal = True
    start = [0, 0, speed * np.cos(line), speed * np.sin(line)]
    options = {"method": "DOP853", "rtol": 1e-12, "atol": 1e-12, "dense_output": True}
    theirs = solve_ivp(motion, (0, 200), start, events=slow, **options)

    def gap(seconds):
        x, y = theirs.sol(seconds)[:2]
        return (x - distance_ft) ** 2 + y**2

    seconds = np.linspace(0, theirs.t[-1], 4001)
    least = seconds[np.argmin(gap(seconds))]
    bounds = (max(least - 0.01, 0), min(least + 0.01, theirs.t[-1]))
    best = minimize_scalar(gap, bounds=bounds, method="bounded", options={"xatol": 1e-10}).x
    x, y, vx, vy = theirs.sol(best)
    found = closest_approach(green, distance_ft, line_deg, roll_ft, slope_to_deg=slope_to_deg)
    assert abs(found.offset_ft) == pytest.approx(np.hypot(x - distance_ft, y), abs=1e-7)
    assert found.speed_ft_s == pytest.approx(np.hypot(vx, vy), abs=1e-5)
    assert np.sign(found.offset_ft) == np.sign(vx * y - vy * (x - distance_ft))
    turned = found.heading_deg - np.degrees(np.arctan2(vy, vx)) + slope_to_deg
    assert (turned + 180) % 360 - 180 == pytest.approx(0, abs=1e-4)


def test_a_ball_that_stops_over_the_hole_is_holed():
    found = closest_approach(
        Green(10, 2), 10, 0, [9.9 * (1 + Green(10, 2).ratio)], slope_to_deg=180
    )
    assert found.speed_ft_s[0] == 0
    assert found.holed[0]


def test_paces_that_drop_on_the_flat_are_the_plain_formulas(rng):
    distance, line = rng.uniform(0.5, 40, 300), rng.normal(0, 0.4, 300)
    offset, along = distance * np.sin(np.radians(line)), distance * np.cos(np.radians(line))
    over = np.abs(offset) < HOLE_FT
    softest = along - np.sqrt(np.where(over, HOLE_FT**2 - offset**2, 0))
    limit = LIMIT_FT_S * (1 - (offset / HOLE_FT) ** 2)
    rolls = holing_rolls(Green(10), distance, line)
    np.testing.assert_allclose(rolls[over, 0, 0], softest[over], atol=1e-4)
    np.testing.assert_allclose(rolls[over, 0, 1], (along + limit**2 / 3.6)[over], atol=1e-7)
    assert not np.any(rolls[~over])
    assert not np.any(rolls[:, 1:])


def test_paces_that_drop_agree_with_following_each_ball(rng):
    """Two routes: place chosen, pace computed; pace given, place solved."""
    apart = total = 0
    for stimp_ft, slope_pct in ((7, 5), (9, 2), (11, 4), (13, 4), (13, 5), (10, 0.5)):
        green, count = Green(stimp_ft, slope_pct), 2500
        distance = np.exp(rng.uniform(np.log(0.25), np.log(60), count))
        to, wide = rng.uniform(0, 360, count), rng.random(count) < 0.5
        line = rng.normal(0, 1, count) * np.degrees(np.arcsin(np.minimum(1, 0.3 / distance)))
        line = line + np.where(wide, rng.uniform(-25, 25, count), 0)
        extra = 1 + green.ratio * np.abs(rng.normal(0, 0.5, count))
        roll = distance * extra * rng.uniform(0.7, 1.6, count)
        followed = closest_approach(green, distance, line, roll, slope_to_deg=to).holed
        low, high = np.moveaxis(holing_rolls(green, distance, line, slope_to_deg=to), -1, 0)
        apart += np.sum(((roll[:, None] >= low) & (roll[:, None] < high)).any(axis=1) != followed)
        total += followed.sum()
    assert total > 1500
    assert apart == 0


def approaches(green, distance_ft, line_deg, roll_ft, to):
    """Return offset (+ right), speed and heading wherever a course is nearest to the hole."""
    even = np.linspace(1, 0, 5001)
    share = np.sort(np.concatenate([even, even ** (1 / (1 - green.ratio))]))[::-1]
    course = path(green, line_deg, roll_ft, slope_to_deg=to, share=np.unique(share)[::-1])
    x, y = course.along_ft - distance_ft, course.right_ft
    gap = np.hypot(x, y)
    inner = np.flatnonzero((gap[1:-1] < gap[:-2]) & (gap[1:-1] <= gap[2:])) + 1
    nearest = np.append(inner, gap.size - 1) if gap[-1] < gap[-2] else inner
    ahead = np.minimum(nearest + 1, gap.size - 1)
    dx, dy = x[ahead] - x[ahead - 2], y[ahead] - y[ahead - 2]
    side = np.where(dx * y[nearest] - dy * x[nearest] < 0, -1, 1)
    return side * gap[nearest], course.speed_ft_s[nearest], np.degrees(np.arctan2(dy, dx)) - to


def test_every_approach_of_a_curling_ball_against_the_points_of_its_course():
    """Point by point: the approach that drops, also the second, or else the first."""
    # A ball that on a very steep fast slope goes up past the hole, turns, and comes down on it.
    green, distance_ft, to, late = Green(13, 5.834), 4.4725, -144.44, 0
    line_deg, roll_ft = (
        part.ravel() for part in np.meshgrid(np.linspace(10, 13, 10), np.linspace(8.2, 9.4, 7))
    )
    found = closest_approach(green, distance_ft, line_deg, roll_ft, slope_to_deg=to)
    for i in range(line_deg.size):
        offset, speed, heading = approaches(green, distance_ft, line_deg[i], roll_ft[i], to)
        limit = capture_limit_ft_s(offset, slope_pct=5.834, heading_deg=heading)
        drops = (np.abs(offset) < HOLE_FT) & (speed <= limit)
        taken = np.argmax(drops) if drops.any() else 0
        assert found.holed[i] == drops.any()
        assert found.offset_ft[i] == pytest.approx(offset[taken], abs=2e-3)
        assert found.speed_ft_s[i] == pytest.approx(speed[taken], abs=0.02)
        late += taken > 0
    assert late > 5


def test_a_ball_that_drops_on_its_way_up_is_told_as_it_drops_there():
    """Were the hole covered, it would come back and stop over it: that comes too late."""
    green = Green(13, 4.624)
    putt = (0.2205, -9.354, 0.624)
    offset, speed, _ = approaches(green, *putt, 174.35)
    assert np.sum(np.abs(offset) < HOLE_FT) > 1
    found = closest_approach(green, *putt, slope_to_deg=174.35)
    assert found.holed
    assert found.offset_ft == pytest.approx(offset[0], abs=1e-3)
    assert found.speed_ft_s == pytest.approx(speed[0], abs=0.02)


def offset_of(line_deg, green, to):
    """Return how far right of a hole at 6 ft a putt of 9 ft passes."""
    return closest_approach(green, 6, line_deg, 9, slope_to_deg=to).offset_ft


def test_the_hole_takes_what_the_limit_says_to_the_last_digit():
    """Harder and harder putts: the first not to drop is the first above the limit there."""
    for green, to in ((Green(10, 5), 20), (Green(9, 4), 200), (Green(12, 3), 300)):
        over = partial(offset_of, green=green, to=to)
        aim, low, high = brentq(over, -20, 20), 9.0, 40.0
        while high - low > 1e-11:
            middle = (low + high) / 2
            holed = closest_approach(green, 6, aim, middle, slope_to_deg=to).holed
            low, high = (middle, high) if holed else (low, middle)
        edge = closest_approach(green, 6, aim, low, slope_to_deg=to)
        limit = capture_limit_ft_s(
            edge.offset_ft, slope_pct=green.slope_pct, heading_deg=edge.heading_deg
        )
        assert edge.holed
        assert edge.speed_ft_s == pytest.approx(limit, rel=1e-8)


def test_a_ball_struck_away_from_the_hole_is_nearest_at_the_start():
    """On the flat: 5 ft of roll-out on a green of 10 ft starts at sqrt(3.6 x 5) ft/s."""
    for line_deg, side in ((120, 1), (-100, -1)):
        found = closest_approach(Green(10), 8, line_deg, 5)
        assert abs(found.offset_ft) == pytest.approx(8, abs=1e-12)
        assert found.speed_ft_s == pytest.approx(np.sqrt(3.6 * 5))
        assert not found.holed
        assert found.heading_deg == pytest.approx(line_deg)
        assert np.sign(found.offset_ft) == side


def test_a_ball_that_passes_at_once_is_seen_to():
    # From 0.25 ft with 60 ft of roll-out the hole comes before the first place looked at.
    found = closest_approach(Green(10), 0.25, 10, 60)
    along = 0.25 * np.cos(np.radians(10))
    assert found.speed_ft_s == pytest.approx(np.sqrt(3.6 * (60 - along)))
    assert found.offset_ft == pytest.approx(0.25 * np.sin(np.radians(10)))


def test_places_are_even_in_the_speed_across_and_in_that_of_a_downhill_putt():
    """By hand for beta = 1/2: q = 1, 3/4, 2/4, 1/4, and (7/8 ... 1/1000) evenly, squared."""
    slow = np.array([0.875, 0.875 * 2 / 3 + 0.001 / 3, 0.875 / 3 + 0.002 / 3, 0.001]) ** 2
    expected = np.sort([1, 0.75, 0.5, 0.25, *slow])[::-1]
    np.testing.assert_allclose(places(0.5, 4), expected, rtol=1e-12)
    # As many as the notes of `closest_approach` say; on the flat the last has a millionth
    # of the roll-out (speed squared) to go.
    assert places(0.0).size == 128
    assert places(0.0)[-1] ** 2 == pytest.approx(1e-6)


def test_where_nothing_is_said_the_slope_falls_straight_on():
    assert capture_limit_ft_s(0.05, slope_pct=4) == capture_limit_ft_s(
        0.05, slope_pct=4, heading_deg=0
    )
    plain = closest_approach(Green(10, 2), 8, 1, 9)
    said = closest_approach(Green(10, 2), 8, 1, 9, slope_to_deg=0)
    assert plain == said


def test_no_putts_have_no_approaches():
    none = closest_approach(Green(10, 2), [], [], [])
    assert none.offset_ft.shape == none.holed.shape == (0,)


def test_putts_keep_the_shape_they_are_given_in():
    found = closest_approach(Green(10, 2), [[8.0], [12.0]], [-1.0, 0.0, 1.0], 13.0)
    assert found.offset_ft.shape == (2, 3)
    alone = closest_approach(Green(10, 2), 12, 1, 13)
    assert found.offset_ft[1, 2] == pytest.approx(alone.offset_ft, abs=1e-12)


def test_a_green_too_steep_is_said_so():
    with pytest.raises(NeverStops, match="would not stop"):
        closest_approach(Green(13, 7), 10, 0, 11)
    with pytest.raises(NeverStops, match="would not stop"):
        holing_rolls(Green(13, 7), 10, 0)
