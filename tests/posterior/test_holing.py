"""Made and missed on a green: what the model says, what it can't tell, and what it finds."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from brute_force import every_putt
from designs import PLAIN
from designs import green_design as design_of
from made_logs import log_of, simulated_log
from scipy.optimize import brentq, minimize

from putlab.base.errors import FitError
from putlab.cli.options import say_of_greens
from putlab.green.hole_out import hole_out
from putlab.green.published import green_spread as published_green
from putlab.green.published import table
from putlab.green.skill import Skill
from putlab.model.green_model import JOINT_PARAMETERS, build_model
from putlab.model.green_putts import (
    LEAVE_BANDS_FT,
    NEXT_FT,
    REST_BANDS_FT,
    green_putts,
    told,
)
from putlab.model.hole_chance import FAR_FT, PlainHole, leave_chance, made_chance
from putlab.pages.findings import find
from putlab.posterior.green import (
    GreenFit,
    build_table_model,
    fit_made,
    green_setting,
    green_spread,
    has_green_putts,
    on_green,
    pace_sentence,
)
from putlab.posterior.player import GREENS_LEFT_OUT, fit_log, summary
from putlab.practice.advice import assumption_table
from putlab.practice.case import make_case
from putlab.rounds.estimate import estimate_table

LENGTHS_FT = [4.0, 8.0, 14.0, 24.0]


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
    free = {model[name]: value for name, value in point.items()}
    return float(model["outcomes"].eval(free, mode=PLAIN, on_unused_input="ignore"))


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


def test_a_design_counted_as_fewer_putts_is_otherwise_alike(joint_log):
    design = design_of(joint_log)
    assert design.putts == 160 + 180
    few = design.counted_as(34)
    assert few.putts == pytest.approx(34)
    assert few.size == design.size
    for name, values in design.containers.items():
        kept = values.ravel() - few.containers[name].ravel()
        assert np.any(kept) == (name in {"line_numbers", "pace_numbers", "made", "leave"}), name
    assert few.data["made"][0].tolist() == design.data["made"][0].tolist()


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
    lines, paces = np.geomspace(0.5, 3.6, 13), np.geomspace(2.2, 36, 41)
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


# What it finds

TECHNIQUE = {"line": 0.9, "pace": 7.0}
GREEN = {"line": 1.1, "pace": 8.0}


def struck_on_a_green(rng, putts, *, leaves, lengths=(4.0, 6, 8, 11, 14, 18, 24, 32)):
    """Return first putts of rounds of 18, struck with technique and green together."""
    distance_ft = rng.choice(lengths, putts)
    total = {name: np.hypot(TECHNIQUE[name], GREEN[name]) for name in TECHNIQUE}
    angle = np.radians(total["line"]) * rng.normal(size=putts)
    roll = np.maximum((distance_ft + 1) * (1 + total["pace"] / 100 * rng.normal(size=putts)), 0)
    aside, along = distance_ft * np.sin(angle), distance_ft * np.cos(angle)
    u = np.minimum(np.abs(aside) / (4.25 / 24), 1)
    slow = np.sqrt(36 / 10 * np.maximum(roll - along, 0)) <= 1.63 / 0.3048 * (1 - u**2)
    holed = (u < 1) & (roll >= along - 4.25 / 24 * np.sqrt(1 - u**2)) & slow
    left = np.round(np.hypot(roll - along, aside), 1)
    return pd.DataFrame(
        {
            "player": "player 1",
            "session": [f"round {i // 18:02d}" for i in range(putts)],
            "distance_ft": distance_ft,
            "stimp_ft": 10.0,
            "holed": holed,
            "leave_ft": np.where(holed | (not leaves), np.nan, left),
        }
    )


@pytest.fixture(scope="module")
def joint_log():
    rng = np.random.default_rng(8)
    steady = {"line": 0.9, "pace": 7.0}
    practice = simulated_log(rng, sessions=4, each=10, lengths=LENGTHS_FT, **truth_of(steady))
    return log_of(pd.concat([practice.putts, struck_on_a_green(rng, 180, leaves=True)]))


def truth_of(sd):
    from putlab.model.simulate import steady

    return {name: steady(np.log(value), lengths=len(LENGTHS_FT)) for name, value in sd.items()}


QUICK = {"draws": 600, "tune": 300, "chains": 4, "cores": 2}


@pytest.fixture(scope="module")
def joint_fit(joint_log):
    return fit_made(joint_log, **QUICK)


@pytest.mark.slow
def test_readings_and_a_green_together_recover_both(joint_fit):
    green = green_spread(joint_fit, "player 1")
    assert green.source == "estimated"
    for draws, name in ((green.line_sd_deg, "line"), (green.pace_sd_pct, "pace")):
        _, low, high = summary(draws[:, 0])
        assert low < GREEN[name] < high
        assert high / low < 3.5  # the prior alone: 5.2
    golfer = joint_fit.golfer("player 1")
    within = golfer.skill([10.0], new_day=False)
    for draws, name in ((within.line_sd_deg, "line"), (within.pace_sd_pct, "pace")):
        _, low, high = summary(draws[:, 0])
        assert low < TECHNIQUE[name] < high
    total = on_green(golfer, [10.0], new_day=False)
    assert np.all(total.pace_sd_pct > within.pace_sd_pct)


@pytest.mark.slow
def test_a_log_of_both_is_fitted_to_both(joint_log, joint_fit):
    fit = fit_log(joint_log, **QUICK)
    assert isinstance(fit, GreenFit)
    assert fit.green["posterior"].equals(joint_fit.green["posterior"])
    # What was practised is what the lengths of the answer are.
    assert estimate_table(fit)["distance_ft"].tolist() == LENGTHS_FT
    assert fit.practised["putts"].tolist() == [40] * 4
    assert [v.result for part in fit.checks.values() for v in part] == ["pass"] * 6


@pytest.mark.slow
def test_a_decision_takes_the_green_that_was_estimated(joint_fit):
    golfer = joint_fit.golfer("player 1")
    case = make_case(golfer, draws=10)
    green = green_spread(joint_fit, "player 1")
    medians = np.median(green.line_sd_deg), np.median(green.pace_sd_pct)
    assert case.round.green == pytest.approx(medians)
    table = assumption_table(case).set_index("name")
    assert table.loc["green_line_sd_deg", "from"] == "data"
    assert "180 putts made or missed" in table.loc["green_pace_sd_pct", "source"]
    given = make_case(golfer, draws=10, green=(1.0, 9.0))
    assert given.round.green == (1.0, 9.0)
    assert assumption_table(given).set_index("name").loc["green_line_sd_deg", "from"] == "prior"


@pytest.mark.slow
def test_a_report_of_both_shows_practice_and_says_where_the_green_comes_from(joint_log, joint_fit):
    found = find(joint_log, joint_fit, "player 1")
    assert found.green == joint_fit.sentences("player 1")
    assert "estimated from 180 putts" in found.green[0]
    progress = next(chart for chart in found.charts if chart.name == "progress").table
    assert len(progress) == 4  # visits, without the rounds
    assert np.isfinite(progress.select_dtypes("number")).all(axis=None)
    # A green that adds less than the published is a cause of fewer strokes lost, not none.
    reading = found.causes[found.causes["cause"] == "reading the green"]["strokes"]
    estimated = green_setting(joint_fit.golfer("player 1"))["green"]
    assert np.all(np.less(estimated, published_green()))
    assert (reading < -0.005).all()


@pytest.mark.slow
def test_of_who_was_on_no_green_nothing_is_said_of_misses(joint_fit):
    nobody = replace(joint_fit, told=joint_fit.told * 0)
    (said,) = nobody.sentences("player 1")
    assert "taken from the published split" in said
    assert green_setting(nobody.golfer("player 1")) == {}


@pytest.mark.slow
def test_a_command_says_what_a_green_has_added(joint_fit, capsys):
    say_of_greens(joint_fit, ["player 1"])
    said = " ".join(capsys.readouterr().err.split())
    assert said == " ".join(joint_fit.sentences("player 1"))
    say_of_greens(replace(joint_fit, told=joint_fit.told * 0), ["player 1"])
    assert capsys.readouterr().err == ""


@pytest.mark.slow
def test_putts_on_a_green_cost_nobody_the_answer_of_their_readings(joint_log, monkeypatch, capsys):
    def refused(log, **_):
        raise FitError("the made-and-missed fit did not converge.")

    monkeypatch.setattr("putlab.posterior.green.fit_made", refused)
    fit = fit_log(joint_log, **QUICK)
    assert not isinstance(fit, GreenFit)
    (note,) = fit.diagnostics()["green"]
    assert note.result == "note"
    assert fit.meta()["diagnostics"]["green"]["putts on a green"]["sentence"] == note.sentence
    say_of_greens(fit, ["player 1"])
    said = " ".join(capsys.readouterr().err.split())
    assert said == f"{GREENS_LEFT_OUT}: the made-and-missed fit did not converge."
    alone = log_of(struck_on_a_green(np.random.default_rng(1), 18, leaves=True))
    with pytest.raises(FitError, match="did not converge"):
        fit_log(alone)


@pytest.mark.slow
def test_a_player_of_made_and_missed_alone_gets_a_wide_answer():
    """No readings, no leaves: the total of line is found, pace stays what was believed."""
    rng = np.random.default_rng(9)
    # As many lengths as the joint log practises: they share a compilation.
    putts = struck_on_a_green(rng, 252, leaves=False, lengths=LENGTHS_FT)
    fit = fit_made(log_of(putts), **QUICK)
    skill = on_green(fit.golfer(), [11.0])
    _, low, high = summary(skill.line_sd_deg[:, 0])
    assert low < np.hypot(0.9, 1.1) < high
    _, low, high = summary(fit.golfer().skill([11.0]).pace_sd_pct[:, 0])
    assert low < 7.0 < high
    assert high / low > 3  # the prior alone: 5.2
    assert "can't tell line from pace" in pace_sentence(fit, "player 1")
    assert hole_out(skill, [33.0]).three_putt.shape == (skill.draws, 1)


# What is said


def fit_of(told_row, *, read=False):
    """Return as much of a fit as a sentence needs."""
    rows = pd.DataFrame({"player": ["a"] if read else []})
    table = pd.DataFrame([told_row], index=["a"])
    return SimpleNamespace(told=table, designs={"pace": SimpleNamespace(rows=rows)})


def test_the_report_says_what_tells_line_from_pace():
    nothing = {"putts": 60, "made": 20, "misses": 40, "leaves": 0, "followed": 0}
    few, many = nothing | {"leaves": 6}, nothing | {"leaves": 30, "followed": 5}
    assert "believed beforehand" in pace_sentence(fit_of(nothing), "a")
    assert "They are few" in pace_sentence(fit_of(few), "a")
    said = pace_sentence(fit_of(many), "a")
    assert "of 40 misses on a green 30 say how far" in said
    assert "5 only how many putts followed" in said
    assert "believed" not in said
    assert "read in practice" in pace_sentence(fit_of(nothing, read=True), "a")


def test_without_putts_on_a_green_its_spread_is_the_published(demo_fit):
    green = green_spread(demo_fit, "alder")
    assert green.source == "published"
    assert "Karlsen and Nilsson" in green.sentence
    line, pace = published_green()
    assert np.median(green.line_sd_deg) == pytest.approx(line, rel=0.06)
    assert np.median(green.pace_sd_pct) == pytest.approx(pace, rel=0.06)
    wider = on_green(demo_fit.golfer("alder"), [6.0, 20.0])
    assert np.all(wider.line_sd_deg > demo_fit.golfer("alder").skill([6.0, 20.0]).line_sd_deg)


def test_a_log_of_readings_alone_is_for_the_other_fit(rng):
    log = simulated_log(rng, sessions=1, each=1)
    assert not has_green_putts(log)
    with pytest.raises(FitError, match="fit_readings"):
        fit_made(log)


def test_what_was_used_is_counted(joint_log):
    found = told(green_putts(joint_log.putts)).loc["player 1"]
    assert found["putts"] == 180
    assert found["leaves"] == found["misses"] > 60
