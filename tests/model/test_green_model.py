"""Made and missed on a green: what the model says, and what it can't tell."""

import numpy as np
import pandas as pd
import pytest
from brute_force import every_putt
from designs import green_design as design_of
from designs import values_of
from hole_chances import PlainHole, leave_chance, made_chance
from made_logs import log_of
from scipy.optimize import brentq, minimize
from table_model import build_table_model

from putlab.green.hole_out import hole_out
from putlab.green.published import table
from putlab.green.skill import Skill
from putlab.model.green_model import JOINT_PARAMETERS, build_model
from putlab.model.green_putts import LEAVE_BANDS_FT, NEXT_FT, REST_BANDS_FT
from putlab.model.hole_chance import FAR_FT
from putlab.posterior.tree import PLAIN

# What the model says


def one_visit(**columns):
    return log_of(pd.DataFrame({"player": "a", "session": "one", "stimp_ft": 10.0} | columns))


def outcomes_at(log, line_sd_deg, pace_sd_pct, *, line_bias=0.0, pace_bias=0.0):
    """Return the log probability of a log's outcomes for a golfer of given total spread.

    Half of the variance is technique and half the green's; there is nothing else.
    """
    model = build_model(design_of(log))
    point = {rv.name: np.zeros(rv.shape.eval(mode=PLAIN)) for rv in model.free_RVs}
    point |= {name: value + 1e-6 for name, value in point.items() if name.endswith("_sd")}
    half = {"line": line_sd_deg / 2**0.5, "pace": pace_sd_pct / 2**0.5}
    for name, bias in (("line", line_bias), ("pace", pace_bias)):
        point[f"{name}_base_u"] += np.log(half[name])
        point[f"{name}_bias_mean_u"] += bias
    point["green_line_sd_deg"] += half["line"]
    point["green_pace_sd_pct"] += half["pace"]
    values = values_of(model, point)
    total = model.logp(vars=[model["outcomes"]], jacobian=False)
    return float(total.eval(values, mode=PLAIN, on_unused_input="ignore"))


def test_the_free_parameters_are_those_of_the_story():
    model = build_model(design_of(one_visit(distance_ft=[8.0, 9.0], holed=[True, False])))
    assert [rv.name for rv in model.free_RVs if rv.name not in JOINT_PARAMETERS] == []
    assert len(model.free_RVs) == len(JOINT_PARAMETERS)


def test_made_and_missed_have_the_chances_of_hole_out():
    log = one_visit(distance_ft=[4.0, 4.0, 15.0], holed=[True, False, False])
    skill = Skill.constant(1.6, 10.0, line_bias_deg=0.3, pace_bias_pct=-4.0)
    near, far = hole_out(skill, [4.0, 15.0], stimp_ft=10.0).one_putt[0]
    expected = np.log(near * (1 - near) * (1 - far))
    found = outcomes_at(log, 1.6, 10.0, line_bias=0.3, pace_bias=-4.0)
    assert found == pytest.approx(expected, abs=2e-4)


def test_a_leave_has_the_share_of_nine_million_putts():
    log = one_visit(distance_ft=[15.0, 15.0], holed=[False, False], leave_ft=[2.3, 0.9])
    _, leaves = every_putt(15.0, (1.6, 0.0, 10.0, 0.0))
    bands = np.histogram(leaves, [0.55, 1.05, 2.05, 2.55])[0] / leaves.size
    found = outcomes_at(log, 1.6, 10.0)
    assert found == pytest.approx(np.log(bands[0] * bands[2]), abs=5e-3)


def test_putts_that_followed_have_the_chances_of_hole_out():
    holed = [False, True, False, False, True]
    log = one_visit(
        distance_ft=[24.0, np.nan, 24.0, np.nan, np.nan],
        holed=holed,
        hole_no=[1, 1, 2, 2, 2],
        putt_no=[1, 2, 1, 2, 3],
    )
    out = hole_out(Skill.constant(1.6, 10.0), [24.0], stimp_ft=10.0)
    three = out.three_putt[0, 0]
    two = 1 - out.one_putt[0, 0] - three
    assert outcomes_at(log, 1.6, 10.0) == pytest.approx(np.log(two * three), abs=0.02)


# What made or missed can't tell


def test_the_same_made_rates_hide_very_different_pace():
    """Pairs of line and pace with equal made rates at every length; see what they three-putt.

    4 % and 16 % in pace are made equal by line spreads that change gently with length.
    """
    distance_ft = np.array([3.0, 4, 6, 9, 13, 20, 33])
    usual = hole_out(Skill.constant(1.4, 8.0), distance_ft).one_putt[0]
    outs = {}
    for pace_sd_pct in (4.0, 16.0):

        def off(line_sd_deg, d, rate, pace_sd_pct=pace_sd_pct):
            return hole_out(Skill.constant(line_sd_deg, pace_sd_pct), [d]).one_putt[0, 0] - rate

        at = zip(distance_ft, usual, strict=True)
        line_sd_deg = np.array([brentq(off, 0.3, 4, args=pair, xtol=1e-4) for pair in at])
        assert np.all(np.diff(np.log(line_sd_deg)) / np.diff(np.log(distance_ft)) < 0.3)
        outs[pace_sd_pct] = hole_out(
            Skill(distance_ft, line_sd_deg, 0, pace_sd_pct, 0), distance_ft
        )
        assert outs[pace_sd_pct].one_putt[0] == pytest.approx(usual, abs=1e-3)
    steady, wild = (outs[pace_sd_pct].three_putt[0, -1] for pace_sd_pct in (4.0, 16.0))
    assert steady < 0.025  # from 33 ft; seen: 0.017
    assert wild > 0.18  # seen: 0.202
    putts = [out.average_putts[0, -1] for out in outs.values()]
    assert np.diff(putts) > 0.17  # seen: 1.94 and 2.13


def pace_intervals(distance_ft, putts=200):
    """Return the ends of 90 % of pace, of the kit's prior and what so many putts would tell.

    Exact on a grid of line and pace spread, with every outcome as often as expected of a
    golfer of 1.4 degrees and 9 %.
    """
    lines, paces = np.geomspace(0.5, 3.6, 9), np.geomspace(2.2, 36, 25)
    line, pace = (part.ravel() for part in np.meshgrid(lines, paces, indexing="ij"))
    true = outcome_chances(distance_ft, np.array([1.4]), np.array([9.0]))
    grid = outcome_chances(distance_ft, line, pace)
    prior = (np.log(line / 1.4) ** 2 + np.log(pace / 9.0) ** 2) / (2 * 0.5**2)
    ends = {}
    for kind, chance in grid.items():
        log_chance = putts * (true[kind] * np.log(np.maximum(chance, 1e-300))).sum(axis=1)
        weight = np.exp(log_chance - prior - (log_chance - prior).max())
        share = weight.reshape(lines.size, paces.size).sum(axis=0).cumsum() / weight.sum()
        ends[kind] = np.exp(np.interp([0.05, 0.95], share, np.log(paces)))
    return ends


def outcome_chances(distance_ft, line, pace):
    """Return the chances of all outcomes, by what is known of them, a row a golfer."""
    made = made_chance(np.full(line.size, distance_ft), line, pace).eval(mode=PLAIN)[:, None]
    left, rest = (
        bands_chance(distance_ft, edges, line, pace) for edges in (LEAVE_BANDS_FT, REST_BANDS_FT)
    )
    after = [made_chance(np.full(line.size, d), line, pace).eval(mode=PLAIN) for d in NEXT_FT]
    two = (rest * np.transpose(after)).sum(axis=1, keepdims=True)
    return {
        "made": np.hstack([made, 1 - made]),
        "followed": np.hstack([made, two, 1 - made - two]),
        "leaves": np.hstack([made, left]),
    }


def bands_chance(distance_ft, edges, line, pace):
    bands = edges.size - 1
    who = np.repeat(np.arange(line.size), bands)
    low, high = np.tile(edges[:-1], line.size), np.tile(edges[1:], line.size)
    found = leave_chance(np.full(who.size, distance_ft), low, high, line[who], pace[who])
    return found.eval(mode=PLAIN).reshape(line.size, bands)


def test_leaves_and_putts_that_followed_narrow_what_is_known_of_pace():
    """200 putts of 20 ft, true pace 9 %; the prior alone holds 4.0 to 20.5 %."""
    ends = pace_intervals(20.0)
    width = {kind: np.log(high / low) for kind, (low, high) in ends.items()}
    prior = np.log(20.5 / 4.0)
    assert width["made"] > 0.85 * prior  # seen: 4.0 to 17.8 %
    assert width["followed"] < 0.75 * prior  # seen: 4.1 to 11.9 %
    assert width["leaves"] < 0.2 * prior  # seen: 7.8 to 9.8 %
    for low, high in ends.values():
        assert low < 9.0 < high


# Published tables


def best_of(model):
    """Return the maximum of a model's density, the prior's turned back to its own scale."""
    density = model.compile_logp(jacobian=False, mode=PLAIN)
    names = [rv.name for rv in model.free_RVs]

    def minus(logs):
        values = zip(names, logs, strict=True)
        return -density({f"{name}_log__": np.array(value) for name, value in values})

    start = [{"line_sd_deg": 0.3, "pace_sd_pct": 2.0, "extra_sd": -5.0}[name] for name in names]
    options = {"xatol": 1e-4, "fatol": 1e-4, "maxiter": 2000}
    found = minimize(minus, start, method="Nelder-Mead", options=options)
    return dict(zip(names, np.exp(found.x), strict=True))


def test_berry_table_by_direction_alone():
    """Gelman and Nolan (2002), Gelman (2019): 1.53 degrees; 0.0266 rad, which is 1.524."""
    any_pace = PlainHole(shortest_ft=-FAR_FT, longest_ft=FAR_FT)
    berry = table("putts_made_berry_1995").frame
    found = best_of(build_table_model(berry, any_pace, pace_sd_pct=10.0))
    assert found["line_sd_deg"] == pytest.approx(1.53, abs=0.005)
    assert np.radians(found["line_sd_deg"]) == pytest.approx(0.0266, abs=0.0001)


def test_broadie_table_by_direction_and_distance():
    """Gelman (2019): 1.02 degrees, 0.080, 0.003; the mode here, the mean in calibration."""
    broadie = table("putts_made_broadie_2018").frame
    found = best_of(build_table_model(broadie, PlainHole(), extra=True))
    assert found["line_sd_deg"] == pytest.approx(1.02, abs=0.005)
    assert found["pace_sd_pct"] == pytest.approx(8.0, abs=0.1)
    assert found["extra_sd"] == pytest.approx(0.003, abs=0.0005)
