"""Which tests reach which line, and how long each takes: found by one run without a fault."""

import pickle
import time
from collections import defaultdict
from pathlib import Path

import pytest
from workers import ROOT, forked, pytest_in

# What a line run while modules are imported, or by a fixture, is known by.
EVERY, SETUP = "", "setup"


class Recorder:
    """A pytest plugin that tells coverage which test is running, and times it."""

    def __init__(self, cover):
        self.cover = cover
        self.seconds = {}

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_setup(self, item):
        """A fixture may serve every test of its file."""
        self.cover.switch_context(f"{SETUP}|{item.nodeid}")
        return (yield)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self, item):
        """Time the test."""
        self.cover.switch_context(item.nodeid)
        start = time.monotonic()
        result = yield
        self.seconds[item.nodeid] = time.monotonic() - start
        self.cover.switch_context(EVERY)
        return result


class Reach:
    """Which tests reach which line.

    Attributes
    ----------
    seconds : dict of str to float
        Time of each test.
    contexts : dict of str to dict
        Module to line to the names of what ran it.
    files : dict of str to tuple of str
        Module to the test files that bear on it.
    """

    def __init__(self, seconds, contexts, files):
        self.seconds = seconds
        self.contexts = contexts
        self.files = {module: [path(name) for name in names] for module, names in files.items()}

    def tests(self, module, lines):
        """Return the tests that reach some lines of a module, the quickest first."""
        known = self.contexts[module]
        names = set().union(*(known.get(line, ()) for line in lines))
        if EVERY in names:
            found = set(self.seconds)
        else:
            files = {n.split("|")[1].split("::")[0] for n in names if n.startswith(SETUP)}
            found = {t for t in self.seconds if t in names or t.split("::")[0] in files}
        bearing = [test for test in found if test.split("::")[0] in self.files[module]]
        return sorted(bearing, key=self.seconds.get)


def path(name):
    """Return the path of a test file."""
    return f"tests/{name}.py"


def reach_of(area, folder):
    """Run an area's tests once, without a fault.

    Parameters
    ----------
    area : Area
        Modules and tests.
    folder : Path
        For what is passing between processes.

    Returns
    -------
    Reach
        Which tests reach which line.

    Raises
    ------
    SystemExit
        A test fails as things are.
    """
    out = Path(folder) / "reach.pickle"
    tests = sorted({path(name) for names in area.tests.values() for name in names})

    def work():
        import coverage

        modules = [str(ROOT / module) for module in area.modules]
        cover = coverage.Coverage(data_file=None, include=modules, config_file=False)
        recorder = Recorder(cover)
        cover.start()
        cover.switch_context(EVERY)
        code = pytest_in(tests, folder, [recorder])
        cover.stop()
        out.write_bytes(pickle.dumps((recorder.seconds, _contexts(cover, area))))
        return code

    code = forked(work, 900)
    if code != 0:
        raise SystemExit(f"the tests fail without any fault (pytest says {code}): {tests}")
    return Reach(*pickle.loads(out.read_bytes()), area.tests)


def _contexts(cover, area):
    data = cover.get_data()
    found = defaultdict(dict)
    for module in area.modules:
        found[module] = data.contexts_by_lineno(str(ROOT / module))
    return dict(found)
