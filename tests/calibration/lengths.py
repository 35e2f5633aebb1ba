"""The same putts logged at 6 lengths or at 18: is the advice the same?

    python tests/calibration/lengths.py 20

Each simulated golfer strikes 300 putts; the coach who chose 18 lengths had a third of every
length's putts struck from a tenth nearer and a third from a tenth farther, with the same misses.
Fits are `simulated_golfers.quick_fit`'s; what came of it goes to ``tests/results``.
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "helpers")]

from decision_runs import MAKERS, text_of  # noqa: E402
from record import record  # noqa: E402
from simulate import rounded  # noqa: E402
from simulated_golfers import play_log, quick_fit  # noqa: E402

from putlab.practice.advice import advise_case  # noqa: E402
from putlab.practice.case import make_case  # noqa: E402
from putlab.practice.saving import ALIKE  # noqa: E402

FACTORS = (0.9, 1.0, 1.1)


def at_more_lengths(log):
    """Return the log as if the putts of each length had come from three lengths."""
    putts = log.putts.copy()
    turn = putts.groupby("distance_ft").cumcount() % len(FACTORS)
    factor = np.array(FACTORS)[turn]
    for name in ("distance_ft", "roll_ft"):
        putts[name] = putts[name] * factor
    return replace(log, putts=putts.assign(roll_ft=rounded(putts["roll_ft"], 0.1)))


def advice_of(log, seed):
    """Return the advice that a quick fit of the log gives."""
    golfer = quick_fit(log, seed=seed, draws=1000, cores=1).golfer()
    return advise_case(make_case(golfer, draws=400, seed=seed), minutes=60.0)


def apart(one, other):
    """Return how far two advices' chances are apart, of the first's choice and at most."""
    gap = abs(one.savings.p_best - other.savings.p_best)
    return gap[one.savings.best], gap.max()


def row_of(kind, number):
    """Return what the two logs of one golfer say."""
    rng = np.random.default_rng([11, list(MAKERS).index(kind), number])
    log = play_log(MAKERS[kind](rng, number), rng)
    few, many = advice_of(log, number), advice_of(at_more_lengths(log), number)
    lost, other = few.table, many.table["strokes_lost"]
    inside = (other >= lost["strokes_lost_lo"]) & (other <= lost["strokes_lost_hi"])
    # The same log of 6 lengths again, other draws: what is the computer's own.
    again = advice_of(log, number + 1000)
    p_best_apart, most_apart = apart(few, many)
    saved = few.table["saved_next_hour"]
    price = saved.max() - saved.iloc[many.savings.best]
    return {
        "kind": kind,
        "at_6": text_of(few.choice),
        "at_18": text_of(many.choice),
        "same_first": few.choice == many.choice,
        "same_first_by_seed": few.choice == again.choice,
        "same_or_named": few.choice in [*many.chosen, *many.others],
        "same_or_alike": price < ALIKE,
        "p_best_apart": p_best_apart,
        "p_best_most_apart": most_apart,
        "p_best_apart_by_seed": apart(few, again)[0],
        "price": price,
        "lost_inside": inside.mean(),
    }


def main(golfers):
    """Run golfers of every kind in turn and record what they amount to."""
    kinds, rows = list(MAKERS), []
    for number in range(golfers):
        rows.append(row_of(kinds[number % len(kinds)], number))
        table = pd.DataFrame(rows)
        record(
            "lengths",
            what="the same 300 putts at 6 lengths and at 18: share of golfers with the same "
            "stretch and component first (named at all; or one within a hundredth of a stroke), "
            "how far p_best of the first is apart, both beside another seed alone; strokes the "
            "first of 18 gives away by the log of 6; share of strokes lost inside the other "
            "log's intervals",
            golfers=len(table),
            bars={"same_first": 1.0, "p_best_apart": "<= 0.08", "lost_inside": 1.0},
            means=table.drop(columns=["kind", "at_6", "at_18"]).mean().round(4).to_dict(),
            p_best_within_008=float((table["p_best_apart"] <= 0.08).mean()),
            rows=table.to_dict("records"),
        )


if __name__ == "__main__":
    main(int(sys.argv[1]))
