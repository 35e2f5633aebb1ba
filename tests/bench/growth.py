"""How the cost of an ordinary command grows with a log: `growth.py [rivals] [WHAT ...]`.

Logs of rising size, one thing changed at a time, each read, fitted and reported by
``putlab estimate LOG`` in a process of its own with nothing kept: wall and processor time and
the most memory that one process held, with the slope of each in log against log (0: no
growth, 1: in proportion). With ``rivals`` the same logs go to other ways of fitting line
alone (pace takes the kit as long again), which are stopped after `LIMIT_S`; larger logs are
then left out. The table is printed and kept in `tests/results/growth.json`, size by size.
"""

import datetime
import itertools
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).parents[2]
RESULTS = ROOT / "tests" / "results" / "growth.json"
RIVALS = ROOT / "tests" / "bench" / "rivals.py"
KIT = "putlab estimate"
OTHERS = (
    "mixed model, statsmodels",
    "plain normal, PyMC",
    "plain normal, Stan",
    "plain normal, bambi",
)
LIMIT_S = {KIT: 3_600} | dict.fromkeys(OTHERS, 300)

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


def measured(by, what, many, folder):
    """Return seconds, seconds of processor and megabytes of one way of fitting, in a row."""
    size = size_of(what, many)
    log = folder / "log.parquet"
    log_of(**size).to_parquet(log, index=False)
    estimate = ["-m", "putlab", "estimate", str(log), "-o", str(folder / "estimate.csv")]
    command = [sys.executable, *(estimate if by == KIT else [str(RIVALS), by, str(log)])]
    env = os.environ | {"PUTLAB_CACHE": str(folder / f"cache {what} {many}")}
    row = {"by": by, "what": what, "many": many, **size} | _ran(command, env, LIMIT_S[by])
    row |= {"date": datetime.datetime.now(datetime.UTC).date().isoformat()}
    return row | {"load": round(os.getloadavg()[1], 1)}


def _ran(command, env, limit_s):
    """Run a command; return what it took and how it ended: -9 where it was stopped."""
    start = time.perf_counter()
    process = subprocess.Popen(
        command, cwd=ROOT, env=env, start_new_session=True, text=True,
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
    )  # fmt: skip
    stop = threading.Timer(limit_s, os.killpg, (process.pid, signal.SIGKILL))
    stop.start()
    said = process.stderr.read()  # until it ends
    _, status, used = os.wait4(process.pid, 0)
    stop.cancel()
    row = {"wall_s": round(time.perf_counter() - start, 1)}
    row |= {"cpu_s": round(used.ru_utime + used.ru_stime, 1), "mb": round(used.ru_maxrss / 1024)}
    row |= {"ends": os.waitstatus_to_exitcode(status)}
    if row["ends"]:  # what chains took that were stopped with it is not counted
        said = (said.strip().splitlines() or [""])[-1][:300]
        row |= {"cpu_s": None, "mb": None, "said": said}
    return row


def with_slopes(rows):
    """Return a table of the rows and, from each size to the next, the slope of time and memory."""
    table = pd.DataFrame(rows)
    each = [table["by"], table["what"]]
    step = np.log(table["many"]).groupby(each).diff()
    for name in ("cpu_s", "mb"):
        table[name] = table[name].astype(float)
        table[f"{name}_slope"] = (np.log(table[name]).groupby(each).diff() / step).round(2)
    return table


def keep(row):
    """Write a row in its place, over one of the same way and size."""
    kept = json.loads(RESULTS.read_text()) if RESULTS.exists() else []
    same = ("by", "what", "many")
    kept = [r for r in kept if any(r[name] != row[name] for name in same)] + [row]
    ways, things = [KIT, *OTHERS], list(SIZES)
    kept.sort(key=lambda r: (things.index(r["what"]), ways.index(r["by"]), r["many"]))
    RESULTS.write_text(json.dumps(kept, indent=1) + "\n")
    print(row, flush=True)


def main(*wanted):
    """Measure what is wanted, size by size, and keep each."""
    ways = OTHERS if "rivals" in wanted else (KIT,)
    wanted = [name for name in wanted if name != "rivals"] or SIZES
    with tempfile.TemporaryDirectory() as folder:
        for by, name in itertools.product(ways, wanted):
            what, _, only = name.partition("=")
            for many in map(int, only.split(",")) if only else SIZES[what]:
                row = measured(by, what, many, Path(folder))
                keep(row)
                if row["ends"]:
                    break  # nor would a larger one end in time
    print(with_slopes(json.loads(RESULTS.read_text())).to_string(index=False))


if __name__ == "__main__":
    main(*sys.argv[1:])
