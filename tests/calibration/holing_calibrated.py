"""Is the joint model of readings and outcomes right on average?

``python tests/calibration/holing_calibrated.py 100`` draws a golfer from the priors, a few
visits of practice and ten rounds on a green from the golfer, putt by putt, fits both together,
and keeps a row a golfer in ``tests/results/holing_calibrated.csv``; a run that is stopped goes
on where it was. Then it tells whether the ranks of the truth are uniform (simulation-based
calibration: S. Talts and others, arXiv 1804.06788, 2018) and how often intervals of 90 % held
the truth, and writes that to ``tests/results/holing_calibrated.json``.

What a round's putts share (bias, form) is drawn for each round, where the model counts it as
scatter: the test holds that too.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import chisquare

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

from designs import green_design as design_of  # noqa: E402
from made_logs import balanced_schedule, log_of  # noqa: E402
from record import record  # noqa: E402
from simulate import simulate_errors
from true_golfers import draw_component

from putlab.base.settings import interval_probabilities
from putlab.model.green_model import JOINT_PARAMETERS
from putlab.model.priors import PRIORS, green_priors
from putlab.posterior.sampling import arrays_of, compiled_for, posteriors_of, sample

ROWS = Path(__file__).parent.parent / "results" / "holing_calibrated.csv"

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


def draw_log(seed):
    """Return a log, and what is true of the golfer who struck it."""
    rng = np.random.default_rng([seed, 7])
    plan, at = schedule_of(rng), {"players": [PLAYER], "lengths_ft": LENGTHS_FT}
    truth, errors = {}, {}
    for (name, prior), (median, log_sd) in zip(PRIORS.items(), green_priors(), strict=True):
        drawn, _ = draw_component(prior, rng, players=1, lengths_ft=LENGTHS_FT)
        errors[name] = simulate_errors(plan, drawn, rng, **at)
        truth[f"{name}_level"] = drawn.level[0, 1]
        truth[f"{name}_green"] = median * np.exp(log_sd * rng.standard_normal())
    on_green = plan["session"].str.startswith("round").to_numpy()
    for name in errors:
        errors[name] += on_green * truth[f"{name}_green"] * rng.standard_normal(len(plan))
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


def one_row(seed):
    """Fit one golfer; return the share of draws below each truth."""
    log, truth = draw_log(seed)
    design = design_of(log)
    raw = sample(compiled_for(design), seed=seed, draws=400, tune=400, chains=2, cores=1)
    posteriors = posteriors_of(arrays_of(raw, JOINT_PARAMETERS), design)
    row = {"seed": seed}
    for name, unit in (("line", "deg"), ("pace", "pct")):
        level = posteriors[name]["posterior"]["level"].sel(length=LENGTHS_FT[1], player=PLAYER)
        green = posteriors["green"]["posterior"][f"green_{name}_sd_{unit}"].sel(player=PLAYER)
        for what, draws in (("level", level), ("green", green)):
            row[f"{name}_{what}"] = np.mean(draws.values < truth[f"{name}_{what}"])
    return row


def main(golfers):
    """Add rows until there are as many as asked for, then tell what they come to."""
    done = pd.read_csv(ROWS)["seed"].tolist() if ROWS.exists() else []
    for seed in range(golfers):
        if seed not in done:
            row = pd.DataFrame([one_row(seed)])
            row.to_csv(ROWS, mode="a", header=not ROWS.exists(), index=False)
    ranks = pd.read_csv(ROWS).drop(columns="seed")
    low, high = interval_probabilities()
    figures = {"golfers": len(ranks)}
    for name, rank in ranks.items():
        counts = np.histogram(rank, np.linspace(0, 1, BINS + 1))[0]
        covered = float(np.mean((rank >= low) & (rank <= high)))
        figures[name] = {"uniform_p": chisquare(counts).pvalue, "covered": covered}
        print(f"{name}: covered {covered:.3f}, ranks uniform p = {figures[name]['uniform_p']:.3f}")
    record(
        "holing_calibrated",
        what="Ranks of the truth under the joint model: level at 8 ft and green spread; 128 "
        "readings and 180 putts made or missed with leaves, golfers drawn from the priors.",
        **figures,
    )


if __name__ == "__main__":
    main(int(sys.argv[1]))
