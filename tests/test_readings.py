"""Readings become intervals, counted and joined without losing or inventing any."""

import numpy as np
import pandas as pd
import pytest
from made_logs import log_of, simulated_log

from putlab.readings import (
    CELL,
    cells,
    dropping_rolls_ft,
    join_crowded,
    lengths_ft,
    nearest_length,
    practice_putts,
)


def putts(**columns):
    size = len(next(iter(columns.values())))
    known = {"player": "p", "session": "s", "putt": range(1, size + 1), "distance_ft": 10.0}
    return pd.DataFrame(known | columns, index=range(size))


def test_a_whole_degree_is_half_a_degree_either_side():
    rows = cells(log_of(putts(line_deg=[1.0, 1.0, -2.0])), "line")
    told = set(zip(rows["lo"], rows["hi"], rows["count"], strict=True))
    assert told == {(0.5, 1.5, 2), (-2.5, -1.5, 1)}


def test_a_display_at_its_limit_says_at_least():
    rows = cells(log_of(putts(line_deg=[5.0, -5.0]), line_limit_deg=5.0), "line")
    assert sorted(zip(rows["lo"], rows["hi"], strict=True)) == [(-np.inf, -4.5), (4.5, np.inf)]


def test_a_ball_at_the_backstop_rolled_at_least_that_far():
    rows = cells(log_of(putts(roll_ft=[12.0, 9.0]), roll_limit_ft=12.0), "pace")
    stopped = rows[np.isinf(rows["hi"])]
    assert stopped["lo"].tolist() == pytest.approx([100 * (11.95 / 10 - 1)])
    assert rows["count"].sum() == 2


def test_a_ball_that_did_not_move_rolled_at_most_half_a_step():
    rows = cells(log_of(putts(roll_ft=[0.0])), "pace")
    assert rows["lo"].item() == -np.inf
    assert rows["hi"].item() == pytest.approx(100 * (0.05 / 10 - 1))


def test_the_hole_swallows_only_rolls_that_arrive_and_drop():
    # Dead centre at Stimpmeter 10: a = 36 / 20 ft/s², 1.63 m/s = 5.348 ft/s, so the ball may
    # have 5.348² / (2 a) = 7.94 ft of roll left at the centre (Holmes 1991, worked by hand).
    low, high = dropping_rolls_ft([10.0], [0.0], [10.0])
    assert low.item() == pytest.approx(10 - 2.125 / 12, abs=1e-9)
    assert high.item() == pytest.approx(10 + 7.944, abs=0.002)


def test_a_holed_putt_tells_pace_where_misses_are_read():
    holed = putts(line_deg=[0.0, 1.0], roll_ft=[np.nan, 11.0], holed=[True, False])
    assert cells(log_of(holed), "pace")["count"].sum() == 2


def test_holed_putts_alone_tell_no_pace():
    # Misses are not read here, so taking the holed ones would count good putts only.
    holed = putts(line_deg=[0.0, 1.0], roll_ft=[np.nan, np.nan], holed=[True, False])
    assert cells(log_of(holed), "pace").empty


def test_a_hole_moves_the_target_a_little_past_it():
    with_hole = practice_putts(log_of(putts(roll_ft=[11.0, 11.0], holed=[False, None])).putts)
    assert with_hole["target_ft"].tolist() == [11.0, 10.0]


def test_follow_up_putts_are_left_out():
    game = putts(line_deg=[0.0, 1.0], drill="counted", hole_no=1.0, putt_no=[1.0, 2.0])
    assert cells(log_of(game), "line")["count"].sum() == 1


def test_near_lengths_share_one_estimate():
    lengths = lengths_ft([10.0, 10.0, 9.8, 6.0, 36.0])
    assert lengths.tolist() == [6.0, 10.0, 36.0]
    assert nearest_length([9.8, 30.0, 1.0], lengths).tolist() == [1, 2, 0]


def test_many_lengths_are_merged_to_a_workable_number(rng):
    assert lengths_ft(rng.uniform(1, 60, 2000)).size <= 24


@pytest.mark.parametrize("component", ["line", "pace"])
def test_counting_keeps_every_putt(rng, component):
    log = simulated_log(rng, each=30, sessions=2)
    rows = cells(log, component)
    assert rows["count"].sum() == len(log.putts)
    assert not rows.duplicated([*CELL, "lo", "hi"]).any()


def crowded_cell(values, step):
    values = np.round(values / step) * step
    table = pd.DataFrame({"lo": values - step / 2, "hi": values + step / 2})
    labels = {"player": "p", "session": "s", "length": 0, "condition": ""}
    labels |= {"early": False, "counted": False, "noise": 0.0, "distance_ft": 10.0}
    return table.assign(count=1, **labels)


def test_joined_intervals_end_on_the_steps_of_the_display(rng):
    joined = join_crowded(crowded_cell(rng.normal(0, 9, 500), 1.0))
    assert joined["count"].sum() == 500
    edges = joined[["lo", "hi"]].to_numpy()
    assert np.allclose(edges - 0.5, np.round(edges - 0.5))
    widths = np.sort(joined["hi"] - joined["lo"])
    assert widths[-1] > 1  # something was joined


def test_joined_intervals_do_not_overlap(rng):
    joined = join_crowded(crowded_cell(rng.normal(3, 9, 2000), 0.5)).sort_values("lo")
    assert np.all(joined["lo"].to_numpy()[1:] >= joined["hi"].to_numpy()[:-1] - 1e-9)


def test_joining_moves_a_fitted_spread_by_under_a_tenth_of_its_error(rng):
    # Maximum likelihood by scipy for one crowded cell, joined and not.
    from scipy.optimize import minimize
    from scipy.stats import norm

    cell = crowded_cell(rng.normal(1, 9, 3000), 0.25)

    def log_sd(rows):
        def cost(at):
            chance = norm.cdf(rows["hi"], at[0], np.exp(at[1]))
            chance = chance - norm.cdf(rows["lo"], at[0], np.exp(at[1]))
            return -(rows["count"] * np.log(chance)).sum()

        return minimize(cost, [0.0, 2.0], method="Nelder-Mead").x[1]

    joined = join_crowded(cell)
    assert len(joined) < len(cell) / 10
    assert abs(log_sd(joined) - log_sd(cell)) < 0.1 / np.sqrt(2 * len(cell))
