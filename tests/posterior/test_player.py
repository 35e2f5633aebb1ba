"""What a fit says of a player: at lengths practised, between and beyond; on a green."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from putlab.base.errors import UsageError
from putlab.base.settings import INTERVAL
from putlab.green.published import green_spread as published_green
from putlab.log.read import choose_player
from putlab.posterior.player import green_spread, pace_sentence, summary


def width(skill):
    low, high = np.quantile(np.log(skill.line_sd_deg), [0.05, 0.95], axis=0)
    return high - low


@pytest.mark.slow
def test_at_a_practised_length_the_skill_is_the_fitted_level(demo_fit):
    alder = demo_fit.golfer("alder")
    within = alder.skill([10.0], new_day=False)
    length = list(demo_fit.designs["line"].lengths_ft).index(10.0)
    now = alder.draws("line", "trend") * alder._practised_now()
    expected = np.exp(alder.draws("line", "level")[:, length] + now)
    assert within.line_sd_deg[:, 0] == pytest.approx(expected)


@pytest.mark.slow
def test_the_answer_widens_between_and_beyond_the_practised_lengths(demo_fit):
    widths = width(demo_fit.golfer("alder").skill([10.0, 12.6, 36.0, 60.0], new_day=False))
    assert widths[1] > widths[0]
    assert widths[3] > widths[2]


@pytest.mark.slow
def test_a_new_day_is_wider_by_the_setup_and_form(demo_fit):
    rowan = demo_fit.golfer("rowan")
    within, new = (rowan.skill([10.0], new_day=n).pace_sd_pct[:, 0] for n in (False, True))
    form = rowan.draws("pace", "visit_form_sd")
    setup = rowan.draws("pace", "visit_bias_sd")
    assert new**2 == pytest.approx(within**2 * np.exp(2 * form**2) + setup**2)


@pytest.mark.slow
def test_counting_changes_spread_by_the_fitted_factor(demo_fit):
    rowan = demo_fit.golfer("rowan")
    calm, counted = (rowan.skill([6.0], new_day=False, counted=c) for c in (False, True))
    ratio = (counted.line_sd_deg / calm.line_sd_deg)[:, 0]
    assert ratio == pytest.approx(np.exp(rowan.draws("line", "counted")))


@pytest.mark.slow
def test_the_condition_of_the_last_visit_is_the_one_told(demo_fit):
    shares = demo_fit.condition_now.set_index("player")["condition"]
    assert shares["birch"] == "new routine"


@pytest.mark.slow
def test_one_question_asked_twice_has_one_answer(demo_fit):
    one, two = (demo_fit.golfer("birch").skill([4.5, 50.0]) for _ in range(2))
    assert np.array_equal(one.line_sd_deg, two.line_sd_deg)


def test_an_unknown_player_is_answered_with_the_known_ones():
    with pytest.raises(UsageError, match="Did you mean 'birch'"):
        choose_player(["alder", "birch"], "brich")
    with pytest.raises(UsageError, match="has 2 players; name one"):
        choose_player(["alder", "birch"], None)


def test_the_summary_is_the_kits_interval(rng):
    mean, low, high = summary(rng.normal(3, 2, (200_000, 1)))
    # 1.645 is the standard normal's 95 % point (any statistical table).
    assert INTERVAL == 0.90
    assert low.item() == pytest.approx(3 - 2 * 1.645, abs=0.03)
    assert high.item() == pytest.approx(3 + 2 * 1.645, abs=0.03)
    assert mean.item() == pytest.approx(3, abs=0.02)


@pytest.mark.slow
def test_the_table_has_the_spread_within_a_visit_and_the_sentence_its_middle_row(demo_fit):
    rowan = demo_fit.golfer("rowan")
    table = rowan.table
    assert table["distance_ft"].tolist() == rowan.practised["distance_ft"].tolist()
    row = table.iloc[len(table) // 2]
    at = list(demo_fit.designs["pace"].lengths_ft).index(row["distance_ft"])
    log_sd = rowan.draws("pace", "level")[:, at] + rowan.draws("pace", "trend") * (
        rowan._practised_now()
    )
    assert row["pace_sd_pct"] == pytest.approx(np.exp(log_sd).mean())
    assert row["pace_sd_pct_hi"] == pytest.approx(np.exp(np.quantile(log_sd, 0.95)), rel=1e-3)
    assert rowan.sentence.startswith("rowan at ")
    assert f"{row['pace_sd_pct']:.1f}" in rowan.sentence


def fit_of(counts, *, read=False):
    """Return as much of a fit as a sentence needs."""
    rows = pd.DataFrame({"player": ["a"] if read else []})
    table = pd.DataFrame([counts], index=["a"])
    return SimpleNamespace(green_counts=table, designs={"pace": SimpleNamespace(rows=rows)})


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


@pytest.mark.slow
def test_without_putts_on_a_green_its_spread_is_the_published(demo_fit):
    green, said = green_spread(demo_fit, "alder")
    assert "published split of variance" in said
    assert "Karlsen and Nilsson" in said
    line, pace = published_green()
    assert np.median(green[0]) == pytest.approx(line, rel=0.06)
    assert np.median(green[1]) == pytest.approx(pace, rel=0.06)
    skill = demo_fit.golfer("alder").skill([6.0, 20.0])
    wider = skill.wider(*green[..., None])
    assert np.all(wider.line_sd_deg > skill.line_sd_deg)
