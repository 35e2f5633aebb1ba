"""Designs that people really use: false verdicts and power of each, by the quick answer.

    python tests/calibration/trial_designs.py DESIGN [--trials 1000]

simulates trials of a known truth, asks after every visit from the fifth on (before, the bar
is out of reach) as `compare` does (fault of design, widening, boundary), and writes a row a trial
to ``tests/results/design_DESIGN.csv`` (a stopped run goes on where it was) and the figures to
``tests/results/design_DESIGN.json``. The quick answer stands for the fit; its scales, which a
comparison takes from the fit, are here estimated from the whole trial by a few steps of EM.
``agree`` sets it beside the kit's sampling on 30 logs.

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

from made_logs import log_of  # noqa: E402
from record import RESULTS, record  # noqa: E402
from scipy.stats import beta  # noqa: E402
from simulate import rounded, simulate_errors
from trials import CUT, FORM, LENGTHS_FT, MISHITS, SD_DEG, SETUP_DEG, STEP_DEG, trial_design
from true_golfers import steady  # noqa: E402

from putlab.base.errors import UsageError
from putlab.model.design import make_design, session_table
from putlab.model.priors import PRIORS
from putlab.model.readings import intervals, lengths_ft
from putlab.model.spread import MISHIT_MOST
from putlab.trial.boundary import HELPED, HURT, NOT_BY_DESIGN
from putlab.trial.compare import _Case
from putlab.trial.conditions import BEFORE_AFTER, IN_ONE_ORDER, choose_conditions, putt_counts
from putlab.trial.contrast import contrast
from putlab.trial.quick import Story, quick_posterior

SIZES = {"too_small_pct": 5.0, "too_small_strokes": 0.1, "detect_pct": 100 * CUT}
VISITS, FIRST_CHECK = 10, 5
LOG_CUT = float(np.log(1 - CUT))
TIRING = float(np.log(1.3))

# What is true, and how the conditions were laid out.
DESIGNS = {
    "shuffled": {},
    "long": {"visits": 30},
    "alternating": {"lay": "by_visit", "form": 0.10},
    "first": {"lay": "first", "drift": TIRING},
    "turns": {"lay": "turns", "drift": TIRING},
    "warming": {"lay": "turns", "warming": True},
    "lengths": {"lay": "lengths"},
    "shared": {"lay": "shared"},
    "bad-spell": {"lay": "bad_spell", "form": 0.10},
    "bad-days": {"lay": "bad_days", "form": 0.10},
    "three": {"lay": "three"},
    "cut": {"effect": LOG_CUT},
    "cut-trend": {"effect": LOG_CUT, "trend": -0.15},
    "cut-alternating": {"effect": LOG_CUT, "lay": "by_visit", "form": 0.10},
    "cut-turns": {"effect": LOG_CUT, "lay": "turns", "drift": TIRING},
    "cut-shared": {"effect": LOG_CUT, "lay": "shared"},
    "cut-three": {"effect": LOG_CUT, "lay": "three"},
}

FIELDS = ["trial", "fault", "verdict", "visit", "mean", "sd", "final_mean", "final_sd", "final"]


def first(plan, visit):
    """A always first: the first half of every visit."""
    return np.where(plan.groupby("session").cumcount() < len(plan) / visit[-1] / 2, "A", "B")


def turns(plan, visit):
    """A then B, A then B: four quarters of the visit."""
    part = (4 * plan.groupby("session").cumcount() / (len(plan) / visit[-1])).astype(int)
    return np.where(part % 2 == 0, "A", "B")


def by_visit(plan, visit):
    """Whole visits take turns."""
    return np.where(visit % 2 == 0, "A", "B")


def lengths(plan, visit):
    """A at one length, B at the others."""
    return np.where(plan["distance_ft"] == LENGTHS_FT[1], "A", "B")


def shared(plan, visit):
    """As planned, but for the shortest length, which is only struck with A, and the longest, B."""
    held = plan["condition"].mask(plan["distance_ft"] == LENGTHS_FT[0], "A")
    return held.mask(plan["distance_ft"] == LENGTHS_FT[-1], "B")


def three(plan, visit):
    """A third condition takes a third of the putts, in blocks."""
    block = (plan.groupby("session").cumcount() // 6 + visit) % 3
    return np.array(list("ABC"))[block]


LAYS = {f.__name__: f for f in (first, turns, by_visit, lengths, shared, three)}


def simulated(seed, *, visits=VISITS, lay=None, effect=0.0, trend=0.0, drift=0.0, warming=False,
              form=FORM):  # fmt: skip
    """Return the log of one trial from known truth, visits made one after the other."""
    rng = np.random.default_rng([91, seed])
    plan = trial_design(VISITS).schedule(player="one", seed=seed)
    if visits > VISITS:
        more = [
            trial_design(VISITS).schedule(player="one", seed=1000 * seed + i)
            for i in range(visits // VISITS)
        ]
        more = [part.assign(session=f"{i} " + part["session"]) for i, part in enumerate(more)]
        plan = pd.concat(more, ignore_index=True)
    visit = plan.groupby("session", sort=False).ngroup().to_numpy() + 1
    if lay in LAYS:
        plan["condition"] = LAYS[lay](plan, visit)
    level = np.log(SD_DEG) + 0.05 * rng.standard_normal((1, len(LENGTHS_FT)))
    how = {"players": 1, "lengths": 3, "visit_bias_sd": SETUP_DEG, "trend": trend}
    how |= {"mishit_share": MISHITS, "warm_up": 0.05, "effect": {("one", "B"): effect}}
    if lay in ("bad_spell", "bad_days"):
        # Form is drawn here, for it decides what is struck next.
        forms, held, now = form * rng.standard_normal(visits), [], "A"
        for i in range(visits):
            held.append(now)
            if forms[i] > 0.5 * form and (lay == "bad_days" or i >= 2):
                now = "B" if now == "A" or lay == "bad_spell" else "A"
        plan["condition"] = np.array(held)[visit - 1]
        error = simulate_errors(plan, steady(level, 0.2, **how), rng, players=["one"],
                                lengths_ft=LENGTHS_FT) * np.exp(forms[visit - 1])  # fmt: skip
    else:
        truth = steady(level, 0.2, visit_form_sd=form, **how)
        error = simulate_errors(plan, truth, rng, players=["one"], lengths_ft=LENGTHS_FT)
    place = plan.groupby("session", sort=False).cumcount() / (len(plan) / visits)
    wider = np.exp(drift * place)
    if warming:
        wider = 1 + 0.6 * np.exp(-8 * place)  # half as wide again at first, soon gone
    plan["line_deg"] = rounded(error * wider, STEP_DEG)
    return log_of(plan.drop(columns="trial"))


def scales_of(design):
    """Return the scales that a fit would have, by EM with their priors; mishits as believed."""
    prior = PRIORS["line"]
    scales = {f"{n}_sd": getattr(prior, f"{n}_median")
              for n in ("spot", "bias_spot", "visit_bias", "visit_form")}  # fmt: skip
    scales["mishit_share"] = MISHIT_MOST * prior.mishit_a / (prior.mishit_a + prior.mishit_b)
    for _ in range(3):
        story = Story(design, "one", scales)
        mode, covariance = story.solved()
        for name in ("visit_bias", "visit_form"):
            at = story.places[name]
            seen = np.sum(mode[at] ** 2 + np.diag(covariance)[at])
            tried = scales[f"{name}_sd"] * np.geomspace(0.2, 5, 200)
            off = np.log(tried / getattr(prior, f"{name}_median")) / prior.visit_form_log_sd
            # Its mean under the last step's effects, as a fit's scales are means.
            weight = -len(at) * np.log(tried) - seen / (2 * tried**2) - off**2 / 2
            weight = np.exp(weight - weight.max())
            scales[f"{name}_sd"] = float(weight @ tried / weight.sum())
    return scales


def design_of(log):
    rows = intervals(log, "line")
    lengths = lengths_ft(log.putts["distance_ft"])
    return make_design(rows, session_table(log.putts), lengths, ["one"], PRIORS["line"])


def case_of(design, posterior, pair):
    """Return the comparison's own case of a pair, on line alone."""
    fit = SimpleNamespace(designs={"line": design}, posteriors={"line": {"posterior": posterior}})
    return _Case(fit, pair, None, SIZES, {"line": contrast(fit, pair, "line")}, None)


def asked(log, pairs=(("A", "B"),), checks=None, scales=None):
    """Yield every check of a trial: visits, fault, verdict, mean, sd."""
    whole, counts = design_of(log), putt_counts(log)
    scales = scales or scales_of(whole)
    sessions = list(log.putts["session"].unique())
    for done in checks or range(FIRST_CHECK, len(sessions) + 1):
        rows = whole.rows[whole.rows["session"].isin(sessions[:done])]
        design = replace(whole, rows=rows)
        held = counts[counts["session"].isin(sessions[:done])]
        posterior = None
        for before, after in pairs:
            try:
                pair = choose_conditions(held, before, after)
            except UsageError:
                continue  # one of them has not been tried yet
            if pair.design in (BEFORE_AFTER, IN_ONE_ORDER):
                yield done, pair.design, NOT_BY_DESIGN, np.nan, np.nan
                continue
            posterior = posterior or quick_posterior(design, "one", scales)
            case = case_of(design, posterior, pair)
            change, _, _ = case.judged("line")
            yield done, case.fault() or "", case.verdict("line"), change.mean(), change.std()


def one_trial(name, trial):
    """Return the row of one trial: its first verdict of helped or hurt, and the last check."""
    truth = dict(DESIGNS[name])
    three_tried = truth.get("lay") == "three"
    pairs = (
        (("A", "B"), ("A", "C"), ("B", "C")) if three_tried and name == "three" else (("A", "B"),)
    )
    found = list(asked(simulated(trial, **truth), pairs))
    said = [row for row in found if row[2] in (HELPED, HURT)]
    last = found[-1] if found else (0, "no pair", "none", np.nan, np.nan)
    done, fault, verdict, mean, sd = said[0] if said else (0, last[1], "none", np.nan, np.nan)
    return dict(
        zip(FIELDS, (trial, fault, verdict, done, mean, sd, *last[3:], last[2]), strict=True)
    )


def share(count, trials):
    """Return a share with its 90 % range (Clopper and Pearson)."""
    lo = beta.ppf(0.05, count, trials - count + 1) if count else 0.0
    hi = beta.ppf(0.95, count + 1, trials - count) if count < trials else 1.0
    return {"share": count / trials, "lo": lo, "hi": hi}


def run(name, trials):
    """Simulate what is still missing of a design."""
    path = RESULTS / f"design_{name}.csv"
    done = set(pd.read_csv(path)["trial"]) if path.exists() else set()
    with path.open("a", newline="") as stream:
        rows = csv.DictWriter(stream, FIELDS)
        if not done:
            rows.writeheader()
        for trial in sorted(set(range(trials)) - done):
            row = one_trial(name, trial)
            rows.writerow(
                {k: v if isinstance(v, str | int) else f"{v:.5g}" for k, v in row.items()}
            )
            stream.flush()
    report(name, path)


def report(name, path):
    """Write what the trials add up to."""
    table = pd.read_csv(path, keep_default_na=False)
    trials = len(table)
    count = table["verdict"].value_counts()
    figures = {
        "trials": trials,
        "visits": DESIGNS[name].get("visits", VISITS),
        "putts_a_condition": trial_design(VISITS).scheduled_an_arm,
        "helped": share(int(count.get(HELPED, 0)), trials),
        "helped_or_hurt": share(int(count.get(HELPED, 0) + count.get(HURT, 0)), trials),
        "refused_by_design": share(int((table["final"] == NOT_BY_DESIGN).sum()), trials),
        "faults": table["fault"].value_counts().to_dict(),
        "mean_log_ratio_at_last": float(pd.to_numeric(table["final_mean"]).mean()),
        "sd_of_estimates_at_last": float(pd.to_numeric(table["final_mean"]).std()),
        "sd_stated_at_last": float(pd.to_numeric(table["final_sd"]).mean()),
    }
    record(f"design_{name}", what=f"simulated trials of the design {name}", **figures)
    print(name, figures)


def agree(logs=30):
    """Set the quick answer beside the kit's sampling on logs of several designs."""
    from trials import sampled

    from putlab.model.spread import named_quantities

    names, rows = ("shuffled", "cut", "alternating", "turns", "cut-trend"), []
    for number in range(logs):
        name = names[number % len(names)]
        log = simulated(5000 + number, **DESIGNS[name])
        design = design_of(log)
        pair = choose_conditions(putt_counts(log), "A", "B")
        raw = sampled(design, seed=number)
        case = case_of(design, named_quantities(raw, design), pair)
        change, _, bar = case.judged("line")
        *_, (_, _, quick_verdict, mean, sd) = asked(log, checks=[VISITS])
        rows.append({
            "log": number, "of": name, "mean_full": change.mean(), "sd_full": change.std(),
            "verdict_full": case.verdict("line"), "mean_quick": mean, "sd_quick": sd,
            "verdict_quick": quick_verdict,
        })  # fmt: skip
        pd.DataFrame(rows).to_csv(RESULTS / "design_agree.csv", index=False, float_format="%.5g")
    table = pd.DataFrame(rows)
    off = (table["mean_quick"] - table["mean_full"]).abs() / table["sd_full"]
    ratio = table["sd_quick"] / table["sd_full"]
    z = table["mean_quick"] / table["sd_quick"] - table["mean_full"] / table["sd_full"]
    record(
        "design_agree", what="the quick answer against the kit's sampling", logs=logs,
        mean_apart_in_sd={"mean": off.mean(), "max": off.max()},
        sd_ratio={"mean": ratio.mean(), "least": ratio.min(), "most": ratio.max()},
        z_apart_max=z.abs().max(),
        same_verdict=int((table["verdict_quick"] == table["verdict_full"]).sum()),
    )  # fmt: skip


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("design", choices=[*DESIGNS, "agree"])
    parser.add_argument("--trials", type=int, default=1000)
    given = parser.parse_args()
    agree() if given.design == "agree" else run(given.design, given.trials)
