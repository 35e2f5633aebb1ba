"""From a log to outcomes on a green, and to the arrays of the model."""

import numpy as np
import pandas as pd
import pytest
from made_logs import log_of, simulated_log

from putlab.model.green_putts import LEAVE_BANDS_FT, green_putts, leave_bounds, outcome_counts
from putlab.model.readings import first_putts, practice_putts


def putts(**columns):
    """Return a normalised table of one player's putts in one visit."""
    return log_of(pd.DataFrame({"player": "a", "session": "one"} | columns)).putts


def test_only_visits_without_a_reading_are_to_a_green():
    """The sensor missed a putt of the first visit; the second has nothing but outcomes."""
    table = putts(
        session=["one", "one", "one", "two", "two"],
        distance_ft=[8.0, 8.0, 8.0, 6.0, 7.0],
        holed=[True, False, None, True, False],
        line_deg=[np.nan, 1.0, np.nan, np.nan, np.nan],
        roll_ft=[np.nan, np.nan, 8.0, np.nan, np.nan],
    )
    assert green_putts(table)["distance_ft"].tolist() == [6.0, 7.0]
    assert practice_putts(table)["distance_ft"].tolist() == [8.0, 8.0, 8.0]


def test_a_green_without_a_condition_has_that_of_the_practice_before():
    practice = {"line_deg": 1.0, "roll_ft": 9.0}
    visits = [
        {"condition": None},
        practice | {"condition": "old"},
        {"condition": None},
        practice | {"condition": "new"},
        {"condition": "other"},
        {"condition": None},
        practice | {"condition": None},
        {"condition": None},
    ]
    rows = [
        {"session": f"{i}", "distance_ft": 8.0, "holed": True} | visit
        for i, visit in enumerate(visits)
    ]
    table = putts(**pd.DataFrame(rows).to_dict("list"))
    assert green_putts(table)["condition"].tolist() == ["old", "old", "other", "new", ""]
    assert first_putts(table)["condition"].tolist() == [
        "old", "old", "old", "new", "other", "new", "", "",
    ]  # fmt: skip


def test_of_a_player_never_read_every_visit_counts_as_practice_too():
    table = log_of(
        pd.DataFrame(
            {
                "player": ["a", "a", "b", "b"],
                "session": ["one", "two", "one", "two"],
                "distance_ft": [5.0, 9.0, 20.0, 6.0],
                "line_deg": [1.0, np.nan, np.nan, np.nan],
                "holed": [None, True, False, True],
            }
        )
    ).putts
    assert practice_putts(table)["distance_ft"].tolist() == [5.0, 20.0, 6.0]
    assert green_putts(table)["player"].tolist() == ["a", "b", "b"]


def test_practice_readings_are_left_to_the_spread_model(rng):
    assert green_putts(simulated_log(rng, sessions=1, each=1).putts).empty


def test_a_tap_in_says_nothing():
    table = putts(distance_ft=[0.5, 1.4, 3.0], holed=[True, True, True])
    assert green_putts(table)["distance_ft"].tolist() == [3.0]


def test_the_next_putt_tells_how_far_the_last_was_left():
    table = putts(
        distance_ft=[24.0, 3.2, 10.0],
        holed=[False, True, True],
        hole_no=[1, 1, 2],
        putt_no=[1, 2, 1],
    )
    first = green_putts(table).iloc[0]
    assert (first["low_ft"], first["high_ft"]) == (3.05, 3.55)


def test_a_leave_that_was_logged_wins_over_the_next_length():
    table = putts(
        distance_ft=[24.0, 3.2],
        leave_ft=[5.3, np.nan],
        holed=[False, True],
        hole_no=[1, 1],
        putt_no=[1, 2],
    )
    assert green_putts(table).iloc[0]["low_ft"] == 5.05


def test_where_only_the_number_of_putts_is_known_it_is_used():
    table = putts(
        distance_ft=[24.0, np.nan, 30.0, np.nan, np.nan, 12.0],
        holed=[False, True, False, False, True, False],
        hole_no=[1, 1, 2, 2, 2, 3],
        putt_no=[1, 2, 1, 2, 3, 1],
    )
    found = green_putts(table)
    assert found["followed"].tolist() == pytest.approx([1, 2, np.nan], nan_ok=True)
    assert found["high_ft"].isna().all()


def test_a_hole_that_comes_again_is_another_hole():
    table = putts(
        distance_ft=[24.0, 12.0, 2.6],
        holed=[False, False, True],
        hole_no=[1, 1, 1],
        putt_no=[1, 1, 2],
    )
    first, second, _ = green_putts(table).itertuples()
    assert np.isnan(first.high_ft)
    assert second.low_ft < 2.6 < second.high_ft


@pytest.mark.parametrize("leave_ft", [0.2, 0.6, 3.0, 3.04, 9.9, 70.0])
def test_a_fine_reading_falls_into_the_band_around_it(leave_ft):
    (low,), (high,) = leave_bounds(np.array([leave_ft]), 0.1)
    assert low <= leave_ft <= high
    assert low in LEAVE_BANDS_FT
    assert high in LEAVE_BANDS_FT


def test_a_reading_in_whole_feet_keeps_its_own_interval():
    low, high = leave_bounds(np.array([0.0, 1.0, 4.0, np.nan]), 1.0)
    assert low[:3].tolist() == [0.0, 0.0, 3.5]  # nothing is left inside the hole
    assert high[:3].tolist() == [0.55, 1.5, 4.5]
    assert np.isnan(low[3])
    assert np.isnan(high[3])


def test_near_lengths_are_struck_at_as_one():
    table = putts(distance_ft=[10.0, 10.1, 12.0], holed=[True, False, True])
    assert green_putts(table)["distance_ft"].nunique() == 2
    assert green_putts(table)["distance_ft"].mean() == pytest.approx(32.1 / 3)


def test_what_each_player_tells_is_counted():
    table = log_of(
        pd.DataFrame(
            {
                "player": ["a", "a", "a", "b"],
                "session": "one",
                "distance_ft": [5.0, 9.0, 20.0, 5.0],
                "holed": [True, False, False, True],
                "leave_ft": [np.nan, 2.0, np.nan, np.nan],
            }
        )
    ).putts
    found = outcome_counts(green_putts(table))
    assert found.loc["a"].to_dict() == {
        "putts": 3, "made": 1, "misses": 2, "leaves": 1, "followed": 0,
    }  # fmt: skip
    assert found.loc["b", "misses"] == 0
