"""The sentence: it names ties as ties, never a certainty, and what a wrong choice costs."""

from types import SimpleNamespace

import pandas as pd
import pytest

from putlab.practice.advice import Advice, shown_table


def advice_of(ps, ties=1, regret=0.01, player="golfer"):
    """Return an advice whose first option is the choice, with a table made by hand."""
    options = [(float(d), c) for d in (3, 6, 10, 16) for c in ("line", "pace")][: len(ps)]
    table = pd.DataFrame(options, columns=["distance_ft", "component"])
    table.insert(0, "player", player)
    for name, value in (("strokes_lost", 0.3), ("saved_next_hour", 0.12)):
        table[name], table[name + "_lo"], table[name + "_hi"] = value, value / 2, value * 2
    case = SimpleNamespace(
        golfer=SimpleNamespace(player=player), round=SimpleNamespace(reference_name="tour golfer")
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
