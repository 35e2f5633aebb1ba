"""Ten seeds near the bar: does another seed give another verdict?

    python tests/calibration/trial_seeds.py [--logs 30]

takes simulated trials whose quick answer lies within half a standard error of what a verdict
asks for, and the demo's hall, and samples each from ten seeds as `compare` does: where a fit lies
so near that other draws might turn it (`Boundary.near`), the verdict is that of one longer fit
from a seed of its own. Every fit here has a quarter of the draws that the kit's own has, so that
it strays twice as far; the longer one, taken where some seeds ask for it and some do not, too.
Where the verdict of these turns, the log is sampled anew with the kit's own draws. A row a log
goes to the machine's temporary folder; ``tests/results/trial_seeds.json`` sums them up.
"""

import argparse
import json
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

from demo_maker import NEW, OLD  # noqa: E402
from record import record  # noqa: E402
from trial_designs import DESIGNS, LOG_CUT, VISITS, asked, case_of, simulated  # noqa: E402

from putlab.base.settings import CHAINS, DRAWS, TUNE
from putlab.log.read import demo_log
from putlab.model.design import make_design, session_table
from putlab.model.priors import PRIORS
from putlab.model.readings import intervals, lengths_ft
from putlab.model.spread import named_quantities
from putlab.posterior import sampling
from putlab.trial.boundary import NEAR, TOO_SMALL_PCT, Boundary
from putlab.trial.compare import SETTLING
from putlab.trial.conditions import choose_conditions, putt_counts

ROWS = Path(tempfile.gettempdir()) / "trial_seeds.json"
SEEDS, WITHIN = range(1, 11), 0.5
QUARTER = {"draws": 500, "tune": 300, "chains": 2}, {"draws": 1000}
WHOLE = {"draws": DRAWS, "tune": TUNE, "chains": CHAINS}, {"draws": SETTLING["draws"]}
FROM = ("cut", "cut-trend", "shuffled", "alternating")


def near_the_bar(number):
    """Return the log of a trial where its quick answer is near the bar, else nothing."""
    log = simulated(7000 + number, **DESIGNS[FROM[number % len(FROM)]])
    *_, (_, _, _, mean, sd) = asked(log, planned=VISITS)
    prior_sd = np.sqrt(2) * PRIORS["line"].effect_sd
    bar = Boundary(np.log1p(TOO_SMALL_PCT / 100), -LOG_CUT, prior_sd)
    return log if abs(abs(mean) / sd - bar.z_needed(sd)) < WITHIN else None


def told(log, pair, short, longer):
    """Return what ten seeds say of a log, each by itself and settled as `compare` does."""
    players, lengths = list(log.putts["player"].unique()), lengths_ft(log.putts["distance_ft"])
    rows, sessions = intervals(log, "line"), session_table(log.putts)
    design = make_design(rows, sessions, lengths, players, PRIORS["line"])
    compiled = sampling.compiled_for(design)

    def case(**how):
        raw = sampling.sample(compiled, cores=1, **how).posterior.dataset
        return case_of(design, named_quantities(raw, design), pair)

    cases = [case(seed=seed, **short) for seed in SEEDS]
    near = [bool(each.near) for each in cases]
    # Where every seed asks for the longer fit, it is one and the same, whatever it says.
    settled = (
        case(**WHOLE[0] | longer | {"seed": SETTLING["seed"]}).verdict
        if any(near) and not all(near)
        else "settled"
    )
    z = np.array([each.mean / each.sd for each in cases])
    return {
        "z": z.tolist(),
        "near": near,
        "alone": [each.verdict for each in cases],
        "settled": [settled if each.near else each.verdict for each in cases],
    }


def turns(row):
    """Return how many verdicts ten seeds give."""
    return len(set(row["settled"]))


def report(found):
    """Write what the seeds add up to."""
    whole = {"hall": [row for row in found if row["log"] == "hall"]}
    whole["near_the_bar"] = [row for row in found if row["log"] != "hall"]
    figures = {
        name: {
            "logs": len(rows),
            "seeds": len(SEEDS),
            "one_verdict": sum(turns(row.get("whole", row)) == 1 for row in rows),
            "one_verdict_by_a_quarter": sum(turns(row) == 1 for row in rows),
            "one_verdict_without_settling": sum(len(set(row["alone"])) == 1 for row in rows),
            "settled_for_some_seeds_only": sum(0 < sum(row["near"]) < len(SEEDS) for row in rows),
            "settled_for_none": sum(not any(row["near"]) for row in rows),
            "z_apart_most": max(np.ptp(row["z"]) for row in rows),
            "verdicts": sorted({said for row in rows for said in row["alone"]}),
        }
        for name, rows in whole.items()
        if rows
    }
    what = "verdicts of ten seeds on trials near the bar and on the demo, by a quarter of the draws"
    record("trial_seeds", what=what, near=NEAR, **figures)
    print(json.dumps(figures, indent=1, default=float))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--logs", type=int, default=30)
    logs = parser.parse_args().logs
    found = json.loads(ROWS.read_text()) if ROWS.exists() else []
    number = max((row["log"] for row in found if row["log"] != "hall"), default=-1) + 1
    while sum(row["log"] != "hall" for row in found) < logs:
        if log := near_the_bar(number):
            pair = choose_conditions(putt_counts(log), "A", "B")
            found.append(
                {"log": number, "of": FROM[number % len(FROM)], **told(log, pair, *QUARTER)}
            )
            ROWS.write_text(json.dumps(found, default=str))
        number += 1
    if all(row["log"] != "hall" for row in found):
        log = demo_log()
        pair = choose_conditions(putt_counts(log), OLD, NEW)
        found.append({"log": "hall", "of": "demo", **told(log, pair, *QUARTER)})
        ROWS.write_text(json.dumps(found, default=str))
    for row in found:
        if turns(row) > 1 and "whole" not in row:
            log = simulated(7000 + row["log"], **DESIGNS[row["of"]])
            row["whole"] = told(log, choose_conditions(putt_counts(log), "A", "B"), *WHOLE)
            ROWS.write_text(json.dumps(found, default=str))
    report(found)
