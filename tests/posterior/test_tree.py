"""A posterior that somebody with ArviZ alone can use."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pymc as pm
import pytest
import xarray as xr
from arviz_alone import opened
from designs import green_design, values_of
from made_logs import log_of, simulated_log
from scipy.stats import norm
from true_golfers import steady

from putlab.model.green_model import JOINT_PARAMETERS, build_model
from putlab.posterior import tree as room
from putlab.posterior.fit import fit_log, put_together
from putlab.posterior.sampling import STATS, posteriors_of
from putlab.posterior.tree import PLAIN

pytestmark = pytest.mark.slow

LENGTHS_FT = [4.0, 8.0, 14.0, 24.0]


@pytest.fixture(scope="module")
def practice_fit():
    rng = np.random.default_rng(8)
    truth = {"line": steady(np.log(0.9), lengths=4), "pace": steady(np.log(7.0), lengths=4)}
    log = simulated_log(rng, sessions=4, each=10, lengths=LENGTHS_FT, roll_limit_ft=26.0, **truth)
    return fit_log(log, draws=300, tune=300, chains=4, cores=2)


def test_a_practice_fit_is_opened_by_arviz_alone(practice_fit, tmp_path):
    practice_fit.to_netcdf(tmp_path / "practice.nc")
    tree = opened(tmp_path / "practice.nc")
    posterior = tree["posterior"]
    assert posterior["length_ft"].values.tolist() == LENGTHS_FT
    assert posterior["player"].values.tolist() == ["player 1"]
    assert posterior["visit"].values.tolist() == [f"visit {n:02d}" for n in range(1, 5)]
    draws = practice_fit.posteriors["line"]["posterior"]
    np.testing.assert_array_equal(posterior["line_level"], draws["level"])
    assert posterior["line_level"].dims == ("chain", "draw", "player", "length_ft")


def test_log_likelihood_is_the_story_of_each_reading_by_scipy(practice_fit):
    tree = practice_fit.tree()
    q = practice_fit.posteriors["pace"]["posterior"].to_dataset().isel(chain=1, draw=0)
    told = tree["constant_data"]
    found = tree["log_likelihood"]["pace"].isel(chain=1, draw=0).values
    design = practice_fit.designs["pace"]
    assert found.size == design.putts == 160
    for i in (0, 50, 159):
        length = np.argmin(np.abs(design.lengths_ft - told["pace_distance_ft"].values[i]))
        visit = design.sessions["session"].tolist().index(told["pace_visit"].values[i])
        mu = q["bias"][0, length] + q["visit_bias"][visit]
        log_sd = q["level"][0, length] + q["visit_form"][visit]
        log_sd = log_sd + q["trend"][0] * design.sessions["practised"][visit]
        log_sd = log_sd + q["warm_up"][0] * told["pace_warm_up"].values[i]
        wild, chance = q["mishit_share"][0].item(), 0.0
        for share, times in ((1 - wild, 1), (wild, 4)):
            reading = norm(mu.item(), times * np.exp(log_sd.item()))
            lo, hi = (told[f"pace_{end}"].values[i] for end in ("lo", "hi"))
            chance += share * (reading.cdf(hi) - reading.cdf(lo))
        assert found[i] == pytest.approx(np.log(chance), rel=1e-8)


def test_log_prior_is_that_of_each_belief_by_scipy(practice_fit):
    """Priors as told in `putlab/model/priors.py`, on the scale of the story."""
    tree = practice_fit.tree()
    at = {"chain": 2, "draw": 5}
    q, found = (tree[group].to_dataset().isel(at) for group in ("posterior", "log_prior"))
    normals = {"slope": 0.15, "trend": 0.1, "bias_mean": 6.0, "warm_up": 0.1}
    for name, sd in normals.items():
        expected = norm.logpdf(q[f"pace_{name}"], 0, sd)
        np.testing.assert_allclose(found[f"pace_{name}"], expected, rtol=1e-9)
    spread = norm.logpdf(q["pace_base_mean"], np.log(9.0), 0.5)
    assert found["pace_base_mean"].item() == pytest.approx(spread)
    # What another one governs has none of its own: scaling it would scale a hierarchy twice.
    assert not {"pace_base", "pace_level", "pace_bias", "pace_visit_bias"} & set(found)


def test_replicates_stop_at_the_limit_and_fall_on_the_displays_steps(practice_fit):
    tree = practice_fit.tree()
    observed, again = (tree[group]["pace"] for group in ("observed_data", "posterior_predictive"))
    longest = tree["constant_data"]["pace_distance_ft"].values == 24.0
    limit = observed.values[longest].max()
    assert again.values[..., longest].max() == pytest.approx(limit)
    line = tree["posterior_predictive"]["line"].values
    np.testing.assert_allclose(line, np.round(line), atol=1e-9)
    assert line.std() == pytest.approx(tree["observed_data"]["line"].values.std(), rel=0.15)


def test_of_a_long_log_some_draws_are_kept(practice_fit, monkeypatch):
    monkeypatch.setattr(room, "MOST_VALUES", 160 * 4 * 100)
    tree = practice_fit.tree()
    for group in ("posterior", "log_likelihood", "log_prior", "sample_stats"):
        assert tree[group].sizes["draw"] == 100
        assert tree[group]["draw"].values.tolist() == list(range(100))


def test_parts_with_more_draws_than_others_are_made_alike(practice_fit):
    """As of chains that went on: line has three times the draws of pace."""
    line = practice_fit.posteriors["line"]
    longer = {
        group: xr.concat([line[group].to_dataset()] * 3, "draw", data_vars="minimal")
        for group in ("posterior", "sample_stats")
    }
    fit = replace(
        practice_fit, posteriors=practice_fit.posteriors | {"line": xr.DataTree.from_dict(longer)}
    )
    tree = fit.tree()
    fewer = practice_fit.posteriors["pace"]["posterior"].sizes["draw"]
    assert tree["posterior"].sizes["draw"] == fewer
    for group in ("posterior", "log_likelihood", "sample_stats", "posterior_predictive"):
        assert not tree[group].to_dataset().isnull().any().to_array().any()


def test_energies_of_parts_sampled_apart_add_up(practice_fit):
    stats = practice_fit.tree()["sample_stats"].to_dataset()
    xr.testing.assert_allclose(stats["energy"], stats["line_energy"] + stats["pace_energy"])
    assert stats["diverging"].dtype == bool


def test_each_outcome_on_a_green_has_the_models_own_probability():
    """Draws of the priors stand in for a posterior: nothing is sampled."""
    rng = np.random.default_rng(8)
    practice = simulated_log(rng, sessions=2, each=5, lengths=LENGTHS_FT).putts
    holed = rng.random(36) < 0.5
    green = pd.DataFrame(
        {"player": "player 1", "session": "round", "stimp_ft": 10.0, "holed": holed}
    )
    green["distance_ft"] = np.resize([5.0, 9.0, 20.0], 36)
    green["leave_ft"] = np.where(holed | (np.arange(36) % 4 == 0), np.nan, 2.3)
    log = log_of(pd.concat([practice, green]))
    design = green_design(log)
    model = build_model(design)
    drawn = pm.draw([model[name] for name in JOINT_PARAMETERS], 6, random_seed=1, mode=PLAIN)
    arrays = {
        n: at.reshape(2, 3, *at.shape[1:]) for n, at in zip(JOINT_PARAMETERS, drawn, strict=True)
    }
    stats = {name: rng.normal(size=(2, 3)) for name in STATS}
    fit = put_together(log, design.components, posteriors_of(arrays | stats, design), 7)
    tree = replace(fit, joint=design).tree()
    values = values_of(model, {name: at[1, 2] for name, at in arrays.items()})
    found = tree["log_likelihood"].isel(chain=1, draw=2)
    for name, variable in {
        "green": "outcomes",
        "line": "line_readings",
        "pace": "pace_readings",
    }.items():
        logp = model.logp(vars=[model[variable]], jacobian=False)
        expected = logp.eval(values, mode=PLAIN, on_unused_input="ignore")
        assert found[name].sum().item() == pytest.approx(expected, rel=1e-9)
    kinds = tree["constant_data"]["green_outcome"].values
    assert (kinds == "made").sum() == holed.sum()
    assert set(kinds) == {"made", "missed", "left 2.05 to 2.55 ft"}
    assert tree["observed_data"]["holed"].size == 3


def test_a_roster_is_opened_by_arviz_alone(demo_fit, tmp_path, monkeypatch):
    monkeypatch.setattr(room, "MOST_VALUES", 1e6)
    demo_fit.to_netcdf(tmp_path / "demo.nc")
    tree = opened(tmp_path / "demo.nc")
    assert tree["posterior"]["player"].values.tolist() == demo_fit.players
    assert tree["posterior"]["visit"].values[0].startswith(f"{demo_fit.players[0]}: ")
    assert "line_shift" in tree["posterior"]
