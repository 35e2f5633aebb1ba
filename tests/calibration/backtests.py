"""Backtests of simulated golfers: do the ranges hold, and does the prediction beat a plain one?

    nice python tests/calibration/backtests.py 40

of so many golfers drawn from the priors (ten visits, 600 putts) predicts the last two visits from
those before, by quick fits (`quick_fit`: the same sampler, fewer draws), and records.
"""

import os
import sys
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "helpers")]
os.environ["PUTLAB_CACHE"] = tempfile.mkdtemp()

from record import record  # noqa: E402
from simulated_golfers import quick_fit  # noqa: E402
from worlds import log_from  # noqa: E402

from putlab.posterior import backtest as room  # noqa: E402


def main(logs, visits=2):
    """Backtest every golfer and record it as it goes."""
    room.fit_log = lambda log, *, seed: quick_fit(log, seed=seed, draws=250, tune=250, cores=1)
    rows = []
    for seed in range(logs):
        log, _ = log_from("the model's own", np.random.default_rng([11, seed]))
        readings = room.backtest(log, visits=visits, seed=seed).readings
        row = {"log": seed} | readings[["held_50", "held_90"]].mean().to_dict()
        gains = {n: np.log(readings["chance"] / readings[n]).mean() for n in room.RIVALS}
        rows.append(row | gains)
        table = pd.DataFrame(rows)
        record(
            "backtests",
            what="last visits predicted from those before: share of readings that the 50 and 90 % "
            "ranges held (with the standard error of the latter over logs), and share of logs in "
            "which the mean log score beats the mean and sd of all before, and of the last visit",
            logs=len(table),
            visits=visits,
            held_50=table["held_50"].mean(),
            held_90=table["held_90"].mean(),
            held_90_error=table["held_90"].sem(),
            beats={name: float((table[name] > 0).mean()) for name in room.RIVALS},
            mean_gain_nats={name: table[name].mean() for name in room.RIVALS},
        )


if __name__ == "__main__":
    main(int(sys.argv[1]))
