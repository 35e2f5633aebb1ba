"""Fixtures that several test modules share."""

import os
import shutil
import subprocess
import tarfile
import tempfile
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from xdist.scheduler import LoadFileScheduling

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "data_demo"

matplotlib.use("agg")


def pytest_configure(config):
    """Keep the tests' fits apart from the user's, and between runs of the tests.

    Entries are found by the hash of everything that determines them, so a fit made by an
    earlier run is the fit this run would make. Without pytest's cache they are not kept.
    """
    cache = getattr(config, "cache", None)
    os.environ["PUTLAB_CACHE"] = str(cache.mkdir("fits") if cache else tempfile.mkdtemp())
    # Tests start dozens of processes and kernels: where bytecode is not written, each of them
    # would compile every library anew.
    if cache and os.environ.pop("PYTHONDONTWRITEBYTECODE", None):
        os.environ["PYTHONPYCACHEPREFIX"] = str(cache.mkdir("bytecode"))


# Tests that sample, the demo first: one process runs all of them, as every process compiles a
# model of a size anew. It begins with them, for they take long and others wait for the demo's fit.
SAMPLING = (
    "posterior/test_fit.py", "trial/test_compare.py", "trial/test_contrast.py",
    "pages/test_metres.py", "posterior/test_tree.py", "posterior/test_backtest.py",
    "posterior/test_roster.py",
)  # fmt: skip

# What needs the demo's fit comes last, what takes long before what is quick.
LATER = ("tests/pages", "notebooks", "tests/rounds", "tests/practice", "tests/trial", "tests/cli")


def unit_of(nodeid):
    """Return what is given to one process with a test: its file, or files that share work."""
    file = nodeid.split("::")[0]
    if file.endswith(SAMPLING):
        return "what samples"
    # Pages are made once a process.
    return "the page" if file.startswith("tests/pages") else file


def place_of(item):
    """Return when a test is handed out."""
    file = item.nodeid.split("::")[0]
    first = [-len(SAMPLING) + i for i, name in enumerate(SAMPLING) if file.endswith(name)]
    later = [1 + i for i, folder in enumerate(LATER) if file.startswith(folder)]
    return [*first, *later, 0][0]


def pytest_collection_modifyitems(items):
    """Put what takes long first, so that no process is left alone with it."""
    items.sort(key=place_of)


def pytest_xdist_make_scheduler(config, log):
    """Give a process a unit at a time."""
    scheduler = LoadFileScheduling(config, log)
    scheduler._split_scope = unit_of
    return scheduler


@pytest.fixture
def rng():
    """Return a seeded source of randomness."""
    return np.random.default_rng(2026)


@pytest.fixture(scope="session")
def demo_log():
    """Return the shipped demo log."""
    from putlab.log.read import read_log

    return read_log(DEMO)


@pytest.fixture(scope="session")
def demo_fit(demo_log):
    """Return the demo log's fit at default settings, the one that reports use."""
    from putlab.posterior.fit import fit_log

    return fit_log(demo_log)


@pytest.fixture
def own_cache(tmp_path, monkeypatch):
    """Give a test an empty cache of its own."""
    monkeypatch.setenv("PUTLAB_CACHE", str(tmp_path / "cache"))
    return tmp_path / "cache"


@pytest.fixture(scope="session")
def axe(tmp_path_factory):
    """Return the source of axe-core, fetched with npm."""
    if shutil.which("npm") is None:
        pytest.skip("not run: no npm here to fetch axe-core with")
    folder = tmp_path_factory.mktemp("axe")
    command = ["npm", "pack", "--silent", "axe-core@4"]
    name = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=True)
    with tarfile.open(folder / name.stdout.strip()) as archive:
        return archive.extractfile("package/axe.min.js").read().decode()
