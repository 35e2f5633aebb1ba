"""The next session: minutes kept, order mixed, and rows that load back as a log."""

import re

import numpy as np
import pytest
from made_golfers import LENGTHS_FT, MadeGolfer, made_plan, made_state

from putlab.base.errors import UsageError
from putlab.base.words import lengths_in
from putlab.green.skill import Skill
from putlab.log.rules import ReadingRules
from putlab.practice.advice import advise
from putlab.practice.plan import (
    DRILL_MINUTES,
    HOLES,
    MIXED_SET,
    drill_words,
    first_visit,
    lengths_by_stretch,
    mixed_sets,
    start_words,
)
from putlab.practice.plan import plan as plan_of
from putlab.practice.split import LEAST_MINUTES
from putlab.practice.targets import Target

TOUR_LIKE = Skill.constant(1.4, 9.0)


@pytest.fixture(scope="module")
def plan():
    return made_plan()


def test_drills_fit_the_time_left_by_warm_up_and_game(plan):
    learning = plan.advice.case.learning
    minutes = [t.putts / learning.putts_a_minute(t.distance_ft) for t in plan.targets]
    assert sum(minutes) == pytest.approx(25, abs=4)
    # Putts come in whole sets, so a drill may run over by half of one.
    assert max(minutes) < DRILL_MINUTES + LEAST_MINUTES


def test_the_sets_hold_the_drills_putts(plan):
    put = plan.table.groupby(["distance_ft", "component"])["putts"].sum().to_dict()
    assert put == {(t.distance_ft, t.component): t.putts for t in plan.targets}
    assert plan.table["putts"].max() <= MIXED_SET


def test_the_sets_rows_are_those_of_the_log(plan):
    for row in plan.table.itertuples():
        part = plan.log_rows.iloc[row.first - 1 : row.last]
        assert set(part["distance_ft"]) == {row.distance_ft}
        assert set(part["drill"]) == {row.component}


def test_the_session_ends_with_a_counted_game_on_the_golfers_lengths(plan):
    last = plan.log_rows.tail(HOLES)
    assert set(last["drill"]) == {"counted"}
    assert list(last["hole_no"]) == list(range(1, HOLES + 1))
    assert set(last["distance_ft"]) <= set(LENGTHS_FT)


def test_the_same_seed_gives_the_same_plan_and_another_another(plan):
    again, other = made_plan(), made_plan(seed=8)
    assert again.log_rows.equals(plan.log_rows)
    assert not other.log_rows["distance_ft"].equals(plan.log_rows["distance_ft"])


def test_the_first_putts_of_a_drill_correct_a_middle_that_costs_more_than_the_scatter():
    # 1.0 degree right everywhere; pace straight on, and known.
    crooked, straight = (
        advise(made_state(line_bias_deg=bias, log_sd=0.02), minutes=25, reference=TOUR_LIKE)
        for bias in (1.0, 0.0)
    )
    said = start_words(crooked, 6.0, "line", 25).replace("\u202f", " ")
    assert said.startswith("the first 10 to a mark on the line close ahead, to correct the middle")
    assert re.search(r"which lies (0\.9\d|1\.0\d)° right; then $", said)
    assert start_words(crooked, 6.0, "line", 5).startswith("all to a mark on the line")
    row = straight.table.iloc[2]
    assert row["saved_by_middle"] < row["saved_by_scatter"]
    assert start_words(straight, 6.0, "line", 25) == ""
    goal = Target(6.0, "line", 1.0, 9.0, 25, 18, None, None, start=said)
    assert f"25 putts: {said}start within 1° of the line." in drill_words(goal)


def test_a_log_too_small_to_choose_by_gets_a_session_that_measures_both():
    advice = advise(made_state(putts=3), reference=TOUR_LIKE)
    rules = ReadingRules(line_step_deg=1.0, roll_step_ft=0.1)
    made = plan_of(MadeGolfer(putts=3), rules, advice, minutes=40, seed=7, session="today")
    drilled = made.log_rows[made.log_rows["drill"] != "counted"]
    assert set(drilled["drill"]) == {"both"}
    counts = drilled.groupby("distance_ft").size()
    # One from each stretch up to 25 ft; of the two most practised the longer (all alike here).
    assert list(np.digitize(counts.index, [4, 8, 15, 25])) == [0, 1, 2, 3]
    assert counts.nunique() == 1
    assert 10 <= counts.iloc[0] <= 20
    # A band of each reading, and the time of the drills kept to half a set a length.
    assert {(t.distance_ft, t.component) for t in made.targets} == {
        (length, name) for length in counts.index for name in ("line", "pace")
    }
    minutes = sum(n / advice.case.learning.putts_a_minute(d) for d, n in counts.items())
    assert minutes <= 25


def test_only_the_lengths_wanted_are_drilled():
    wanted = made_plan(lengths_ft=[10.0, 24.0])
    assert {goal.distance_ft for goal in wanted.targets} <= {10.0, 24.0}
    assert set(wanted.table["distance_ft"]) <= {10.0, 24.0}


@pytest.mark.parametrize("length", [0.0, -6.0, float("nan"), float("inf")])
def test_a_length_that_is_none_is_refused(length):
    with pytest.raises(UsageError, match="lengths_ft .*expected lengths in feet above 0"):
        lengths_by_stretch(MadeGolfer(), [6.0, length])


def test_no_length_is_proposed_that_no_putt_shows_the_mat_to_reach_but_where_it_was_chosen():
    mat = MadeGolfer(lengths=[4.0, 9.0], putts=[30, 30])
    assert lengths_by_stretch(mat) == [[2.0, 3.0], [4.0], [9.0], [], []]
    assert lengths_by_stretch(mat, chosen=4)[-2:] == [[], [30.0, 40.0]]


def test_a_stretch_takes_its_two_most_practised_lengths_or_else_the_kits():
    golfer = MadeGolfer(lengths=[4.0, 6.0, 7.0, 8.0, 15.0, 25.0], putts=[20, 50, 30, 9, 9, 9])
    at = lengths_by_stretch(golfer)
    # As `measured` counts them: a length at an edge belongs to the stretch beyond.
    assert at == [[2.0, 3.0], [6.0, 7.0], [8.0], [15.0], [25.0]]
    with lengths_in("m"):  # 2 ft are 0.61 m, by the exact foot
        metres = np.multiply(lengths_by_stretch(golfer)[0], 0.3048)
    assert metres.tolist() == pytest.approx([0.6, 0.9])
    who = made_state(lengths=golfer.lengths, putts=[20, 50, 30, 9, 9, 9])
    assert who.measured.tolist() == [0, 100, 9, 9, 9]


def test_the_list_of_a_log_in_metres_is_in_metres(plan):
    with lengths_in("m"):
        metric = made_plan()
        said = [metric.sentence, *metric.order, *(cell for row in metric.listing for cell in row)]
    assert not [text for text in said if re.search(r"\d[\s\u202f\u00a0]ft\b", text)]
    assert metric.log_rows["distance_ft"].equals(plan.log_rows["distance_ft"])


def test_too_short_a_session_is_refused():
    with pytest.raises(UsageError, match="18 or more, warm-up"):
        made_plan(minutes=15)


def test_mixed_sets_do_not_follow_themselves_where_that_can_be_helped(rng):
    drills = [(6.0, "line", 25), (10.0, "line", 15), (24.0, "pace", 10)]
    orders = {tuple(one[:2] for one in mixed_sets(drills, rng)) for _ in range(50)}
    for names in orders:
        assert all(a != b for a, b in zip(names[:-1], names[1:], strict=True))
    assert len(orders) > 10


def test_a_drill_of_most_sets_still_gets_all_of_them(rng):
    sets = mixed_sets([(6.0, "line", 35), (10.0, "line", 5)], rng)
    assert sorted(sets) == [*[(6.0, "line", 5)] * 7, (10.0, "line", 5)]


def test_the_order_cites_the_studies_and_that_they_were_not_found_again(plan):
    said = " ".join(plan.order)
    assert "Fazeli and others" in said
    assert "Dias and Mendes (2010)" in said
    assert "did not find again" in said


def test_the_list_warns_of_strain_and_pain(plan):
    said = " ".join(plan.cautions)
    for word in ("back and wrists", "Stop at pain", "Juniors", "coach"):
        assert word in said


def test_lengths_come_as_often_in_sets_of_five_and_never_twice_in_a_row():
    rows = first_visit([4, 10, 33], putts=60, session="2026-03-01", seed=3)
    putts = rows[rows["drill"] == "both"]
    assert putts["distance_ft"].value_counts().to_dict() == {4: 20, 10: 20, 33: 20}
    sets = putts["distance_ft"].to_numpy().reshape(-1, 5)
    assert (sets == sets[:, :1]).all()
    assert (sets[1:, 0] != sets[:-1, 0]).all()
    game = rows[rows["drill"] == "counted"]
    assert list(game["hole_no"]) == list(range(1, 10))
    assert set(game["distance_ft"]) <= {4, 10, 33}
    assert list(rows["putt"]) == list(range(1, 70))


def test_every_player_has_putts_in_an_order_of_his_own():
    rows = first_visit([4, 10], players=["alder", "birch"], putts=40, holes=0, session="a")
    orders = [part["distance_ft"].tolist() for _, part in rows.groupby("player")]
    assert len(orders[0]) == len(orders[1]) == 40
    assert orders[0] != orders[1]
    assert rows.equals(
        first_visit([4, 10], players=["alder", "birch"], putts=40, holes=0, session="a")
    )


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"lengths_ft": []}, "lengths in feet above 0"),
        ({"lengths_ft": [-3.0]}, "lengths in feet above 0"),
        ({"lengths_ft": [4.0, 9.0], "putts": 9}, "10 to 1000"),
        ({"lengths_ft": [4.0], "holes": -1}, "0 or more"),
        ({"lengths_ft": [4.0], "holes": 40}, "1 to 18 holes"),
    ],
)
def test_a_visit_that_cannot_be_is_refused(wrong, said):
    with pytest.raises(UsageError, match=said):
        first_visit(**wrong)
