"""The textbook analysis, against scipy, statsmodels and known truth."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from made_trials import trial_log
from scipy import stats

from putlab.model.readings import intervals
from putlab.trial.boundary import CANNOT_TELL, HELPED, HURT, NO_DIFFERENCE
from putlab.trial.classical import Classical, classical, deviations_of, disagreement, readings_of


@pytest.fixture(scope="module")
def readings():
    """Return readings of a true cut of 40 %."""
    return intervals(trial_log(effect=np.log(0.6)), "line")


def test_readings_are_the_logs_own():
    log = trial_log(sessions=4, each=5)
    found = readings_of(intervals(log, "line"))
    for condition, putts in log.putts.groupby("condition"):
        values = found.loc[found["condition"] == condition, "value"]
        assert np.allclose(np.sort(values), np.sort(putts["line_deg"]))


def test_one_visit_and_length_is_the_plain_brown_forsythe_test(rng):
    values = {"A": rng.normal(0, 1, 41), "B": rng.normal(0, 0.7, 41)}
    rows = pd.concat(
        pd.DataFrame({"condition": name, "lo": v - 1e-6, "hi": v + 1e-6})
        for name, v in values.items()
    ).assign(session="1", length=0, count=1)
    found = classical(rows.reset_index(drop=True), "A", "B")
    # Each condition less its own median, and an odd number each: the visit's median is then 0.
    expected = stats.levene(values["A"], values["B"], center="median")
    assert found.brown_forsythe_p == pytest.approx(expected.pvalue, rel=1e-6)


def test_the_ratio_is_near_an_ordinary_regression_of_the_same_deviations(readings):
    found = classical(readings, "A", "B")
    table = deviations_of(readings_of(readings))
    after = sm.add_constant((table["condition"] == "B").astype(float))
    plain = sm.OLS(table["size"], after).fit()
    assert found.ratio == pytest.approx(1 + plain.params.iloc[1] / plain.params.iloc[0], abs=0.02)


def test_a_cut_of_forty_percent_is_seen_and_within_the_interval(readings):
    found = classical(readings, "A", "B")
    assert found.says == HELPED
    assert found.lo < 0.6 < found.hi
    swapped = classical(readings, "B", "A")
    assert swapped.says == HURT
    assert swapped.ratio == pytest.approx(1 / found.ratio, rel=0.02)
    assert "Brown-Forsythe p" in found.sentence


def test_few_readings_have_no_textbook_answer(readings):
    few = readings[readings["session"] == "visit 1"].groupby("condition").head(3)
    assert classical(few, "A", "B") is None


def textbook(p, ratio=0.8):
    return Classical(p, ratio, 0.7, 0.9, p, "mixed", 200)


@pytest.mark.parametrize(
    ("verdict", "result", "said"),
    [
        (HELPED, textbook(0.01), ""),
        (CANNOT_TELL, textbook(0.4), ""),
        (NO_DIFFERENCE, textbook(0.4), ""),
        (CANNOT_TELL, textbook(0.01), "would say helped"),
        (CANNOT_TELL, textbook(0.01, 1.3), "would say hurt"),
        (NO_DIFFERENCE, textbook(0.01), "nor what is too small to matter"),
        (HELPED, textbook(0.2), "would say nothing"),
        (HELPED, textbook(0.01, 1.3), "would say hurt"),
    ],
)
def test_a_sentence_tells_where_textbook_and_kit_disagree(verdict, result, said):
    found = disagreement(verdict, result)
    assert said in found
    assert bool(said) == bool(found)
