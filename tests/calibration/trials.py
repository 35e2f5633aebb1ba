"""Does the verdict on a change hold its word? Simulated trials, sampled and judged.

    python tests/calibration/trials.py SCENARIO [--trials 200]

fits every check of every trial with the kit's own model and sampler, at its full length. Checks
at trials of nothing that a quick approximation (``laplace.py``) finds far from any verdict are
left at that. It writes a row a check to ``tests/results/trials_SCENARIO.csv`` (a stopped run
goes on where it was), and the figures to ``tests/results/trials_SCENARIO.json``. Scenarios:

    nothing         no change; interleaved; looked at after every second of ten visits
    practice        no change, but practice narrows the spread; the same checks
    before-after    the same golfer, five visits before and five after; checks from the sixth
    before-after-straight   the same, practice narrowing in a straight line over putts
    cut             a true cut of 20 %, the designed number of putts; looked at once, at the end
    screen          30 logs of the others fitted both ways: approximated, and sampled in full

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

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

from laplace import laplace  # noqa: E402
from made_logs import log_of  # noqa: E402
from record import RESULTS, record  # noqa: E402
from scipy.stats import norm  # noqa: E402
from simulate import rounded, simulate_errors
from true_golfers import steady  # noqa: E402

from putlab.model.design import make_design, session_table
from putlab.model.priors import PRIORS
from putlab.model.readings import intervals, lengths_ft
from putlab.model.spread import MISHIT_MOST, named_quantities
from putlab.posterior import sampling as fitting
from putlab.posterior.player import summary
from putlab.practice.targets import reading_share
from putlab.trial.boundary import (
    CANNOT_TELL,
    DETECT_PCT,
    HELPED,
    HURT,
    TOO_SMALL_PCT,
    Boundary,
    p_below,
)
from putlab.trial.conditions import choose_conditions, putt_counts
from putlab.trial.contrast import contrast
from putlab.trial.design import FOR_THE_CHANGE, Assumptions, design_trial

LENGTHS_FT = (5.0, 10.0, 20.0)
SD_DEG, STEP_DEG, MISHITS, FORM, SETUP_DEG = 1.0, 1.0, 0.02, 0.06, 0.25
TREND = -0.15
CUT = DETECT_PCT / 100

SCENARIOS = {
    "nothing": {"checks": (2, 4, 6, 8, 10)},
    "practice": {"checks": (2, 4, 6, 8, 10), "trend": TREND},
    "before-after": {"checks": (6, 8, 10), "trend": TREND, "in_turn": True},
    "before-after-straight": {"checks": (6, 8, 10), "straight": -0.26, "in_turn": True},
    "cut": {"checks": (12,), "effect": np.log(1 - CUT)},
}
# Standard errors from the bar within which a check is sampled: twice the most by which the
# approximation was off in the 30 logs of ``screen``.
NEAR = 0.8

FIELDS = ["trial", "sessions", "mean", "sd", "lo", "hi", "p_improved", "p_needed", "p_small"]
FIELDS += ["verdict", "fitted"]


def trial_design(sessions):
    """Return the trial designed for this golfer."""
    # A planner does not know the share of mishits; a short log leaves it near the prior.
    prior = PRIORS["line"]
    mishits = MISHIT_MOST * prior.mishit_a / (prior.mishit_a + prior.mishit_b)
    share = reading_share(SD_DEG, step=STEP_DEG, mishit_share=mishits)
    known = Assumptions(share=share * FOR_THE_CHANGE, visit_means=True)
    return design_trial(LENGTHS_FT, DETECT_PCT, assumptions=known, sessions=sessions)


def simulated_trial(seed, checks, *, effect=0.0, trend=0.0, straight=0.0, in_turn=False):
    """Return the log of one trial from known truth."""
    rng = np.random.default_rng([77, seed])
    plan = trial_design(checks[-1]).schedule(player="one", seed=seed)
    if in_turn:
        visits = plan["session"].unique()
        late = plan["session"].isin(visits[len(visits) // 2 :])
        plan["condition"] = np.where(late, "B", "A")
    level = np.log(SD_DEG) + 0.05 * rng.standard_normal((1, len(LENGTHS_FT)))
    truth = steady(
        level, 0.2, players=1, lengths=3, visit_bias_sd=SETUP_DEG, visit_form_sd=FORM, trend=trend,
        mishit_share=MISHITS, warm_up=0.05, effect={("one", "B"): effect},
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
    return fitting.sample(fitting.compiled_for(design), seed=seed, cores=1).posterior.dataset


def judge(log, *, seed, fitted):
    """Fit the line model of a log and return the verdict with its numbers."""
    lengths = lengths_ft(log.putts["distance_ft"])
    rows, visits = intervals(log, "line"), session_table(log.putts)
    design = make_design(rows, visits, lengths, ["one"], PRIORS["line"])
    raw = fitted(design, seed=seed)
    posterior = {"posterior": named_quantities(raw, design)}
    fit = SimpleNamespace(designs={"line": design}, posteriors={"line": posterior})
    pair = choose_conditions(putt_counts(log), "A", "B")
    change = contrast(fit, pair, "line")
    boundary = Boundary(np.log1p(TOO_SMALL_PCT / 100), -np.log(1 - CUT), change.prior_sd)
    mean, sd = change.log_ratio.mean(), change.log_ratio.std(ddof=1)
    _, lo, hi = summary(change.log_ratio)
    return {
        "mean": mean,
        "sd": sd,
        "lo": lo,
        "hi": hi,
        "p_improved": p_below(mean, sd),
        "p_needed": boundary.p_needed(sd, change.sd_fit),
        "p_small": boundary.p_too_small(mean, sd),
        "verdict": str(boundary.verdict(mean, sd, change.sd_fit)),
    }


def check(log, *, seed, screen):
    """Return the verdict on a log, sampled unless it is far from any."""
    if screen:
        found = judge(log, seed=seed, fitted=laplace)
        z, needed = found["mean"] / found["sd"], norm.ppf(found["p_needed"])
        if abs(z) < needed - NEAR:
            return found | {"verdict": CANNOT_TELL, "fitted": "approximately"}
    return judge(log, seed=seed, fitted=sampled) | {"fitted": "sampled"}


def run(name, trials):
    """Fit what is still missing of a scenario, check by check."""
    path = RESULTS / f"trials_{name}.csv"
    done = set()
    if path.exists():
        done = set(pd.read_csv(path)[["trial", "sessions"]].itertuples(index=False, name=None))
    truth = dict(SCENARIOS[name])
    checks = truth.pop("checks")
    with path.open("a", newline="") as stream:
        rows = csv.DictWriter(stream, FIELDS)
        if not done:
            rows.writeheader()
        for trial in range(trials):
            if all((trial, sessions) in done for sessions in checks):
                continue
            log = simulated_trial(trial, checks, **truth)
            for sessions in checks:
                if (trial, sessions) not in done:
                    found = check(first_visits(log, sessions), seed=trial, screen=name != "cut")
                    numbers = {k: v if isinstance(v, str) else f"{v:.6g}" for k, v in found.items()}
                    rows.writerow({"trial": trial, "sessions": sessions, **numbers})
                    stream.flush()
    report(name, path)


def _information(sd):
    """Return what the checks have gathered, as a share of what the trial was designed to gather."""
    prior_sd = np.sqrt(2) * PRIORS["line"].effect_sd
    boundary = Boundary(np.log1p(TOO_SMALL_PCT / 100), -np.log(1 - CUT), prior_sd)
    return boundary.information(sd) / boundary.designed_information


def report(name, path):
    """Write what the checks add up to."""
    table = pd.read_csv(path)
    said = {v: table["verdict"].eq(v).groupby(table["trial"]).any() for v in (HELPED, HURT)}
    last = table.groupby("trial").tail(1)
    truth = SCENARIOS[name].get("effect", 0.0)
    figures = {
        "trials": int(table["trial"].nunique()),
        "checks": len(SCENARIOS[name]["checks"]),
        "putts_a_condition": trial_design(SCENARIOS[name]["checks"][-1]).scheduled_a_condition,
        "ever_helped": float(said[HELPED].mean()),
        "ever_hurt": float(said[HURT].mean()),
        "ever_either": float((said[HELPED] | said[HURT]).mean()),
        "information_of_designed_at_last_look": float(_information(last["sd"]).mean()),
        "coverage_at_last_look": float(((last["lo"] <= truth) & (truth <= last["hi"])).mean()),
        "mean_log_ratio_at_last_look": float(last["mean"].mean()),
        "true_log_ratio": float(truth),
        "verdicts_at_last_look": last["verdict"].value_counts().to_dict(),
    }
    record(f"trials_{name}", what=f"simulated trials, scenario {name}", **figures)
    print(name, figures)


def screen_against_sampling(logs=30):
    """Set the approximation beside the kit's own sampling, and that beside itself."""
    path = RESULTS / "trials_screen.csv"
    rows = pd.read_csv(path).to_dict("records") if path.exists() else []
    names = ("nothing", "practice", "cut")
    for number in range(len(rows), logs):
        truth = dict(SCENARIOS[names[number % 3]])
        checks = truth.pop("checks")
        log = simulated_trial(1000 + number, checks, **truth)
        row = {"log": number, "of": names[number % 3]}
        fits = {"quick": laplace, "full": sampled, "again": sampled}
        for seed, (how, fitted) in enumerate(fits.items()):
            found = judge(log, seed=number + 100 * seed, fitted=fitted)
            row |= {f"{name}_{how}": found[name] for name in ("lo", "hi", "verdict")}
            row[f"z_{how}"] = found["mean"] / found["sd"]
            row[f"z_needed_{how}"] = norm.ppf(found["p_needed"])
        rows.append(row)
        pd.DataFrame(rows).to_csv(path, index=False, float_format="%.6g")
    report_screen(pd.DataFrame(rows))


def report_screen(table):
    """Write how far apart the approximation, the sampling, and a second sampling are."""
    width = table["hi_full"] - table["lo_full"]
    figures = {"logs": len(table)}
    for how in ("quick", "again"):
        ends = [
            (table[f"{end}_{how}"] - table[f"{end}_full"]).abs() / width for end in ("lo", "hi")
        ]
        figures |= {
            f"same_verdict_{how}": int((table[f"verdict_{how}"] == table["verdict_full"]).sum()),
            f"z_apart_max_{how}": float((table[f"z_{how}"] - table["z_full"]).abs().max()),
            f"ends_apart_mean_{how}": float(np.mean(ends)),
            f"ends_apart_max_{how}": float(np.max(ends)),
        }
    far = table["z_quick"].abs() < table["z_needed_quick"] - NEAR
    figures["screened_out"] = int(far.sum())
    figures["screened_out_wrongly"] = int(table.loc[far, "verdict_full"].isin([HELPED, HURT]).sum())
    record(
        "trials_screen",
        what="approximation (quick) and a second sampling (again) against the kit's sampling: "
        "verdicts, z, and interval ends in widths of the interval",
        **figures,
    )
    print(figures)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("scenario", choices=[*SCENARIOS, "screen"])
    parser.add_argument("--trials", type=int, default=200)
    given = parser.parse_args()
    screen_against_sampling() if given.scenario == "screen" else run(given.scenario, given.trials)
