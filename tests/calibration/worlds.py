"""Logs from other worlds than the model's: do its intervals hold there, and do its checks notice?

    nice python tests/calibration/worlds.py 60

draws golfers from the priors and so many logs of ten visits (600 putts) in each world, fits
them quickly (`quick_fit`: the same sampler, fewer draws), and records to ``tests/results`` how
often the 90 % intervals of spread (of ordinary putts, and of all, mishits included: where every
putt scatters as Student's t the model names the former narrower than the truth's standard
deviation, the latter not), and of putts on a new day on a flat green, hold the truth, which is
struck putt by putt; and how often each check speaks up.
"""

import sys
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "helpers")]

from brute_force import normal, play  # noqa: E402
from made_logs import LENGTHS_FT, balanced_schedule, log_of  # noqa: E402
from record import record  # noqa: E402
from simulate import rounded, simulate_errors  # noqa: E402
from simulated_golfers import quick_fit  # noqa: E402
from true_golfers import draw_component  # noqa: E402

from putlab.base.settings import interval_probabilities  # noqa: E402
from putlab.green.hole_out import hole_out  # noqa: E402
from putlab.model.design import session_table  # noqa: E402
from putlab.model.priors import PRIORS  # noqa: E402
from putlab.model.readings import COMPONENTS  # noqa: E402
from putlab.model.spread import MISHIT_TIMES  # noqa: E402
from putlab.posterior.checks import PASS  # noqa: E402
from putlab.posterior.fit import checks_of  # noqa: E402
from putlab.rounds.expected import new_day_skill  # noqa: E402

PLAYER, VISITS, EACH, HOLES = "golfer", 10, 10, 40_000
OUTCOMES = ("one_putt", "three_putt", "average_putts")
UNEQUAL = (6, 6, 12, 18, 30, 36, 60, 90, 132, 210)


def heavy(rng, size):
    """Student's t with five degrees of freedom, of sd 1."""
    return rng.standard_t(5, (2, size)) / np.sqrt(5 / 3)


def short(rng, size):
    """Pace misses that run farther short than long: a gamma of shape 4 turned over."""
    return np.stack([rng.normal(size=size), (4 - rng.gamma(4, size=size)) / 2])


def moving(rng, size):
    """Line and pace correlated 0.5."""
    line, pace = rng.normal(size=(2, size))
    return np.stack([line, 0.5 * line + np.sqrt(0.75) * pace])


def tiring(rng, size, place=None):
    """Spread that has grown by 30 % at a visit's end; its mean square is 1 over the visit."""
    width = 1 + 0.3 * (rng.random(size) if place is None else place)
    return width / np.sqrt(1 + 0.3 + 0.03) * rng.normal(size=(2, size))


STRIKES = {"Student-t(5)": heavy, "skewed pace": short, "line with pace": moving, "tiring": tiring}
WORLDS = [
    "the model's own", *STRIKES, "days in streaks", "undeclared display cap", "unequal visits"
]  # fmt: skip
ROWS = HERE.parent / "results" / "worlds.csv"


def days_in_streaks(rng):
    """Offsets of visits as a first-order autoregression of 0.8, of sd 1."""
    days = rng.normal(size=(2, VISITS))
    for i in range(1, VISITS):
        days[:, i] = 0.8 * days[:, i - 1] + 0.6 * days[:, i]
    return days


def schedule(world, rng):
    """Return when what is struck."""
    if world != "unequal visits":
        return balanced_schedule([PLAYER], VISITS, LENGTHS_FT, EACH, rng)
    visits = [
        balanced_schedule([PLAYER], 1, LENGTHS_FT, putts // len(LENGTHS_FT), rng).assign(
            session=f"visit {i:02d}"
        )
        for i, putts in enumerate(rng.permutation(UNEQUAL))
    ]
    return pd.concat(visits, ignore_index=True)


def log_from(world, rng):
    """Return a log and the truth of its golfer."""
    at = {"players": [PLAYER], "lengths_ft": LENGTHS_FT}
    truth = {
        c: draw_component(PRIORS[c], rng, players=1, lengths_ft=LENGTHS_FT)[0] for c in COMPONENTS
    }
    putts = schedule(world, rng)
    strike, more = STRIKES.get(world, normal), {}
    if world == "tiring":
        visit = putts.groupby("session")["putt"]
        more = {"place": ((putts["putt"] - 1) / (visit.transform("size") - 1)).to_numpy()}
    strikes = strike(rng, len(putts), **more)
    days = days_in_streaks(rng) if world == "days in streaks" else (None, None)
    line, pace = (
        simulate_errors(putts, truth[c], rng, strikes=strikes[i], days=days[i], **at)
        for i, c in enumerate(COMPONENTS)
    )
    roll_ft = (putts["distance_ft"] * (1 + pace / 100)).clip(lower=0)
    if world == "undeclared display cap":
        cap = max(1.0, np.round(np.quantile(np.abs(line), 0.95)))
        line, roll_ft = line.clip(-cap, cap), roll_ft.clip(upper=1.05 * LENGTHS_FT[-1])
    putts = putts.assign(line_deg=rounded(line, 1.0), roll_ft=rounded(roll_ft, 0.1))
    return log_of(putts), truth


def true_values(world, log, truth, rng):
    """Return the true spreads as on the last visit, and putts struck one by one on new days."""
    visits = session_table(log.putts)
    first = np.log1p(visits["putts_before"].iloc[0] / 100) - visits["practised"].iloc[0]
    now = np.log1p(len(log.putts) / 100) - first
    sd = {c: np.exp(truth[c].level[0] + truth[c].trend[0] * now) for c in COMPONENTS}
    setting = [LENGTHS_FT]
    for c in COMPONENTS:
        setting += [sd[c], truth[c].bias[0]]
    days = [[truth[c].visit_bias_sd[0] for c in COMPONENTS],
            [truth[c].visit_form_sd[0] for c in COMPONENTS]]  # fmt: skip
    how = {"mishits": [truth[c].mishit_share[0] for c in COMPONENTS], "days": days}
    how["strike"] = STRIKES.get(world, normal)
    taken = [play((*setting, 10.0, 0.0), d, HOLES, rng, **how)[0] for d in LENGTHS_FT]
    outcomes = [[np.mean(t == 1), np.mean(t >= 3), np.mean(t)] for t in taken]
    spreads = {f"{c}_sd": sd[c] for c in COMPONENTS}
    spreads |= {f"{c}_whole_sd": whole(sd[c], truth[c].mishit_share[0]) for c in COMPONENTS}
    return spreads | dict(zip(OUTCOMES, np.transpose(outcomes), strict=True))


def whole(sd, share):
    """Return the standard deviation of all putts, mishits included, from that of ordinary ones."""
    return sd * np.sqrt(1 + (MISHIT_TIMES**2 - 1) * share)


def draws_of(fit):
    """Return the fit's draws of the same."""
    golfer = fit.golfer(PLAYER)
    within = golfer.skill(LENGTHS_FT, new_day=False)
    out = hole_out(new_day_skill(golfer).thinned(200), LENGTHS_FT, past_ft=0.0)
    found = {"line_sd": within.line_sd_deg, "pace_sd": within.pace_sd_pct}
    found["line_whole_sd"] = whole(within.line_sd_deg, within.line_wild)
    found["pace_whole_sd"] = whole(within.pace_sd_pct, within.pace_wild)
    return found | {name: getattr(out, name) for name in OUTCOMES}


def one_log(world, seed):
    """Return what held and what was noted of one log."""
    rng = np.random.default_rng([7, WORLDS.index(world), seed])
    log, truth = log_from(world, rng)
    fit = quick_fit(log, seed=seed + 1, draws=250, tune=250, cores=1)
    true, row = true_values(world, log, truth, rng), {}
    for name, draws in draws_of(fit).items():
        low, high = np.quantile(draws, interval_probabilities(), axis=0)
        row[name] = np.mean((true[name] >= low) & (true[name] <= high))
        row[f"{name} below"] = np.mean(true[name] > high)
    for part, verdicts in checks_of(log, fit).items():
        row |= {f"{v.name} ({part})": v.result != PASS for v in verdicts}
    return row


def main(logs):
    """Run every world, go on where a run stopped, and record what there is after each log."""
    rows = pd.read_csv(ROWS).to_dict("records") if ROWS.exists() else []
    done = {(row["world"], row["seed"]) for row in rows}
    for seed, world in product(range(logs), WORLDS):
        if (world, seed) in done:
            continue
        rows.append({"world": world, "seed": seed} | one_log(world, seed))
        table = pd.DataFrame(rows)
        table.to_csv(ROWS, index=False, float_format="%.4g")
        tell(table)


def tell(table):
    """Record how often intervals held, and checks spoke up."""
    noted = table.filter(like="(").astype(bool)
    shares = table.drop(columns=["seed", *noted]).groupby("world", sort=False).mean()
    record(
        "worlds",
        what="share of 90 % intervals that hold the truth ('below': that end below it), and of "
        "logs in which each check, and any, speaks up; logs of ten visits and 600 putts, line read "
        "in whole degrees and roll in tenths of a foot",
        logs=table.groupby("world", sort=False).size().to_dict(),
        held=shares.round(3).to_dict("index"),
        noted=noted.groupby(table["world"], sort=False).mean().round(3).to_dict("index"),
        any_noted=noted.any(axis=1).groupby(table["world"], sort=False).mean().to_dict(),
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
