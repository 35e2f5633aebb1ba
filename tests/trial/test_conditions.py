"""Which putts a comparison holds: labels, players, and how conditions lie in time."""

import pandas as pd
import pytest
from made_logs import log_of
from made_trials import trial_log

from putlab.base.errors import UsageError
from putlab.trial.conditions import (
    BEFORE_AFTER,
    BY_VISITS,
    IN_ONE_ORDER,
    INTERLEAVED,
    choose_conditions,
    putt_counts,
)


def counts(*rows):
    """Return putt counts from (player, session, condition, putts)."""
    frame = pd.DataFrame(rows, columns=["player", "session", "condition", "putts"])
    return frame.assign(condition=frame["condition"].fillna(""), place=0.5)


THREE = counts(
    ("ash", "1", "old grip", 10), ("ash", "2", "new grip", 12),
    ("elm", "1", None, 10), ("elm", "2", None, 10),
    ("oak", "1", "old grip", 9), ("oak", "2", None, 9),
)  # fmt: skip


def test_the_only_player_with_both_conditions_needs_no_name():
    pair = choose_conditions(THREE, "old grip", "new grip")
    assert (pair.player, pair.putts_before, pair.putts_after) == ("ash", 10, 12)
    assert (pair.sessions, pair.sessions_shared) == (2, 0)


def test_putts_without_a_label_are_called_none():
    pair = choose_conditions(THREE, "old grip", "none", "oak")
    assert (pair.before, pair.after, pair.putts_after) == ("old grip", "", 9)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("old grip", "old grip"), "are the same; name two"),
        (("old grip", "new gripp"), "no condition 'new gripp'.*Did you mean 'new grip'"),
        (("old", "new grip", "ash"), "no condition 'old'.*Did you mean 'old grip'"),
        (
            ("old grip", "new grip", "oak"),
            "no condition 'new grip' here; oak has 'old grip', 'none'",
        ),
        (("old grip", "new grip", "elm"), "elm has no condition labels at all"),
        (("old grip", "new grip", "oka"), "no player 'oka'.*Did you mean 'oak'"),
        (("new grip", "none"), "no players have both"),
    ],
)
def test_a_wrong_label_is_told_with_the_nearest_right_one(arguments, said):
    with pytest.raises(UsageError, match=said):
        choose_conditions(THREE, *arguments)


def test_several_players_with_both_conditions_must_be_told_apart():
    both = counts(*((p, s, c, 5) for p in ("ash", "elm") for s, c in (("1", "A"), ("2", "B"))))
    with pytest.raises(UsageError, match="2 players have both.*ash, elm"):
        choose_conditions(both, "A", "B")


@pytest.mark.parametrize(
    ("order", "design"),
    [
        (["A", "A", "A", "B", "B", "B"], BEFORE_AFTER),
        (["B", "B", "A", "A"], BEFORE_AFTER),
        (["A", "B", "B", "A", "A", "B", "B", "A"], BY_VISITS),
        (["AB", "AB", "AB"], INTERLEAVED),
        (["A", "AB", "AB", "AB", "B"], INTERLEAVED),
        # Five visits and then one are no less one after the other.
        (["A", "A", "A", "A", "A", "B"], BEFORE_AFTER),
        (["A", "A", "A", "AB", "B", "B"], BEFORE_AFTER),
    ],
)
def test_how_the_conditions_lie_in_time(order, design):
    rows = [("ash", str(i), condition, 10) for i, held in enumerate(order) for condition in held]
    assert choose_conditions(counts(*rows), "A", "B").design == design


@pytest.mark.parametrize(
    ("order", "design", "later"),
    [
        ("A" * 30 + "B" * 30, IN_ONE_ORDER, 0.5),
        ("B" * 45 + "A" * 15, IN_ONE_ORDER, -0.5),
        (("A" * 15 + "B" * 15) * 2, INTERLEAVED, 0.25),
        ("A" * 10 + "B" * 20 + "A" * 10, INTERLEAVED, 0.0),
    ],
)
def test_how_the_conditions_lie_in_the_visit(order, design, later):
    putts = pd.DataFrame({"session": "visit 1", "putt": range(len(order)), "line_deg": 0.0})
    putts = pd.concat([putts, putts.assign(session="visit 2")])
    putts = putts.assign(player="ash", distance_ft=10.0, condition=2 * list(order))
    pair = choose_conditions(putt_counts(log_of(putts)), "A", "B")
    # By hand: the middle of a block less the middle of the other, over the visit's length.
    assert pair.later == pytest.approx(later)
    assert pair.design == design


def test_putts_are_counted_as_in_the_log():
    log = trial_log(sessions=4, each=6)
    pair = choose_conditions(putt_counts(log), "A", "B")
    assert pair.putts_before == pair.putts_after == 4 * 3 * 6
    assert pair.sessions_shared == pair.sessions == 4


def test_putts_without_a_reading_are_not_counted():
    putts = trial_log(sessions=4, each=6).putts
    putts.loc[putts["session"] == "visit 1", "line_deg"] = None
    pair = choose_conditions(putt_counts(log_of(putts)), "A", "B")
    assert pair.putts_before == 3 * 3 * 6


def test_a_condition_without_any_reading_is_told_apart_from_an_unknown_one():
    putts = trial_log(sessions=4, each=6).putts
    putts.loc[putts["condition"] == "B", "line_deg"] = None
    with pytest.raises(UsageError, match="rows under 'B', but none with a line or roll"):
        choose_conditions(putt_counts(log_of(putts)), "A", "B")
