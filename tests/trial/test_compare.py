"""Did the change help: the whole comparison, on the demo and on trials of known truth."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from conftest import DEMO
from demo_maker import ATTIC_CUT_PCT, NEW, NEW_PUTTER, OLD, OLD_PUTTER
from made_trials import trial_log

from putlab.base.errors import UsageError
from putlab.green.hole_out import hole_out
from putlab.green.published import green_spread
from putlab.log.read import read_log
from putlab.posterior.fit import fit_log
from putlab.rounds.first_putts import shipped_mix
from putlab.trial.boundary import CANNOT_TELL, HELPED, HURT, NO_DIFFERENCE
from putlab.trial.compare import compare

pytestmark = pytest.mark.slow

TRUE_RATIO = np.exp(-0.4)

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


def test_the_attics_before_and_after_cannot_tell_and_says_why():
    found = compare(fit_log(read_log(DEMO / "attic")), OLD_PUTTER, NEW_PUTTER)
    assert found.conditions.design == "before and after"
    assert found.verdict == CANNOT_TELL
    assert found.sentence.startswith("A plain before-and-after:")
    assert found.cautions[0] in found.sentence
    assert found.line_sd_ratio["lo"] < 1 - ATTIC_CUT_PCT / 100 < found.line_sd_ratio["hi"]
    width = np.log(found.line_sd_ratio["hi"] / found.line_sd_ratio["lo"])
    # Two conditions of 90 exact readings would have 3.29 sqrt(1 / 90) of log ratio.
    assert width > 1.2 * 3.29 / np.sqrt(90)


def test_the_json_has_the_promised_fields_and_no_nan(demo):
    found = demo.to_dict()
    assert set(found) >= FIELDS
    for name in ("line_sd_ratio", "pace_sd_ratio", "strokes_per_round_change"):
        assert set(found[name]) == {"mean", "lo", "hi", "p_improved"}
    again = json.loads(json.dumps(found, allow_nan=False))
    assert again["before"] == OLD
    assert again["by_distance"][0]["distance_ft"] == 3.0
    assert len(again["by_distance"]) == 6


def test_a_true_cut_interleaved_has_helped(halved):
    _, found = halved
    assert found.verdict == HELPED
    assert found.line_sd_ratio["lo"] < 0.6 < found.line_sd_ratio["hi"]
    assert found.line_sd_ratio["p_improved"] > found.p_needed
    assert found.putts_still_needed == 0
    assert found.sentence.startswith("Helped: line spread is lower")
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


def test_lengths_struck_under_one_condition_only_are_cautioned(halved):
    _, found = halved
    apart = found.by_distance.assign(putts_before=0)
    said = words(replace(found, by_distance=apart))
    assert "No length was struck under both conditions" in said


@pytest.mark.parametrize(
    ("p_improved", "said"), [(0.99, "Pace spread looks narrower"), (0.01, "looks wider")]
)
def test_the_spread_that_is_not_judged_is_mentioned_when_it_moved(halved, p_improved, said):
    _, found = halved
    moved = found.pace_sd_ratio | {"p_improved": p_improved}
    assert said in words(replace(found, pace_sd_ratio=moved))
    assert "but the verdict is not on it" in words(replace(found, pace_sd_ratio=moved))
    assert "not on it" not in words(replace(found, pace_sd_ratio=moved | {"p_improved": 0.5}))


def test_each_verdict_has_its_words(halved):
    _, found = halved
    hurt = replace(found, verdict=HURT).sentence
    assert hurt.startswith("Hurt: line spread is higher with 'B' than with 'A'.")
    unsure = replace(found, verdict=CANNOT_TELL, putts_still_needed=1200)
    assert "about 1,200 more putts" in unsure.sentence
    none = replace(found, verdict=NO_DIFFERENCE).sentence
    assert none.startswith("No difference that matters in line spread between 'A' and 'B'.")
    strokes = replace(found, metric="strokes").sentence
    change = found.strokes_per_round_change
    assert f"Change {change['mean']:+.2f} strokes a round on a real green" in strokes
