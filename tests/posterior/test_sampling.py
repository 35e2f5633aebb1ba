"""Sampling: chains are judged, a bad fit is refused and remembered, a good one kept."""

from types import SimpleNamespace

import numpy as np
import nutpie
import pandas as pd
import pymc as pm
import pytest
import xarray as xr
from designs import green_design
from made_logs import log_of

from putlab.base.cache import load_arrays
from putlab.base.errors import FitError
from putlab.base.settings import ESS_LIMIT
from putlab.model.spread import tree_of
from putlab.posterior import sampling
from putlab.posterior.checks import failures
from putlab.posterior.sampling import convergence


def posterior(draws):
    """Return draws of one quantity, shape (chains, draws, players), none of which diverged."""
    named = xr.Dataset({"spread": (("chain", "draw", "player"), draws)})
    return tree_of(named, diverging=np.zeros(draws.shape[:2], dtype=bool))


def design_of(draws):
    """Return a design of one parameter, whose every sample is the draws given."""
    rows = pd.DataFrame({"player": "a", "length": 0, "lo": [0.5, 1.5], "hi": [1.5, 2.5]})
    rows["count"] = 1
    return SimpleNamespace(
        containers={}, size=(1, 1), putts=50, sampled=posterior(draws), rows=rows
    )


@pytest.fixture
def samples(monkeypatch):
    """Let a design tell its own draws; return a list that grows with every sample."""
    taken = []

    def sample(design, **options):
        taken.append(options)
        return getattr(design, "go_on", {}).get(options["draws"], design.sampled)

    def posteriors_of(arrays, design, what):
        return {what: posterior(arrays["spread"])}

    monkeypatch.setattr(sampling, "model_of", lambda design: (None, ["spread"]))
    monkeypatch.setattr(sampling, "compiled_for", lambda design: design)
    monkeypatch.setattr(sampling, "sample", sample)
    monkeypatch.setattr(sampling, "posteriors_of", posteriors_of)
    return taken


def test_a_fit_that_does_not_converge_is_refused(rng, samples, monkeypatch, own_cache):
    design = design_of(rng.standard_normal((2, 50, 1)) + 9 * np.arange(2)[:, None, None])

    def samples_after(**options):
        with pytest.raises(FitError, match="line fit did not converge.*try another seed"):
            sampling.fit_design(design, "line", **options)
        return len(samples)

    assert samples_after(cache=False) == 2  # two tries, the second the more patient
    assert samples[1]["tune"] > samples[0]["tune"]
    assert samples[1]["acceptance"] > samples[0]["acceptance"]
    assert not own_cache.exists()
    assert samples_after() == 4
    # The same would fail again: it is refused at once, and what is kept is never a fit.
    assert samples_after() == 4
    assert [load_arrays(path.stem).keys() for path in own_cache.glob("*")] == [{"why"}]
    # By other limits it might pass.
    monkeypatch.setattr(sampling, "ESS_LIMIT", sampling.ESS_LIMIT - 1)
    assert samples_after() == 6


@pytest.mark.parametrize(
    ("component", "lo", "hi", "said"),
    [
        ("pace", [-np.inf, -np.inf], [-99.0, -99.5], "lie at an end"),
        ("pace", [120.0, 60.0], [np.inf, np.inf], "lie at an end"),
        ("line", [0.5, 0.5], [1.5, 1.5], "are the same at each length"),
        ("line", [-80.0, 60.0], [-79.0, 61.0], "scatter as no golfer"),
    ],
)
def test_a_cause_that_is_known_is_named(component, lo, hi, said):
    rows = pd.DataFrame({"player": "birch", "length": 0, "lo": lo, "hi": hi, "count": 3})
    (cause,) = sampling.known_causes(rows, component)
    assert cause.startswith(f"All {component} readings of birch {said}")


def test_readings_as_of_a_golfer_name_no_cause():
    rows = pd.DataFrame({"lo": [-0.5, 0.5], "hi": [0.5, np.inf], "count": [3, 1]})
    rows = rows.assign(player="a", length=0)
    assert list(sampling.known_causes(rows, "line")) == []


def test_who_missed_every_putt_is_named_and_whoever_made_one_is_not():
    few = pd.DataFrame({"session": "one", "distance_ft": [4.0, 9.0, 9.0], "holed": False})
    both = [few.assign(player="alder"), few.assign(player="birch", holed=[True, False, False])]
    (cause,) = sampling._causes(green_design(log_of(pd.concat(both))), "made-and-missed")
    assert cause.startswith("Every putt of alder on a green (3) was missed")
    left = few.assign(player="alder", leave_ft=[1.0, 2.0, 3.0])
    assert sampling._causes(green_design(log_of(left)), "made-and-missed") == []


def test_one_roll_at_every_length_is_known_as_the_cause_and_one_putt_of_each_is_not():
    rows = pd.DataFrame({"length": [0, 1], "lo": [90.0, -40.0], "hi": [91.0, -39.0]})
    (cause,) = sampling.known_causes(rows.assign(player="a", count=50), "pace")
    assert "are the same at each length" in cause
    few = pd.DataFrame({"player": "a", "length": [0, 1], "lo": [0.5, -1.5], "hi": [1.5, -0.5]})
    assert list(sampling.known_causes(few.assign(count=1), "line")) == []


def test_chains_that_fail_by_little_go_on_before_anything_is_refused(rng, samples, own_cache):
    """R-hat is 1.014 of the first draws, and of all of them as it should be."""
    draws = rng.standard_normal((4, 3000, 1))
    draws[:2, :1000] += 0.3
    drawn = {1000: posterior(draws[:, :1000]), 3000: posterior(draws)}
    first, passed = (convergence(drawn[n]) for n in (1000, 3000))
    assert "R-hat of spread is 1.014" in first[0].sentence
    assert failures(passed) == []
    design = design_of(draws[:, :1000])
    design.go_on = drawn
    found = sampling.fit_design(design, "line", draws=1000)
    assert [taken["draws"] for taken in samples] == [1000, 3000]
    assert found["line"]["posterior"].sizes["draw"] == 3000


def test_a_kept_fit_holds_its_convergence_and_needs_no_arviz(rng, samples, own_cache, monkeypatch):
    import arviz_stats as azs

    draws = rng.standard_normal((4, 500, 2))
    design = design_of(draws)
    first = convergence(sampling.fit_design(design, "line")["line"])
    monkeypatch.setattr(azs, "rhat", None)
    monkeypatch.setattr(azs, "ess", None)
    again = convergence(sampling.fit_design(design, "line")["line"])
    assert len(samples) == 1
    assert [(v.name, v.result, v.sentence) for v in again] == [
        (v.name, v.result, v.sentence) for v in first
    ]
    monkeypatch.undo()
    apart = [azs.ess(draws[..., player], chain_axis=0, draw_axis=1) for player in (0, 1)]
    table = first[1].table
    assert table.loc["spread", "lowest_ess_bulk"] == pytest.approx(min(apart))
    assert table.loc["spread", "highest_ess_bulk"] == pytest.approx(max(apart))


def test_how_a_fit_is_made_does_not_matter_to_what_it_is(rng, samples, own_cache):
    design = design_of(rng.standard_normal((4, 500, 2)))
    sampled = []
    for more in ({"cores": 1, "progress_bar": True}, {"cores": 2}, {"draws": 500}, {"seed": 2}):
        sampling.fit_design(design, "line", **more)
        sampled.append(len(samples))
    assert sampled == [1, 1, 2, 3]


def test_chains_of_a_long_log_start_from_draws_of_a_short_run(monkeypatch):
    places = np.arange(12.0).reshape(2, 2, 3)
    stats = xr.Dataset({"unconstrained_draw": (("chain", "draw", "parameter"), places)})
    counted = []
    long = SimpleNamespace(putts=50_000, counted_as=counted.append)
    monkeypatch.setattr(sampling, "compiled_for", lambda design, start=None: start)
    monkeypatch.setattr(sampling, "sample", lambda *_, **__: {"sample_stats": stats})
    start = sampling.ready_to_sample(long)
    assert counted == [sampling.FEW_PUTTS]
    assert start(1).tolist() in places.reshape(4, 3).tolist()
    assert sampling.ready_to_sample(SimpleNamespace(putts=50)) is None


def test_what_was_compiled_once_is_read_from_disk_and_draws_the_same(tmp_path, monkeypatch):
    from pytensor.link.numba import cache

    monkeypatch.setattr(cache, "NUMBA_CACHE_PATH", tmp_path)
    values = np.random.default_rng(1).standard_normal(1001)

    def drawn():
        with pm.Model() as model:
            sd = pm.LogNormal("sd", 0, 1)
            pm.Normal("readings", 0, sd, observed=pm.Data("values", values))
        made = sampling.compile_model(model, ["sd"])(shared_data={"values": values})
        raw = sampling.sample(made, draws=20, tune=100, chains=1, seed=1)
        return raw.posterior["sd"].values

    fresh = drawn()
    kept = {path: path.stat().st_mtime_ns for path in tmp_path.iterdir()}
    assert kept
    np.testing.assert_array_equal(drawn(), fresh)
    assert {path: path.stat().st_mtime_ns for path in tmp_path.iterdir()} == kept


def test_where_the_density_has_no_slope_a_chain_turns_back():
    with pm.Model() as model:
        x = pm.Normal("x", 0, 1)
        # Beyond one this is nought, with a slope that is no number.
        pm.Potential("cliff", pm.math.sqrt(pm.math.maximum(1 - x, 0.0)))
    raw = sampling.sample(sampling.compile_model(model, ["x"])(shared_data={}), chains=1, seed=1)
    assert raw.sample_stats["diverging"].values.any()
    assert (raw.posterior["x"].values < 1).all()


def test_an_interrupt_stops_sampling_instead_of_shortening_it(monkeypatch):
    class Sampler:
        cancelled = False

        def wait(self):
            raise KeyboardInterrupt

        def cancel(self):
            self.cancelled = True

    sampler, asked = Sampler(), {}
    monkeypatch.setattr(nutpie, "sample", lambda _, **options: asked.update(options) or sampler)
    with pytest.raises(KeyboardInterrupt):
        sampling.sample(None)
    assert sampler.cancelled
    # Waiting inside nutpie, as it does by default, would end the run early and say nothing.
    assert asked["blocking"] is False


# Convergence


def tree(draws, diverged=0):
    diverging = np.zeros(draws.shape[:2], dtype=bool)
    diverging.flat[:diverged] = True
    return tree_of(xr.Dataset({"spread": (("chain", "draw"), draws)}), diverging=diverging)


def test_chains_that_agree_pass(rng):
    verdicts = convergence(tree(rng.standard_normal((4, 1000))))
    assert [v.result for v in verdicts] == ["pass", "pass", "pass"]


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
