"""Run the decision on simulated golfers and keep a row a golfer in ``tests/results``.

    python tests/calibration/decision_runs.py planted 100    (or even, drawn; or: record)

One row is added after another to ``decision_<kind>.csv``, so a run that is stopped goes on where
it was; ``record`` writes what the rows amount to into ``decision_stretches.json``. Fits use the
kit's own sampler with fewer draws (`simulated_golfers.quick_fit`).
"""

import csv
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import t

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

from record import RESULTS, record  # noqa: E402
from simulated_golfers import (  # noqa: E402
    DEFAULT,
    LENGTHS_FT,
    OPTIONS,
    TrueGolfer,
    draw_learning,
    draw_mix,
    line_at_6_ft,
    plan_of,
    play_log,
    quick_fit,
    strokes,
    true_savings,
)
from true_golfers import draw_component

from putlab.model.priors import PRIORS
from putlab.model.readings import COMPONENTS
from putlab.practice.advice import advise_case
from putlab.practice.case import make_case
from putlab.practice.saving import PRACTICE_FT, named
from putlab.practice.split import SplitProblem
from putlab.rounds.strokes import EDGES_FT, MIX_LOG_SD, STRETCHES

MINUTES, HOURS, WEAK_SPOT = 60.0, 10, (1.7, 3.5)
SEEDS = {"planted": 1000, "even": 2000, "drawn": 3000}
STRETCH_OF = np.digitize(LENGTHS_FT, EDGES_FT) - 1  # of each length in the log
RIVALS = ["line_6_ft", "equal", "longest", "shortest", "worst_average", "random"]


def text_of(options):
    """Return an option, or neighbours as one, in plain words."""
    return named(options).replace("\xa0", " ")


NAMES = [text_of(option) for option in OPTIONS]


def even_golfer(rng, number=0):
    """Return a golfer without a weak spot, who learns typically: spreads the same all over."""
    level = {"line": rng.uniform(0.7, 1.4), "pace": rng.uniform(6.0, 12.0)}
    return TrueGolfer(
        sd={c: np.full(len(LENGTHS_FT), v) for c, v in level.items()},
        bias={c: np.zeros(len(LENGTHS_FT)) for c in COMPONENTS},
        visit_bias_sd={"line": 0.15, "pace": 1.5},
        first_putts=draw_mix(rng, 0.0),
        **draw_learning(rng, DEFAULT, typical=True),
    )


# Stretches where a wide spread can be worth an hour: that of line beyond 8 ft never is, as pace
# is learned faster and a putt for line is a quarter of one for pace. Each takes its turn.
SPOTS = [(0, "line"), (1, "line"), (1, "pace"), (2, "pace"), (3, "pace")]

# As carry-over makes neighbours nearly as good a place to practise, the spot is one whose hour
# truly saves at least this share of what the best hour does.
WORTH_IT = 0.85


def planted_golfer(rng, number):
    """Return an even golfer with one stretch so much wider that practice there truly pays."""
    stretch, component = spot = SPOTS[number % len(SPOTS)]
    while True:
        golfer, wider = even_golfer(rng), rng.uniform(*WEAK_SPOT)
        weak = np.where(stretch == STRETCH_OF, wider, 1.0)
        golfer = replace(golfer, sd=golfer.sd | {component: golfer.sd[component] * weak})
        savings = true_savings(golfer, MINUTES, DEFAULT)[:-1]
        if savings[OPTIONS.index(spot)] >= WORTH_IT * savings.max():
            return golfer


def drawn_golfer(rng, number):
    """Return a golfer drawn from everything the decision assumes."""
    learned = draw_learning(rng, DEFAULT)
    truth = {
        c: draw_component(PRIORS[c], rng, players=1, lengths_ft=LENGTHS_FT)[0] for c in COMPONENTS
    }
    return TrueGolfer(
        sd={c: np.exp(t.level[0]) for c, t in truth.items()},
        bias={c: t.bias[0] for c, t in truth.items()},
        visit_bias_sd={c: float(t.visit_bias_sd[0]) for c, t in truth.items()},
        first_putts=draw_mix(rng, MIX_LOG_SD),
        **learned,
    )


MAKERS = {"planted": planted_golfer, "even": even_golfer, "drawn": drawn_golfer}


def decide(kind, number):
    """Return one row: what was true, what was advised, what an hour and ten of them brought."""
    rng = np.random.default_rng(SEEDS[kind] + number)
    golfer = MAKERS[kind](rng, number)
    log = play_log(golfer, rng)
    case = make_case(quick_fit(log, seed=number).golfer(), draws=100, seed=number)
    advice = advise_case(case, minutes=MINUTES)
    *savings, line_6_ft = true_savings(golfer, MINUTES, DEFAULT)
    most = max(savings)
    best = OPTIONS[int(np.argmax(savings))]
    together = [*advice.chosen, *advice.others]
    row = {
        "number": number,
        "kind": kind,
        "experience": round(float(golfer.experience)),
        "spot": text_of(SPOTS[number % len(SPOTS)]) if kind == "planted" else "",
        "best": text_of(best),
        "choice": text_of(advice.choice),
        "chosen": text_of(advice.chosen),
        "p_choice": round(float(advice.row["p_best"]), 3),
        "p_chosen": round(advice.p_chosen, 3),
        "p_named": round(float(sum(advice.savings.p_best[OPTIONS.index(o)] for o in together)), 3),
        "right": int(best == advice.choice),
        "held": int(best in advice.chosen),
        "held_named": int(best in together),
        "named": len(together),
        "spot_named": int(SPOTS[number % len(SPOTS)] in together) if kind == "planted" else "",
        "saved_best": round(most, 5),
        "regret": round(most - savings[OPTIONS.index(advice.choice)], 5),
        "regret_line_6_ft": round(most - line_6_ft, 5),
        "regret_expected": round(float(advice.row["expected_regret"]), 5),
    }
    plans = ten_hours(case, log, rng)
    after = strokes(golfer, list(plans.values()), learning=DEFAULT)
    row |= {name: round(float(v), 4) for name, v in zip(plans, after, strict=True)}
    return row | {
        "p_all": " ".join(f"{p:.3f}" for p in advice.savings.p_best),
        "saved_all": " ".join(f"{s:.4f}" for s in advice.savings.saved.mean(axis=0)),
        "true_all": " ".join(f"{s:.4f}" for s in savings),
    }


def ten_hours(case, log, rng):
    """Return the putts of ten hours under each way to spend them, by name."""
    whole = MINUTES * HOURS
    minutes = SplitProblem(case, [0.0]).optimum([whole], np.ones((1, len(OPTIONS)), dtype=bool))[0]

    def spend(options):
        options = list(options)
        return sum(plan_of(o, whole / len(options), DEFAULT) for o in options)

    def both(stretch):
        return spend((stretch, c) for c in COMPONENTS)

    return {
        "nothing": 0 * spend(OPTIONS),
        "advice": spend(hour_by_hour(case)),
        "split": sum(plan_of(o, m, DEFAULT) for o, m in zip(OPTIONS, minutes, strict=True)),
        "line_6_ft": line_at_6_ft(whole, DEFAULT),
        "equal": spend(OPTIONS),
        "longest": both(len(STRETCHES) - 1),
        "shortest": both(0),
        "worst_average": spend([worst_raw_average(log)]),
        "random": spend(OPTIONS[i] for i in rng.integers(len(OPTIONS), size=HOURS)),
    }


def hour_by_hour(case):
    """Return the advice for each of ten hours, each given what the hours before brought."""
    done, chosen = np.zeros((PRACTICE_FT.size, 2)), []
    for _ in range(HOURS):
        means = []
        for option in OPTIONS:
            putts = (done + plan_of(option, MINUTES, case.learning)[:-1]).T
            by_name = dict(zip(COMPONENTS, putts, strict=True))
            saved = [
                case.strokes.saved_a_round(p.changes(PRACTICE_FT, by_name)).mean()
                for p in case.effects
            ]
            means.append(np.mean(saved))
        chosen.append(OPTIONS[int(np.argmax(means))])
        done = done + plan_of(chosen[-1], MINUTES, case.learning)[:-1]
    return chosen


def worst_raw_average(log):
    """Return the option with the worst average miss, against the average of its component."""
    putts = log.putts
    stretch = np.digitize(putts["distance_ft"], EDGES_FT) - 1
    misses = {
        "line": putts["line_deg"].abs(),
        "pace": (putts["roll_ft"] / putts["distance_ft"] - 1).abs(),
    }
    worst = {c: m.groupby(stretch).mean() / m.mean() for c, m in misses.items()}
    name = max(worst, key=lambda c: worst[c].max())
    return int(worst[name].idxmax()), name


def path_of(kind):
    """Return the file of a kind's rows."""
    return RESULTS / f"decision_{kind}.csv"


def main(kind, count):
    """Run the golfers of a kind that are missing of so many."""
    path = path_of(kind)
    done = len(path.read_text().splitlines()) - 1 if path.exists() else 0
    for number in range(max(done, 0), count):
        row = decide(kind, number)
        new = not path.exists()
        with path.open("a", newline="") as stream:
            writer = csv.DictWriter(stream, list(row))
            if new:
                writer.writeheader()
            writer.writerow(row)


def margins(found):
    """Return mean strokes a round that ten hours of advice save over each rival, with 90 % ends."""
    table = {}
    for rival in [*RIVALS, "split", "nothing"]:
        gap = found[rival] - found["advice"]
        half = t.ppf(0.95, len(gap) - 1) * gap.sem()
        table[rival] = {"mean": gap.mean(), "lo": gap.mean() - half, "hi": gap.mean() + half}
    return table


def reliability(found):
    """Return how often options of like probability were the best, over all options."""
    ps = np.array([row.split() for row in found["p_all"]], dtype=float)
    best = found["best"].to_numpy()[:, None] == np.array(NAMES)
    bins = pd.cut(ps.ravel(), [-0.01, 0.05, 0.15, 0.3, 0.5, 0.7, 1.0])
    table = pd.DataFrame({"bin": bins.astype(str), "p": ps.ravel(), "best": best.ravel()})
    table = table.groupby("bin").agg(
        options=("p", "size"), said=("p", "mean"), were=("best", "mean")
    )
    return table.reset_index()


def figures(found):
    """Return what the rows of one kind amount to."""
    return {
        "golfers": len(found),
        "share_held": found["held"].mean(),
        "said_of_chosen": found["p_chosen"].mean(),
        "share_best_named": found["held_named"].mean(),
        "said_of_named": found["p_named"].mean(),
        "mean_named": found["named"].mean(),
        "share_right": found["right"].mean(),
        "said_of_choice": found["p_choice"].mean(),
        "regret": found["regret"].mean(),
        "regret_expected": found["regret_expected"].mean(),
        "regret_line_6_ft": found["regret_line_6_ft"].mean(),
        "saved_best": found["saved_best"].mean(),
        "ten_hours": margins(found),
        "all_options": reliability(found).to_dict("records"),
    }


def write_record():
    """Record what all rows so far amount to, by kind of golfer."""
    found = {kind: pd.read_csv(path_of(kind)) for kind in MAKERS if path_of(kind).exists()}
    record(
        "decision_stretches",
        what=(
            "golfers of known truth, 300 putts each: is the option that truly saves most in the "
            "answer (held) or named at all, strokes given away by an hour of the choice and of "
            "line at 6 ft, and strokes a round after ten hours, rival less advice (90 %)"
        ),
        bars={"share_held": ">= 0.85", "mean_named": "<= 3"},
        **{kind: figures(rows) for kind, rows in found.items()},
    )


if __name__ == "__main__":
    if sys.argv[1] == "record":
        write_record()
    else:
        main(sys.argv[1], int(sys.argv[2]))
