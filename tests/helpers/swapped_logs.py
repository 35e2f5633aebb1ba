"""Logs unlike the demo that every notebook must run on: plain ones, as a stranger keeps them."""

from pathlib import Path

import numpy as np
import pandas as pd

VISITS, EACH = 5, 12


def metres_log(folder: Path, seed: int = 5) -> Path:
    """Write one nameless player's three lengths in metres, no condition, no description."""
    rng = np.random.default_rng(seed)
    rows = [
        (f"2026-04-{visit + 1:02d}", length, rng.normal(0.2, 1.1), length * rng.normal(1.01, 0.09))
        for visit in range(VISITS)
        for length in rng.permutation(np.repeat([1.5, 3.0, 6.0], EACH))
    ]
    putts = pd.DataFrame(rows, columns=["session", "distance_m", "line_deg", "roll_m"]).round(2)
    putts["line_deg"] = putts["line_deg"].round(1)
    putts.to_csv(folder / "metres.csv", index=False)
    return folder / "metres.csv"


def line_log(folder: Path, seed: int = 6) -> Path:
    """Write a log of start directions alone, of two players at two lengths."""
    rng = np.random.default_rng(seed)
    rows = [
        (player, f"visit {visit}", length, round(rng.normal(0.3, spread)))
        for visit in range(1, VISITS + 1)
        for player, spread in (("ash", 1.4), ("elm", 2.0))
        for length in rng.permutation(np.repeat([5.0, 8.0], EACH))
    ]
    columns = ["player", "session", "distance_ft", "line_deg"]
    pd.DataFrame(rows, columns=columns).to_csv(folder / "line.csv", index=False)
    return folder / "line.csv"
