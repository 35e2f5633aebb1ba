"""Killed at any moment, the kit leaves the old file or the new one, and runs right next."""

import inspect
import os
import subprocess
import sys
import time

import numpy as np
import pandas as pd
import pytest
from conftest import DEMO

from putlab.base.cache import kept_or_made, load_arrays
from putlab.base.writing import write_text

OLD = "the old file\n"


def killed_after(seconds, arguments, environment):
    """Start the command, kill it without warning, and return whether it had ended."""
    command = [sys.executable, "-m", "putlab", *map(str, arguments)]
    run = subprocess.Popen(command, env=environment, stderr=subprocess.DEVNULL)
    try:
        run.wait(timeout=seconds)
        return True
    except subprocess.TimeoutExpired:
        run.kill()
        run.wait()
        return False


def leftovers(folder, known):
    """Return what a killed run left that is not a whole result."""
    return [p.name for p in folder.iterdir() if p.name not in known and not p.name.startswith(".")]


def try_moments(tmp_path, command, out, moments, whole, kills):
    """Kill a command at moments, each with its cache, until it was alive at so many."""
    folder = tmp_path / command
    folder.mkdir()
    path = folder / out
    path.write_text(OLD)
    tried, killed = [], 0
    while killed < kills:
        seconds, cache = next(moments)
        tried.append((seconds, cache))
        environment = os.environ | {"PUTLAB_CACHE": str(tmp_path / cache)}
        killed += not killed_after(seconds, [command, DEMO, "-o", path], environment)
        text = path.read_text()
        assert text == OLD or whole(text), f"torn after {seconds:.2f} s"
        assert leftovers(folder, [out]) == []
    # The next run is right, above all where the latest kills left half of what is kept.
    for cache in {"warm", *(cache for _, cache in sorted(tried)[-3:])}:
        done = subprocess.run(
            [sys.executable, "-m", "putlab", command, str(DEMO), "-o", str(path)],
            env=os.environ | {"PUTLAB_CACHE": str(tmp_path / cache)},
            capture_output=True,
        )
        assert done.returncode == 0
        assert whole(path.read_text())


def whole_table(text):
    lines = text.strip().splitlines()
    return len(lines) == 19 and len({line.count(",") for line in lines}) == 1


def whole_page(text):
    return text.startswith("<!doctype html>") and text.rstrip().endswith("</html>")


def kept_and_written(path):
    """Keep arrays and write them, as the commands do."""
    arrays = kept_or_made("f" * 64, lambda: {"a": np.arange(19.0)})
    write_text(path, "a\n" + "".join(f"{value:g}\n" for value in arrays["a"]))


# The same, but at one call of one function of `os` it says so and waits to be killed.
STOPPED = f"""
import os, sys
import numpy as np
from putlab.base.cache import kept_or_made
from putlab.base.writing import write_text

{inspect.getsource(kept_and_written)}
path, when, name, call = sys.argv[1:]
original, calls = getattr(os, name), []

def stopping(*arguments, **options):
    if name != "open" or arguments[1] & os.O_CREAT:  # not that a kept fit is looked for
        calls.append(name)
    here = len(calls) == int(call)
    found = original(*arguments, **options) if when == "after" or not here else None
    if here:
        print("here", flush=True)
        sys.stdin.read()
    return found

setattr(os, name, stopping)
kept_and_written(path)
"""


@pytest.mark.parametrize("call", ["1", "2"], ids=["keeping", "writing"])
@pytest.mark.parametrize(
    ("when", "name"),
    [("after", "open"), ("before", "fsync"), ("before", "replace"), ("after", "replace")],
)
def test_killed_at_every_step_of_writing(tmp_path, own_cache, when, name, call):
    """A short look at what the calibration run does fifty times."""
    path = tmp_path / "out" / "a.csv"
    path.parent.mkdir()
    path.write_text(OLD)
    command = [sys.executable, "-c", STOPPED, path, when, name, call]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as run:
        assert run.stdout.readline() == b"here\n"
        run.kill()
    whole = "a\n" + "".join(f"{i}\n" for i in range(19))
    done = (when, name, call) == ("after", "replace", "2")
    assert path.read_text() == (whole if done else OLD)
    assert leftovers(path.parent, ["a.csv"]) == leftovers(own_cache, [f"{'f' * 64}.npz"]) == []
    kept_and_written(path)
    assert path.read_text() == whole


@pytest.mark.calibration
@pytest.mark.parametrize(
    ("command", "out", "whole"),
    [("estimate", "e.csv", whole_table), ("report", "r.html", whole_page)],
)
def test_killed_at_twenty_five_moments(tmp_path, command, out, whole):
    """Spread over a whole run that samples, and over one that has the fits kept."""
    rng = np.random.default_rng(50)
    arguments = [command, DEMO, "-o", tmp_path / out]
    took = []
    for _ in ("cold", "warm"):
        start = time.perf_counter()
        environment = os.environ | {"PUTLAB_CACHE": str(tmp_path / "warm")}
        assert killed_after(900, arguments, environment)
        took.append(time.perf_counter() - start)
    try_moments(tmp_path, command, out, moments_within(took, rng), whole, kills=25)


def moments_within(took, rng):
    """Return moments of runs that sample and of runs with the fits kept, in turn.

    Each run that samples has a cache of its own, or the first whole one would warm the rest.
    """
    for i in range(50):
        yield rng.uniform(0.1, took[0]), f"cold {i}"
        yield rng.uniform(0.1, took[1]), "warm"


def test_two_processes_may_share_a_cache(own_cache):
    """Both write the same entry at once; what is kept is whole."""
    code = (
        "import numpy as np; from putlab.base.cache import save_arrays\n"
        "for i in range(40): save_arrays('f' * 64, {'a': np.full(20000, 7.0)})"
    )
    runs = [subprocess.Popen([sys.executable, "-c", code]) for _ in range(2)]
    assert [run.wait() for run in runs] == [0, 0]
    assert pd.Series(load_arrays("f" * 64)["a"]).eq(7.0).all()
