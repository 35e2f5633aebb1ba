"""Did the change help: the whole comparison, on the demo and on trials of known truth."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from conftest import DEMO
from demo_maker import NEW, NEW_PUTTER, OLD, OLD_PUTTER, demo_truth
from made_trials import trial_log

from putlab.base.errors import UsageError
from putlab.green.hole_out import hole_out
from putlab.green.published import green_spread
from putlab.log.read import read_log
from putlab.posterior.fit import fit_log
from putlab.rounds.first_putts import shipped_mix
from putlab.trial import boundary
from putlab.trial import compare as comparing
from putlab.trial.boundary import HELPED, HURT, NO_DIFFERENCE, NOT_BY_DESIGN
from putlab.trial.compare import compare
from putlab.trial.conditions import BEFORE_AFTER, choose_conditions, putt_counts
from putlab.trial.contrast import contrast
from putlab.trial.quick import quick_fit

pytestmark = pytest.mark.slow

EFFECT = demo_truth()["line"].effect
TRUE_RATIO = np.exp(EFFECT["birch", NEW] - EFFECT["birch", OLD])

FIELDS = {
    "before", "after", "putts_before", "putts_after", "sessions", "line_sd_ratio",
    "pace_sd_ratio", "strokes_per_round_change", "p_too_small_to_matter", "verdict",
    "putts_still_needed", "cautions",
}  # fmt: skip


@pytest.fixture(scope="module")
def demo(demo_fit):
    """Return the demo's comparison: birch's new routine, tried by turns."""
    return compare(demo_fit, OLD, NEW)


@pytest.fixture(scope="module")
def halved():
    """Return a comparison of a trial that truly cut the line spread by 40 %."""
    fit = fit_log(trial_log(effect=np.log(0.6), pace=True), chains=2)
    return fit, compare(fit, "A", "B", player="one")


def test_the_demos_true_ratio_lies_within_the_interval(demo):
    assert demo.conditions.player == "birch"
    assert demo.line_sd_ratio["lo"] < TRUE_RATIO < demo.line_sd_ratio["hi"]
    assert demo.pace_sd_ratio["lo"] < 1 < demo.pace_sd_ratio["hi"]
    assert demo.line_bias_change_deg["lo"] < -0.3 < demo.line_bias_change_deg["hi"]


def test_the_halls_turns_can_tell(demo):
    assert demo.conditions.design == "interleaved"
    assert demo.verdict == HELPED


def test_ten_fits_of_a_tenth_of_the_draws_say_the_same_or_ask_for_more(demo, demo_fit):
    """Of the hall's turns; so near the bar `compare` draws more, and then judges."""
    sizes = {name: getattr(demo, name) for name in ("too_small_pct", "detect_pct")}
    drawn = demo_fit.posteriors["line"]["posterior"].dataset

    def case_of(draws):
        posteriors = demo_fit.posteriors | {"line": {"posterior": drawn.isel(draw=draws)}}
        fit = replace(demo_fit, posteriors=posteriors)
        change = {"line": contrast(fit, demo.conditions, "line")}
        return comparing._Case(demo.conditions, None, sizes, "line", False, fit, change)

    whole, *parts = map(case_of, (slice(None), *np.array_split(np.arange(drawn.sizes["draw"]), 10)))
    assert whole.verdict == HELPED
    assert not whole.near
    assert all(part.verdict == HELPED or part.near for part in parts)


def test_of_the_attics_change_the_order_of_visits_decides_and_no_draw():
    counts = putt_counts(read_log(DEMO / "attic"))
    assert choose_conditions(counts, OLD_PUTTER, NEW_PUTTER).design == BEFORE_AFTER


def test_the_attics_before_and_after_is_no_cause_and_says_why():
    found = compare(fit_log(read_log(DEMO / "attic")), OLD_PUTTER, NEW_PUTTER)
    assert found.verdict == NOT_BY_DESIGN
    assert found.fault == BEFORE_AFTER
    assert "elped" not in found.sentence
    assert "practice alone may have done it" in found.sentence
    assert "No more putts of this kind can settle it" in found.sentence
    assert set(found.diary["gauge"]) == {"not yet"}
    width = np.log(found.line_sd_ratio["hi"] / found.line_sd_ratio["lo"])
    # Two conditions of 90 exact readings would have 3.29 sqrt(1 / 90) of log ratio.
    assert width > 1.2 * 3.29 / np.sqrt(90)


def test_the_json_has_the_promised_fields_and_no_nan(demo, demo_fit):
    found = demo.to_dict()
    assert set(found) >= FIELDS
    for name in ("line_sd_ratio", "pace_sd_ratio", "strokes_per_round_change"):
        assert set(found[name]) == {"mean", "lo", "hi", "p_improved"}
    again = json.loads(json.dumps(found, allow_nan=False))
    assert again["before"] == OLD
    assert again["by_distance"][0]["distance_ft"] == 3.0
    assert len(again["by_distance"]) == 6
    mean = again["line_sd_ratio"]["mean"]
    assert again["diary"][-1]["mean"] == pytest.approx(mean, abs=1e-14)  # as JSON has tables
    assert again["meta"]["log_sha256"] == demo_fit.log.digest


def test_a_true_cut_interleaved_has_helped(halved):
    _, found = halved
    assert found.verdict == HELPED
    assert found.line_sd_ratio["lo"] < 0.6 < found.line_sd_ratio["hi"]
    assert found.line_sd_ratio["p_improved"] > found.p_needed
    assert found.putts_still_needed == 0
    assert found.sentence.startswith("Helped: line spread with 'B' is 0.")
    # Its sheet holds the plan, which a verdict has ended.
    assert found.plan.over
    assert found.plan.putts == found.designed_putts == 2 * 9 * 3 * 9
    assert found.classical["line"].says == HELPED
    assert found.conditions.design == "interleaved"


def test_the_other_way_round_has_hurt(halved):
    fit, found = halved
    swapped = compare(fit, "B", "A")
    assert swapped.verdict == HURT
    one, other = found.line_sd_ratio, swapped.line_sd_ratio
    assert other["lo"] == pytest.approx(1 / one["hi"], rel=1e-6)
    assert other["p_improved"] == pytest.approx(1 - one["p_improved"], abs=1e-9)


def test_strokes_fall_with_the_spread_and_may_be_judged(halved):
    fit, found = halved
    change = found.strokes_per_round_change
    assert change["hi"] < 0
    by_strokes = compare(fit, "A", "B", metric="strokes")
    assert by_strokes.strokes_per_round_change == change
    assert by_strokes.verdict == HELPED
    assert 0 < by_strokes.p_needed < 1


def test_strokes_are_the_rounds_own_sum_of_two_skills(halved):
    # By hand: each condition's skill as the golfer's own last visit, holed out.
    fit, found = halved
    mix, rounds = shipped_mix(), []
    for condition in ("A", "B"):
        now = fit.condition_now.iloc[:1].assign(condition=condition, share=1.0)
        skill = replace(fit, condition_now=now).golfer("one").skill(mix.distance_ft)
        skill = skill.wider(*green_spread())
        rounds.append((hole_out(skill, mix.distance_ft).average_putts * mix.first_putts).sum(1))
    expected = rounds[1] - rounds[0]
    mean = found.strokes_per_round_change["mean"]
    assert mean == pytest.approx(expected.mean(), abs=0.1 * expected.std())


def test_a_log_of_very_many_putts_shows_no_difference_that_matters():
    fit = fit_log(trial_log(each=130, pace=True), chains=2)
    found = compare(fit, "A", "B")
    assert found.verdict == NO_DIFFERENCE
    assert found.p_too_small_to_matter >= 0.9
    assert found.strokes_per_round_change["lo"] < 0 < found.strokes_per_round_change["hi"]


def test_what_is_too_small_is_the_users_to_set(halved):
    fit, _ = halved
    assert compare(fit, "A", "B", too_small_pct=99).verdict == NO_DIFFERENCE


def test_a_component_read_on_one_side_only_is_not_compared():
    log = trial_log(each=4, pace=True)
    log.putts.loc[log.putts["condition"] == "B", "roll_ft"] = np.nan
    fit = fit_log(log, chains=2)
    found = compare(fit, "A", "B")
    assert found.pace_sd_ratio is None
    assert any(text.startswith("Pace was not read under both") for text in found.cautions)
    with pytest.raises(UsageError, match="pace was not read under both"):
        compare(fit, "A", "B", metric="pace")


def test_html_and_table_hold_the_answer(demo):
    html = demo._repr_html_()
    assert "birch" in html
    assert "Brown-Forsythe" in html
    assert demo.table["change"].tolist()[0] == "line spread, ratio"
    assert len(demo.table) == 5


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"metric": "speed"}, "expected one of line, pace, strokes"),
        ({"detect_pct": 0}, "percent above 0"),
        ({"too_small_pct": -1}, "too_small_pct -1"),
    ],
)
def test_options_that_cannot_be_are_refused(demo_fit, options, said):
    with pytest.raises(UsageError, match=said):
        compare(demo_fit, OLD, NEW, **options)


def test_labels_are_escaped_in_html(halved):
    _, found = halved
    named = replace(found, conditions=replace(found.conditions, before="<b>old</b>"))
    assert "<b>old</b>" not in named._repr_html_()


def words(found):
    return " ".join(found.cautions)


def test_a_diary_has_a_line_a_visit_and_ends_with_the_comparison(halved):
    _, found = halved
    diary = found.diary
    assert diary["visits"].tolist() == list(range(1, 10))
    assert diary["putts"].tolist() == [54 * visit for visit in range(1, 10)]
    assert diary["gauge"].iloc[[0, -1]].tolist() == ["not yet", "helped"]
    assert diary["visits_left"].iloc[[0, -1]].tolist() == [8, 0]
    assert np.log(diary["hi"] / diary["lo"]).is_monotonic_decreasing


def test_the_quick_answer_is_the_samplers(halved):
    fit, found = halved
    whole = quick_fit(fit, "one", list(found.conditions.visits["session"]))
    for name in ("line", "pace"):
        full, quick = (contrast(f, found.conditions, name) for f in (fit, whole))
        assert quick.log_ratio.mean() == pytest.approx(full.log_ratio.mean(), abs=0.2 * full.sd_fit)
        assert quick.log_ratio.std() == pytest.approx(full.log_ratio.std(), rel=0.12)
        assert quick.sd_fit == pytest.approx(full.sd_fit, rel=0.12)


def test_near_the_bar_the_seed_does_not_decide(monkeypatch):
    # As many visits as the others: they share a compilation.
    log = trial_log(effect=np.log(0.8), sessions=9, each=4)
    fits = [fit_log(log, seed=seed, chains=2, draws=500) for seed in (1, 2)]
    monkeypatch.setattr(comparing, "SETTLING", {"seed": 3, "draws": 500, "chains": 2})
    monkeypatch.setattr(boundary, "NEAR", np.inf)
    first, second = (compare(fit, "A", "B") for fit in fits)
    assert first.line_sd_ratio == second.line_sd_ratio
    assert (first.verdict, first.p_needed) == (second.verdict, second.p_needed)
    monkeypatch.setattr(boundary, "NEAR", 0.0)
    first, second = (compare(fit, "A", "B") for fit in fits)
    assert first.line_sd_ratio != second.line_sd_ratio


def with_visits(found, before, after):
    sessions = [f"visit {i}" for i in range(len(before))]
    visits = pd.DataFrame({"session": sessions, "before": before, "after": after})
    return replace(found, conditions=replace(found.conditions, visits=visits))


def test_visits_of_one_condition_and_few_visits_are_cautioned(halved):
    _, found = halved
    by_visits = words(with_visits(found, [40, 0, 5, 0, 40, 0], [0, 40, 5, 40, 0, 40]))
    assert "Only 1 of 6 visits hold both conditions" in by_visits
    few = words(with_visits(found, [20, 20], [20, 20]))
    assert "Only 2 visits: how much a day matters is mostly assumed." in few
    assert "Only" not in words(found)


@pytest.mark.parametrize(
    ("p_improved", "said"), [(0.99, "Pace spread looks narrower"), (0.01, "looks wider")]
)
def test_the_spread_that_is_not_judged_is_mentioned_when_it_moved(halved, p_improved, said):
    _, found = halved
    moved = found.pace_sd_ratio | {"p_improved": p_improved}
    assert said in words(replace(found, pace_sd_ratio=moved))
    assert "but the verdict is not on it" in words(replace(found, pace_sd_ratio=moved))
    assert "not on it" not in words(replace(found, pace_sd_ratio=moved | {"p_improved": 0.5}))
