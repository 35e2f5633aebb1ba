"""The first visit: lengths equally often in mixed sets, and a game at the same lengths."""

import pytest

from putlab.base.errors import UsageError
from putlab.practice.first_visit import first_visit


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
