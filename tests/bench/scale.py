"""Read and fit logs of one roster and rising length: `scale.py FOLDER`, which holds them.

Prints, as JSON by number of putts, seconds to read and to fit, and counted intervals of line,
after one short fit that compiles the model.
"""

import json
import sys
import time
from pathlib import Path


def main(folder):
    """Read and fit each file."""
    from putlab.log.read import read_log
    from putlab.model.readings import intervals
    from putlab.posterior.fit import fit_log

    files = sorted(Path(folder).glob("*.parquet"))
    fit_log(read_log(files[0]), cache=False)
    for file in files:
        start = time.perf_counter()
        log = read_log(file)
        read = time.perf_counter()
        fit_log(log, cache=False)
        fitted = time.perf_counter()
        line = len(intervals(log, "line"))
        found = {"putts": len(log.putts), "read": read - start, "fit": fitted - read}
        print(json.dumps(found | {"intervals": line}), flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
