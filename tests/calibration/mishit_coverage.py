"""Average putts where some putts are mishits: do the 90 % intervals hold what was struck?

    python tests/calibration/mishit_coverage.py 30

draws golfers from the priors but for their mishits (none, 2 or 5 % of putts), fits logs of ten
visits (600 putts), and strikes putts of new days one by one (`worlds.true_values`).
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "helpers")]

import worlds  # noqa: E402
from made_logs import LENGTHS_FT, log_of  # noqa: E402
from record import record  # noqa: E402
from simulate import rounded, simulate_errors  # noqa: E402
from simulated_golfers import quick_fit  # noqa: E402
from true_golfers import draw_component  # noqa: E402

from putlab.base.settings import interval_probabilities  # noqa: E402
from putlab.model.priors import PRIORS  # noqa: E402
from putlab.model.readings import COMPONENTS  # noqa: E402

SHARES = (0.0, 0.02, 0.05)
OWN = "the model's own"
PUTTS = ("one_putt", "three_putt", "average_putts")


def log_with(share, rng):
    """Return a log whose golfer mishits so many, and the truth."""
    truth = {}
    for name in COMPONENTS:
        drawn = draw_component(PRIORS[name], rng, players=1, lengths_ft=LENGTHS_FT)[0]
        truth[name] = replace(drawn, mishit_share=np.array([share]))
    putts = worlds.schedule(OWN, rng)
    at = {"players": [worlds.PLAYER], "lengths_ft": LENGTHS_FT}
    line, pace = (simulate_errors(putts, truth[name], rng, **at) for name in COMPONENTS)
    roll_ft = (putts["distance_ft"] * (1 + pace / 100)).clip(lower=0)
    putts = putts.assign(line_deg=rounded(line, 1.0), roll_ft=rounded(roll_ft, 0.1))
    return log_of(putts), truth


def rows_of(share, seed):
    """Return a row a length and figure: where the truth lies against the interval."""
    rng = np.random.default_rng([13, SHARES.index(share), seed])
    log, truth = log_with(share, rng)
    drawn = worlds.draws_of(quick_fit(log, seed=seed + 1, cores=1))
    true, rows = worlds.true_values(OWN, log, truth, rng), []
    for name in PUTTS:
        low, high = np.quantile(drawn[name], interval_probabilities(), axis=0)
        for i, distance_ft in enumerate(LENGTHS_FT):
            below, above = bool(true[name][i] < low[i]), bool(true[name][i] > high[i])
            rows.append((share, seed, name, distance_ft, not (below or above), below, above))
    return rows


def main(logs):
    """Run the logs and record the shares of intervals so far."""
    rows = []
    for seed in range(logs):
        for share in SHARES:
            rows += rows_of(share, seed)
        columns = ["mishits", "seed", "figure", "distance_ft", "held", "below", "above"]
        table = pd.DataFrame(rows, columns=columns)
        found = table.groupby(["figure", "mishits"])[["held", "below", "above"]].mean().round(3)
        record(
            "mishit_coverage",
            what="share of 90 % intervals that hold what was struck putt by putt, and of truths "
            "below and above them, by share of mishits; logs of 600 putts",
            logs_each=seed + 1,
            lengths=len(LENGTHS_FT),
            bars={"held": "0.87 to 0.93"},
            rows=found.reset_index().to_dict("records"),
        )


if __name__ == "__main__":
    main(int(sys.argv[1]))
