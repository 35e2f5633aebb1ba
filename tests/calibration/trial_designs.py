"""Designs that people really use: false verdicts and power of each, by the quick answer.

    python tests/calibration/trial_designs.py DESIGN [--trials 1000]

simulates trials of a known truth and asks after every visit from half the plan on (before, the
bar is out of reach) as `compare` does. The quick answer stands for the fit; its scales, which a
comparison takes from the fit, are here estimated from the whole trial by a few steps of EM.
``agree`` sets it beside the kit's sampling, and beside `compare`'s own tables, on 30 logs;
``report`` writes all to ``tests/results/trial_designs.json``. A row a trial is kept in the
machine's temporary folder, so that a stopped run goes on where it was.

The golfer: 1.0 degrees read in whole degrees, visits that differ, one mishit in fifty.
"""

import argparse
import csv
import json
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

from made_logs import log_of  # noqa: E402
from record import RESULTS, record  # noqa: E402
from scipy import stats  # noqa: E402
from simulate import rounded, simulate_errors
from true_golfers import steady  # noqa: E402

from putlab.model.design import log_distance, make_design, session_table
from putlab.model.priors import PRIORS
from putlab.model.readings import WARM_UP_PUTTS, intervals, lengths_ft
from putlab.model.spread import MISHIT_MOST
from putlab.practice.targets import reading_share
from putlab.trial.boundary import (
    DETECT_PCT,
    HELPED,
    HURT,
    NOT_BY_DESIGN,
    TOO_SMALL_PCT,
    TWO_SIDED,
    Boundary,
    z_needed,
)
from putlab.trial.compare import _Case
from putlab.trial.conditions import (
    APART,
    BEFORE_AFTER,
    IN_ONE_ORDER,
    Conditions,
    choose_conditions,
    putt_counts,
)
from putlab.trial.contrast import contrast, widened
from putlab.trial.design import FOR_THE_CHANGE, Assumptions, design_trial
from putlab.trial.quick import Story, quick_posterior

LENGTHS_FT = (5.0, 10.0, 20.0)
SD_DEG, STEP_DEG, MISHITS, FORM, SETUP_DEG = 1.0, 1.0, 0.02, 0.06, 0.25
CUT = DETECT_PCT / 100

ROWS = Path(tempfile.gettempdir()) / "trial_designs"
SIZES = {"too_small_pct": 5.0, "too_small_strokes": 0.1, "detect_pct": 100 * CUT}
VISITS = 10
# Asked sixty times, the last time at three times the plan. A check is passed over where
# the verdict is so many standard errors of what the visits up to it can add away.
OFTEN = {"visits": 60, "planned": 20}
OUT_OF_REACH = 4.5
LOG_CUT = float(np.log(1 - CUT))
X = log_distance(np.array(LENGTHS_FT))
NEEDED = ("effect", "effect_slope", "trend")
TIRING = float(np.log(1.3))

# What is true, and how the conditions were laid out.
DESIGNS = {
    "shuffled": {},
    "sixty": OFTEN,
    "sixty-alternating": OFTEN | {"lay": "by_visit", "form": 0.10},
    "sixty-turns": OFTEN | {"lay": "turns", "drift": TIRING},
    "sixty-three": OFTEN | {"lay": "three"},
    "sixty-practice": OFTEN | {"trend": -0.15},
    "alternating": {"lay": "by_visit", "form": 0.10},
    "first": {"lay": "first", "drift": TIRING},
    "turns": {"lay": "turns", "drift": TIRING},
    "warming": {"lay": "turns", "warming": True},
    "lengths": {"lay": "lengths"},
    "shared": {"lay": "shared"},
    "bad-spell": {"lay": "bad_spell", "form": 0.10},
    "bad-days": {"lay": "bad_days", "form": 0.10},
    "three": {"lay": "three"},
    "practice": {"trend": -0.15},
    "cut": {"effect": LOG_CUT},
    "cut-twenty": {"effect": LOG_CUT, "visits": 20, "planned": 20},
    "cut-trend": {"effect": LOG_CUT, "trend": -0.15},
    "cut-alternating": {"effect": LOG_CUT, "lay": "by_visit", "form": 0.10},
    "cut-turns": {"effect": LOG_CUT, "lay": "turns", "drift": TIRING},
    "cut-shared": {"effect": LOG_CUT, "lay": "shared"},
    # As many putts of each condition as planned for two, the pair named beforehand or not.
    "cut-three": {"effect": LOG_CUT, "lay": "three", "visits": 15, "named": True},
    "cut-three-unnamed": {"effect": LOG_CUT, "lay": "three", "visits": 15},
}

FIELDS = ["trial", "fault", "verdict", "visit", "mean", "sd", "final_mean", "final_sd", "final"]


def trial_design(sessions):
    """Return the trial designed for this golfer."""
    # A planner does not know the share of mishits; a short log leaves it near the prior.
    prior = PRIORS["line"]
    mishits = MISHIT_MOST * prior.mishit_a / (prior.mishit_a + prior.mishit_b)
    share = reading_share(SD_DEG, step=STEP_DEG, mishit_share=mishits)
    known = Assumptions(share=share * FOR_THE_CHANGE, visit_means=True)
    return design_trial(LENGTHS_FT, DETECT_PCT, assumptions=known, sessions=sessions)


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


def simulated(seed, *, visits=VISITS, planned=VISITS, lay=None, effect=0.0, trend=0.0, drift=0.0,
              warming=False, form=FORM):  # fmt: skip
    """Return the log of one trial from known truth, visits made one after the other."""
    rng = np.random.default_rng([91, seed])
    design = trial_design(planned)
    plan = design.schedule(player="one", seed=seed)
    if visits > planned:
        more = [
            design.schedule(player=f"{i}", seed=1000 * seed + i)
            for i in range(-(-visits // planned))
        ]
        plan = pd.concat(more, ignore_index=True)
        plan["session"] = plan["player"] + " " + plan["session"]
        plan = plan[pd.factorize(plan["session"])[0] < visits].assign(player="one")
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


def arranged(log):
    """Return what `story` asks for of a log, read off its putts without the tables of a fit."""
    putts, step = log.putts, log.rules.line_step_deg
    visit = pd.factorize(putts["session"])[0]
    length = np.searchsorted(LENGTHS_FT, putts["distance_ft"])
    held = putts["condition"].map("ABC".index).to_numpy()
    warm_up = putts.groupby(visit).cumcount().to_numpy() < WARM_UP_PUTTS
    cells = np.column_stack([visit, length, held, warm_up, np.round(putts["line_deg"] / step)])
    cells, count = np.unique(cells.astype(int), axis=0, return_counts=True)
    visit_of, length_of, held_of, warm, steps = cells.T
    practised = session_table(putts)["practised"].to_numpy()[visit_of]
    ends = [(steps + half) * step for half in (-0.5, 0.5)]
    return {
        "length": np.eye(len(LENGTHS_FT))[length_of],
        "visit": np.eye(visit.max() + 1)[visit_of],
        "changed": np.eye(held.max() + 1)[held_of],
        "covariates": np.column_stack([practised, warm, np.zeros(len(warm))]),
        "readings": np.stack([*ends, np.zeros(len(count)), count]),
    }


def scales_of(rows):
    """Return the scales that a fit would have, by EM with their priors; mishits as believed."""
    prior = PRIORS["line"]
    scales = {f"{n}_sd": getattr(prior, f"{n}_median")
              for n in ("spot", "bias_spot", "visit_bias", "visit_form")}  # fmt: skip
    scales["mishit_share"] = MISHIT_MOST * prior.mishit_a / (prior.mishit_a + prior.mishit_b)
    for _ in range(3):
        told = Story(vars(prior), scales, X, **rows)
        mode, covariance = told.solved()
        for name in ("visit_bias", "visit_form"):
            at = told.places[name]
            seen = np.sum(mode[at] ** 2 + np.diag(covariance)[at])
            tried = scales[f"{name}_sd"] * np.geomspace(0.2, 5, 200)
            off = np.log(tried / getattr(prior, f"{name}_median")) / prior.visit_form_log_sd
            # Its mean under the last step's effects, as a fit's scales are means.
            weight = -len(at) * np.log(tried) - seen / (2 * tried**2) - off**2 / 2
            weight = np.exp(weight - weight.max())
            scales[f"{name}_sd"] = float(weight @ tried / weight.sum())
    return scales


def pair_of(putts, visit, first, second):
    """Return the two conditions as `choose_conditions` would, from putts of each and places."""
    counts, places = putts[:, [first, second]], visit[:, [first, second]]
    weight = counts.prod(axis=1) / counts.sum(axis=1).clip(1)
    later = np.nansum(np.diff(places, axis=1)[:, 0] * weight) / max(weight.sum(), 1e-9)
    visits = pd.DataFrame(counts, columns=["before", "after"])
    visits = visits[counts.sum(axis=1) > 0].reset_index(names="session")
    return Conditions("one", "ABC"[first], "ABC"[second], *counts.sum(axis=0), visits, later=later)


def asked(log, pairs=(("A", "B"),), planned=VISITS, named=False):
    """Yield every check of a trial: visits, fault, verdict, mean, sd; `named`, a plan has the pair.

    The words of `compare` (fault of design, widening, boundary) in the numbers of `story`; that
    the two say the same is what ``agree`` measures.
    """
    rows, prior, scales = arranged(log), PRIORS["line"], None
    putts, held = log.putts, log.putts["condition"].map("ABC".index)
    table = pd.DataFrame({"visit": pd.factorize(putts["session"])[0], "held": held})
    groups = table.groupby("visit")
    table["place"] = (groups.cumcount() + 0.5) / groups["held"].transform("size")
    cells = table.groupby(["visit", "held"])["place"].agg(["count", "mean"]).unstack()
    counts, places = cells["count"].fillna(0).to_numpy(int), cells["mean"].to_numpy()
    own = rows["visit"].argmax(axis=1)
    reached = 0
    for done in range(planned // 2, len(counts) + 1):
        if done < min(reached, len(counts)):
            continue
        reached = np.inf
        kept = own < done
        then = {name: of[:, kept] if name == "readings" else of[kept] for name, of in rows.items()}
        then["visit"] = then["visit"][:, :done]
        draws, tried = None, np.flatnonzero(counts[:done].sum(axis=0))
        for before, after in pairs:
            places_of = "ABC".index(before), "ABC".index(after)
            if not set(places_of) <= set(tried):
                continue  # one of them has not been tried yet
            pair = pair_of(counts[:done], places[:done], *places_of)
            if pair.design in (BEFORE_AFTER, IN_ONE_ORDER):
                yield done, pair.design, NOT_BY_DESIGN, np.nan, np.nan
                continue
            weights = then["length"].T @ (then["changed"] * then["readings"][3][:, None])
            n, m = weights[:, list(places_of)].T
            if not (n * m).any():
                yield done, APART, NOT_BY_DESIGN, np.nan, np.nan
                continue
            scales = scales or scales_of(rows)
            draws = draws or Story(vars(prior), scales, X, **then).drawn(NEEDED)
            weight = n * m / np.maximum(n + m, 1)
            effect, slope = (np.diff(draws[of][:, places_of], axis=1)[:, 0] for of in NEEDED[:2])
            middle = X @ weight / weight.sum()
            change = effect + slope * middle
            wide = widened(change, draws["trend"][:, 0], prior.trend_sd, pair.later)
            mean, sd, sd_fit = wide.mean(), wide.std(ddof=1), change.std(ddof=1)
            prior_sd = np.sqrt(2) * np.hypot(prior.effect_sd, prior.effect_slope_sd * middle)
            sizes = np.log1p(TOO_SMALL_PCT / 100), -LOG_CUT
            bar = Boundary(*sizes, prior_sd, 1 if named else tried.size * (tried.size - 1) // 2)
            yield done, "", str(bar.verdict(mean, sd, sd_fit)), mean, sd
            # The bar is lowest at the planned size; 0.9 is more than the prior takes off it.
            lowest = min(bar.z_needed(sd, sd_fit), 0.9 * z_needed(1, bar.pairs))
            far = np.clip((lowest - abs(mean) / sd) / OUT_OF_REACH, 0, 0.9) ** 2
            reached = min(reached, int(done * far / (1 - far)) + done + 1)
        reached = reached if np.isfinite(reached) else 0


def design_of(log):
    """Return the line design of a log, as a fit has it."""
    lengths = lengths_ft(log.putts["distance_ft"])
    rows, sessions = intervals(log, "line"), session_table(log.putts)
    return make_design(rows, sessions, lengths, ["one"], PRIORS["line"])


def asked_by_compare(log, pairs=(("A", "B"),)):
    """Yield the same by the kit's own tables and `compare`'s own case, one check after another."""
    whole, counts, scales = design_of(log), putt_counts(log), scales_of(arranged(log))
    visits = list(log.putts["session"].unique())
    for done in range(VISITS // 2, len(visits) + 1):
        design = replace(whole, rows=whole.rows[whole.rows["session"].isin(visits[:done])])
        for before, after in pairs:
            pair = choose_conditions(counts[counts["session"].isin(visits[:done])], before, after)
            case = case_of(design, quick_posterior(design, "one", scales), pair)
            yield done, case.fault or "", case.verdict, case.mean, case.sd


def case_of(design, posterior, pair):
    """Return the comparison's own case of a pair, on line alone."""
    fit = SimpleNamespace(designs={"line": design}, posteriors={"line": {"posterior": posterior}})
    return _Case(pair, None, SIZES, "line", False, fit, {"line": contrast(fit, pair, "line")})


def one_trial(name, trial):
    """Return the row of one trial: its first verdict of helped or hurt, and the last check."""
    truth = dict(DESIGNS[name])
    how = {"named": truth.pop("named", False), "planned": truth.get("planned", VISITS)}
    if truth.get("lay") == "three" and not truth.get("effect"):
        how["pairs"] = (("A", "B"), ("A", "C"), ("B", "C"))
    found = list(asked(simulated(trial, **truth), **how))
    said = [row for row in found if row[2] in (HELPED, HURT)]
    last = found[-1] if found else (0, "no pair", "none", np.nan, np.nan)
    done, fault, verdict, mean, sd = said[0] if said else (0, last[1], "none", np.nan, np.nan)
    return dict(
        zip(FIELDS, (trial, fault, verdict, done, mean, sd, *last[3:], last[2]), strict=True)
    )


def share(count, trials):
    """Return a share with its 90 % range (Clopper and Pearson)."""
    lo = stats.beta.ppf(0.05, count, trials - count + 1) if count else 0.0
    hi = stats.beta.ppf(0.95, count + 1, trials - count) if count < trials else 1.0
    return {"share": count / trials, "lo": lo, "hi": hi}


def run(name, trials):
    """Simulate what is still missing of a design."""
    ROWS.mkdir(exist_ok=True)
    path = ROWS / f"{name}.csv"
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


def report():
    """Write what the trials of every design add up to; those of earlier runs are kept."""
    kept = json.loads((RESULTS / "trial_designs.json").read_text("utf-8"))["figures"]
    found = {path.stem: figures_of(path) for path in sorted(ROWS.glob("*.csv"))}
    agreed = found.pop("agree", kept.pop("quick_against_sampling", None))
    found = dict(sorted((kept | found).items()))
    what = "simulated trials of designs people use, asked after every visit by the quick answer"
    record("trial_designs", what=what, quick_against_sampling=agreed, **found)
    for name, figures in found.items():
        print(name, figures)


def figures_of(path):
    """Return what the trials of one design add up to."""
    table = pd.read_csv(path, keep_default_na=False, na_values=["nan"])
    if path.stem == "agree":
        return agreement(table)
    trials, count = len(table), table["verdict"].value_counts()
    mean, sd = table["final_mean"].dropna(), table["final_sd"].dropna()
    prior_sd = np.sqrt(2) * PRIORS["line"].effect_sd
    bar = Boundary(np.log1p(TOO_SMALL_PCT / 100), -LOG_CUT, prior_sd)
    visits, planned = (DESIGNS[path.stem].get(name, VISITS) for name in ("visits", "planned"))
    # One check of all putts, as a trial that is never looked at before has it.
    once = (mean / sd).abs() > stats.norm.isf(TWO_SIDED / 2) * np.sqrt(1 - (sd / prior_sd) ** 2)
    return {
        "trials": trials,
        "visits": visits,
        "putts_in_all": 2 * trial_design(planned).scheduled_a_condition * visits // planned,
        "helped": share(int(count.get(HELPED, 0)), trials),
        "helped_or_hurt": share(int(count.get(HELPED, 0) + count.get(HURT, 0)), trials),
        "helped_by_one_check_at_last": share(int((once & (mean < 0)).sum()), trials),
        "refused_by_design": share(int((table["final"] == NOT_BY_DESIGN).sum()), trials),
        "one_condition_only": share(int((table["fault"] == "no pair").sum()), trials),
        "information_of_designed_at_last": bar.information(sd.mean()) / bar.designed_information
        if len(sd) > 1
        else None,
        "log_ratio_at_last": {"mean": mean.mean(), "sd": mean.std(), "sd_stated": sd.mean()}
        if len(sd) > 1
        else None,
    }


def agree(logs):
    """Set the quick answer beside the kit's sampling, twice, on logs of several designs."""
    from putlab.model.spread import named_quantities
    from putlab.posterior import sampling

    ROWS.mkdir(exist_ok=True)
    names, path = ("shuffled", "cut", "alternating", "turns", "cut-trend"), ROWS / "agree.csv"
    rows = pd.read_csv(path).to_dict("records") if path.exists() else []
    for number in range(len(rows), logs):
        name = names[number % len(names)]
        log = simulated(5000 + number, **DESIGNS[name])
        design, pair = design_of(log), choose_conditions(putt_counts(log), "A", "B")
        row = {"log": number, "of": name}
        for again, how in enumerate(("full", "again")):
            compiled = sampling.compiled_for(design)
            raw = sampling.sample(compiled, seed=number + 100 * again, cores=1).posterior.dataset
            case = case_of(design, named_quantities(raw, design), pair)
            row |= {f"mean_{how}": case.mean, f"sd_{how}": case.sd, f"verdict_{how}": case.verdict}
        *_, (_, _, row["verdict_quick"], row["mean_quick"], row["sd_quick"]) = asked(log)
        *_, (_, _, row["verdict_compare"], row["mean_compare"], row["sd_compare"]) = (
            asked_by_compare(log)
        )
        rows.append(row)
        pd.DataFrame(rows).to_csv(path, index=False)


def agreement(table):
    """Return how far the quick answer, and a second sampling, are from the kit's sampling."""
    found = {"logs": len(table)}
    z = {how: table[f"mean_{how}"] / table[f"sd_{how}"] for how in ("full", "again", "quick")}
    for how in ("quick", "again"):
        off = (table[f"mean_{how}"] - table["mean_full"]).abs() / table["sd_full"]
        ratio = table[f"sd_{how}"] / table["sd_full"]
        found[how] = {
            "mean_apart_in_sd": {"mean": off.mean(), "most": off.max()},
            "sd_ratio": {"mean": ratio.mean(), "least": ratio.min(), "most": ratio.max()},
            "z_apart_most": (z[how] - z["full"]).abs().max(),
            "same_verdict": int((table[f"verdict_{how}"] == table["verdict_full"]).sum()),
        }
    by_compare = table["mean_compare"] / table["sd_compare"]
    return found | {"z_apart_from_compare_most": (z["quick"] - by_compare).abs().max()}


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("design", choices=[*DESIGNS, "agree", "report"])
    parser.add_argument("--trials", type=int, default=1000)
    given = parser.parse_args()
    if given.design == "agree":
        agree(min(given.trials, 30))
    elif given.design in DESIGNS:
        run(given.design, given.trials)
    report()
