"""Does the verdict on a change hold its word? Simulated trials, sampled and judged.

    python tests/calibration/trials.py SCENARIO [--trials 200]

fits every look of every trial with the kit's own model, in the fast approximation of
``laplace.py``. It writes a row a look to ``tests/results/trials_SCENARIO.csv`` (a stopped run
goes on where it was), and the figures to ``tests/results/trials_SCENARIO.json``. Scenarios:

    nothing         no change; interleaved; looked at after every second of ten visits
    practice        no change, but practice narrows the spread; the same looks
    before-after    the same golfer, five visits before and five after; looks from the sixth
    before-after-straight   the same, practice narrowing in a straight line over putts
    cut             a true cut of 20 %, the designed number of putts; looked at once, at the end
    nuts            30 logs of the others fitted both ways: approximated, and sampled in full

The golfer: 1.0 degrees read in whole degrees, visits that differ, one mishit in fifty.
"""

import argparse
import csv
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parent.parent))

from laplace import laplace  # noqa: E402
from made_logs import log_of  # noqa: E402
from record import RESULTS, record  # noqa: E402

from putlab import fitting  # noqa: E402
from putlab.arms import choose_arms, putt_counts  # noqa: E402
from putlab.blocks import schedule  # noqa: E402
from putlab.contrast import contrast  # noqa: E402
from putlab.design import make_design, session_table  # noqa: E402
from putlab.golfer import named_quantities, summary  # noqa: E402
from putlab.looking import (  # noqa: E402
    DETECT_PCT,
    HELPED,
    HURT,
    REGION_PCT,
    Bar,
    p_below,
    p_small,
    verdict,
)
from putlab.precision import reading_share  # noqa: E402
from putlab.priors import PRIORS  # noqa: E402
from putlab.readings import cells, lengths_ft  # noqa: E402
from putlab.simulate import rounded, simulate_errors, steady  # noqa: E402
from putlab.spread import MISHIT_MOST  # noqa: E402
from putlab.trial import Conditions, design_trial  # noqa: E402

LENGTHS_FT = (5.0, 10.0, 20.0)
SD_DEG, STEP_DEG, MISHITS, FORM, SETUP_DEG = 1.0, 1.0, 0.02, 0.06, 0.25
TREND = -0.15
CUT = DETECT_PCT / 100

SCENARIOS = {
    "nothing": {"looks": (2, 4, 6, 8, 10)},
    "practice": {"looks": (2, 4, 6, 8, 10), "trend": TREND},
    "before-after": {"looks": (6, 8, 10), "trend": TREND, "in_turn": True},
    "before-after-straight": {"looks": (6, 8, 10), "straight": -0.26, "in_turn": True},
    "cut": {"looks": (9,), "effect": np.log(1 - CUT)},
}
FIELDS = ["trial", "sessions", "mean", "sd", "lo", "hi", "p_improved", "p_needed", "p_small"]
FIELDS += ["verdict"]


def trial_design(sessions):
    """Return the trial designed for this golfer."""
    # A planner does not know the share of mishits; a short log leaves it near the prior.
    prior = PRIORS["line"]
    mishits = MISHIT_MOST * prior.mishit_a / (prior.mishit_a + prior.mishit_b)
    share = reading_share(SD_DEG, step=STEP_DEG, mishit_share=mishits)
    known = Conditions(share=share, form_sd=FORM, visit_means=True)
    return design_trial(LENGTHS_FT, DETECT_PCT, conditions=known, sessions=sessions)


def simulated_trial(seed, looks, *, effect=0.0, trend=0.0, straight=0.0, in_turn=False):
    """Return the log of one trial from known truth."""
    rng = np.random.default_rng([77, seed])
    plan = schedule(trial_design(looks[-1]), player="one", seed=seed)
    if in_turn:
        visits = plan["session"].unique()
        late = plan["session"].isin(visits[len(visits) // 2 :])
        plan["condition"] = np.where(late, "B", "A")
    level = np.log(SD_DEG) + 0.05 * rng.standard_normal((1, len(LENGTHS_FT)))
    truth = steady(
        level, 0.2, players=1, lengths=3, setup_sd=SETUP_DEG, form_sd=FORM, trend=trend,
        mishit_share=MISHITS, early=0.05, effect={("one", "B"): effect},
    )  # fmt: skip
    error = simulate_errors(plan, truth, rng, players=["one"], lengths_ft=LENGTHS_FT)
    # Another shape of practice than the model's: straight in putts over the whole trial.
    narrowed = np.exp(straight * np.arange(len(plan)) / len(plan))
    plan["line_deg"] = rounded(error * narrowed, STEP_DEG)
    return log_of(plan)


def first_visits(log, sessions):
    """Return the log as it stood after some of its visits."""
    kept = log.putts["session"].unique()[:sessions]
    putts = log.putts[log.putts["session"].isin(kept)].reset_index(drop=True)
    return replace(log, putts=putts)


def sampled(design, *, seed):
    """Return raw draws of the kit's own sampler at its full length."""
    return fitting.sample(design, seed=seed, cores=1).posterior.dataset


def judge(log, *, seed, fitted=laplace):
    """Fit the line model of a log and return the verdict with its numbers."""
    lengths = lengths_ft(log.putts["distance_ft"])
    rows, visits = cells(log, "line"), session_table(log.putts)
    design = make_design(rows, visits, lengths, ["one"], PRIORS["line"])
    raw = fitted(design, seed=seed)
    posterior = {"posterior": named_quantities(raw, design)}
    fit = SimpleNamespace(designs={"line": design}, trees={"line": posterior})
    arms = choose_arms(putt_counts(log), "A", "B")
    change = contrast(fit, "one", "line", arms.before, arms.after)
    bar = Bar(np.log1p(REGION_PCT / 100), -np.log(1 - CUT), change.prior_sd)
    mean, sd = change.log_ratio.mean(), change.log_ratio.std(ddof=1)
    _, lo, hi = summary(change.log_ratio)
    return {
        "mean": mean,
        "sd": sd,
        "lo": lo,
        "hi": hi,
        "p_improved": p_below(mean, sd),
        "p_needed": bar.p_needed(sd, sd_told=change.sd_told),
        "p_small": p_small(mean, sd, bar.region),
        "verdict": str(verdict(mean, sd, bar, sd_told=change.sd_told)),
    }


def run(name, trials):
    """Fit what is still missing of a scenario, look by look."""
    path = RESULTS / f"trials_{name}.csv"
    done = set()
    if path.exists():
        done = set(pd.read_csv(path)[["trial", "sessions"]].itertuples(index=False, name=None))
    truth = dict(SCENARIOS[name])
    looks = truth.pop("looks")
    with path.open("a", newline="") as stream:
        rows = csv.DictWriter(stream, FIELDS)
        if not done:
            rows.writeheader()
        for trial in range(trials):
            if all((trial, sessions) in done for sessions in looks):
                continue
            log = simulated_trial(trial, looks, **truth)
            for sessions in looks:
                if (trial, sessions) not in done:
                    found = judge(first_visits(log, sessions), seed=trial)
                    numbers = {k: v if k == "verdict" else f"{v:.6g}" for k, v in found.items()}
                    rows.writerow({"trial": trial, "sessions": sessions, **numbers})
                    stream.flush()
    report(name, path)


def report(name, path):
    """Write what the looks add up to."""
    table = pd.read_csv(path)
    said = {v: table["verdict"].eq(v).groupby(table["trial"]).any() for v in (HELPED, HURT)}
    last = table.groupby("trial").tail(1)
    truth = SCENARIOS[name].get("effect", 0.0)
    figures = {
        "trials": int(table["trial"].nunique()),
        "looks": len(SCENARIOS[name]["looks"]),
        "putts_an_arm": trial_design(SCENARIOS[name]["looks"][-1]).scheduled_an_arm,
        "ever_helped": float(said[HELPED].mean()),
        "ever_hurt": float(said[HURT].mean()),
        "ever_either": float((said[HELPED] | said[HURT]).mean()),
        "coverage_at_last_look": float(((last["lo"] <= truth) & (truth <= last["hi"])).mean()),
        "mean_log_ratio_at_last_look": float(last["mean"].mean()),
        "true_log_ratio": float(truth),
        "verdicts_at_last_look": last["verdict"].value_counts().to_dict(),
    }
    record(f"trials_{name}", what=f"simulated trials, scenario {name}", **figures)
    print(name, figures)


def compare_with_full(logs=30):
    """Set the approximation of the calibration beside the kit's own sampling."""
    rows = []
    names = ("nothing", "practice", "cut")
    for number in range(logs):
        truth = dict(SCENARIOS[names[number % 3]])
        looks = truth.pop("looks")
        log = simulated_trial(1000 + number, looks, **truth)
        quick, full = (judge(log, seed=number, fitted=how) for how in (laplace, sampled))
        width = full["hi"] - full["lo"]
        ends = max(abs(quick[end] - full[end]) / width for end in ("lo", "hi"))
        rows.append(
            {"log": number, "of": names[number % 3], "ends_apart_in_widths": ends,
             "quick": quick["verdict"], "full": full["verdict"],
             "z_quick": quick["mean"] / quick["sd"], "z_full": full["mean"] / full["sd"]}
        )  # fmt: skip
    table = pd.DataFrame(rows)
    table.to_csv(RESULTS / "trials_nuts.csv", index=False, float_format="%.6g")
    record(
        "trials_nuts",
        what="normal around the mode against the kit's own sampling",
        logs=len(table),
        same_verdict=int((table["quick"] == table["full"]).sum()),
        ends_apart_mean=float(table["ends_apart_in_widths"].mean()),
        ends_apart_max=float(table["ends_apart_in_widths"].max()),
    )
    print(table)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("scenario", choices=[*SCENARIOS, "nuts"])
    parser.add_argument("--trials", type=int, default=200)
    given = parser.parse_args()
    compare_with_full() if given.scenario == "nuts" else run(given.scenario, given.trials)
