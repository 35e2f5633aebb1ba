"""Fit a roster player by player, nothing kept from before: `roster.py PLAYERS PROCESSES`."""

import hashlib
import json
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))


def roster(players):
    """Return a log of so many players, each eight visits of forty putts at four lengths."""
    from made_logs import simulated_log
    from true_golfers import steady

    rng = np.random.default_rng(1)
    size = {"players": players, "lengths": 4}
    level = np.log(rng.uniform(0.5, 1.6, (players, 1)))
    pace = np.log(rng.uniform(5.0, 13.0, (players, 1)))
    return simulated_log(
        rng,
        line=steady(level, visit_bias_sd=0.2, visit_form_sd=0.07, **size),
        pace=steady(pace, visit_bias_sd=2.0, visit_form_sd=0.07, **size),
        players=players,
        sessions=8,
        lengths=[4.0, 8.0, 15.0, 28.0],
        each=10,
    )


def digest_of_fit(log, fit):
    """Return a hash of a fit's draws: what is compared, and little to send back."""
    digest = hashlib.sha256()
    for component in ("line", "pace"):
        for values in fit.posteriors[component]["posterior"].dataset.data_vars.values():
            digest.update(np.ascontiguousarray(values.values).tobytes())
    return digest.hexdigest()


def main(players, workers):
    """Fit and print seconds, failures and a hash of everything."""
    from putlab.posterior.roster import each_player

    log = roster(int(players))
    start = time.perf_counter()
    found = each_player(log, digest_of_fit, workers=int(workers), cache=False)
    seconds = time.perf_counter() - start
    everything = json.dumps(found.results, sort_keys=True).encode()
    print(found.failed, file=sys.stderr)
    digest = hashlib.sha256(everything).hexdigest()
    print(json.dumps({"seconds": seconds, "failed": len(found.failed), "digest": digest}))


if __name__ == "__main__":
    main(*sys.argv[1:])
