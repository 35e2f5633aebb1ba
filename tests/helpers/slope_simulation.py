"""Putts on a slope rolled step by step: the equations of motion and nothing else.

Written apart from the kit: fourth-order Runge-Kutta on position and velocity in the frame of
the putt (x along the line ball to hole, y right), conventions typed in again. It knows no
closed form, no share of speed and no fan of directions.
"""

import numpy as np
from scipy.stats import norm, qmc

HOLE_FT = 4.25 / 24
BALL_FT = 1.68 / 24
LIMIT_FT_S = 1.63 / 0.3048
G_FT_S2 = 9.80665 / 0.3048


def forces(stimp_ft, slope_pct):
    """Return friction and the pull down the slope, ft/s²."""
    friction = 36 / (2 * stimp_ft)
    angle = np.arctan(slope_pct / 100)
    return friction, 5 / 7 * G_FT_S2 * np.sin(angle)


def acceleration(velocity, friction, pull):
    """Return the acceleration; ``pull`` is a vector per putt, velocity (2, n)."""
    speed = np.maximum(np.hypot(*velocity), 1e-12)
    return pull - friction * velocity / speed


def roll_out(stimp_ft, slope_pct, slope_to_deg, distance_ft, line_deg, roll_ft, *, step_s=0.02):
    """Roll putts to rest or into the hole.

    Returns where they stop (along, right) and whether they were holed.
    """
    friction, pull = forces(stimp_ft, slope_pct)
    given = np.broadcast_arrays(slope_to_deg, distance_ft, line_deg, roll_ft)
    to, distance, line, roll = (np.array(part, dtype=float) for part in given)
    down = pull * np.array([np.cos(np.radians(to)), np.sin(np.radians(to))])
    speed = np.sqrt(2 * friction * np.maximum(roll, 0))
    velocity = speed * np.array([np.cos(np.radians(line)), np.sin(np.radians(line))])
    place = np.zeros_like(velocity)
    holed, alive = np.zeros(to.size, dtype=bool), np.flatnonzero(speed > 0)
    while alive.size:
        x, v, b = place[:, alive], velocity[:, alive], down[:, alive]
        fast = np.hypot(*v)
        # The last steps shrink with the speed that is left, so that none overshoots rest.
        h = np.minimum(step_s, 0.3 * fast / (friction + pull))
        x1, v1 = runge_kutta(x, v, b, friction, h)
        near = drops(x, v, x1, v1, distance[alive], down[:, alive], slope_pct)
        place[:, alive], velocity[:, alive] = x1, v1
        resting = np.hypot(*v1) < 2e-3
        inside = np.hypot(x1[0] - distance[alive], x1[1]) < HOLE_FT
        closing = (x1[0] - distance[alive]) * v1[0] + x1[1] * v1[1] <= 0
        near |= resting & inside & closing
        holed[alive[near]] = True
        alive = alive[~near & ~resting]
    return place[0], place[1], holed


def runge_kutta(x, v, b, friction, h):
    """Take one step of the classical fourth-order rule."""
    k1 = acceleration(v, friction, b)
    v2 = v + h / 2 * k1
    k2 = acceleration(v2, friction, b)
    v3 = v + h / 2 * k2
    k3 = acceleration(v3, friction, b)
    v4 = v + h * k3
    k4 = acceleration(v4, friction, b)
    return x + h / 6 * (v + 2 * v2 + 2 * v3 + v4), v + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)


def drops(x, v, x1, v1, distance, down, slope_pct):
    """Return which balls passed their closest approach in this step and fell in."""
    before = (x[0] - distance) * v[0] + x[1] * v[1]
    after = (x1[0] - distance) * v1[0] + x1[1] * v1[1]
    passed = (before < 0) & (after >= 0)
    part = np.where(passed, before / np.where(passed, before - after, 1.0), 0.0)
    place, velocity = x + part * (x1 - x), v + part * (v1 - v)
    offset = np.hypot(place[0] - distance, place[1])
    speed = np.hypot(*velocity)
    pull = np.maximum(np.hypot(*down), 1e-300)
    cosine = (velocity[0] * down[0] + velocity[1] * down[1]) / (np.maximum(speed, 1e-300) * pull)
    tangent = slope_pct / 100
    rim = 1 - tangent * cosine * BALL_FT / (2 * HOLE_FT - BALL_FT)
    limit = LIMIT_FT_S * (1 - (offset / HOLE_FT) ** 2) * rim * np.cos(np.arctan(tangent)) ** 0.5
    return passed & (offset < HOLE_FT) & (speed <= limit)


def normals(count, seed):
    """Return scrambled Sobol pairs of standard normals, shape (2, count)."""
    even = qmc.Sobol(2, seed=seed).random(count)
    return norm.ppf(np.clip(even.T, 1e-12, 1 - 1e-12))


def struck(aim_deg, roll_ft, spread, z):
    """Return line and flat roll-out; spread is (line sd, line bias, pace sd, pace bias)."""
    line_sd, line_bias, pace_sd, pace_bias = spread
    line = aim_deg + line_bias + line_sd * z[0]
    return line, np.maximum(roll_ft * (1 + (pace_bias + pace_sd * z[1]) / 100), 0)


def play(green, lie, spread, choose, *, holes, seed, first=None):
    """Play holes out: return the number of putts of each hole, at most ten.

    ``green`` is (stimp, slope), ``lie`` (distance, slope_to) and ``choose(distance,
    slope_to)`` gives aim and pace of every putt; ``first`` gives those of the first.
    """
    rng = np.random.default_rng(seed)
    distance, to = (np.full(holes, float(part)) for part in lie)
    putts, open_holes = np.zeros(holes, dtype=int), np.arange(holes)
    z = normals(holes, seed)
    while open_holes.size and putts.max() < 10:
        here = distance[open_holes], to[open_holes]
        aim = first if first is not None and putts.max() == 0 else choose(*here)
        line, roll = struck(*aim, spread, z)
        along, right, holed = roll_out(*green, here[1], here[0], line, roll)
        putts[open_holes] += 1
        gap = here[0] - along
        distance[open_holes] = np.hypot(gap, right)
        to[open_holes] = here[1] - np.degrees(np.arctan2(-right, gap))
        open_holes = open_holes[~holed]
        z = rng.standard_normal((2, open_holes.size))
    return putts
