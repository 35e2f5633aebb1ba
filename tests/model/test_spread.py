"""The model says what its story says, checked against scipy."""

import numpy as np
import pytensor
import pytensor.tensor as pt
import pytest
from designs import spread_design as design_of
from designs import values_of
from made_logs import log_of, simulated_log
from scipy.stats import norm
from true_golfers import steady

from putlab.base.settings import FAR
from putlab.model.readings import intervals
from putlab.model.spread import (
    DIMS,
    MISHIT_MOST,
    MISHIT_TIMES,
    PARAMETERS,
    build_model,
    expected_readings,
    interval_probability,
    named_quantities,
    read_again,
    readings_logp,
)
from putlab.posterior.tree import PLAIN


@pytest.fixture(scope="module")
def small():
    rng = np.random.default_rng(5)
    log = simulated_log(rng, players=2, sessions=3, each=2, lengths=[5.0, 12.0])
    half = np.where(log.putts.index % 2 == 0, "old", "new")
    log = log_of(log.putts.assign(condition=half), line_noise_deg=0.2)
    return log, design_of(log)


def test_the_free_parameters_are_those_of_the_story(small):
    model = build_model(small[1])
    assert [v.name for v in model.free_RVs if v.name not in PARAMETERS] == []
    assert {v.name for v in model.free_RVs} == set(PARAMETERS)


def test_the_likelihood_equals_the_story_written_out_in_scipy(small, rng):
    """Every counted interval's probability, by plain loops over the named quantities."""
    log, design = small
    model = build_model(design)
    point = {v.name: rng.normal(0, 0.3, v.shape.eval(mode=PLAIN)) for v in model.free_RVs}
    for name in ("between_sd", "spot_sd", "bias_spot_sd", "visit_bias_sd", "visit_form_sd"):
        point[name] = np.exp(point[name])
    point["mishit_u"] = np.full(design.size[0], 0.3)
    total = model.logp(vars=model.observed_RVs, jacobian=False)
    total = total.eval(values_of(model, point), mode="FAST_COMPILE", on_unused_input="ignore")
    assert total == pytest.approx(written_out(point, design, log), rel=1e-9)


def logp_of(v, data):
    """Return the log probability of every interval, of the story's terms."""
    ends = np.stack([data["lo"], data["hi"]], axis=-1)
    return readings_logp(ends, *expected_readings(v, data), data["noise"], data["count"])


def written_out(point, design, log):
    import xarray as xr

    raw = xr.Dataset(
        {k: (("chain", "draw", *DIMS[k]), np.asarray(v)[None, None]) for k, v in point.items()}
    )
    q = named_quantities(raw, design).isel(chain=0, draw=0)
    visits = design.sessions.reset_index()
    total = 0.0
    for row in intervals(log, "line").itertuples():
        here = (visits["player"] == row.player) & (visits["session"] == row.session)
        visit = visits[here].iloc[0]
        condition = f"{row.player}: {row.condition}"
        x = np.log(design.lengths_ft[row.length] / 10)
        mu = float(q["bias"].sel(player=row.player)[row.length] + q["visit_bias"][visit["index"]])
        mu += float(q["shift"].sel(condition=condition))
        log_sd = float(
            q["level"].sel(player=row.player)[row.length] + q["visit_form"][visit["index"]]
        )
        log_sd += float(q["trend"].sel(player=row.player)) * visit["practised"]
        log_sd += float(q["warm_up"].sel(player=row.player)) * row.warm_up
        log_sd += float(q["effect"].sel(condition=condition))
        log_sd += float(q["effect_slope"].sel(condition=condition)) * x
        chance = 0.0
        m = float(q["mishit_share"].sel(player=row.player))
        for weight, times in ((1 - m, 1.0), (m, MISHIT_TIMES)):
            sd = np.hypot(times * np.exp(log_sd), row.noise)
            chance += weight * (norm.cdf(row.hi, mu, sd) - norm.cdf(row.lo, mu, sd))
        total += row.count * np.log(chance)
    return total


def test_the_probability_of_readings_by_hand():
    """Two players, two cells each of them, three readings; every part of the story at work."""
    v = {
        "bias": np.array([[0.1, -0.2], [0.3, 0.4]]), "visit_bias": np.array([0.05, -0.1]),
        "shift": np.array([7.0, 0.5]), "effect": np.array([8.0, -0.3]),
        "effect_slope": np.array([9.0, 0.2]), "level": np.array([[0.0, 0.2], [-0.4, 0.1]]),
        "visit_form": np.array([0.03, -0.06]), "trend": np.array([-0.1, 0.2]),
        "warm_up": np.array([0.15, 0.25]), "counted": np.array([-0.12, 0.35]),
        "mishit_share": np.array([0.02, 0.1]),
    }  # fmt: skip
    data = {
        "player": np.array([0, 1]), "length": np.array([1, 0]), "session": np.array([0, 1]),
        "condition": np.array([1, 0]), "practised": np.array([0.5, -0.3]),
        "warm_up": np.array([1.0, 0.0]), "counted": np.array([0.0, 1.0]),
        "x": np.array([-0.7, 0.6]), "row_cell": np.array([0, 1, 1]),
        "lo": np.array([0.5, -np.inf, 3.0]), "hi": np.array([1.5, -0.5, np.inf]),
        "noise": np.array([0.0, 0.2, 0.3]), "count": np.array([3.0, 1.0, 2.0]),
    }  # fmt: skip
    # Cell 0: first player, second length, under the change, first putts. Condition 0 is as
    # before: its shift and effects say nothing.
    mu = [-0.2 + 0.05 + 0.5, 0.3 - 0.1]
    sd = np.exp([0.2 + 0.03 - 0.1 * 0.5 + 0.15 - 0.3 + 0.2 * 0.6, -0.4 - 0.06 - 0.2 * 0.3 + 0.35])
    expected = []
    for cell, lo, hi, noise, count, wild in (
        (0, 0.5, 1.5, 0.0, 3, 0.02),
        (1, -np.inf, -0.5, 0.2, 1, 0.1),
        (1, 3.0, np.inf, 0.3, 2, 0.1),
    ):
        chance = 0.0
        for share, times in ((1 - wild, 1), (wild, 4)):
            normal = norm(mu[cell], np.hypot(times * sd[cell], noise))
            chance += share * (normal.cdf(hi) - normal.cdf(lo))
        expected.append(count * np.log(chance))
    assert logp_of(v, data).eval() == pytest.approx(expected, rel=1e-12)


def test_wild_putts_are_a_fifth_at_most_and_four_times_as_wide():
    """As the story says, and the ceiling of the manual ."""
    assert MISHIT_TIMES == 4
    assert MISHIT_MOST == 0.2


@pytest.mark.parametrize("at", [-9.0, -3.0, 0.0, 4.0, 12.0])
def test_interval_probability_keeps_its_digits_in_both_tails(at):
    ends = np.array([at]), np.array([at + 0.5])
    here = interval_probability(*ends, np.ones(1)).eval().item()
    side = norm.sf if at > 0 else norm.cdf
    # As a ratio: beside `approx`'s own 1e-12 a tail of 1e-33 could be anything.
    assert here / abs(side(at) - side(at + 0.5)) == pytest.approx(1, rel=1e-9)


def test_a_reading_beyond_belief_does_not_break_the_likelihood():
    # 89 degrees from a golfer of half a degree: 44 spreads out even for a mishit.
    one = np.zeros(1)
    names = (
        "visit_bias",
        "shift",
        "effect",
        "effect_slope",
        "visit_form",
        "trend",
        "warm_up",
        "counted",
    )
    v = dict.fromkeys(names, one) | {"level": np.log([[0.5]]), "mishit_share": one + 0.02}
    v["bias"] = pt.matrix("bias")
    cell = dict.fromkeys(("player", "length", "session", "condition", "row_cell"), one.astype(int))
    data = cell | dict.fromkeys(("practised", "warm_up", "counted", "x", "noise"), one)
    data |= {"lo": one + 88.5, "hi": one + 89.5, "count": one + 1}
    chance = logp_of(v, data).sum()
    both = [chance, pt.grad(chance, v["bias"])]
    value, slope = pytensor.function([v["bias"]], both, mode="FAST_COMPILE")([[0.0]])
    assert np.isfinite(value)
    assert value < -600
    assert np.isfinite(slope).all()


def test_what_is_read_again_scatters_as_the_story_says_and_on_the_same_steps(rng):
    """A hundred thousand readings in whole degrees, and beyond a limit of two."""
    size = 100_000
    ends = np.broadcast_to([-0.5, 0.5], (size, 2))
    again = read_again(np.full(size, 0.3), 1.2, 0.1, 0.5, 1, ends, rng)
    middle = again.mean(axis=-1)
    assert np.all(middle == np.round(middle))
    assert np.all(np.ptp(again, axis=-1) == 1)
    sheppard = 1 / 12  # of rounding to whole degrees (W. F. Sheppard, 1898; from memory)
    variance = 0.9 * 1.2**2 + 0.1 * (4 * 1.2) ** 2 + 0.5**2 + sheppard
    assert middle.mean() == pytest.approx(0.3, abs=0.03)
    assert middle.var() == pytest.approx(variance, rel=0.03)
    stopped = np.broadcast_to([2.0, FAR], (size, 2))
    beyond = read_again(np.full(size, 0.3), 1.2, 0.0, 0.0, 1, stopped, rng)
    at_limit = (beyond == stopped).all(axis=-1)
    assert at_limit.mean() == pytest.approx(norm.sf(2.0, 0.3, 1.2), abs=0.005)
    assert np.all(beyond[~at_limit] < 2.0)


def test_steady_truth_refuses_unknown_fields():
    with pytest.raises(TypeError, match="unexpected"):
        steady(0.0, wobble=1.0)
