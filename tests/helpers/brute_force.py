"""Putts on a flat green struck one by one at random: the slow, plain way to the same answers.

Written apart from the package and sharing no code with it: every number below is typed in
again from its source. Run it to record how far `putlab.green.hole_out` is from it:

    uv run python tests/brute_force.py
"""

import datetime
import platform
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import ndtri

RESULTS = Path(__file__).parents[1] / "results" / "holeout_brute_force.csv"

HOLE_RADIUS_FT = 2.125 / 12  # Rules of Golf: 4.25 inches across
DROP_FT_S = 1.63 * 3.280839895  # Holmes (1991): 1.63 m/s dead centre

# name: distances of the skill, line sd, line bias, pace sd, pace bias; Stimpmeter; past
SETTINGS = {
    "tour-like": ([10], [1.4], [0.0], [9.0], [0.0], 11.0, 1.0),
    "steady, slow green": ([10], [0.7], [0.0], [6.0], [0.0], 7.0, 1.0),
    "wild, biased right and soft": ([10], [3.0], [0.8], [20.0], [-8.0], 8.0, 1.0),
    "pulls, too hard, fast green": ([10], [1.2], [-0.9], [11.0], [10.0], 13.0, 1.5),
    "varies with distance": (
        [3, 10, 40],
        [1.6, 1.1, 1.3],
        [0.5, 0.3, -0.4],
        [16.0, 10.0, 8.0],
        [6.0, 0.0, -5.0],
        12.0,
        0.5,
    ),
}


def normal(rng, size):
    """Return the scatter of line and of pace in units of their sd, shape (2, size)."""
    return rng.normal(size=(2, size))


def play(
    setting, distance_ft, putts, rng, *, mishits=(0.0, 0.0), times=4.0, strike=normal, days=None
):
    """Return the putts taken on each of many holes, and the leaves of first putts missed.

    A share of putts is mishit in line, and one in pace, and scatters so many times as widely.
    ``strike(rng, size)`` draws how putts scatter; ``days`` (2, 2) are the sd of what a day adds
    to line and pace, and to the log of either's spread: every hole is played on a day of its own.
    """
    known_ft, line_sd, line_bias, pace_sd, pace_bias, stimp_ft, past_ft = setting
    bias_sd, form_sd = np.zeros((2, 2)) if days is None else days
    offset, form = np.asarray([bias_sd, form_sd])[..., None] * rng.normal(size=(2, 2, putts))

    def scatter(z, log_sd, share):
        return np.exp(log_sd) * np.where(rng.random(z.size) < share, times, 1.0) * z

    slowing = 6.0**2 / (2 * stimp_ft)
    where = np.full(putts, float(distance_ft))
    taken = np.zeros(putts, dtype=int)
    on_green = np.arange(putts)
    first_leaves = None
    for _ in range(10):
        d = where[on_green]
        log_d, log_known = np.log(d), np.log(known_ft)
        z = strike(rng, d.size)
        off, log_sd = offset[:, on_green], form[:, on_green]
        degrees = np.interp(log_d, log_known, line_bias) + off[0]
        log_sd[0] += np.interp(log_d, log_known, np.log(line_sd))
        degrees += scatter(z[0], log_sd[0], mishits[0])
        percent = np.interp(log_d, log_known, pace_bias) + off[1]
        log_sd[1] += np.interp(log_d, log_known, np.log(pace_sd))
        percent += scatter(z[1], log_sd[1], mishits[1])
        roll = np.maximum((d + past_ft) * (1 + percent / 100), 0.0)
        # The hole is at (0, d); the ball stops at (x, y).
        x, y = roll * np.sin(degrees * np.pi / 180), roll * np.cos(degrees * np.pi / 180)
        sideways = d * np.sin(degrees * np.pi / 180)
        forward = d * np.cos(degrees * np.pi / 180)
        over = np.abs(sideways) < HOLE_RADIUS_FT
        rim = np.sqrt(np.where(over, HOLE_RADIUS_FT**2 - sideways**2, 0.0))
        reaches = over & (forward > 0) & (roll >= forward - rim)
        speed = np.sqrt(2 * slowing * np.maximum(roll - forward, 0.0))
        drops = reaches & (speed <= DROP_FT_S * (1 - (sideways / HOLE_RADIUS_FT) ** 2))
        taken[on_green] += 1
        on_green = on_green[~drops]
        where[on_green] = np.hypot(x, y - d)[~drops]
        if first_leaves is None:
            first_leaves = where[on_green].copy()
    return taken, first_leaves


def compare(setting, distances_ft, putts, seed, *, mishits=(0.0, 0.0), times=4.0):
    """Return a table: the brute force, the package, and their difference, by distance."""
    from putlab.green.hole_out import hole_out
    from putlab.green.skill import Skill

    *skill, stimp_ft, past_ft = setting
    known_ft, *values = (np.array(part, dtype=float) for part in skill)
    skill = Skill(known_ft, *values)
    wild_sds = {"line_wild_sd_deg": times * skill.line_sd_deg}
    wild_sds |= {"pace_wild_sd_pct": times * skill.pace_sd_pct}
    skill = replace(skill, line_wild=mishits[0], pace_wild=mishits[1], **wild_sds)
    out = hole_out(skill, distances_ft, stimp_ft=stimp_ft, past_ft=past_ft)
    rng = np.random.default_rng(seed)
    rows = []
    for i, distance_ft in enumerate(distances_ft):
        taken, left = play(setting, distance_ft, putts, rng, mishits=mishits, times=times)
        rows.append(
            {
                "distance_ft": distance_ft,
                "holes": putts,
                "one_putt": np.mean(taken == 1),
                "one_putt_off": out.one_putt[0, i] - np.mean(taken == 1),
                "three_putt": np.mean(taken >= 3),
                "three_putt_off": out.three_putt[0, i] - np.mean(taken >= 3),
                "average_putts": np.mean(taken),
                "average_putts_off": out.average_putts[0, i] - np.mean(taken),
                "mean_leave_ft": left.mean() if left.size else np.nan,
                "mean_leave_off_ft": out.mean_leave_ft[0, i] - left.mean() if left.size else np.nan,
            }
        )
    return pd.DataFrame(rows)


def record(putts=4_000_000, distances_ft=(2, 3, 5, 8, 12, 18, 25, 36, 48, 60)):
    """Compare every setting with several million putts each and write the table."""
    import putlab

    tables = []
    for seed, (name, setting) in enumerate(SETTINGS.items()):
        table = compare(setting, distances_ft, putts, seed)
        table.insert(0, "setting", name)
        table["seed"] = seed
        tables.append(table)
    table = pd.concat(tables, ignore_index=True)
    table["putlab"] = putlab.__version__
    table["numpy"] = np.__version__
    table["python"] = platform.python_version()
    table["date"] = datetime.date.today().isoformat()
    table.to_csv(RESULTS, index=False, float_format="%.6g")
    return table


if __name__ == "__main__":
    found = record()
    print(found.filter(like="_off").abs().max().to_string())


def every_putt(distance_ft, golfer, stimp_ft=10.0, past_ft=1.0, points=3000):
    """Strike nine million putts at even quantiles; return the share holed, and the leaves."""
    line_sd, line_bias, pace_sd, pace_bias = golfer
    z = ndtri((np.arange(points) + 0.5) / points)
    angle = np.radians(line_bias + line_sd * z)[:, None]
    roll = np.maximum((distance_ft + past_ft) * (1 + (pace_bias + pace_sd * z) / 100), 0)
    aside, along = distance_ft * np.sin(angle), distance_ft * np.cos(angle)
    u = np.minimum(np.abs(aside) / HOLE_RADIUS_FT, 1)
    reaches = (u < 1) & (roll >= along - HOLE_RADIUS_FT * np.sqrt(1 - u**2))
    speed = np.sqrt(36 / stimp_ft * np.maximum(roll - along, 0))
    holed = reaches & (speed <= 1.63 / 0.3048 * (1 - u**2))
    return holed.mean(), np.where(holed, -1, np.hypot(roll - along, aside))
