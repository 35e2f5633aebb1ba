"""How the cost of an ordinary command grows with a log: `growth.py [WHAT ...]`.

Logs of rising size, one thing changed at a time, each read, fitted and reported by
``putlab estimate LOG`` in a process of its own with nothing kept: wall and processor time and
the most memory held, with the slope of each in log against log (0: no growth, 1: in
proportion). The table is printed and kept in `tests/results/growth.json`, size by size.
"""

import datetime
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).parents[2]
RESULTS = ROOT / "tests" / "results" / "growth.json"

# Putts in all, players, lengths, and visits of each player, where nothing else is said.
USUAL = {"putts": 2_000, "players": 3, "lengths": 6, "visits": 10}
SIZES = {
    "putts": (10**3, 10**4, 10**5, 10**6, 10**7),
    "players": (1, 5, 20, 50, 200),
    "lengths": (3, 6, 12, 30, 60),
    "visits": (5, 20, 50, 150, 500),
}
# Of each player of a longer roster, and of each visit and length, where those grow.
PUTTS_A_PLAYER, PUTTS_A_VISIT, PUTTS_A_LENGTH = 300, 30, 100


def log_of(putts, players, lengths, visits, seed=1):
    """Return putts of players who scatter by 1.2 degrees and 9 %, read to whole degrees."""
    rng = np.random.default_rng(seed)
    distance = np.round(np.geomspace(3, 45, lengths), 1)[rng.integers(0, lengths, putts)]
    days = pd.date_range("2019-01-01", periods=visits).strftime("%Y-%m-%d").to_numpy()
    level = rng.normal(0, 0.2, players)
    player = np.sort(rng.integers(0, players, putts))
    return pd.DataFrame(
        {
            "player": np.array([f"player {n:03d}" for n in range(players)])[player],
            "session": days[rng.integers(0, visits, putts)],
            "distance_ft": distance,
            "line_deg": np.round(1.2 * np.exp(level[player]) * rng.normal(size=putts)),
            "roll_ft": np.round((distance + 1) * (1 + 0.09 * rng.normal(size=putts)), 1),
        }
    ).sort_values(["session", "player"], kind="stable", ignore_index=True)


def size_of(what, many):
    """Return the size of a log where one thing is so many."""
    size = USUAL | {what: many}
    each = {"players": PUTTS_A_PLAYER, "visits": 3 * PUTTS_A_VISIT, "lengths": PUTTS_A_LENGTH}
    if what in each:
        size["putts"] = max(each[what] * many, 600)
    return size


def measured(what, many, folder):
    """Return seconds, seconds of processor and megabytes of one command, in a row."""
    size = size_of(what, many)
    log = folder / "log.parquet"
    log_of(**size).to_parquet(log, index=False)
    out = folder / "estimate.csv"
    command = [sys.executable, "-m", "putlab", "estimate", str(log), "-o", str(out)]
    env = os.environ | {"PUTLAB_CACHE": str(folder / f"cache {what} {many}")}
    start = time.perf_counter()
    process = subprocess.Popen(command, cwd=ROOT, env=env, stderr=subprocess.PIPE, text=True)
    said = process.stderr.read()  # until it ends
    _, status, used = os.wait4(process.pid, 0)
    row = {"what": what, "many": many, **size, "wall_s": round(time.perf_counter() - start, 1)}
    row |= {"cpu_s": round(used.ru_utime + used.ru_stime, 1), "mb": round(used.ru_maxrss / 1024)}
    row |= {"ends": os.waitstatus_to_exitcode(status)}
    if row["ends"]:
        row["said"] = said.strip().splitlines()[-1][:300]
    row |= {"date": datetime.datetime.now(datetime.UTC).date().isoformat()}
    return row | {"load": round(os.getloadavg()[1], 1)}


def with_slopes(rows):
    """Return a table of the rows and, from each size to the next, the slope of time and memory."""
    table = pd.DataFrame(rows)
    step = np.log(table["many"]).groupby(table["what"]).diff()
    for name in ("cpu_s", "mb"):
        table[f"{name}_slope"] = (np.log(table[name]).groupby(table["what"]).diff() / step).round(2)
    return table


def main(*wanted):
    """Measure what is wanted, size by size, and keep each."""
    kept = json.loads(RESULTS.read_text()) if RESULTS.exists() else []
    with tempfile.TemporaryDirectory() as folder:
        for name in wanted or SIZES:
            what, _, only = name.partition("=")
            for many in map(int, only.split(",")) if only else SIZES[what]:
                row = measured(what, many, Path(folder))
                kept = [r for r in kept if (r["what"], r["many"]) != (what, many)] + [row]
                order = list(SIZES)
                kept.sort(key=lambda r: (order.index(r["what"]), r["many"]))
                RESULTS.write_text(json.dumps(kept, indent=1) + "\n")
                print(row, flush=True)
    print(with_slopes(kept).to_string(index=False))


if __name__ == "__main__":
    main(*sys.argv[1:])
