"""Run the decision on simulated golfers and keep a row a golfer in ``tests/results``.

    python tests/calibration/decision_runs.py planted 100    (or even, drawn; or: record)
    python tests/calibration/decision_runs.py planted 100 old

The old law of practice is that the kit had before it was fitted to published novices: 100 putts
struck before the log, faster rates, a bias of line corrected no more slowly than one of pace.
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
from putlab.practice.advice import WEEKS, advise_case
from putlab.practice.case import golfer_state, make_case
from putlab.practice.saving import ALIKE, PRACTICE_FT, chance_among, named
from putlab.practice.split import best_minutes
from putlab.rounds.strokes import EDGES_FT, MIX_LOG_SD, STRETCHES

MINUTES, HOURS, WEAK_SPOT = 60.0, 10, (1.7, 3.5)
OLD = replace(
    DEFAULT,
    experience=100.0,
    experience_log_sd=0.0,
    line_rate=0.08,
    pace_rate=0.08,
    rate_log_sd=0.7,
    line_bias_putts=150.0,
    pace_bias_putts=150.0,
)
LAWS = {"new": DEFAULT, "old": OLD}
SEEDS = {"planted": 1000, "even": 2000, "drawn": 3000}
STRETCH_OF = np.digitize(LENGTHS_FT, EDGES_FT) - 1  # of each length in the log
RIVALS = ["line_6_ft", "equal", "longest", "shortest", "worst_average", "random"]


def text_of(options):
    """Return an option, or neighbours as one, in plain words."""
    return named(options).replace("\xa0", " ")


NAMES = [text_of(option) for option in OPTIONS]


def even_golfer(rng, number=0, law=DEFAULT):
    """Return a golfer without a weak spot, who learns typically: spreads the same all over."""
    level = {"line": rng.uniform(0.7, 1.4), "pace": rng.uniform(6.0, 12.0)}
    return TrueGolfer(
        sd={c: np.full(len(LENGTHS_FT), v) for c, v in level.items()},
        bias={c: np.zeros(len(LENGTHS_FT)) for c in COMPONENTS},
        visit_bias_sd={"line": 0.15, "pace": 1.5},
        first_putts=draw_mix(rng, 0.0),
        **draw_learning(rng, law, typical=True),
    )


# Stretches where a wide spread can be worth an hour: that of line beyond 8 ft never is, as pace
# is learned faster and a putt for line is a quarter of one for pace. Each takes its turn.
SPOTS = [(0, "line"), (1, "line"), (1, "pace"), (2, "pace"), (3, "pace")]

# As carry-over makes neighbours nearly as good a place to practise, the spot is one whose hour
# truly saves at least this share of what the best hour does.
WORTH_IT = 0.85


def planted_golfer(rng, number, law=DEFAULT):
    """Return an even golfer with one stretch so much wider that practice there truly pays."""
    stretch, component = spot = SPOTS[number % len(SPOTS)]
    while True:
        golfer, wider = even_golfer(rng, law=law), rng.uniform(*WEAK_SPOT)
        weak = np.where(stretch == STRETCH_OF, wider, 1.0)
        golfer = replace(golfer, sd=golfer.sd | {component: golfer.sd[component] * weak})
        savings = true_savings(golfer, MINUTES, law)[:-1]
        if savings[OPTIONS.index(spot)] >= WORTH_IT * savings.max():
            return golfer


def drawn_golfer(rng, number, law=DEFAULT):
    """Return a golfer drawn from everything the decision assumes."""
    learned = draw_learning(rng, law)
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


def answer_of(savings, true, suffix=""):
    """Return how well what is named holds the option that truly saves most, or one alike."""
    true, chosen, named = np.asarray(true), savings.together, {*savings.ties, *savings.together}
    best, named = int(true.argmax()), sorted(named)
    found = {
        "right": int(best == savings.best),
        "held": int(true[chosen].max() >= true[best] - ALIKE),
        "held_strictly": int(best in chosen),
        "held_named": int(true[named].max() >= true[best] - ALIKE),
        "held_named_strictly": int(best in named),
        "named": len(named),
        "alike": int((true >= true[best] - ALIKE).sum()),
        "p_chosen": round(chance_among(savings.saved, chosen), 3),
        "p_named": round(chance_among(savings.saved, named), 3),
        "saved_best": round(float(true[best]), 5),
        "regret": round(float(true[best] - true[savings.best]), 5),
    }
    return {name + suffix: value for name, value in found.items()}


def decide(kind, number, law=DEFAULT):
    """Return one row: what was true, what was advised, what an hour and ten of them brought."""
    rng = np.random.default_rng(SEEDS[kind] + number)
    golfer = MAKERS[kind](rng, number, law)
    log = play_log(golfer, rng)
    state = golfer_state(quick_fit(log, seed=number).golfer())
    case = make_case(state, learning=law, draws=100, seed=number)
    advice = advise_case(case, minutes=MINUTES)
    *savings, line_6_ft = true_savings(golfer, MINUTES, law)
    # Ten hours over ten weeks, of which what has not faded counts.
    kept = MINUTES * HOURS * float(law.retention(7.0 * np.arange(WEEKS)).mean())
    savings_later = true_savings(golfer, kept, law)[:-1]
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
        **answer_of(advice.savings, savings),
        **answer_of(advice.later(), savings_later, "_later"),
        "spot_named": int(SPOTS[number % len(SPOTS)] in together) if kind == "planted" else "",
        "regret_line_6_ft": round(most - line_6_ft, 5),
        "regret_expected": round(float(advice.row["expected_regret"]), 5),
    }
    plans = ten_hours(case, log, rng)
    after = strokes(golfer, list(plans.values()), learning=law)
    row |= {name: round(float(v), 4) for name, v in zip(plans, after, strict=True)}
    return row | {
        "p_all": " ".join(f"{p:.3f}" for p in advice.savings.p_best),
        "saved_all": " ".join(f"{s:.4f}" for s in advice.savings.saved.mean(axis=0)),
        "true_all": " ".join(f"{s:.4f}" for s in savings),
    }


def ten_hours(case, log, rng):
    """Return the putts of ten hours under each way to spend them, by name."""
    whole = MINUTES * HOURS
    minutes = best_minutes(case, whole)

    def spend(options):
        options = list(options)
        return sum(plan_of(o, whole / len(options), case.learning) for o in options)

    def both(stretch):
        return spend((stretch, c) for c in COMPONENTS)

    return {
        "nothing": 0 * spend(OPTIONS),
        "advice": spend(hour_by_hour(case)),
        "split": sum(plan_of(o, m, case.learning) for o, m in zip(OPTIONS, minutes, strict=True)),
        "line_6_ft": line_at_6_ft(whole, case.learning),
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


def path_of(kind, law="new"):
    """Return the file of a kind's rows."""
    return RESULTS / f"decision_{kind}{'_old' if law == 'old' else ''}.csv"


def main(kind, count, law="new"):
    """Run the golfers of a kind that are missing of so many."""
    path = path_of(kind, law)
    done = len(path.read_text().splitlines()) - 1 if path.exists() else 0
    for number in range(max(done, 0), count):
        row = decide(kind, number, LAWS[law])
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


def answers(found, suffix=""):
    """Return how well answers held, and how the strokes given away were spread."""
    names = [
        "right", "held", "held_strictly", "held_named", "held_named_strictly", "named", "alike",
        "p_chosen", "p_named", "saved_best", "regret",
    ]  # fmt: skip
    means = {name: found[name + suffix].mean() for name in names}
    quantiles = found["regret" + suffix].quantile([0.5, 0.75, 0.9, 1.0])
    return means | {"regret_quantiles": {f"{q:g}": value for q, value in quantiles.items()}}


def figures(found):
    """Return what the rows of one kind amount to."""
    return {
        "golfers": len(found),
        "next_hour": answers(found),
        "ten_hours_over_ten_weeks": answers(found, "_later"),
        "said_of_choice": found["p_choice"].mean(),
        "regret_expected": found["regret_expected"].mean(),
        "regret_line_6_ft": found["regret_line_6_ft"].mean(),
        "ten_hours": margins(found),
        "all_options": reliability(found).to_dict("records"),
    }


def write_record():
    """Record what all rows so far amount to, by kind of golfer."""
    paths = {f"{kind}, {law} law": path_of(kind, law) for law in LAWS for kind in MAKERS}
    found = {name: pd.read_csv(path) for name, path in paths.items() if path.exists()}
    record(
        "decision_stretches",
        what=(
            f"golfers of known truth, 300 putts each: is the option that truly saves most, or one "
            f"within {ALIKE:g} strokes a round of it (strictly: that very one), in the stretch "
            "chosen (held) or named at all, with how many named and truly alike of ten; strokes "
            "given away by an hour of the choice and of line at 6 ft; strokes a round after ten "
            "hours, rival less advice (90 %)"
        ),
        bars={"held": ">= 0.85", "named": "<= 3"},
        **{kind: figures(rows) for kind, rows in found.items()},
    )


if __name__ == "__main__":
    if sys.argv[1] == "record":
        write_record()
    else:
        main(sys.argv[1], int(sys.argv[2]), *sys.argv[3:])
