"""The choice and its sentence: chances, regret and ties from draws; a weak spot is named."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from made_golfers import LENGTHS_FT, made_state

from putlab.base.errors import FitError, UsageError
from putlab.base.settings import interval_probabilities
from putlab.green.skill import Skill
from putlab.practice.advice import Advice, advise, shown_table
from putlab.practice.learning import Learning
from putlab.practice.saving import Savings, options_of
from putlab.rounds.reference import Reference, tour_reference

COLUMNS = ["player", "distance_ft", "component"]
COLUMNS += [f"{lens}{end}" for lens in ("strokes_lost", "saved_next_hour")
            for end in ("", "_lo", "_hi")]  # fmt: skip
COLUMNS += ["p_best", "expected_regret"]
TOUR_LIKE = Skill.constant(1.4, 9.0)


def savings_of(saved):
    saved = np.asarray(saved, dtype=float)
    options = options_of(np.arange(1.0, 1 + saved.shape[1] / 2))
    return Savings(options, lost=0 * saved, saved=saved)


@pytest.fixture(scope="module")
def advice():
    who = made_state(line_sd_deg=[1.0, 2.5, 1.0, 1.0, 1.0, 1.0])
    return advise(who, reference=TOUR_LIKE)


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


def test_the_table_has_the_columns_of_the_command(advice):
    assert list(advice.table.columns) == COLUMNS
    assert len(advice.table) == 2 * len(LENGTHS_FT)
    assert advice.table["p_best"].sum() == pytest.approx(1)


def test_the_interval_is_that_of_the_draws(advice):
    low, high = np.quantile(advice.savings.saved, interval_probabilities(), axis=0)
    assert advice.table["saved_next_hour_lo"].to_numpy() == pytest.approx(low)
    assert advice.table["saved_next_hour_hi"].to_numpy() == pytest.approx(high)


def test_a_weak_spot_is_named(advice):
    assert advice.choice == (6.0, "line")
    assert advice.ties[0] == advice.choice
    assert "ine at 6 ft" in advice.sentence


def test_a_weak_spot_is_where_strokes_are_lost(advice):
    line = advice.table[advice.table["component"] == "line"].set_index("distance_ft")
    assert line["strokes_lost"].idxmax() == 6.0
    assert line.loc[6.0, "strokes_lost_lo"] > 0


def test_a_long_bias_of_pace_calls_for_long_pace():
    who = made_state(line_sd_deg=0.7, pace_bias_pct=[0, 0, 0, -5, -12, -12], log_sd=0.03)
    assert advise(who, reference=TOUR_LIKE).choice in [(24.0, "pace"), (36.0, "pace")]


def test_who_learns_line_faster_gains_more_from_line():
    slow, fast = made_state(trend=(0.0, 0.02)), made_state(trend=(-0.3, 0.02))
    tables = [advise(who, reference=TOUR_LIKE).table for who in (slow, fast)]
    gains = [table["saved_next_hour"].sum() for table in tables]
    assert gains[1] > 3 * gains[0]


def test_two_hours_save_more_than_one_but_less_than_twice(advice):
    one = advice.table["saved_next_hour"]
    two = advise(made_state(line_sd_deg=[1.0, 2.5, 1.0, 1.0, 1.0, 1.0]), minutes=120,
                 reference=TOUR_LIKE).table["saved_next_hour"]  # fmt: skip
    assert np.all((two > one) & (two < 2 * one))


def test_the_same_seed_gives_the_same_advice(advice):
    again = advise(made_state(line_sd_deg=[1.0, 2.5, 1.0, 1.0, 1.0, 1.0]),
                   reference=TOUR_LIKE)  # fmt: skip
    assert again.table.equals(advice.table)
    assert again.sentence == advice.sentence


def test_one_length_leaves_line_or_pace():
    who = made_state(lengths=np.array([8.0]), line_sd_deg=2.0)
    advice = advise(who, reference=TOUR_LIKE)
    assert [(row.distance_ft, row.component) for row in advice.table.itertuples()] == [
        (8.0, "line"),
        (8.0, "pace"),
    ]
    assert advice.choice == (8.0, "line")


def test_who_has_no_practice_is_told_so():
    from types import SimpleNamespace

    nobody = SimpleNamespace(player="golfer", practised=pd.DataFrame({"distance_ft": []}))
    with pytest.raises(FitError, match="only follow-up putts"):
        advise(nobody)


@pytest.mark.parametrize("minutes", [0, -5, np.nan, np.inf])
def test_a_time_that_is_none_is_refused(minutes):
    with pytest.raises(UsageError, match="minutes must be above 0"):
        advise(made_state(), minutes=minutes)


def test_the_tours_own_average_putts_make_a_golfer_who_putts_so():
    # The published averages, read as a reference of the user's own: 8 ft takes 1.50 putts
    # (PGA TOUR / Broadie 2011).
    from putlab.green.hole_out import hole_out
    from putlab.rounds.reference import reference_skill

    tour = tour_reference()
    skill, name, source = reference_skill(tour, stimp_ft=11.0, past_ft=1.0)
    putts = hole_out(skill, [8.0, 33.0], stimp_ft=11.0).average_putts[0]
    assert putts == pytest.approx([1.50, 2.0], abs=0.03)
    assert (name, source) == (tour.name, tour.source)


def test_a_reference_of_one_distance_is_refused():
    from putlab.rounds.reference import reference_skill

    poor = Reference("club", "made", np.array([1.0, 8.0]), np.array([1.0, 1.6]))
    with pytest.raises(UsageError, match="two distances or more"):
        reference_skill(poor, stimp_ft=10.0, past_ft=1.0)


def test_assumptions_tell_data_from_prior():
    table = advise(made_state(trend=(-0.2, 0.02)), reference=TOUR_LIKE).assumptions
    table = table.set_index("name")
    assert table.loc["line_rate", "from"].startswith("data 9")
    assert table.loc["carry_range", "value"] == Learning().carry_range
    assert "assumption" in table.loc["mix", "source"]


def advice_of(ps, ties=1, regret=0.01, player="golfer"):
    """Return an advice whose first option is the choice, with a table made by hand."""
    options = [(float(d), c) for d in (3, 6, 10, 16) for c in ("line", "pace")][: len(ps)]
    table = pd.DataFrame(options, columns=["distance_ft", "component"])
    table.insert(0, "player", player)
    for name, value in (("strokes_lost", 0.3), ("saved_next_hour", 0.12)):
        table[name], table[name + "_lo"], table[name + "_hi"] = value, value / 2, value * 2
    case = SimpleNamespace(
        golfer=SimpleNamespace(player=player),
        round=SimpleNamespace(reference=SimpleNamespace(name="tour golfer")),
    )
    savings = SimpleNamespace(options=options, best=0, ties=list(range(ties)))
    advice = Advice(case, 60.0, savings)
    vars(advice)["table"] = table.assign(
        p_best=ps, expected_regret=[regret] + [0.05] * (len(ps) - 1)
    )
    return advice


def test_a_clear_choice_is_said_with_its_chance():
    said = advice_of([0.62, 0.2, 0.18]).sentence
    assert said.startswith("Line at 3 ft is the best use of the next hour with a chance of 62")
    assert "about 0.12 strokes a round (0.06 to 0.24)" in said


def test_the_cost_of_being_wrong_is_the_regret_over_the_chance_of_it():
    advice = advice_of([0.6, 0.4], regret=0.02)
    assert advice.cost_if_wrong == pytest.approx(0.02 / 0.4)
    assert "gives away 0.050 strokes" in advice.sentence


@pytest.mark.parametrize(
    ("ties", "words"),
    [
        (2, "Line at 3 ft or pace at 3 ft: either of the two; the data cannot separate them"),
        (3, "Line at 3 ft, pace at 3 ft or line at 6 ft: any of these three"),
    ],
)
def test_ties_are_said_as_ties(ties, words):
    assert advice_of([0.3, 0.25, 0.25, 0.2], ties=ties).sentence.startswith(words)


def test_many_ties_mean_that_nothing_stands_out():
    said = advice_of([0.2] + [0.8 / 7] * 7, ties=6).sentence
    assert said.startswith("Nothing stands out: 6 of 8 choices cannot be told apart.")


def test_where_most_strokes_are_lost_is_said_with_its_interval():
    advice = advice_of([0.6, 0.4])
    advice.table.loc[1, ["strokes_lost", "strokes_lost_lo"]] = 0.5, -0.1
    assert advice.lost_sentence == (
        "Most strokes are lost now to pace at 3 ft: 0.50 a round (−0.10 to 0.60) against the "
        "tour golfer."
    )


def test_who_loses_nothing_is_told_so():
    advice = advice_of([0.6, 0.4])
    advice.table["strokes_lost"] = -0.1
    assert advice.lost_sentence == "Nowhere are strokes lost now to the tour golfer."


def test_no_chance_is_said_as_certain():
    assert "over 99" in advice_of([1.0, 0.0]).sentence


def test_a_label_with_markup_does_not_run():
    html = advice_of([0.6, 0.4], player="<script>x</script>")._repr_html_()
    assert "<script>" not in html
    assert "&lt;script&gt;" in html


def test_the_table_shown_has_the_least_regret_first():
    shown = shown_table(advice_of([0.6, 0.4]).table)
    assert shown.iloc[0]["Line or pace"] == "line"
    assert shown.iloc[0]["Strokes a round saved"] == "0.120 (0.060 to 0.240)"
