"""Is a length out of line named, and only then? Simulated golfers with one wide spot, or none.

    python tests/calibration/spots.py 240

plays and fits that many logs of golfers with one spread 1.6 times out of line at one of six
lengths, line and pace and every length in turn, twice as many of even golfers, and some whose
spreads rise or fall straight over log distance, by as much as the prior thinks ordinary (300
putts each, whole degrees and tenths of a foot). A row a log is added to
``tests/results/spots.csv``, so a run that is stopped goes on where it was; the rates go to
``tests/results/spots.json``, by halves of the logs too. Fits use the kit's own sampler with fewer
draws: a normal around the mode gets wrong how far a length is pulled to the others.
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

from decision_runs import even_golfer  # noqa: E402
from record import RESULTS, record  # noqa: E402
from scipy.stats import norm  # noqa: E402
from simulated_golfers import LENGTHS_FT, play_log, quick_fit  # noqa: E402

from putlab.base.settings import interval_probabilities
from putlab.model.design import log_distance
from putlab.model.priors import PRIORS
from putlab.model.readings import COMPONENTS
from putlab.posterior import player
from putlab.posterior.player import OwnCurve, own_curve

WIDER = 1.6
SEEDS = {"spot": 1, "even": 2, "sloped": 4}
EVEN_EACH, SPOTS_A_SLOPE = 2, 3  # even golfers to one with a spot; spots to one with a slope
PLACES = [(distance_ft, c) for c in COMPONENTS for distance_ft in LENGTHS_FT]
PATH = RESULTS / "spots.csv"


def golfer_of(kind, number, rng):
    """Return an even golfer, or one with a spot whose place goes by the number."""
    golfer = even_golfer(rng)
    if kind == "sloped":
        slope = {c: (1 if number % 2 else -1) * PRIORS[c].slope_sd for c in COMPONENTS}
        x = log_distance(LENGTHS_FT)
        return replace(golfer, sd={c: sd * np.exp(slope[c] * x) for c, sd in golfer.sd.items()})
    if kind == "even":
        return golfer
    distance_ft, component = PLACES[number % len(PLACES)]
    wider = np.where(distance_ft == LENGTHS_FT, WIDER, 1.0)
    return replace(golfer, sd=golfer.sd | {component: golfer.sd[component] * wider})


def curve_of(kind, number):
    """Return the curve of one simulated golfer."""
    rng = np.random.default_rng([SEEDS[kind], number])
    log = play_log(golfer_of(kind, number, rng), rng)
    return own_curve(quick_fit(log, seed=number, draws=500).golfer())


def row_of(kind, number, curve):
    """Return a log's row: the columns of the curve's table, each the text of its numbers."""
    table = curve.table.drop(columns="distance_ft")
    places = {name: 5 if "_p_" in name else 3 for name in table}
    texts = {name: " ".join(f"{v:.{places[name]}f}" for v in table[name]) for name in table}
    return {"kind": kind, "number": number} | texts


def named_in(row):
    """Return the (length, component, kind) that the rule names in a row."""
    numbers = {name: np.array(row[name].split(), dtype=float) for name in row.index[2:]}
    curve = OwnCurve(pd.DataFrame({"distance_ft": LENGTHS_FT} | numbers))
    return {(spot.distance_ft, spot.component, spot.kind) for spot in curve.named}


def share(happened):
    """Return a share of logs with its Wilson interval."""
    happened = np.asarray(happened)
    n, rate, z = happened.size, happened.mean(), norm.ppf(interval_probabilities()[1])
    middle = (rate + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z / (1 + z**2 / n) * np.sqrt(rate * (1 - rate) / n + z**2 / (4 * n**2))
    return {"logs": n, "rate": rate, "lo": middle - half, "hi": middle + half}


def rates(rows):
    """Return how often a spot is named, by place too, and a false one of any kind."""
    named = rows.apply(named_in, axis=1)
    spotted, even, sloped = (named[rows["kind"] == kind] for kind in SEEDS)
    place = rows["number"][spotted.index] % len(PLACES)
    found = [(*PLACES[i], "spread") in names for i, names in zip(place, spotted, strict=True)]
    by_place = pd.Series(found).groupby(place.to_numpy()).mean()
    return {
        "named": share(found),
        "named_at": {f"{PLACES[i][1]} {PLACES[i][0]:g} ft": rate for i, rate in by_place.items()},
        "another_named_too": share(
            [len(names) > hit for names, hit in zip(spotted, found, strict=True)]
        ),
        "false": share([bool(names) for names in even]),
        "false_sloped": share([bool(names) for names in sloped]),
        "false_spread": share([any(n[2] == "spread" for n in names) for names in even]),
        "false_bias": share([any(n[2] == "bias" for n in names) for names in even]),
    }


def write_record(rows):
    """Record the rates of both halves: every place of a spot is in each."""
    turn = rows["number"] // np.where(rows["kind"] == "spot", len(PLACES), 1)
    rule = {name: getattr(player, name) for name in ("RIDGE", "WIDER_CHANCE", "BIAS_CHANCE")}
    record(
        "spots",
        what=(
            f"one spread {WIDER:g} times out of line at one of six lengths, or none, in logs of "
            "300 putts: how often it is named, and a false one (any length, component or kind)"
        ),
        rule=rule,
        all_logs=rates(rows),
        one_half=rates(rows[turn % 2 == 0]),
        other_half=rates(rows[turn % 2 == 1]),
    )


def main(count):
    """Fit what is missing of so many spotted logs and the even ones, and record the rates."""
    counts = {"spot": count, "even": EVEN_EACH * count, "sloped": count // SPOTS_A_SLOPE}
    wanted = [(kind, number) for kind, logs in counts.items() for number in range(logs)]
    done = set()
    if PATH.exists():
        done = set(pd.read_csv(PATH)[["kind", "number"]].itertuples(index=False, name=None))
    for kind, number in wanted:
        if (kind, number) not in done:
            row = pd.DataFrame([row_of(kind, number, curve_of(kind, number))])
            row.to_csv(PATH, mode="a", header=not PATH.exists(), index=False)
    write_record(pd.read_csv(PATH))


if __name__ == "__main__":
    main(int(sys.argv[1]))
