"""The pieces that are called often, timed in process by pytest-benchmark."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

pytestmark = pytest.mark.bench


@pytest.fixture(scope="module")
def log():
    from rivals import the_log

    return the_log(10_000)


def keep_median(measured, benchmark, what):
    milliseconds = 1e3 * benchmark.stats.stats.median
    measured.add("inside", what, milliseconds, "ms")


def test_reading_the_demo(benchmark, measured):
    from putlab.log.read import read_log

    benchmark(read_log, Path(__file__).parents[2] / "data_demo")
    keep_median(measured, benchmark, "read the demo log")


def test_counting_cells(benchmark, measured, log):
    from putlab.model.readings import intervals

    benchmark(intervals, log, "line")
    keep_median(measured, benchmark, "10 thousand putts to counted cells")


def test_gradient(benchmark, measured, log):
    from rivals import our_design

    from putlab.model.readings import intervals
    from putlab.model.spread import build_model

    model = build_model(our_design(log, intervals(log, "line")))
    gradient = model.logp_dlogp_function(ravel_inputs=True)
    start = np.concatenate([np.ravel(value) for value in model.initial_point().values()])
    benchmark(gradient, start)
    keep_median(measured, benchmark, "log probability and gradient of line")
