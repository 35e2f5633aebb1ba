"""The choice and its sentence: chances, regret and ties from draws; words that fit the table."""

import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from made_golfers import LENGTHS_FT, made_state

from putlab.base.errors import FitError, UsageError
from putlab.base.settings import interval_probabilities
from putlab.base.words import lengths_in
from putlab.green.skill import Skill
from putlab.practice.advice import COLUMNS, Advice, advise
from putlab.practice.learning import Learning
from putlab.practice.saving import OPTIONS, Savings
from putlab.rounds.strokes import READING, STRETCHES

TOUR_LIKE = Skill.constant(1.4, 9.0)
WEAK = {"line_sd_deg": [1.0, 2.5, 1.0, 1.0, 1.0, 1.0]}
GOLFERS = {
    "even": {},
    "weak at 6 ft": WEAK,
    "right": {"line_bias_deg": 0.65},
    "left": {"line_bias_deg": -0.65},
    "short": {"pace_bias_pct": -6.0},
    "long from near": {"pace_bias_pct": [14.0, 12.0, 2.0, 0.0, 0.0, 0.0]},
    "hardly measured": {"lengths": np.array([30.0]), "pace_sd_pct": 12.0},
}


def plain(words):
    """Return words with ordinary blanks and minus signs."""
    return re.sub(r"[\u2009\u202f\xa0]", " ", words).replace("\u2212", "-")


@pytest.fixture(scope="module")
def advices():
    return {
        name: advise(made_state(**golfer), reference=TOUR_LIKE) for name, golfer in GOLFERS.items()
    }


@pytest.fixture(scope="module")
def advice(advices):
    return advices["weak at 6 ft"]


def test_in_a_notebook_advice_says_whose_it_is_and_that_a_coach_decides(advice):
    html = advice._repr_html_()
    assert advice.player in html
    assert "a coach who sees you decides" in html


def savings_of(saved):
    saved = np.asarray(saved, dtype=float)
    return Savings(middle=0 * saved, scatter=saved)


def test_chances_and_regret_are_those_counted_draw_by_draw(rng):
    saved = rng.normal([1.0, 0.8, 0.5, 0.1], 0.4, (500, 4))
    savings = savings_of(saved)
    best = [max(range(4), key=lambda i: row[i]) for row in saved]
    regret = [np.mean([max(row) - row[i] for row in saved]) for i in range(4)]
    assert savings.p_best == pytest.approx([best.count(i) / 500 for i in range(4)])
    assert savings.expected_regret == pytest.approx(regret)
    assert savings.expected_regret.argmin() == savings.best


def test_options_that_often_win_are_tied_and_the_choice_comes_first():
    # The second beats the first in 3 of 10 draws, the third in 1 of 10, the last never.
    saved = [[1, 2, 0, 0]] * 3 + [[2, 1, 3, 0]] + [[2, 1, 1, 0]] * 6
    assert savings_of(saved).ties == [0, 1]


def test_options_that_differ_by_less_than_is_shown_are_no_ties_and_no_mistake(advice):
    # The second is better in every other draw, by less than a hundredth of a stroke.
    saved = np.zeros((100, len(OPTIONS)))
    saved[:, 0] = 0.2
    saved[::2, 1] = 0.207
    found = Advice(advice.case, 60.0, savings_of(saved))
    assert found.savings.ties == [0]
    assert found.p_chosen == 1.0
    assert found.savings.p_best[:2] == pytest.approx([0.5, 0.5])


def test_the_table_has_the_columns_of_the_command_and_a_row_an_option(advice):
    assert list(advice.table.columns) == COLUMNS
    rows = advice.table[["from_ft", "to_ft", "component"]].itertuples(index=False, name=None)
    assert list(rows) == [(*ends, name) for ends in STRETCHES for name in ("line", "pace")]
    assert advice.table["p_best"].sum() == pytest.approx(1)
    # 3 | 6 | 10 | 16 and 24 | 36 ft, 50 putts each.
    assert advice.table["measured_putts"].tolist() == [50, 50, 50, 50, 50, 50, 100, 100, 50, 50]


def test_the_interval_is_that_of_the_draws(advice):
    low, high = np.quantile(advice.savings.saved, interval_probabilities(), axis=0)
    assert advice.table["saved_next_hour_lo"].to_numpy() == pytest.approx(low)
    assert advice.table["saved_next_hour_hi"].to_numpy() == pytest.approx(high)


@pytest.mark.parametrize("name", GOLFERS)
def test_saved_is_the_middle_and_the_scatter(name, advices):
    table = advices[name].table
    parts = table["saved_by_middle"] + table["saved_by_scatter"]
    assert parts.to_numpy() == pytest.approx(table["saved_next_hour"].to_numpy())


@pytest.mark.parametrize("name", GOLFERS)
def test_lost_to_line_and_pace_and_the_reading_is_all_that_is_lost(name, advices):
    advice = advices[name]
    reading = sum(advice.lost.parts[c, READING].sum(axis=1).mean() for c in ("line", "pace"))
    total = advice.lost.total.sum(axis=1).mean()
    assert advice.table["strokes_lost"].sum() + reading == pytest.approx(total, abs=0.01)
    # The same from the two rounds of putts.
    assert total == pytest.approx(advice.lost.putts.mean() - advice.lost.reference_putts, abs=0.01)


def test_a_weak_spot_is_named(advice):
    assert advice.choice == (1, "line")
    assert plain(advice.sentence).startswith("Line from 4 to 8 ft is the best use")
    assert "mostly by tightening the scatter" in advice.sentence


def test_a_weak_spot_is_where_strokes_are_lost(advice):
    line = advice.table[advice.table["component"] == "line"].set_index("from_ft")
    assert line["strokes_lost"].idxmax() == 4.0
    assert line.loc[4.0, "strokes_lost_lo"] > 0


@pytest.mark.parametrize(
    ("name", "component", "where"),
    [("right", "line", "right"), ("left", "line", "left"), ("short", "pace", "short")],
)
def test_who_is_off_at_every_length_is_told_to_correct_the_middle(name, component, where, advices):
    advice = advices[name]
    assert advice.choice[1] == component
    assert {name for _, name in advice.chosen} == {component}
    assert advice.p_chosen > 0.8
    row = advice.row
    assert row["saved_by_middle"] > 5 * row["saved_by_scatter"]
    assert re.search(rf"mostly by correcting the middle, which lies \S+( %)? {where}\.",
                     plain(advice.sentence))  # fmt: skip


def test_a_long_bias_of_pace_calls_for_long_pace():
    who = made_state(line_sd_deg=0.7, pace_bias_pct=[0, 0, 0, -5, -12, -12], log_sd=0.03)
    advice = advise(who, reference=TOUR_LIKE)
    assert advice.choice in [(3, "pace"), (4, "pace")]
    # Both, and perhaps their neighbour, are named as one.
    assert {(3, "pace"), (4, "pace")} <= set(advice.chosen)
    assert re.match("Pace beyond (8|15) ft is", plain(advice.sentence))


@pytest.mark.parametrize("name", ["even", "right"])
def test_how_many_lengths_a_log_holds_does_not_move_the_choice(name):
    who = made_state(**GOLFERS[name])
    found = []
    for count in (3, 6, 12, 18):
        lengths = np.geomspace(3, 36, count)
        practised = pd.DataFrame({"distance_ft": lengths, "putts": 360 / count})
        found.append(advise(replace(who, practised=practised), reference=TOUR_LIKE))
    assert len({advice.choice for advice in found}) == 1
    chances = np.array([advice.savings.p_best for advice in found])
    assert np.ptp(chances, axis=0).max() < 0.08


def test_a_handful_of_putts_is_told_to_measure_and_nothing_else():
    advice = advise(made_state(lengths=np.array([8.0]), putts=5), reference=TOUR_LIKE)
    assert not advice.measured
    assert plain(advice.sentence).startswith("Measure first: no stretch has 20 putts")
    assert "(the most is 5)" in advice.sentence
    said = " ".join(advice.says())
    assert said.startswith(advice.sentence)
    assert not re.search("best use|Best split|hours in all|saves", said)
    assert "best use" not in advice._repr_html_()


def test_twenty_putts_from_a_stretch_are_enough_to_choose_by():
    few = made_state(lengths=np.array([5.0, 7.0, 30.0]), putts=[10, 9, 19])
    enough = made_state(lengths=np.array([5.0, 7.0, 30.0]), putts=[10, 10, 19])
    found = [advise(who, reference=TOUR_LIKE).measured for who in (few, enough)]
    assert found == [False, True]


def test_who_learns_line_faster_gains_more_from_line():
    slow, fast = made_state(trend=(0.0, 0.02)), made_state(trend=(-0.3, 0.02))
    tables = [
        advise(who, learning=Learning(experience=100.0, experience_log_sd=0.1),
               reference=TOUR_LIKE).table for who in (slow, fast)
    ]  # fmt: skip
    gains = [table["saved_by_scatter"].sum() for table in tables]
    assert gains[1] > 3 * gains[0]


def test_who_is_new_tightens_more_in_an_hour_than_who_has_played_for_years():
    gains = [
        advise(made_state(), experience=said, reference=TOUR_LIKE).table["saved_by_scatter"].sum()
        for said in ("professional", "club", "season", "new")
    ]
    assert np.all(np.diff(gains) > 0)
    assert gains[-1] > 10 * gains[0]


def test_two_hours_save_more_than_one_but_less_than_twice(advice):
    one = advice.table["saved_next_hour"]
    two = advise(made_state(**WEAK), minutes=120, reference=TOUR_LIKE).table["saved_next_hour"]
    assert np.all((two > one) & (two < 2 * one))


def test_hours_that_fade_over_weeks_save_less_than_hours_at_once(advice):
    spread, at_once = advice.later(10, 20), advice.later(10, 1)
    assert np.all(spread.saved.mean(axis=0) < at_once.saved.mean(axis=0))
    # What a week added is halved after 90 days.
    kept = np.mean(0.5 ** (7 * np.arange(20) / 90))
    expected = advice.case.savings(600 * kept).saved
    assert spread.saved == pytest.approx(expected)


@pytest.mark.parametrize(("hours", "weeks"), [(0, 4), (-1, 4), (np.nan, 4), (10, 0)])
def test_a_horizon_that_is_none_is_refused(hours, weeks, advice):
    with pytest.raises(UsageError, match="hours and weeks .*: expected numbers above 0"):
        advice.later(hours, weeks)


def test_the_longer_horizon_is_said_with_its_own_saving(advice):
    said, later = plain(advice.later_sentence(10, 10)), advice.later(10, 10)
    assert said.startswith("Over 10 weeks, 10 hours in all: line from 4 to 8 ft")
    assert f"about {later.saved[:, later.best].mean():.2f} strokes a round" in said


def test_the_same_seed_gives_the_same_advice(advice):
    again = advise(made_state(**WEAK), reference=TOUR_LIKE)
    assert again.table.equals(advice.table)
    assert again.sentence == advice.sentence


def test_who_has_no_practice_is_told_so():
    nobody = SimpleNamespace(player="golfer", practised=pd.DataFrame({"distance_ft": []}))
    with pytest.raises(FitError, match="only follow-up putts"):
        advise(nobody)


@pytest.mark.parametrize("minutes", [0, -5, np.nan, np.inf])
def test_a_time_that_is_none_is_refused(minutes):
    with pytest.raises(UsageError, match="minutes .*: expected a time above 0"):
        advise(made_state(), minutes=minutes)


def test_assumptions_tell_data_from_prior():
    table = advise(made_state(trend=(-0.2, 0.02)), reference=TOUR_LIKE).assumptions
    table = table.set_index("name")
    assert re.match(
        r"[1-9]\d\u202f% from these putts, [1-9]\d\u202f% assumed",
        table.loc["own_line_rate", "from"],
    )
    unknown = advise(made_state(), reference=TOUR_LIKE).assumptions.set_index("name")
    share = re.match(r"(?:under )?(\d+)\u202f% from", unknown.loc["own_line_rate", "from"])
    assert int(share[1]) <= 15
    assert table.index.is_unique
    assert table.loc["carry_range", "value"] == Learning().carry_range
    assert "assumption" in table.loc["mix", "source"]


# Words against the table: what a sentence says is read back out of it.

PLACE = (
    r"((?:line|pace) "
    r"(?:from [\d.]+ to [\d.]+ ft|beyond [\d.]+ ft|inside [\d.]+ ft|at every length))"
)


def rows_named(words, table):
    """Return the rows of a table that words such as "pace beyond 15 ft" are about."""
    numbers = [float(n) for n in re.findall(r"[\d.]+", words)]
    low = numbers[0] if "from" in words or "beyond" in words else 0.0
    high = numbers[-1] if "from" in words or "inside" in words else np.inf
    inside = (table["from_ft"] >= low) & (table["to_ft"] <= high)
    return list(np.flatnonzero(inside & (table["component"] == words.split()[0])))


def contradictions(advice):
    """Assert that a sentence says what its table and draws say."""
    said, table, saved = plain(advice.sentence), advice.table, advice.savings.saved
    best = int(table["saved_next_hour"].to_numpy().argmax())
    row = table.iloc[best]
    answer = re.match(
        f"(?i:{PLACE}) is the best use of the next hour, or within 0.01 strokes a round of "
        "the best, with a chance of (.+?) %",
        said,
    )
    chosen = rows_named(answer[1].lower(), table)
    assert best in chosen
    chance = 100 * np.mean([max(draw[chosen]) >= max(draw) - 0.01 for draw in saved])
    assert chance >= 100 * table["p_best"].iloc[chosen].sum() - 1e-9
    near = {"over 99": chance > 99, "under 1": chance < 1}
    assert (
        near[answer[2]]
        if answer[2] in near
        else float(answer[2]) == pytest.approx(chance, abs=0.51)
    )
    others = re.search(r"It may be (.+?) instead\.", said)
    other = [rows_named(w, table) for w in re.findall(PLACE, others[1])] if others else []
    often = np.flatnonzero((saved > saved[:, [best]] + 0.01).mean(axis=0) >= 0.2)
    assert {i for rows in other for i in rows} == set(often) - set(chosen)
    assert set(chosen) <= set(often) | {best}
    gain = re.search(r"saves about (-?[\d.]+) strokes a round \((-?[\d.]+) to (-?[\d.]+)\)", said)
    shown = [row["saved_next_hour" + end] for end in ("", "_lo", "_hi")]
    assert [float(v) for v in gain.groups()] == pytest.approx(shown, abs=0.0051)
    middle = row["saved_by_middle"] > row["saved_by_scatter"]
    assert ("correcting the middle" in said) == middle
    assert ("tightening the scatter" in said) == (not middle)
    assert ("hardly measured" in said) == (row["measured_putts"] < 20)
    if side := re.search(r"which lies [\d.]+(?:°| %) (right|left|long|short)", said):
        skill = advice.case.golfer.skill.at(
            np.sqrt(max(row["from_ft"], 2.0) * min(row["to_ft"], 50))
        )
        bias = {"line": skill.line_bias_deg, "pace": skill.pace_bias_pct}[row["component"]].mean()
        assert (bias > 0) == (side[1] in ("right", "long"))


@pytest.mark.parametrize("name", GOLFERS)
def test_a_sentence_says_what_the_table_says(name, advices):
    contradictions(advices[name])


def test_no_draws_of_savings_make_a_sentence_contradict_its_table(advices, rng):
    cases = [advices[name].case for name in ("right", "hardly measured")]
    for k in range(40):
        means = rng.gamma(1.0, 0.1, (2, 1, len(OPTIONS)))
        spread = rng.choice([0.005, 0.05, 0.2]) * rng.standard_normal((2, 400, len(OPTIONS)))
        contradictions(Advice(cases[k % 2], 60.0, Savings(*(means + spread))))


def test_a_certain_choice_is_said_as_over_99(advice):
    saved = np.zeros((100, len(OPTIONS)))
    saved[:, 2] = 0.2
    sure = Advice(advice.case, 60.0, savings_of(saved))
    assert "with a chance of over 99 %." in plain(sure.sentence)
    assert sure.others == []
    assert sure.open == ""


def test_a_doubt_about_the_golfer_is_told_from_one_about_practice():
    # Spreads known to a tenth, or to a factor of two either way, and practice as ever.
    known, unknown = (advise(made_state(log_sd=sd, draws=200), minutes=600) for sd in (0.05, 0.7))
    assert known.open == (
        "The log tells enough; what is open is how practice works, which nobody knows."
    )
    assert unknown.open.startswith("What is open is the skill itself")
    # What the skill alone leaves open is less than all that is.
    by_skill = known.case.savings_by_skill(600)
    assert by_skill.mean(axis=0) == pytest.approx(known.savings.saved.mean(axis=0), rel=0.1)
    assert np.all(by_skill.std(axis=0) < known.savings.saved.std(axis=0))


def test_the_time_is_said_as_given():
    said = advise(made_state(), minutes=25, reference=TOUR_LIKE).sentence
    assert "best use of the next 25 minutes" in said


def test_a_log_in_metres_is_answered_in_metres(advice):
    with lengths_in("m"):
        again = Advice(advice.case, 60.0, advice.savings)
        said, shown = [plain(text) for text in again.says()], again.shown
    assert said[0].startswith("Line from 1.2 to 2.4 m is the best use")
    assert not re.search(r"\bft\b|foot|feet", " ".join(said))
    # 4, 8, 15 and 25 ft, rounded as people do.
    stretches = {"inside 1.2 m", "1.2 to 2.4 m", "2.4 to 4.6 m", "4.6 to 7.6 m", "beyond 7.6 m"}
    assert set(shown["Stretch"].map(plain)) == stretches
    assert again.table["from_ft"].equals(advice.table["from_ft"])


def test_the_table_shown_has_the_least_regret_first(advice):
    shown, row = advice.shown, advice.row
    assert (shown.iloc[0]["Stretch"], shown.iloc[0]["Line or pace"]) == (row["stretch"], "line")
    expected = [row["saved_next_hour" + end] for end in ("", "_lo", "_hi")]
    numbers = re.findall(r"-?\d+\.\d+", plain(shown.iloc[0]["Strokes a round saved"]))
    assert [float(n) for n in numbers] == pytest.approx(expected, abs=0.0051)


def test_every_length_practised_is_counted_once():
    assert made_state().measured.sum() == 50 * LENGTHS_FT.size
