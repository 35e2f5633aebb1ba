"""The words of a comparison, over 200 made ones: one story each, and never against the verdict."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from putlab.trial.boundary import (
    CANNOT_TELL,
    HELPED,
    HURT,
    NO_DIFFERENCE,
    NOT_BY_DESIGN,
    Boundary,
    p_below,
)
from putlab.trial.classical import Classical
from putlab.trial.comparison import Comparison, gauge
from putlab.trial.conditions import APART, BEFORE_AFTER, BY_VISITS, IN_ONE_ORDER, Conditions, Plan

DESIGNED = 400
# The rest of a textbook's answer: interval, p and kind of the mixed model, putts.
BOOK = (0.7, 0.9, 0.1, "mixed", 240)
VISITS = {
    None: ([20] * 6, [20] * 6),
    "by visits": ([40, 0, 0, 40, 40, 0], [0, 40, 40, 0, 0, 40]),
    BEFORE_AFTER: ([40, 40, 40, 0, 0, 0], [0, 0, 0, 40, 40, 40]),
    IN_ONE_ORDER: ([20] * 6, [20] * 6),
    APART: ([20] * 6, [20] * 6),
}
# The one thing that would settle it, or that nothing would.
ENDS = ("should tell", "not with a trial", "The plan has", "is over", "By now", "No more putts")


def made(seed):
    """Return a comparison as the boundary would have it, and what it was made of."""
    rng = np.random.default_rng([5, seed])
    design = list(VISITS)[seed % 10] if seed % 10 < 5 else None
    metric = ("line", "pace", "strokes")[rng.integers(3)]
    scale = 1.0 if metric == "strokes" else 0.223
    share = rng.uniform(0.1, 3)
    # One golfer in five calls nearly three times as much too small to matter.
    small = 3 if seed % 5 == 4 else 1
    pairs = int(rng.integers(1, 4))
    boundary = Boundary(0.22 * small * scale, scale, prior_sd=scale, pairs=pairs)
    sd = (boundary.designed_information * share + scale**-2) ** -0.5
    mean = sd * rng.uniform(-4, 4)
    visits = pd.DataFrame(dict(zip(("before", "after"), VISITS[design], strict=True)))
    visits = visits.assign(session=[f"visit {i}" for i in range(6)])
    later = 0.5 if design == IN_ONE_ORDER else 0.0
    pair = Conditions("ash", "A", "B", 120, 120, visits, later=later)
    fault = design if design in (BEFORE_AFTER, IN_ONE_ORDER, APART) else None
    verdict = NOT_BY_DESIGN if fault else str(boundary.verdict(mean, sd))
    done = 6 if seed % 2 else int(rng.integers(1, 6))
    plan = Plan(metric, 20.0, DESIGNED, 6, 66 * done, done) if seed % 3 == 0 else None
    per_putt = boundary.designed_information / DESIGNED
    further = boundary.putts_to_verdict(mean, sd, sd_fit=sd, per_putt=per_putt)
    shown = (lambda v: v) if metric == "strokes" else np.exp
    ends = norm.interval(0.9, mean, sd)
    change = {"mean": shown(mean), "lo": shown(ends[0]), "hi": shown(ends[1])}
    change = {k: float(v) for k, v in change.items()} | {"p_improved": float(p_below(mean, sd))}
    still = {"mean": 1.0, "lo": 0.9, "hi": 1.1, "p_improved": 0.5}
    found = Comparison(
        conditions=pair, metric=metric,
        line_sd_ratio=change if metric == "line" else still,
        pace_sd_ratio=change if metric == "pace" else still,
        by_distance=pd.DataFrame({"distance_ft": [10.0]}),
        line_bias_change_deg=None, pace_bias_change_pct=None,
        strokes_per_round_change=change if metric == "strokes" else None,
        p_too_small_to_matter=float(boundary.p_too_small(mean, sd)),
        p_needed=float(boundary.p_needed(sd)), p_detect=float(p_below(mean, sd, -boundary.detect)),
        verdict=verdict, putts_still_needed=0 if fault else further, plan=plan,
        designed_putts=DESIGNED, worth_putts=240, fault=fault, too_small_pct=5.0 * small,
        too_small_strokes=0.1 * small, detect_pct=20.0, mix="tour", meta={},
        classical={metric: Classical(rng.choice([0.01, 0.5]), shown(mean), *BOOK)},
        several=None if pairs == 1 else pd.DataFrame({"condition": ["A", "B", "C"]}),
    )  # fmt: skip
    return found, share


MADE = [made(seed) for seed in range(200)]


def test_the_made_comparisons_hold_every_case():
    verdicts = {found.verdict for found, _ in MADE}
    assert verdicts == {HELPED, HURT, NO_DIFFERENCE, CANNOT_TELL, NOT_BY_DESIGN}
    said = " ".join(found.sentence for found, _ in MADE)
    assert all(end in said for end in ENDS)
    # A trial that is over, with a cut still possible and without; one that is vain before its end.
    over = " ".join(found.sentence for found, _ in MADE if "is over" in found.sentence)
    assert "unlikely" in over
    assert "not ruled out" in over
    vain = [found for found, _ in MADE if "By now" in found.sentence]
    assert any(found.plan for found in vain)
    assert not all(found.plan for found in vain)
    three = {found.verdict for found, _ in MADE if found.several is not None}
    assert three == verdicts


@pytest.mark.parametrize("case", range(200))
def test_one_verdict_one_reason_one_way_on(case):
    found, _ = MADE[case]
    said = found.sentence
    assert said.startswith(f"{found.verdict.capitalize()}: ")
    ways = [end for end in ENDS if end in said]
    assert len(ways) == (found.verdict in (CANNOT_TELL, NOT_BY_DESIGN))
    others = {HELPED, HURT, NO_DIFFERENCE, CANNOT_TELL, NOT_BY_DESIGN} - {found.verdict}
    assert not any(re.search(rf"\b{other}\b", said, re.IGNORECASE) for other in others)


@pytest.mark.parametrize("case", range(200))
def test_the_numbers_said_bear_the_verdict_out(case):
    found, _ = MADE[case]
    nought = 0.0 if found.metric == "strokes" else 1.0
    if chances := re.search(
        r"chance of (0\.\d+|1\.0+), and a check .* asks for ([\d.]+)\.", said_of(case)
    ):
        chance, needed = map(float, chances.groups())
        assert (chance > needed) == (found.verdict in (HELPED, HURT))
        assert chance != needed
    if found.verdict == HELPED:
        assert found.judged["hi"] < nought
    if found.verdict == HURT:
        assert found.judged["lo"] > nought
    if found.verdict == NO_DIFFERENCE:
        assert found.p_too_small_to_matter >= 0.9
    if "is unlikely" in said_of(case):
        assert found.p_detect < 0.05


@pytest.mark.parametrize("case", range(200))
def test_the_gauge_and_the_cautions_never_contradict_the_verdict(case):
    found, _ = MADE[case]
    read = gauge(found.verdict, found.p_detect)
    if found.verdict in (HELPED, HURT):
        assert read == found.verdict
    elif found.verdict == NO_DIFFERENCE:
        assert read == "no difference worth having"
    else:
        # A trial called vain says so in words too.
        assert (read == "not yet") == ("is unlikely" not in found.sentence or bool(found.fault))
    books = "The textbook test alone would say"
    told = " ".join(caution for caution in found.cautions if not caution.startswith(books))
    assert ("tried 3 conditions" in told) == (found.several is not None)
    assert not re.search(r"\b(helped|hurt|cannot tell|no difference)\b", told, re.IGNORECASE)


def test_whole_visits_of_one_condition_are_said_to_tell_less():
    by_visits = next(f for f, _ in MADE if f.conditions.design == BY_VISITS)
    few, many = (" ".join(replace(by_visits, worth_putts=n).cautions) for n in (160, 400))
    assert "these 240 putts tell what about 160 shuffled within every visit would." in few
    assert "shuffled within every visit would" not in many


def said_of(case):
    return MADE[case][0].sentence


@pytest.mark.parametrize("case", range(200))
def test_no_forecast_is_above_three_times_the_plan(case):
    found, share = MADE[case]
    if forecast := re.search(r"About ([\d,]+) more putts", found.sentence):
        putts = int(forecast[1].replace(",", ""))
        assert share * DESIGNED + putts <= 3 * DESIGNED
    if planned := re.search(r"The plan has ([\d,]+) more putts", found.sentence):
        assert int(planned[1]) < DESIGNED
        assert not found.plan.over


def test_a_gauge_says_what_the_verdict_does():
    assert gauge(HELPED, 0.6) == "helped"
    assert gauge(HURT, 0.0) == "hurt"
    assert gauge(NO_DIFFERENCE, 0.2) == "no difference worth having"
    assert gauge(CANNOT_TELL, 0.03) == "no difference worth having"
    assert gauge(CANNOT_TELL, 0.3) == gauge(NOT_BY_DESIGN, 0.01) == "not yet"
