"""Logs made in memory from known truth, for tests of the models."""

import numpy as np
import pandas as pd
from simulate import rounded, simulate_errors
from true_golfers import steady

from putlab.log.read import Log
from putlab.log.rules import ReadingRules
from putlab.log.schema import COLUMNS

LENGTHS_FT = [3.0, 6.0, 10.0, 15.0, 24.0, 36.0]


def balanced_schedule(players, sessions, lengths_ft, putts_each, rng):
    """Return a schedule of mixed lengths, the same number of putts at each every visit."""
    blocks = []
    for session in range(1, sessions + 1):
        for player in players:
            order = rng.permutation(np.repeat(np.asarray(lengths_ft, float), putts_each))
            putt = np.arange(1, order.size + 1)
            label = f"visit {session:02d}"
            block = {"player": player, "session": label, "putt": putt, "distance_ft": order}
            blocks.append(pd.DataFrame(block))
    return pd.concat(blocks, ignore_index=True)


def log_of(putts, **rules):
    """Return a Log of putts given by some of the schema's columns."""
    putts = putts.reset_index(drop=True)
    for column in COLUMNS:
        if column.name not in putts and not column.name.endswith("_m"):
            blank = None if column.kind in ("label", "flag") else np.nan
            putts[column.name] = blank
    putts["holed"] = putts["holed"].astype("boolean")
    putts = putts.assign(file="made", row=np.arange(1, len(putts) + 1))
    rejects = pd.DataFrame(columns=["file", "row", "column", "value", "reason"])
    known = {"line_step_deg": 1.0, "roll_step_ft": 0.1} | rules
    return Log(putts, rejects, ReadingRules(**known), rows_read=len(putts))


def simulated_log(
    rng, *, line=None, pace=None, players=1, sessions=10, lengths=LENGTHS_FT, each=10, **rules
):
    """Return a log of balanced practice by steady golfers: 0.5 degrees and 8 % unless given."""
    labels = [f"player {i + 1}" for i in range(players)]
    size = {"players": players, "lengths": len(lengths)}
    line = line or steady(np.log(0.5), **size)
    pace = pace or steady(np.log(8.0), **size)
    putts = balanced_schedule(labels, sessions, lengths, each, rng)
    at = {"players": labels, "lengths_ft": lengths}
    known = {"line_step_deg": 1.0, "roll_step_ft": 0.1} | rules
    line_deg = simulate_errors(putts, line, rng, **at)
    roll_ft = putts["distance_ft"] * (1 + simulate_errors(putts, pace, rng, **at) / 100)
    roll_ft = roll_ft.clip(0, known.get("roll_limit_ft"))
    putts["line_deg"] = rounded(line_deg, known["line_step_deg"] or 1e-9)
    putts["roll_ft"] = rounded(roll_ft, known["roll_step_ft"] or 1e-9)
    return log_of(putts, **rules)
