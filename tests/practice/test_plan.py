"""The next session: minutes kept, order mixed, and rows that load back as a log."""

import pytest
from made_golfers import LENGTHS_FT, MadeGolfer, made_plan, made_state

from putlab.base.errors import UsageError
from putlab.practice.plan import (
    BLOCK_SET,
    DRILL_MINUTES,
    HOLES,
    MIXED_SET,
    is_new,
    lengths_by_stretch,
    ordered_sets,
    shuffled_apart,
)
from putlab.practice.split import LEAST_MINUTES


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
    put = plan.sets.groupby(["distance_ft", "component"])["putts"].sum().to_dict()
    assert put == {(t.distance_ft, t.component): t.putts for t in plan.targets}
    assert plan.sets["putts"].max() <= MIXED_SET


def test_the_sets_rows_are_those_of_the_log(plan):
    for row in plan.sets.itertuples():
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


def test_only_the_lengths_wanted_are_drilled():
    wanted = made_plan(lengths_ft=[10.0, 24.0])
    assert {goal.distance_ft for goal in wanted.targets} <= {10.0, 24.0}
    assert set(wanted.sets["distance_ft"]) <= {10.0, 24.0}


@pytest.mark.parametrize("length", [0.0, -6.0, float("nan"), float("inf")])
def test_a_length_that_is_none_is_refused(length):
    with pytest.raises(UsageError, match="lengths must be above 0"):
        lengths_by_stretch(MadeGolfer(), [6.0, length])


def test_a_stretch_takes_its_two_most_practised_lengths_or_else_the_kits():
    golfer = MadeGolfer(lengths=[4.0, 6.0, 7.0, 8.0, 15.0, 25.0], putts=[20, 50, 30, 9, 9, 9])
    at = lengths_by_stretch(golfer)
    # As `measured` counts them: a length at an edge belongs to the stretch beyond.
    assert at == [[2.0, 3.0], [6.0, 7.0], [8.0], [15.0], [25.0]]
    who = made_state(lengths=golfer.lengths, putts=[20, 50, 30, 9, 9, 9])
    assert who.measured.tolist() == [0, 100, 9, 9, 9]


def test_too_short_a_session_is_refused():
    with pytest.raises(UsageError, match="too few"):
        made_plan(minutes=15)


def test_mixed_sets_do_not_follow_themselves_where_that_can_be_helped(rng):
    sets = [(6.0, "line", 5)] * 5 + [(10.0, "line", 5)] * 3 + [(24.0, "pace", 5)] * 2
    for _ in range(50):
        names = [one[:2] for one in shuffled_apart(sets, rng)]
        assert all(a != b for a, b in zip(names[:-1], names[1:], strict=True))


def test_a_drill_of_most_sets_still_gets_all_of_them(rng):
    sets = [(6.0, "line", 5)] * 6 + [(10.0, "line", 5)]
    assert sorted(shuffled_apart(sets, rng)) == sorted(sets)


def test_a_beginner_at_a_length_repeats_in_blocks_first(rng):
    drills = [(6.0, "line", 25), (10.0, "line", 20)]
    new = {(6.0, "line"): False, (10.0, "line"): True}
    sets = ordered_sets(drills, new, rng)
    assert sets[:2] == [(10.0, "line", BLOCK_SET)] * 2
    assert sets[2:] == [(6.0, "line", MIXED_SET)] * 5


@pytest.mark.parametrize(
    ("golfer", "new"),
    [
        (MadeGolfer(putts=60), False),
        (MadeGolfer(putts=10), True),
        (MadeGolfer(putts=60, line_sd_deg=2.5), True),
    ],
)
def test_who_struck_few_or_scatters_widely_is_new(golfer, new):
    assert is_new(golfer, 6.0, "line") is new


def test_the_order_cites_the_studies_and_that_they_were_not_found_again(plan):
    said = " ".join(plan.order)
    assert "Fazeli and others" in said
    assert "Dias and Mendes (2010)" in said
    assert "did not find again" in said


def test_the_list_warns_of_strain_and_pain(plan):
    said = " ".join(plan.cautions)
    for word in ("back and wrists", "Stop at pain", "Juniors", "coach"):
        assert word in said
