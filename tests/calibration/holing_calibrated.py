"""Is the joint model of readings and outcomes right on average?

``python tests/calibration/holing_calibrated.py 100`` draws a golfer from the priors, a few
visits of practice and ten rounds on a green from the golfer, putt by putt, fits both together,
and keeps a row a golfer in ``tests/results/holing_calibrated.csv``; a run that is stopped goes
on where it was. Then it tells whether the ranks of the truth are uniform (simulation-based
calibration: S. Talts and others, arXiv 1804.06788, 2018) and how often intervals of 90 % held
the truth, and writes that to ``tests/results/holing_calibrated.json``.

The model counts what a round's putts share (bias, form) as scatter of each, and so does the
world drawn here; ``… 100 shared`` draws it for each round instead, as rounds are, to see what
that costs, and keeps its own files. Fits pass the same gate as a report's.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import chisquare

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

from designs import green_design as design_of  # noqa: E402
from made_logs import balanced_schedule, log_of  # noqa: E402
from record import RESULTS, record  # noqa: E402
from simulate import simulate_errors
from true_golfers import draw_component

from putlab.base.errors import FitError
from putlab.base.settings import interval_probabilities
from putlab.model.design import places, session_table
from putlab.model.green_putts import SAME_PRACTICE
from putlab.model.priors import PRIORS, green_priors
from putlab.model.spread import MISHIT_TIMES
from putlab.posterior.sampling import fit_design

PLAYER, LENGTHS_FT = "player 1", [4.0, 8.0, 14.0, 24.0]
VISITS, PUTTS_EACH, ROUNDS = 4, 8, 10
BINS = 10


def schedule_of(rng):
    """Return practice visits, then rounds of 18 first putts."""
    practice = balanced_schedule([PLAYER], VISITS, LENGTHS_FT, PUTTS_EACH, rng)
    rounds = pd.DataFrame(
        {
            "player": PLAYER,
            "session": np.repeat([f"round {i:02d}" for i in range(ROUNDS)], 18),
            "distance_ft": rng.choice(LENGTHS_FT, ROUNDS * 18),
        }
    )
    return pd.concat([practice, rounds], ignore_index=True)


def holed_and_left(distance_ft, line_deg, pace_pct):
    """Return what putts come to on a flat green of 10 ft, aimed 1 ft past; one by one."""
    angle, radius = np.radians(line_deg), 4.25 / 24
    roll = np.maximum((distance_ft + 1) * (1 + pace_pct / 100), 0)
    aside, along = distance_ft * np.sin(angle), distance_ft * np.cos(angle)
    u = np.minimum(np.abs(aside) / radius, 1)
    reaches = (u < 1) & (along > 0) & (roll >= along - radius * np.sqrt(1 - u**2))
    speed = np.sqrt(36 / 10 * np.maximum(roll - along, 0))
    return reaches & (speed <= 1.63 / 0.3048 * (1 - u**2)), np.hypot(roll - along, aside)


def errors_on_green(plan, truth, added, rng):
    """Return errors of one component on a green by the model's own story, putt by putt."""
    visits = session_table(plan)
    practised = visits["practised"].to_numpy()[places(plan, visits, ["player", "session"])]
    practised = np.round(practised / SAME_PRACTICE) * SAME_PRACTICE
    at = pd.Index(LENGTHS_FT).get_indexer(plan["distance_ft"])
    log_sd = truth.level[0, at] + truth.trend[0] * practised + truth.visit_form_sd[0] ** 2
    wild = rng.random(len(plan)) < truth.mishit_share[0]
    sd = np.exp(log_sd) * np.where(wild, MISHIT_TIMES, 1.0)
    spread = np.sqrt(sd**2 + truth.visit_bias_sd[0] ** 2 + added**2)
    return truth.bias[0, at] + spread * rng.standard_normal(len(plan))


def draw_log(seed, shared):
    """Return a log, and what is true of the golfer who struck it."""
    rng = np.random.default_rng([seed, 7])
    plan, at = schedule_of(rng), {"players": [PLAYER], "lengths_ft": LENGTHS_FT}
    on_green = plan["session"].str.startswith("round").to_numpy()
    truth, errors = {}, {}
    for (name, prior), (median, log_sd) in zip(PRIORS.items(), green_priors(), strict=True):
        drawn, _ = draw_component(prior, rng, players=1, lengths_ft=LENGTHS_FT)
        added = median * np.exp(log_sd * rng.standard_normal())
        errors[name] = simulate_errors(plan, drawn, rng, **at)
        if shared:
            errors[name] += on_green * added * rng.standard_normal(len(plan))
        else:
            there = errors_on_green(plan, drawn, added, rng)
            errors[name] = np.where(on_green, there, errors[name])
        truth |= {f"{name}_level": drawn.level[0, 1], f"{name}_green": added}
    holed, left = holed_and_left(plan["distance_ft"], errors["line"], errors["pace"])
    roll_ft = (plan["distance_ft"] * (1 + errors["pace"] / 100)).clip(lower=0)
    putts = plan.assign(
        line_deg=np.where(on_green, np.nan, np.round(errors["line"], 1)),
        roll_ft=np.where(on_green, np.nan, np.round(roll_ft, 1)),
        holed=np.where(on_green, holed, None),
        leave_ft=np.where(on_green & ~holed, np.round(left, 1), np.nan),
        stimp_ft=10.0,
    )
    return log_of(putts, line_step_deg=0.1), truth


def one_row(seed, shared):
    """Fit one golfer; return the share of draws below each truth."""
    log, truth = draw_log(seed, shared)
    row = {"seed": seed}
    try:
        posteriors = fit_design(design_of(log), "made-and-missed", seed=seed, cache=False, cores=1)
    except FitError:
        return row | dict.fromkeys(truth, np.nan)
    for name, unit in (("line", "deg"), ("pace", "pct")):
        level = posteriors[name]["posterior"]["level"].sel(length=LENGTHS_FT[1], player=PLAYER)
        green = posteriors["green"]["posterior"][f"green_{name}_sd_{unit}"].sel(player=PLAYER)
        for what, draws in (("level", level), ("green", green)):
            row[f"{name}_{what}"] = np.mean(draws.values < truth[f"{name}_{what}"])
    return row


def main(golfers, shared):
    """Add rows until there are as many as asked for, then tell what they come to."""
    called = "holing_calibrated" + "_shared" * shared
    path = RESULTS / f"{called}.csv"
    done = pd.read_csv(path)["seed"].tolist() if path.exists() else []
    for seed in range(golfers):
        if seed not in done:
            row = pd.DataFrame([one_row(seed, shared)]).round(4)
            row.to_csv(path, mode="a", header=not path.exists(), index=False)
    rows = pd.read_csv(path).drop(columns="seed")
    ranks = rows.dropna()
    low, high = interval_probabilities()
    figures = {"golfers": len(rows), "refused": len(rows) - len(ranks)}
    for name, rank in ranks.items():
        counts = np.histogram(rank, np.linspace(0, 1, BINS + 1))[0]
        covered = float(np.mean((rank >= low) & (rank <= high)))
        figures[name] = {"uniform_p": chisquare(counts).pvalue, "covered": covered}
        print(f"{name}: covered {covered:.3f}, ranks uniform p = {figures[name]['uniform_p']:.3f}")
    record(
        called,
        what="Ranks of the truth under the joint model: level at 8 ft and green spread; 128 "
        "readings and 180 putts made or missed with leaves, golfers drawn from the priors.",
        **figures,
    )


if __name__ == "__main__":
    main(int(sys.argv[1]), "shared" in sys.argv[2:])
