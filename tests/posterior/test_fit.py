"""Fits: of readings and a green, of little or odd data, under other priors; found again on disk."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from arviz_alone import opened
from designs import green_design as design_of
from made_logs import log_of, simulated_log
from scipy.stats import chi2
from true_golfers import steady

from putlab.base.errors import FitError
from putlab.base.settings import interval_probabilities
from putlab.green.hole_out import hole_out
from putlab.green.published import green_spread as published_green
from putlab.model.priors import LINE_PRIORS, PRIORS
from putlab.pages.findings import player_findings
from putlab.posterior import sampling
from putlab.posterior.checks import failures
from putlab.posterior.fit import GREENS_LEFT_OUT, fit_log
from putlab.posterior.player import green_setting, green_spread, pace_sentence, summary
from putlab.posterior.sampling import fit_design
from putlab.practice.case import assumption_table, make_case

LENGTHS_FT = [4.0, 8.0, 14.0, 24.0]


def on_green(golfer, distance_ft, **day):
    """Return a golfer's skill with what a green adds."""
    green, _ = green_spread(golfer.fit, golfer.player)
    return golfer.skill(distance_ft, **day).wider(*green[..., None])


# The demo


@pytest.mark.slow
def test_the_kept_fit_is_the_fit(demo_log, demo_fit, monkeypatch):
    """A second fit of the same log comes from disk, draw for draw."""
    monkeypatch.setattr(sampling, "sample", lambda *_, **__: pytest.fail("sampled again"))
    again = fit_log(demo_log)
    for component, one in demo_fit.posteriors.items():
        xr.testing.assert_identical(
            one["posterior"].dataset, again.posteriors[component]["posterior"].dataset
        )


@pytest.mark.slow
def test_the_demo_fit_passes_its_checks(demo_fit):
    for verdicts in demo_fit.diagnostics().values():
        assert failures(verdicts) == []


# Readings and a green together

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
    practice = simulated_log(rng, sessions=4, each=10, lengths=LENGTHS_FT, **truth_of(TECHNIQUE))
    return log_of(pd.concat([practice.putts, struck_on_a_green(rng, 180, leaves=True)]))


def truth_of(sd):
    return {name: steady(np.log(value), lengths=len(LENGTHS_FT)) for name, value in sd.items()}


QUICK = {"draws": 400, "tune": 300, "chains": 4, "cores": 2}


@pytest.fixture(scope="module")
def joint_fit(joint_log):
    return fit_log(joint_log, **QUICK)


@pytest.mark.slow
def test_readings_and_a_green_together_recover_both(joint_fit):
    green, said = green_spread(joint_fit, "player 1")
    assert "was estimated from" in said
    for draws, name in zip(green, ("line", "pace"), strict=True):
        _, low, high = summary(draws)
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
def test_a_log_of_both_is_fitted_to_both(joint_fit):
    assert list(joint_fit.posteriors) == ["line", "pace", "green"]
    # What was practised is what the lengths of the answer are.
    assert joint_fit.golfer().table["distance_ft"].tolist() == LENGTHS_FT
    assert joint_fit.practised["putts"].tolist() == [40] * 4
    assert [v.result for part in joint_fit.checks.values() for v in part] == ["pass"] * 10
    assert list(joint_fit.table.columns) == ["component", "check", "result", "sentence"]
    assert joint_fit.table["component"].value_counts().to_dict() == {
        "line": 6,
        "pace": 6,
        "line with pace": 4,
        "green": 3,
    }
    said, *noted = joint_fit.sentence.split(" Noted: ")
    assert said == "The fit passed its checks."
    assert len(noted) <= 1  # each once, though it concerns all parts
    assert all(note.endswith("draws diverged.") for note in noted)


@pytest.mark.slow
def test_a_decision_takes_the_green_that_was_estimated(joint_fit):
    golfer = joint_fit.golfer("player 1")
    case = make_case(golfer, draws=10)
    green, _ = green_spread(joint_fit, "player 1")
    np.testing.assert_array_equal(case.round.green, green[..., None])
    table = assumption_table(case).set_index("name")
    assert table.loc["green_line_sd_deg", "value"] == np.median(green[0])
    assert table.loc["green_line_sd_deg", "from"] == "data"
    assert "180 putts made or missed" in table.loc["green_pace_sd_pct", "source"]
    given = make_case(golfer, draws=10, green=(1.0, 9.0))
    assert given.round.green == (1.0, 9.0)
    assert assumption_table(given).set_index("name").loc["green_line_sd_deg", "from"] == "prior"


@pytest.mark.slow
def test_a_report_of_both_shows_practice_and_says_where_the_green_comes_from(joint_log, joint_fit):
    found = player_findings(joint_log, joint_fit, "player 1")
    assert found.green == joint_fit.green_sentences("player 1")
    assert "estimated from 180 putts" in found.green[0]
    progress = next(chart for chart in found.charts if chart.name == "progress").table
    assert progress["session"].nunique() == 4  # visits, without the rounds
    assert np.isfinite(progress.select_dtypes("number")).all(axis=None)
    # This green adds less to line than the published and more to pace: short putts gain by it,
    # long ones lose.
    green = green_setting(joint_fit.golfer("player 1"))["green"]
    draws = joint_fit.golfer("player 1").draws("line", "base").size
    assert np.shape(green) == (2, draws, 1)  # a green for each draw of the golfer
    line, pace = np.subtract([np.median(each) for each in green], published_green())
    assert line < 0 < pace
    causes = found.lost.table.query("cause == 'reading the green'").set_index("from_ft")["strokes"]
    assert causes.iloc[0] < -0.005  # inside 4 ft
    assert causes[25.0] > 0.005


@pytest.mark.slow
def test_of_who_was_on_no_green_nothing_is_said_of_misses(joint_fit):
    nobody = replace(joint_fit, green_counts=joint_fit.green_counts * 0)
    (said,) = nobody.green_sentences("player 1")
    assert "taken from the published split" in said
    assert green_setting(nobody.golfer("player 1"))["green"] == published_green()


@pytest.mark.slow
def test_a_fit_of_both_is_opened_by_arviz_alone(joint_log, joint_fit, tmp_path):
    joint_fit.to_netcdf(tmp_path / "both.nc")
    tree = opened(tmp_path / "both.nc", likelihoods=("line", "pace", "green"))
    told = tree["constant_data"]["green_outcome"].values
    holed = joint_log.putts["holed"].dropna().astype(bool)
    assert told.size == holed.size == 180
    assert (told == "made").sum() == holed.sum()
    # The model's own chance of holing is that of `hole_out`.
    again = tree["posterior_predictive"]["holed"].mean(("chain", "draw"))
    near = tree["constant_data"]["holed_distance_ft"].values == 8.0
    chance = hole_out(on_green(joint_fit.golfer(), [8.0]), [8.0], stimp_ft=10.0).one_putt.mean()
    assert again[near].mean().item() == pytest.approx(chance, abs=0.03)


@pytest.mark.slow
def test_putts_on_a_green_cost_nobody_the_answer_of_their_readings(monkeypatch):
    def refused(design, what, **options):
        if what == "made-and-missed":
            raise FitError("the made-and-missed fit did not converge.")
        return fit_design(design, what, **options)

    monkeypatch.setattr("putlab.posterior.fit.fit_design", refused)
    rng = np.random.default_rng(8)
    practice = simulated_log(rng, sessions=3, each=10, lengths=LENGTHS_FT, **truth_of(TECHNIQUE))
    both = log_of(pd.concat([practice.putts, struck_on_a_green(rng, 18, leaves=True)]))
    fit = fit_log(both, **QUICK)
    assert list(fit.posteriors) == ["line", "pace"]
    (note,) = fit.diagnostics()["green"]
    assert note.result == "note"
    assert fit.meta()["diagnostics"]["green"]["putts on a green"]["sentence"] == note.sentence
    assert note.sentence == f"{GREENS_LEFT_OUT}: the made-and-missed fit did not converge."
    alone = log_of(struck_on_a_green(np.random.default_rng(1), 18, leaves=True))
    with pytest.raises(FitError, match="did not converge"):
        fit_log(alone)


@pytest.mark.slow
def test_a_player_of_made_and_missed_alone_gets_a_wide_answer():
    """No readings, no leaves: the total of line is found, pace stays what was believed."""
    rng = np.random.default_rng(9)
    # As many lengths as the joint log practises: they share a compilation.
    putts = struck_on_a_green(rng, 252, leaves=False, lengths=LENGTHS_FT)
    fit = fit_log(log_of(putts), **QUICK)
    skill = on_green(fit.golfer(), [11.0])
    _, low, high = summary(skill.line_sd_deg[:, 0])
    assert low < np.hypot(0.9, 1.1) < high
    _, low, high = summary(fit.golfer().skill([11.0]).pace_sd_pct[:, 0])
    assert low < 7.0 < high
    assert high / low > 3  # the prior alone: 5.2
    assert "can't tell line from pace" in pace_sentence(fit, "player 1")
    assert hole_out(skill, [33.0]).three_putt.shape == (skill.draws, 1)


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


@pytest.mark.slow
def test_what_was_used_is_counted(joint_fit):
    found = joint_fit.green_counts.loc["player 1"]
    assert found["putts"] == 180
    assert found["leaves"] == found["misses"] > 60


# Little, odd or extreme data: all of one padded size, so that one compiled model serves them


def putts(line_deg=np.nan, roll_ft=np.nan, distance_ft=10.0, session="one"):
    size = max(np.size(line_deg), np.size(roll_ft))
    columns = {"player": "p", "session": session, "distance_ft": distance_ft}
    columns |= {"line_deg": line_deg, "roll_ft": roll_ft, "putt": range(1, size + 1)}
    return pd.DataFrame(columns, index=range(size))


TWO_PUTTS = putts([1.0, -1.0], [10.5, 9.0])


def golfer_table(fit):
    return fit.golfer().table


def width_in_log(row):
    return np.log(row["line_sd_deg_hi"] / row["line_sd_deg_lo"])


@pytest.mark.slow
def test_chains_start_where_their_own_log_says():
    """Not where the log that was compiled first would have them."""
    designs = fit_log(log_of(TWO_PUTTS)).designs
    assert designs["line"].size == designs["pace"].size
    line, pace, again = (
        sampling.compiled_for(designs[name])._make_initial_points(3)
        for name in ("line", "pace", "line")
    )
    np.testing.assert_array_equal(line, again)
    assert not np.array_equal(line, pace)


@pytest.mark.slow
def test_two_putts_give_a_wide_answer():
    row = golfer_table(fit_log(log_of(TWO_PUTTS))).iloc[0]
    assert row["putts"] == 2
    assert width_in_log(row) > 1.0  # the upper end is at least e times the lower
    assert 0.3 < row["line_sd_deg"] < 3


@pytest.mark.slow
def test_ten_putts_give_a_narrower_answer_than_two(rng):
    two = golfer_table(fit_log(log_of(TWO_PUTTS))).iloc[0]
    ten = putts(rng.normal(0, 1, 10).round(), 10 * (1 + rng.normal(0, 0.08, 10)).round(2))
    row = golfer_table(fit_log(log_of(ten))).iloc[0]
    assert width_in_log(row) < width_in_log(two)


@pytest.mark.slow
def test_readings_all_equal_say_that_spread_is_small_and_not_nought(rng):
    rolls = (10 * (1 + rng.normal(0, 0.08, 40))).round(1)
    row = golfer_table(fit_log(log_of(putts([0.0] * 40, rolls)))).iloc[0]
    # Forty readings of 0 in whole degrees: the spread is below half a degree, well above 0.
    assert 0.02 < row["line_sd_deg_lo"] < row["line_sd_deg_hi"] < 0.5


@pytest.mark.slow
def test_every_ball_at_the_backstop_leaves_pace_to_its_prior():
    stopped = log_of(putts([0.0, 1.0, -1.0, 0.0], [12.0] * 4), roll_limit_ft=12.0)
    row = golfer_table(fit_log(stopped)).iloc[0]
    assert row["pace_sd_pct_hi"] / row["pace_sd_pct_lo"] > 2.5


@pytest.mark.slow
def test_line_alone_gives_line_and_leaves_pace_to_its_prior(rng):
    row = golfer_table(fit_log(log_of(putts(rng.normal(0, 1, 60).round())))).iloc[0]
    assert width_in_log(row) < 0.8
    assert row["pace_sd_pct_hi"] / row["pace_sd_pct_lo"] > 2.5


def test_nothing_but_tap_ins_is_refused():
    """Made or missed on a green has a model of its own."""
    made = putts(np.full(5, np.nan), distance_ft=1.0).assign(holed=[True, True, True, True, False])
    with pytest.raises(FitError, match="no line or roll readings, and no putts made or missed"):
        fit_log(log_of(made))


@pytest.mark.slow
def test_exact_readings_of_one_visit_agree_with_the_chi_square_interval(rng):
    """With flat priors the posterior of a normal's sd is the textbook interval:
    (n - 1) s² / sigma² is chi-square on n - 1 degrees of freedom (any statistics text).
    """
    size = 25
    readings = rng.normal(0.4, 1.3, size)
    # Flat in log spread and mean; every effect that one plain sample lacks switched off.
    scales = ("between", "spot", "bias_spot", "visit_bias", "visit_form")
    off = dict.fromkeys((f"{name}_median" for name in scales), 0.01)
    off |= dict.fromkeys((f"{name}_log_sd" for name in scales), 0.1)
    off |= dict.fromkeys(("slope_sd", "trend_sd", "warm_up_sd", "counted_sd", "shift_sd"), 0.01)
    off |= dict.fromkeys(("effect_sd", "effect_slope_sd"), 0.01)
    flat = replace(LINE_PRIORS, sd_log_sd=20.0, bias_sd=100.0, mishit_b=1e4, **off)
    rolls = 10 * (1 + rng.normal(0, 0.08, size))
    log = log_of(putts(readings, rolls.round(1)), line_step_deg=0.0)
    fit = fit_log(log, priors=PRIORS | {"line": flat})
    draws = np.exp(fit.posteriors["line"]["posterior"]["level"].values.ravel())
    tails = np.array(interval_probabilities())
    s2 = readings.var(ddof=1)
    textbook = np.sqrt((size - 1) * s2 / chi2.ppf(1 - tails, size - 1))
    # 4,000 draws place a 5 % point of this posterior to about 2 % (3 Monte Carlo errors).
    assert np.quantile(draws, tails) == pytest.approx(textbook, rel=0.02)


@pytest.mark.slow
def test_a_backstop_and_whole_degrees_are_allowed_for(rng):
    """One log, truth known; the calibration runs do fifty."""
    lengths = [33.0, 36.0]
    two = {"players": 1, "lengths": 2}
    log = simulated_log(
        rng,
        sessions=4,
        lengths=lengths,
        each=60,
        line=steady(np.log(0.5), **two),
        pace=steady(np.log(8.0), **two),
        roll_limit_ft=36.0,
    )
    table = golfer_table(fit_log(log))
    assert table["line_sd_deg"].mean() == pytest.approx(0.5, rel=0.1)
    assert table["pace_sd_pct"].mean() == pytest.approx(8.0, rel=0.12)
