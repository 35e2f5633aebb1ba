"""Readings become intervals, counted and joined without losing or inventing any."""

import numpy as np
import pandas as pd
import pytest
from made_logs import log_of, simulated_log

from putlab.model.readings import (
    BIN_EDGES_SD,
    CELL,
    count_equal,
    dropping_rolls_ft,
    first_putts,
    intervals,
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
    rows = intervals(log_of(putts(line_deg=[1.0, 1.0, -2.0])), "line")
    told = set(zip(rows["lo"], rows["hi"], rows["count"], strict=True))
    assert told == {(0.5, 1.5, 2), (-2.5, -1.5, 1)}


def test_a_display_at_its_limit_says_at_least():
    rows = intervals(log_of(putts(line_deg=[5.0, -5.0]), line_limit_deg=5.0), "line")
    assert sorted(zip(rows["lo"], rows["hi"], strict=True)) == [(-np.inf, -4.5), (4.5, np.inf)]


def test_a_ball_at_the_backstop_rolled_at_least_that_far():
    rows = intervals(log_of(putts(roll_ft=[12.0, 9.0]), roll_limit_ft=12.0), "pace")
    stopped = rows[np.isinf(rows["hi"])]
    assert stopped["lo"].tolist() == pytest.approx([100 * (11.95 / 10 - 1)])
    assert rows["count"].sum() == 2


def test_a_ball_that_did_not_move_rolled_at_most_half_a_step():
    rows = intervals(log_of(putts(roll_ft=[0.0])), "pace")
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
    assert intervals(log_of(holed), "pace")["count"].sum() == 2


def test_holed_putts_alone_tell_no_pace():
    # Misses are not read here, so taking the holed ones would count good putts only.
    holed = putts(line_deg=[0.0, 1.0], roll_ft=[np.nan, np.nan], holed=[True, False])
    assert intervals(log_of(holed), "pace").empty


def test_a_hole_moves_the_target_a_little_past_it():
    with_hole = practice_putts(log_of(putts(roll_ft=[11.0, 11.0], holed=[False, None])).putts)
    assert with_hole["target_ft"].tolist() == [11.0, 10.0]


def test_follow_up_putts_are_left_out():
    game = putts(line_deg=[0.0, 1.0], drill="counted", hole_no=1.0, putt_no=[1.0, 2.0])
    rows = intervals(log_of(game), "line")
    assert list(zip(rows["lo"], rows["hi"], rows["count"], strict=True)) == [(-0.5, 0.5, 1)]


def test_near_lengths_share_one_estimate():
    lengths = lengths_ft([10.0, 10.0, 9.8, 6.0, 36.0])
    assert lengths.tolist() == [6.0, 10.0, 36.0]
    assert nearest_length([9.8, 30.0, 1.0], lengths).tolist() == [1, 2, 0]


def test_many_lengths_are_merged_to_a_workable_number(rng):
    assert lengths_ft(rng.uniform(1, 60, 2000)).size <= 24


@pytest.mark.parametrize("component", ["line", "pace"])
def test_counting_keeps_every_putt(rng, component):
    log = simulated_log(rng, each=30, sessions=2)
    rows = intervals(log, component)
    assert rows["count"].sum() == len(log.putts)
    assert not rows.duplicated([*CELL, "lo", "hi"]).any()


def crowded_cell(values, step):
    values = np.round(values / step) * step
    table = pd.DataFrame({"lo": values - step / 2, "hi": values + step / 2})
    labels = {"player": "p", "session": "s", "length": 0, "condition": ""}
    labels |= {"warm_up": False, "counted": False, "noise": 0.0, "distance_ft": 10.0}
    return table.assign(count=1, **labels)


def test_joined_intervals_end_on_the_steps_of_the_display(rng):
    joined = join_crowded(crowded_cell(rng.normal(0, 9, 500), 1.0))
    assert joined["count"].sum() == 500
    edges = joined[["lo", "hi"]].to_numpy()
    assert np.allclose(edges - 0.5, np.round(edges - 0.5))
    widths = np.sort(joined["hi"] - joined["lo"])
    assert widths[-1] > 1  # something was joined


def test_a_crowded_cell_of_lengths_that_differ_a_little_is_read(rng):
    """A step of a tenth of a foot is another width, in per cent, at every length."""
    cell = crowded_cell(rng.normal(0, 9, 500), 1.0)
    middle, half = (cell["lo"] + cell["hi"]) / 2, rng.choice([0.48, 0.5, 0.52, 0.53], 500)
    joined = join_crowded(cell.assign(lo=middle - half, hi=middle + half).iloc[:-1])
    assert joined["count"].sum() == 499
    # As many lengths as putts: each width is there once, the median of them nowhere.
    own = np.linspace(0.4, 0.6, 100)
    cell = cell[:100].assign(lo=middle[:100] - own, hi=middle[:100] + own)
    assert join_crowded(cell)["count"].sum() == 100


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


def told(rows):
    """Return what rows tell as a sorted list of (lo, hi, count)."""
    return sorted(zip(rows["lo"], rows["hi"], rows["count"], strict=True))


def test_the_first_five_putts_of_a_visit_are_early():
    visits = putts(session=["s", "t"] * 7, putt=1.0, line_deg=0.0)
    warm_up = practice_putts(log_of(visits).putts)["warm_up"]
    assert warm_up.tolist() == [True] * 10 + [False] * 4


def test_only_a_counted_game_counts():
    drills = putts(drill=["counted", "line", None], condition=["grip", None, ""], line_deg=0.0)
    rows = practice_putts(log_of(drills).putts)
    assert rows["counted"].tolist() == [True, False, False]
    assert rows["condition"].tolist() == ["grip", "", ""]


def test_lengths_join_within_four_percent_and_take_the_commonest_name():
    assert lengths_ft([9.62, 10.0, 10.0]).tolist() == [10.0]  # log ratio 0.039
    assert lengths_ft([9.8, 9.8, 10.0]).tolist() == [9.8]
    assert lengths_ft([9.58, 10.0]).tolist() == [9.58, 10.0]  # log ratio 0.043
    # No group spans more, however near its members are to each other.
    assert lengths_ft([9.0, 9.3, 9.6, 9.6]).size == 2


def test_up_to_two_dozen_lengths_stand_by_themselves():
    apart = 2.0 * 1.1 ** np.arange(26)
    assert lengths_ft(apart[:24]) == pytest.approx(apart[:24], abs=1e-6)
    assert lengths_ft(apart[:25]).size < 25


def test_between_two_lengths_the_geometric_mean_decides():
    # sqrt(4 x 9) = 6; half way would be 6.5.
    assert nearest_length([5.9, 6.1, 6.4], np.array([4.0, 9.0])).tolist() == [0, 1, 1]


def test_every_putt_without_a_reading_is_left_out_and_no_other():
    rows = intervals(log_of(putts(line_deg=[1.0, np.nan, 2.0])), "line")
    assert told(rows) == [(0.5, 1.5, 1), (1.5, 2.5, 1)]


def test_a_display_at_its_limit_by_hand():
    # Steps of half a degree up to 3: 3 and anything beyond say at least 2.75.
    shown = putts(line_deg=[3.0, 3.5, 2.5, -3.0, -2.5, 0.0])
    rows = intervals(log_of(shown, line_step_deg=0.5, line_limit_deg=3.0), "line")
    assert told(rows) == [
        (-np.inf, -2.75, 1),
        (-2.75, -2.25, 1),
        (-0.25, 0.25, 1),
        (2.25, 2.75, 1),
        (2.75, np.inf, 2),
    ]


def test_a_display_that_only_reads_zero_beyond_its_limit_is_on_no_side():
    rows = intervals(log_of(putts(line_deg=[0.0]), line_limit_deg=0.5), "line")
    assert told(rows) == [(-0.5, 0.5, 1)]


def test_a_display_that_reads_little_by_hand():
    # Quarters up to a half: a half says at least 0.375.
    shown = putts(line_deg=[0.5, -0.75, 0.25, -0.25])
    rows = intervals(log_of(shown, line_step_deg=0.25, line_limit_deg=0.5), "line")
    assert told(rows) == [
        (-np.inf, -0.375, 1),
        (-0.375, -0.125, 1),
        (0.125, 0.375, 1),
        (0.375, np.inf, 1),
    ]


def test_putts_without_a_hole_are_no_misses():
    # The second half is practice with no hole and no roll-out read: neither for nor against.
    table = putts(roll_ft=[np.nan, 11.0] + [np.nan] * 4, holed=[True, False] + [None] * 4)
    assert intervals(log_of(table), "pace")["count"].sum() == 2


def test_a_fine_reading_is_as_good_as_exact():
    fine = putts(line_deg=[0.3], roll_ft=[10.4])
    log = log_of(fine, line_step_deg=0.0, roll_step_ft=0.0)
    for component, value in (("line", 0.3), ("pace", 4.0)):
        row = intervals(log, component).iloc[0]
        assert (row["lo"] + row["hi"]) / 2 == pytest.approx(value, abs=1e-6)
        # A thousandth of the steadiest golfer's spread (0.2 degrees, 2 %), and not nothing.
        assert 0 < row["hi"] - row["lo"] < 0.002


def test_a_display_without_a_step_is_exact_even_at_its_limit():
    log = log_of(putts(line_deg=[4.0], roll_ft=[12.0]), line_step_deg=0, roll_step_ft=0,
                 line_limit_deg=4.0, roll_limit_ft=12.0)  # fmt: skip
    assert told(intervals(log, "line")) == [(4.0, np.inf, 1)]
    assert told(intervals(log, "pace")) == [(pytest.approx(20.0), np.inf, 1)]


def test_every_length_is_nearest_to_itself_and_to_what_is_beside_it():
    lengths = np.array([3.0, 6.0, 10.0, 16.0, 24.0, 36.0])
    for beside in (0.9, 1.0, 1.1):
        assert nearest_length(lengths * beside, lengths).tolist() == [0, 1, 2, 3, 4, 5]


@pytest.mark.parametrize("component", ["line", "pace"])
def test_without_a_stated_noise_there_is_none(component):
    rows = intervals(log_of(putts(line_deg=[1.0, 2.0], roll_ft=[9.0, 11.0])), component)
    assert rows["noise"].tolist() == [0.0, 0.0]


def test_a_putt_of_no_stated_drill_is_practice():
    drill = pd.array([pd.NA, "counted"], dtype="string")
    rows = practice_putts(log_of(putts(line_deg=[1.0, 2.0], drill=drill)).putts)
    assert rows["counted"].tolist() == [False, True]


def test_limits_below_a_degree_are_limits_too():
    log = log_of(putts(line_deg=[0.5, -0.5]), line_limit_deg=0.5, line_step_deg=0.1)
    rows = intervals(log, "line").sort_values("lo")
    assert rows["hi"].tolist() == pytest.approx([-0.45, np.inf])
    assert rows["lo"].tolist() == pytest.approx([-np.inf, 0.45])


def test_noise_of_the_sensors_is_in_the_units_of_the_component():
    log = log_of(
        putts(line_deg=[1.0], roll_ft=[11.0], holed=[False], distance_ft=9.0),
        line_noise_deg=0.3, roll_noise_ft=0.2,
    )  # fmt: skip
    assert intervals(log, "line")["noise"].item() == 0.3
    # A foot past a hole at 9 ft: 0.2 of 10 ft is 2 %; 11 ft in tenths is 9.5 to 10.5 % over.
    row = intervals(log, "pace").iloc[0]
    assert row["noise"] == pytest.approx(2.0)
    assert (row["lo"], row["hi"]) == pytest.approx((9.5, 10.5))


def test_short_of_the_backstop_is_a_plain_reading():
    log = log_of(putts(roll_ft=[12.5, 11.95, 11.9, 0.2]), roll_limit_ft=12.0)
    rows = intervals(log, "pace")
    expected = [(-98.5, -97.5, 1), (18.5, 19.5, 1), (19.5, np.inf, 2)]
    assert np.array(told(rows)) == pytest.approx(np.array(expected))


def test_a_ball_that_hardly_moved_may_not_have_moved():
    # 0.05 ft in tenths is 0 to 0.1 ft: nothing rolls less than not at all.
    rows = intervals(log_of(putts(roll_ft=[0.05, 0.1])), "pace")
    expected = [(-np.inf, -99.0, 1), (-99.5, -98.5, 1)]
    assert np.array(told(rows)) == pytest.approx(np.array(expected))


def test_a_holed_putt_tells_line_where_misses_are_read():
    # From 5 ft the hole is asin(2.125 / 60) = 2.0297 degrees to either side.
    holed = putts(line_deg=[np.nan, 3.0], holed=[True, False], distance_ft=5.0)
    (low, high, count), missed = told(intervals(log_of(holed), "line"))
    assert (low, high, count) == (pytest.approx(-2.0297, abs=1e-4), -low, 1)
    assert missed == (2.5, 3.5, 1)
    # From inside the hole's radius, any forward direction.
    tapped = putts(line_deg=[np.nan, 3.0], holed=[True, False], distance_ft=0.1)
    assert told(intervals(log_of(tapped), "line"))[0] == (-90, 90, 1)


def test_a_holed_putts_pace_lies_between_arriving_and_flying_over():
    # From 9 ft, a foot past: 100 (roll / 10 - 1). Arrives at 9 - 0.17708, and on a green of
    # 12 ft may have 5.34777^2 / 3 = 9.53288 ft left (Holmes 1991).
    holed = putts(roll_ft=[np.nan, 11.0], holed=[True, False], distance_ft=9.0, stimp_ft=12.0)
    low, high, _ = told(intervals(log_of(holed), "pace"))[0]
    assert low == pytest.approx(100 * (9 - 2.125 / 12) / 10 - 100, abs=1e-6)
    assert high == pytest.approx(100 * (9 + 9.53288) / 10 - 100, abs=2e-4)


def test_what_drops_off_centre_by_hand():
    # 0.5 degrees from 10 ft: offset 0.08727 ft, along 9.99962 ft, (offset / R)^2 = 0.24284;
    # rim sqrt(0.17708^2 - 0.08727^2) = 0.15409; (5.34777 x 0.75716)^2 / 3.6 = 4.5542.
    for line_deg in (0.5, -0.5):
        low, high = dropping_rolls_ft([10.0], [line_deg], [10.0])
        assert low.item() == pytest.approx(9.99962 - 0.15409, abs=2e-5)
        assert high.item() == pytest.approx(9.99962 + 4.5542, abs=5e-4)


def test_what_is_not_known_of_a_holed_putt_counts_as_straight_on_an_ordinary_green():
    known, unknown = dropping_rolls_ft([10.0] * 2, [0.0, np.nan], [10.0, np.nan])
    assert known[0] == known[1]
    assert unknown[0] == unknown[1]


def test_a_holed_putt_read_wide_of_the_hole_just_touched_it():
    # 3 degrees from 10 ft misses by 0.5 ft: taken as 0.999 R, where little of both is left.
    low, high = dropping_rolls_ft([10.0], [3.0], [10.0])
    along = 10 * np.cos(np.radians(3))
    assert along - low.item() == pytest.approx(2.125 / 12 * np.sqrt(1 - 0.999**2), rel=1e-3)
    assert high.item() - along == pytest.approx(7.944 * (1 - 0.999**2) ** 2, rel=1e-2)


@pytest.mark.parametrize(("misses", "told_too"), [(20, 1), (19, 0)])
def test_holed_putts_count_where_nearly_all_misses_are_read(misses, told_too):
    # One miss in 20 unread is 95 % read; one in 19 is less.
    table = putts(roll_ft=[np.nan, np.nan] + [11.0] * (misses - 1), holed=[True] + [False] * misses)
    assert intervals(log_of(table), "pace")["count"].sum() == misses - 1 + told_too


def test_every_player_is_judged_by_their_own_misses():
    table = putts(
        player=["a", "a", "b", "b"], roll_ft=[np.nan, 11.0, np.nan, np.nan],
        holed=[True, False, True, False],
    )  # fmt: skip
    assert intervals(log_of(table), "pace").groupby("player")["count"].sum().to_dict() == {"a": 2}


def test_a_hit_read_by_the_sensor_keeps_its_own_reading():
    table = putts(roll_ft=[11.2, 11.0], holed=[True, False])
    expected = [100 * roll / 11 - 100 for roll in (10.95, 11.15)]
    assert intervals(log_of(table), "pace")["lo"].tolist() == pytest.approx(expected)


def counted_rows(lo, count, **columns):
    rows = crowded_cell(np.asarray(lo) + 0.5, 1.0).assign(lo=lo, hi=np.asarray(lo) + 1.0)
    return rows.assign(count=count, **columns)


def test_what_is_counted_already_is_added_up():
    rows = count_equal(counted_rows([0.0, 1e-12, 1.0], [3, 4, 5], distance_ft=[9.0, 10.0, 10]))
    assert told(rows) == [(0.0, 1.0, 7), (1.0, 2.0, 5)]
    assert rows["distance_ft"].tolist() == [9.5, 10.0]


def test_cells_and_noises_are_kept_apart():
    rows = counted_rows([0.0] * 4, 1, player=["a", "b", "a", "a"], noise=[0, 0, 0, 0.2])
    assert sorted(count_equal(rows)["count"]) == [1, 1, 2]
    unnamed = counted_rows([0.0, 0.0], 1, condition=[None, "grip"])
    assert count_equal(unnamed)["count"].tolist() == [1, 1]


def test_bins_are_sixths_of_a_spread_and_wider_further_out():
    width = np.diff(BIN_EDGES_SD)
    assert np.all(width > 0)
    np.testing.assert_allclose(BIN_EDGES_SD, -BIN_EDGES_SD[::-1])
    assert BIN_EDGES_SD[np.abs(BIN_EDGES_SD) < 3.01] == pytest.approx(np.linspace(-3, 3, 37))
    assert np.all(width[np.abs(BIN_EDGES_SD[1:]) > 3.2] > 0.3)
    assert BIN_EDGES_SD[-1] == 6


@pytest.mark.parametrize(("different", "joined"), [(48, False), (49, True)])
def test_a_cell_is_crowded_beyond_four_dozen_readings(different, joined):
    rows = counted_rows(np.arange(float(different)), 1)
    after = join_crowded(rows)
    assert (len(after) < different) == joined
    assert after["count"].sum() == different


def test_only_the_crowded_cell_is_joined():
    both = pd.concat([
        counted_rows(np.arange(100.0), 1, player="many"),
        counted_rows(np.arange(30.0), 2, player="few"),
    ])  # fmt: skip
    after = join_crowded(both)
    assert told(after[after["player"] == "few"]) == told(both[both["player"] == "few"])
    assert after.groupby("player")["count"].sum().to_dict() == {"many": 100, "few": 60}
    assert after.index.is_unique
    few = join_crowded(both[both["player"] == "few"].iloc[::-1])
    assert few.index.tolist() == list(range(30))
    assert list(few.columns) == list(both.columns)


def test_a_cell_as_full_as_may_be_stands_beside_a_crowded_one():
    labels = {"condition": None}
    both = pd.concat([
        counted_rows(np.arange(49.0), 1, player="many", **labels),
        counted_rows(np.arange(48.0), 1, player="full", **labels),
    ], ignore_index=True)  # fmt: skip
    after = join_crowded(both)
    assert after.groupby("player")["count"].sum().to_dict() == {"many": 49, "full": 48}
    assert after["player"].eq("full").sum() == 48
    assert after.index.tolist() == list(range(len(after)))


def test_joining_by_hand():
    # Readings -60 to 60, one of each. Quartiles -30 and 30 are 1.349 spreads apart: 44.48; a
    # sixth is 7.413, of which every multiple goes to the nearest half (0 to -0.5).
    rows = counted_rows(np.arange(-60.5, 60), 1)
    ends = [7.5, 14.5, 22.5, 29.5, 37.5, 44.5, 51.5, 59.5, 66.5]
    edges = np.array([-end for end in ends[::-1]] + [-0.5] + ends)
    found = join_crowded(rows)[["lo", "hi", "count"]].sort_values("lo").to_numpy()
    assert found[:, 0] == pytest.approx(edges[:-1])
    assert found[:, 1] == pytest.approx(edges[1:])
    readings = np.arange(-60, 61)
    inside = [np.sum((readings > lo) & (readings < hi)) for lo, hi, _ in found]
    assert found[:, 2].tolist() == inside


def test_joining_weighs_readings_by_their_count():
    # Nearly all read nought: the spread is a step, so nothing near the middle is joined, and
    # what lies beyond six spreads stays as it was.
    rows = counted_rows(np.arange(-60.5, 60), [1] * 60 + [1000] + [1] * 60)
    found = join_crowded(rows)
    middle = found[(found["lo"] < 0) & (found["hi"] > 0)]
    assert told(middle) == [(-0.5, 0.5, 1000)]
    # From -6 to -5 spreads is the first bin: its ends go to the nearest half (even).
    assert told(found)[53:56] == [(-7.5, -6.5, 1), (-6.5, -4.5, 2), (-4.5, -3.5, 1)]
    assert told(found)[0] == (-60.5, -59.5, 1)
    assert told(found)[-1] == (59.5, 60.5, 1)
    assert np.all(found["hi"] > found["lo"])
    assert found["count"].sum() == 1120


def test_readings_at_a_limit_are_never_joined():
    rows = counted_rows(np.arange(100.0), 1)
    stopped = rows.iloc[:1].assign(lo=100.0, hi=np.inf, count=9)
    rows = pd.concat([rows, stopped], ignore_index=True)
    found = join_crowded(rows)
    assert (100.0, np.inf, 9) in told(found)
    assert found["count"].sum() == 109


def test_pace_is_against_the_roll_that_was_asked_for():
    rows = putts(roll_ft=[11.0, 11.0, 12.0], aim_past_ft=[1.0, np.nan, np.nan], holed=None)
    rows["holed"] = pd.array([pd.NA, pd.NA, False], "boolean")
    assert first_putts(log_of(rows).putts)["target_ft"].tolist() == [11.0, 10.0, 11.0]
