"""Jobs for the tests of rosters: importable by the processes that run them."""

import os
import time
from pathlib import Path

import numpy as np

from putlab.base.errors import FitError


def counted_and_drawn(log, work, seed, options):
    """Stand in for a fit: what it would read, and draws that depend on its seed."""
    from putlab.model.readings import intervals  # heavy, and most jobs do without

    rng = np.random.default_rng(seed)
    return {
        "players": list(log.putts["player"].unique()),
        "cells": intervals(log, "line").to_dict("list"),
        "draws": rng.normal(size=3).tolist(),
        "options": options,
    }


def meet(marks, name):
    """Return the process that ran the job, once a job of another process has come too."""
    folder, mine = Path(marks), f"{name} {os.getpid()}"
    (folder / mine).touch()
    deadline = time.monotonic() + 120
    while len({file.name.split()[1] for file in folder.iterdir()}) < 2:
        if time.monotonic() > deadline:
            raise TimeoutError("no other process came")
        time.sleep(0.02)
    return os.getpid()


def run(kind, marks):
    """Do as told; ``marks`` is a file that outlives the process, a line an attempt."""
    with Path(marks).open("a", encoding="utf-8") as file:
        file.write("x\n")
    attempt = len(Path(marks).read_text(encoding="utf-8").split())
    if kind == "dies" or (kind == "dies once" and attempt == 1):
        os._exit(9)
    if kind == "no fit":
        raise FitError("the fit did not converge")
    if kind == "breaks":
        raise ValueError("a fault of the kit")
    return attempt
