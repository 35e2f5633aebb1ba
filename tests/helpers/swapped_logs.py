"""A log unlike the demo that every notebook must run on: a plain one, as a stranger keeps it."""

from pathlib import Path

import numpy as np
import pandas as pd

VISITS, EACH = 5, 12


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
