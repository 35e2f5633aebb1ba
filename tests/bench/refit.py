"""Fit the demo without its last visit, then with it, as in a notebook: seconds of the second.

Prints wall and processor seconds as JSON; nothing is kept, and nothing may be compiled again.
"""

import json
import time
from dataclasses import replace


def main():
    """Fit twice."""
    import putlab as pl
    from putlab.posterior import sampling
    from putlab.posterior.fit import fit_log

    log = pl.demo_log()
    last = log.putts["session"].iloc[-1]
    fit_log(replace(log, putts=log.putts[log.putts["session"] != last]), cache=False)
    compiled = len(sampling._compiled)
    wall, cpu = time.perf_counter(), time.process_time()
    fit_log(log, cache=False)
    found = {"wall": time.perf_counter() - wall, "cpu": time.process_time() - cpu}
    print(json.dumps(found | {"compiled": len(sampling._compiled) - compiled}))


if __name__ == "__main__":
    main()
