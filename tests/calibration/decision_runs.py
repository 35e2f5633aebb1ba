"""Run the decision on simulated golfers and keep a row a golfer in ``tests/results``.

``python tests/calibration/decision_runs.py planted 100`` (or ``even``, ``drawn``): one row is
added after another, so a run that is stopped goes on where it was. Fits use the kit's own
sampler with fewer draws (`simulated_golfers.quick_fit`).
"""

import csv
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

from simulated_golfers import (  # noqa: E402
    DEFAULT,
    LENGTHS_FT,
    OPTIONS,
    TrueGolfer,
    draw_learning,
    draw_mix,
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
from putlab.practice.split import SplitProblem
from putlab.rounds.strokes import MIX_LOG_SD

RESULTS = Path(__file__).parent.parent / "results"
MINUTES, HOURS, WEAK_SPOT = 60.0, 10, (1.7, 3.5)
SEEDS = {"planted": 1000, "even": 2000, "drawn": 3000}


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


# Where a weak spot can be worth an hour: doubling the spread of line at 36 ft costs hardly a
# putt. Each takes its turn.
SPOTS = [(3.0, "line"), (6.0, "line"), (10.0, "line"), (10.0, "pace"), (16.0, "pace")]

# As carry-over makes neighbours nearly as good a place to practise, the spot is one whose hour
# truly saves at least this share of what the best hour does.
WORTH_IT = 0.85


def planted_golfer(rng, number):
    """Return an even golfer with one spread so much wider that practice there truly pays."""
    spot = SPOTS[number % len(SPOTS)]
    while True:
        golfer, wider = even_golfer(rng), rng.uniform(*WEAK_SPOT)
        weak = np.where(spot[0] == LENGTHS_FT, wider, 1.0)
        golfer = replace(golfer, sd=golfer.sd | {spot[1]: golfer.sd[spot[1]] * weak})
        savings = true_savings(golfer, MINUTES, DEFAULT)
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
    """Return one row: what was true, what was advised, what ten hours brought."""
    rng = np.random.default_rng(SEEDS[kind] + number)
    golfer = MAKERS[kind](rng, number)
    log = play_log(golfer, rng)
    fit = quick_fit(log, seed=number)
    case = make_case(fit.golfer(), draws=100, seed=number)
    advice = advise_case(case, minutes=MINUTES)
    savings = true_savings(golfer, MINUTES, DEFAULT)
    best = OPTIONS[int(savings.argmax())]
    chosen = OPTIONS.index(advice.choice)
    spot = SPOTS[number % len(SPOTS)] if kind == "planted" else None
    row = {
        "number": number,
        "spot": _text(spot) if spot else "",
        "best": _text(best),
        "choice": _text(advice.choice),
        "p_choice": round(float(advice.row["p_best"]), 3),
        "p_of_best": round(float(advice.savings.p_best[OPTIONS.index(best)]), 3),
        "highest_p": round(float(advice.savings.p_best.max()), 3),
        "right": int(best == advice.choice),
        "tied": int(best in advice.ties),
        "spot_tied": int(SPOTS[number % len(SPOTS)] in advice.ties) if kind == "planted" else "",
        "ties": len(advice.ties),
        "saved_choice": round(float(savings[chosen]), 5),
        "saved_best": round(float(savings.max()), 5),
        "regret_expected": round(float(advice.row["expected_regret"]), 5),
        "p_all": " ".join(f"{p:.3f}" for p in advice.savings.p_best),
    }
    if kind != "drawn":
        saved = advice.savings.saved
        better = (saved > saved[:, [chosen]]).mean(axis=0)
        row["better_all"] = " ".join(f"{p:.3f}" for p in better)
        row["saved_all"] = " ".join(f"{s:.4f}" for s in saved.mean(axis=0))
        row["true_all"] = " ".join(f"{s:.4f}" for s in savings)
    if kind == "drawn":
        plans = ten_hours(case, log, rng)
        after = strokes(golfer, list(plans.values()), learning=DEFAULT)
        row |= {name: round(float(v), 4) for name, v in zip(plans, after, strict=True)}
    return row


def ten_hours(case, log, rng):
    """Return the putts of ten hours under each way to spend them, by name."""

    def spend(options):
        return sum(plan_of(o, MINUTES, DEFAULT) for o in options)

    shared = sum(plan_of(o, MINUTES * HOURS / len(OPTIONS), DEFAULT) for o in OPTIONS)
    split = SplitProblem(case, [0.0])
    minutes = split.optimum([MINUTES * HOURS], np.ones((1, len(OPTIONS)), dtype=bool))[0]
    both = [MINUTES * HOURS / 2] * 2
    return {
        "nothing": 0 * shared,
        "advice": spend(hour_by_hour(case)),
        "split": sum(plan_of(o, m, DEFAULT) for o, m in zip(OPTIONS, minutes, strict=True)),
        "equal": shared,
        "longest": sum(
            plan_of((LENGTHS_FT[-1], c), m, DEFAULT) for c, m in zip(COMPONENTS, both, strict=True)
        ),
        "shortest": sum(
            plan_of((LENGTHS_FT[0], c), m, DEFAULT) for c, m in zip(COMPONENTS, both, strict=True)
        ),
        "worst_average": HOURS * plan_of(worst_raw_average(log), MINUTES, DEFAULT),
        "random": spend(OPTIONS[i] for i in rng.integers(len(OPTIONS), size=HOURS)),
    }


def hour_by_hour(case):
    """Return the advice for each of ten hours, each given what the hours before brought."""
    lengths, done, chosen = case.golfer.lengths_ft, np.zeros((len(LENGTHS_FT), 2)), []
    practices = case.effects
    for _ in range(HOURS):
        means = []
        for option in OPTIONS:
            putts = (done + plan_of(option, MINUTES, case.learning)).T
            by_name = dict(zip(COMPONENTS, putts, strict=True))
            saved = [
                case.strokes.saved_a_round(p.changes(lengths, by_name)).mean() for p in practices
            ]
            means.append(np.mean(saved))
        chosen.append(OPTIONS[int(np.argmax(means))])
        done = done + plan_of(chosen[-1], MINUTES, case.learning)
    return chosen


def worst_raw_average(log):
    """Return the option with the worst average miss, against the average of its component."""
    putts = log.putts
    misses = {
        "line": putts["line_deg"].abs(),
        "pace": (putts["roll_ft"] / putts["distance_ft"] - 1).abs(),
    }
    worst = {c: m.groupby(putts["distance_ft"]).mean() / m.mean() for c, m in misses.items()}
    name = max(worst, key=lambda c: worst[c].max())
    return float(worst[name].idxmax()), name


def _text(option):
    return f"{option[1]} {option[0]:g} ft"


def main(kind, count):
    path = RESULTS / f"decision_{kind}.csv"
    done = len(path.read_text().splitlines()) - 1 if path.exists() else 0
    for number in range(max(done, 0), count):
        row = decide(kind, number)
        new = not path.exists()
        with path.open("a", newline="") as stream:
            writer = csv.DictWriter(stream, list(row))
            if new:
                writer.writeheader()
            writer.writerow(row)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
