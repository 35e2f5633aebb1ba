"""Is the spread model right on average? Long runs: ``uv run pytest -n 0 -m calibration``.

Each test writes what it measured to ``tests/results``.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

from made_logs import log_of, simulated_log  # noqa: E402
from record import record  # noqa: E402
from true_golfers import steady

from putlab.model.design import make_design, session_table
from putlab.model.priors import PRIORS
from putlab.model.readings import intervals, lengths_ft
from putlab.model.spread import named_quantities
from putlab.posterior import sampling as fitting

pytestmark = pytest.mark.calibration

CHAINS, DRAWS = 2, 500


def posterior(log, component, priors=None, *, seed=1, chains=CHAINS, draws=DRAWS):
    """Return the named quantities of one component, without the cache."""
    players = list(log.putts["player"].unique())
    lengths = lengths_ft(log.putts["distance_ft"])
    prior = priors or PRIORS[component]
    rows, visits = intervals(log, component), session_table(log.putts)
    design = make_design(rows, visits, lengths, players, prior)
    compiled = fitting.compiled_for(design)
    raw = fitting.sample(compiled, seed=seed, draws=draws, tune=400, chains=chains, cores=2)
    return named_quantities(raw.posterior.dataset, design)


def flat(values):
    """Join chains and draws."""
    return values.values.reshape(-1, *values.shape[2:])


def test_whole_degrees_do_not_bias_a_spread_of_half_a_degree():
    rng = np.random.default_rng(42)
    estimates, plain = [], []
    for number in range(50):
        log = simulated_log(rng)
        estimates.append(np.exp(flat(posterior(log, "line", seed=number)["level"])).mean())
        plain.append(log.putts.groupby("distance_ft")["line_deg"].std().mean())
    ours, naive = np.mean(estimates), np.mean(plain)
    record(
        "whole_degrees",
        what="true spread 0.5 degrees in whole degrees, 10 sessions x 6 lengths x 10 putts",
        logs=50,
        mean_estimate=ours,
        mean_plain_sd=naive,
    )
    assert abs(ours / 0.5 - 1) < 0.03
    assert abs(naive / 0.5 - 1) > 0.10


def test_a_backstop_does_not_bias_pace():
    rng = np.random.default_rng(43)
    limit, lengths = 36.0, [33.0, 36.0]
    ours, dropped, face, stopped = [], [], [], []
    for number in range(50):
        log = simulated_log(rng, lengths=lengths, each=30, pace=_pace_8(2), roll_limit_ft=limit)
        relative = 100 * (log.putts["roll_ft"] / log.putts["distance_ft"] - 1)
        at_limit = log.putts["roll_ft"] >= limit
        group = log.putts["distance_ft"]
        ours.append(np.exp(flat(posterior(log, "pace", seed=number)["level"])).mean())
        dropped.append(relative[~at_limit].groupby(group[~at_limit]).std().mean())
        face.append(relative.groupby(group).std().mean())
        stopped.append(at_limit.mean())
    means = {"ours": ours, "left_out": dropped, "face_value": face}
    figures = {name: float(np.mean(values)) for name, values in means.items()}
    record(
        "backstop",
        what="true pace spread 8 %; rows at the backstop as intervals, left out, at face value",
        logs=50,
        share_stopped=float(np.mean(stopped)),
        **figures,
    )
    assert np.mean(stopped) == pytest.approx(0.3, abs=0.03)
    assert abs(figures["ours"] / 8 - 1) < 0.03
    assert min(abs(figures["left_out"] / 8 - 1), abs(figures["face_value"] / 8 - 1)) > 0.10


def _pace_8(lengths):
    return steady(np.log(8.0), lengths=lengths)


@pytest.mark.parametrize("wild", ["four spreads", "anything within ten degrees"])
def test_wild_putts_hardly_move_a_spread(wild):
    rng = np.random.default_rng(44)
    ratios = []
    for number in range(20):
        log = simulated_log(rng, line=steady(np.log(1.0), lengths=6))
        hit = rng.random(len(log.putts)) < 0.05
        value = rng.uniform(-10, 10, hit.sum()) if "ten" in wild else rng.normal(0, 4, hit.sum())
        mixed = log.putts["line_deg"].mask(hit, pd.Series(np.round(value), np.flatnonzero(hit)))
        with_wild = log_of(log.putts.assign(line_deg=mixed))
        calm, rough = (
            np.exp(flat(posterior(one, "line", seed=number)["level"])).mean()
            for one in (log, with_wild)
        )
        ratios.append(rough / calm)
    record(
        f"mishits_{wild.replace(' ', '_')}",
        what="spread with 5 % wild putts over spread without",
        logs=20,
        mean_ratio=float(np.mean(ratios)),
        sd_ratio=float(np.std(ratios)),
    )
    assert abs(np.mean(ratios) - 1) < 0.05


def test_variance_components_agree_with_a_mixed_model():
    """Exact readings of forty visits: REML by statsmodels against the posterior."""
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(45)
    truth = steady(np.log(1.2), lengths=1, visit_bias_sd=0.6)
    log = simulated_log(
        rng, line=truth, pace=_pace_8(1), sessions=40, lengths=[10.0], each=40, line_step_deg=0.0
    )
    mixed = smf.mixedlm("line_deg ~ 1", log.putts, groups=log.putts["session"]).fit(reml=True)
    reml = {"within": np.sqrt(mixed.scale), "setup": np.sqrt(mixed.cov_re.iloc[0, 0])}
    q = posterior(log, "line", chains=4, draws=1000)
    draws = {"within": np.exp(flat(q["level"])[:, 0, 0]), "setup": flat(q["visit_bias_sd"])[:, 0]}
    ours = {name: float(np.median(values)) for name, values in draws.items()}
    record(
        "mixed_model",
        what="spread within a visit and setup sd: posterior median, and REML by statsmodels",
        putts=len(log.putts),
        **{f"{name}_posterior": ours[name] for name in ours},
        **{f"{name}_reml": float(reml[name]) for name in reml},
    )
    # 1,600 putts place the spread to 1.8 %; forty visits the setup to 11 %.
    assert ours["within"] == pytest.approx(reml["within"], rel=0.02)
    assert ours["setup"] == pytest.approx(reml["setup"], rel=0.08)
