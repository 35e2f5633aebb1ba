"""Running tests in a forked copy of this process, with or without a fault in a module.

Everything heavy that is not the kit's own is imported once, before the forks; the kit is
imported afresh in each, so a fault in a constant reaches every module that takes it.
"""

import importlib
import os
import signal
import sys
import time
from importlib.abc import MetaPathFinder
from importlib.machinery import SourceFileLoader
from importlib.util import spec_from_file_location
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

HEAVY = (
    "coverage", "matplotlib", "numpy", "pandas", "pymc", "pytensor.tensor", "pytest",
    "scipy.integrate", "scipy.optimize.elementwise", "scipy.special", "scipy.stats", "xarray",
)  # fmt: skip

SURVIVED, KILLED, TIMED_OUT = "survived", "killed", "timed out"

# pytest: all passed; a test failed; a test file, or the test in it, could not be imported.
FATES = {0: SURVIVED, 1: KILLED, 2: KILLED, 4: KILLED}


class FaultFinder(MetaPathFinder):
    """Hands out one module with a fault in it instead of the one on disk."""

    def __init__(self, module, code):
        self.path = ROOT / module
        self.name = module.removesuffix(".py").replace("/", ".")
        self.code = code

    def find_spec(self, fullname, path=None, target=None):
        """Return the faulty module's spec; None for any other."""
        if fullname != self.name:
            return None
        loader = SourceFileLoader(fullname, str(self.path))
        loader.get_code = lambda _: self.code
        return spec_from_file_location(fullname, self.path, loader=loader)


def import_heavy():
    """Import what every run needs and no fault touches."""
    for name in HEAVY:
        importlib.import_module(name)


def forked(work, seconds):
    """Return what the exit of a forked ``work()`` says; None where it took too long."""
    child = os.fork()
    if child == 0:
        signal.alarm(int(seconds) + 5)  # in case nobody is left to wait for it
        _in_child(work)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.01)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def _in_child(work):
    silence = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):
        os.dup2(silence, stream)
    code = 3
    try:
        code = int(work())
    finally:
        os._exit(code)


def pytest_in(arguments, cache_dir, plugins=()):
    """Run pytest in this process on the kit at `ROOT`, without the plugins lying about."""
    import pytest

    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    options = ["-q", "-x", "-o", "addopts=", "-o", f"cache_dir={cache_dir}"]
    quick = ["-m", "not calibration and not bench and not slow"]
    return pytest.main([*options, *quick, *arguments], plugins=list(plugins))


def put_to_the_test(mutant, tests, cache_dir, seconds):
    """Return what became of a mutant: survived, killed or timed out."""

    def work():
        sys.meta_path.insert(0, FaultFinder(mutant.module, mutant.code))
        return pytest_in(tests, cache_dir)

    code = forked(work, seconds)
    if code is None:
        return TIMED_OUT
    if code not in FATES:
        raise RuntimeError(f"pytest said {code} to {mutant.name}")
    return FATES[code]
