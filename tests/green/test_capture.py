"""Capture by the hole: against published limits, plain formulas and numerical integration."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, minimize_scalar
from slope_simulation import BALL_FT, G_FT_S2, HOLE_FT, LIMIT_FT_S, acceleration, forces, roll_out

from putlab.green.capture import captured_rolls, places
from putlab.green.flat import capture_limit_ft_s
from putlab.green.slope import Green, NeverStops, aim_past


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
    found = capture_limit_ft_s(0, slope_pct=slope_pct, cos_heading=np.cos(np.radians(heading_deg)))
    assert found / LIMIT_FT_S == pytest.approx(ratio, rel=1e-9)


@pytest.mark.parametrize("aside_deg", [0.0, 0.3, -0.3])
@pytest.mark.parametrize(
    ("green", "distance_ft", "slope_to_deg"),
    [
        (Green(10, 2), 10, 90),
        (Green(13, 4), 25, 40),
        (Green(8, 5), 6, 180),
        (Green(12, 3), 20, 250),
        (Green(9, 0), 5, 0),
        (Green(11, 4), 8, 0),
    ],
)
def test_hardest_that_drops_meets_the_limit_by_solve_ivp(
    green, distance_ft, slope_to_deg, aside_deg
):
    """Rolled over a covered hole, at its nearest it has the speed of the limit there."""
    line_deg = aim_past(green, distance_ft, 2.0, slope_to_deg=slope_to_deg)[0] + aside_deg
    roll_ft = captured_rolls(green, distance_ft, line_deg, slope_to_deg=slope_to_deg).max()
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
    heading = np.arctan2(vy, vx) - to
    limit = capture_limit_ft_s(
        np.hypot(x - distance_ft, y), slope_pct=green.slope_pct, cos_heading=np.cos(heading)
    )
    assert np.hypot(vx, vy) == pytest.approx(limit, rel=1e-6)


def test_paces_that_drop_on_the_flat_are_the_plain_formulas(rng):
    distance, line = rng.uniform(0.5, 40, 300), rng.normal(0, 0.4, 300)
    offset, along = distance * np.sin(np.radians(line)), distance * np.cos(np.radians(line))
    over = np.abs(offset) < HOLE_FT
    softest = along - np.sqrt(np.where(over, HOLE_FT**2 - offset**2, 0))
    limit = LIMIT_FT_S * (1 - (offset / HOLE_FT) ** 2)
    rolls = captured_rolls(Green(10), distance, line)
    np.testing.assert_allclose(rolls[over, 0, 0], softest[over], atol=1e-4)
    np.testing.assert_allclose(rolls[over, 0, 1], (along + limit**2 / 3.6)[over], atol=1e-7)
    assert not np.any(rolls[~over])
    assert not np.any(rolls[:, 1:])


def apart(green, distance_ft, line_deg, roll_ft, slope_to_deg):
    """Return which balls drop rolled step by step, and which of all are told otherwise.

    Balls within 0.2 % of an end of a stretch are left out: the steps are that coarse.
    """
    lie = (slope_to_deg, distance_ft)
    holed = roll_out(green.stimp_ft, green.slope_pct, *lie, line_deg, roll_ft, step_s=0.005)[2]
    rolls = captured_rolls(green, distance_ft, line_deg, slope_to_deg=slope_to_deg)
    low, high = np.moveaxis(rolls, -1, 0)
    found = ((roll_ft[:, None] >= low) & (roll_ft[:, None] < high)).any(axis=1)
    near = (np.abs(rolls / roll_ft[:, None, None] - 1) < 2e-3).any(axis=(1, 2))
    return holed, (found != holed) & ~near


def test_paces_that_drop_agree_with_rolling_each_ball(rng):
    """Two routes: place chosen, pace computed; each ball rolled step by step."""
    dropped = wrong = 0
    for stimp_ft, slope_pct in ((7, 5), (9, 2), (11, 4), (13, 4), (13, 5), (10, 0.5)):
        green, count = Green(stimp_ft, slope_pct), 600
        distance = np.exp(rng.uniform(np.log(0.25), np.log(40), count))
        to, wide = rng.uniform(0, 360, count), rng.random(count) < 0.5
        line = rng.normal(0, 1, count) * np.degrees(np.arcsin(np.minimum(1, 0.3 / distance)))
        line = line + np.where(wide, rng.uniform(-25, 25, count), 0)
        extra = 1 + green.ratio * np.abs(rng.normal(0, 0.5, count))
        roll = distance * extra * rng.uniform(0.7, 1.6, count)
        holed, off = apart(green, distance, line, roll, to)
        dropped += holed.sum()
        wrong += off.sum()
    assert dropped > 300
    assert wrong == 0


def test_a_curling_ball_drops_on_its_way_back_too():
    """On a very steep fast slope it goes up past the hole, turns, and comes down on it."""
    line, roll = (
        part.ravel() for part in np.meshgrid(np.linspace(10, 13, 10), np.linspace(8.2, 9.4, 7))
    )
    holed, off = apart(Green(13, 5.834), 4.4725, line, roll, -144.44)
    assert holed.sum() > 5
    assert off.sum() == 0


def test_places_are_even_in_the_speed_across_and_in_that_of_a_downhill_putt():
    """By hand for beta = 1/2: q = 1, 3/4, 2/4, 1/4, and (7/8 ... 1/1000) evenly, squared."""
    slow = np.array([0.875, 0.875 * 2 / 3 + 0.001 / 3, 0.875 / 3 + 0.002 / 3, 0.001]) ** 2
    expected = np.sort([1, 0.75, 0.5, 0.25, *slow])[::-1]
    np.testing.assert_allclose(places(0.5, 4), expected, rtol=1e-12)
    # On the flat the last has a millionth of the roll-out (speed squared) to go.
    assert places(0.0)[-1] ** 2 == pytest.approx(1e-6)


def test_putts_keep_the_shape_they_are_given_in():
    found = captured_rolls(Green(10, 2), [[8.0], [12.0]], [-1.0, 0.0, 1.0], slope_to_deg=180)
    assert found.shape == (2, 3, 3, 2)
    alone = captured_rolls(Green(10, 2), 12, 1, slope_to_deg=180)
    np.testing.assert_allclose(found[1, 2], alone, rtol=1e-9)
    assert captured_rolls(Green(10, 2), [], []).shape == (0, 3, 2)


def test_a_green_too_steep_is_said_so():
    with pytest.raises(NeverStops, match="would not stop"):
        captured_rolls(Green(13, 7), 10, 0)
