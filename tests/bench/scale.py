"""Count and fit logs of one roster and rising length: `scale.py FOLDER`, which holds them.

Prints, as JSON by number of putts, seconds to count and to fit, and cells, after one short
fit that compiles the model.
"""

import json
import sys
import time
from pathlib import Path


def main(folder):
    """Count and fit each file."""
    from putlab.big_logs import counted_cells, fit_counts, practice_rows
    from putlab.counts import count_log

    files = sorted(Path(folder).glob("*.parquet"))
    warm = True
    for file in files:
        start = time.perf_counter()
        counts = count_log(file)
        counted = time.perf_counter() - start
        if warm:
            fit_counts(counts, cache=False)
            warm = False
        start = time.perf_counter()
        fit_counts(counts, cache=False)
        fitted = time.perf_counter() - start
        rows, _ = practice_rows(counts)
        line = len(counted_cells(rows, counts.rules, "line"))
        found = {"putts": counts.rows_read, "count": counted, "fit": fitted, "intervals": line}
        print(json.dumps(found), flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
