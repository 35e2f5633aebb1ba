"""Keep what a long run measured, with the date and the versions that measured it."""

import datetime
import json
from pathlib import Path

from putlab.base.cache import versions

RESULTS = Path(__file__).parent.parent / "results"


def record(name, *, what, **figures):
    """Write a run's figures to ``tests/results/<name>.json``."""
    whole = {
        "what": what,
        "date": datetime.date.today().isoformat(),
        "versions": versions(),
        "figures": figures,
    }
    RESULTS.mkdir(exist_ok=True)
    path = RESULTS / f"{name}.json"
    path.write_text(json.dumps(whole, indent=1, default=float) + "\n")
