"""Sampling: the same seed gives the same draws, and a bad fit is not reported."""

import os
import signal
import threading
import time
from types import SimpleNamespace

import numpy as np
import nutpie
import pymc as pm
import pytest
import xarray as xr

from putlab.base.cache import load_arrays
from putlab.base.errors import FitError
from putlab.base.settings import ESS_LIMIT
from putlab.model.spread import tree_of
from putlab.posterior import sampling as fitting
from putlab.posterior.checks import failures, verdict_table
from putlab.posterior.sampling import convergence


def tree(draws, diverged=0):
    diverging = np.zeros(draws.shape[:2], dtype=bool)
    diverging.flat[:diverged] = True
    return tree_of(xr.Dataset({"spread": (("chain", "draw"), draws)}), diverging)


def test_chains_that_agree_pass(rng):
    verdicts = convergence(tree(rng.standard_normal((4, 1000))))
    assert verdict_table(verdicts)["result"].tolist() == ["pass", "pass", "pass"]


def test_chains_apart_fail_and_the_quantity_is_named(rng):
    draws = rng.standard_normal((4, 1000)) + np.arange(4)[:, None]
    failed = failures(convergence(tree(draws)))
    assert "spread" in failed[0].sentence
    assert failed[0].name == "R-hat"


def test_sticky_chains_fail_for_want_of_effective_draws(rng):
    steps = rng.standard_normal((4, 1000))
    sticky = np.zeros_like(steps)
    for i in range(1, 1000):
        # AR(1) with rho = 0.95 has an effective share of (1 - rho) / (1 + rho) = 2.6 %.
        sticky[:, i] = 0.95 * sticky[:, i - 1] + steps[:, i]
    verdict = convergence(tree(sticky))[1]
    assert verdict.result == "fail"
    assert verdict.table["lowest_ess_bulk"].item() < ESS_LIMIT


@pytest.mark.parametrize(("diverged", "result"), [(0, "pass"), (3, "note"), (100, "fail")])
def test_divergences_are_told_or_fail(rng, diverged, result):
    assert convergence(tree(rng.standard_normal((4, 1000)), diverged))[2].result == result


def test_a_fit_that_does_not_converge_is_refused(rng, monkeypatch, own_cache):
    apart = tree(rng.standard_normal((2, 50)) + 9 * np.arange(2)[:, None])
    sampled = []
    monkeypatch.setattr(fitting, "sample", lambda *_, **__: sampled.append(1) or apart)
    design = SimpleNamespace(containers={}, size=(1, 1), putts=50)

    def fit(**options):
        with pytest.raises(FitError, match="line fit did not converge.*putlab check"):
            fitting.kept_or_sampled(
                design, ["spread"], lambda _: None, lambda _: {"line": apart}, what="line",
                code=[], **options,
            )  # fmt: skip
        return len(sampled)

    assert fit(cache=False) == 2  # two tries
    assert not own_cache.exists()
    assert fit() == 4
    # The same would fail again: it is refused at once, and what is kept is never a fit.
    assert fit() == 4
    assert [load_arrays(path.stem).keys() for path in own_cache.glob("*")] == [{"why"}]
    # By other limits it might pass.
    monkeypatch.setattr(fitting, "ESS_LIMIT", fitting.ESS_LIMIT - 1)
    assert fit() == 6


def test_how_a_fit_is_made_does_not_matter_to_what_it_is():
    design = SimpleNamespace(containers={"numbers": np.arange(3.0)}, size=(1, 1))
    key = fitting._fit_key(design, [], 1, {"draws": 1000, "cores": 1, "progress_bar": True})
    assert key == fitting._fit_key(design, [], 1, {"draws": 1000})
    assert key != fitting._fit_key(design, [], 1, {"draws": 500})
    assert key != fitting._fit_key(design, [], 2, {"draws": 1000})


def test_chains_start_where_their_own_log_says(demo_fit, monkeypatch):
    """Not where the log that was compiled first would have them."""
    monkeypatch.setattr(fitting, "_compiled", {})
    line, pace = demo_fit.designs["line"], demo_fit.designs["pace"]
    assert line.size == pace.size
    starts = [fitting.compiled_for(design).initial_point_func(3) for design in (line, pace, line)]
    np.testing.assert_array_equal(starts[0], starts[2])
    assert not np.array_equal(starts[0], starts[1])


def test_an_interrupt_stops_sampling_instead_of_shortening_it():
    with pm.Model() as model:
        pm.Normal("x", 0, 1, shape=3)
    compiled = nutpie.compile_pymc_model(model)
    stopped = threading.Event()

    def press():
        # Python drops an interrupt that falls into a finaliser; whoever waits presses again.
        while not stopped.wait(1.0):
            os.kill(os.getpid(), signal.SIGINT)

    threading.Thread(target=press, daemon=True).start()
    start = time.monotonic()
    try:
        with pytest.raises(KeyboardInterrupt):
            fitting.sample(compiled, draws=2_000_000)
    finally:
        stopped.set()
    assert time.monotonic() - start < 10


@pytest.mark.slow
def test_the_kept_fit_is_the_fit(demo_log, demo_fit, monkeypatch):
    """A second fit of the same log comes from disk, draw for draw."""
    from putlab.posterior.player import fit_log

    monkeypatch.setattr(fitting, "sample", lambda *_, **__: pytest.fail("sampled again"))
    again = fit_log(demo_log)
    for component, one in demo_fit.trees.items():
        xr.testing.assert_identical(
            one["posterior"].dataset, again.trees[component]["posterior"].dataset
        )


@pytest.mark.slow
def test_the_demo_fit_passes_its_checks(demo_fit):
    for verdicts in demo_fit.diagnostics().values():
        assert failures(verdicts) == []


def of_two_players(draws, diverging):
    return tree_of(xr.Dataset({"spread": (("chain", "draw", "player"), draws)}), diverging)


def test_a_kept_fit_holds_its_convergence_and_needs_no_arviz(rng, own_cache, monkeypatch):
    import arviz_stats as azs

    draws = rng.standard_normal((4, 500, 2))
    sampled = of_two_players(draws, np.zeros((4, 500)))
    monkeypatch.setattr(fitting, "sample", lambda *_, **__: sampled)
    design = SimpleNamespace(containers={}, size=(2, 2), putts=100)

    def trees_of(arrays):
        return {"line": of_two_players(arrays["spread"], arrays["diverging"])}

    def fitted():
        trees = fitting.kept_or_sampled(
            design, ["spread"], lambda _: None, trees_of,
            what="line", code=[],
        )  # fmt: skip
        return trees["line"]

    first = fitting.convergence(fitted())
    monkeypatch.setattr(azs, "rhat", None)
    monkeypatch.setattr(azs, "ess", None)
    again = fitting.convergence(fitted())
    assert verdict_table(again).equals(verdict_table(first))
    monkeypatch.undo()
    apart = [azs.ess(draws[..., player], chain_axis=0, draw_axis=1) for player in (0, 1)]
    table = first[1].table
    assert table.loc["spread", "lowest_ess_bulk"] == pytest.approx(min(apart))
    assert table.loc["spread", "highest_ess_bulk"] == pytest.approx(max(apart))
