"""Counted logs: the same cells, visits and tables as the log read row by row."""

import numpy as np
import pandas as pd
import pytest

from putlab import big_logs
from putlab.counts import count_log
from putlab.design import session_table
from putlab.golfer import condition_shares, practised_table
from putlab.log import read_log
from putlab.readings import WARM_UP_PUTTS, cells, lengths_ft, practice_putts


@pytest.fixture(scope="module")
def demo():
    """The demo, read and counted."""
    from conftest import DEMO

    return read_log(DEMO), count_log(DEMO)


def sorted_rows(table):
    names = [*table.columns.drop(["distance_ft", "count"]), "count"]
    return table[names].sort_values(names[:-1], ignore_index=True)


@pytest.mark.parametrize("component", ["line", "pace"])
def test_counted_cells_are_those_of_the_rows(demo, component):
    log, counts = demo
    rows, lengths = big_logs.practice_rows(counts)
    found = big_logs.counted_cells(rows, counts.rules, component)
    expected = cells(log, component)
    np.testing.assert_array_equal(lengths, lengths_ft(practice_putts(log.putts)["distance_ft"]))
    pd.testing.assert_frame_equal(
        sorted_rows(found), sorted_rows(expected), check_dtype=False, rtol=1e-12
    )


def test_visits_and_what_was_practised_are_those_of_the_rows(demo):
    log, counts = demo
    putts = practice_putts(log.putts)
    rows, lengths = big_logs.practice_rows(counts)
    visits = session_table(log.putts)
    key = ["player", "session"]
    pd.testing.assert_frame_equal(
        big_logs.counted_visits(counts).sort_values(key, ignore_index=True),
        visits.sort_values(key, ignore_index=True),
    )
    pd.testing.assert_frame_equal(
        big_logs._practised(rows, lengths).sort_values(
            ["player", "distance_ft"], ignore_index=True
        ),
        practised_table(putts, lengths).sort_values(
            ["player", "distance_ft"], ignore_index=True
        ),
    )
    key = ["player", "condition"]
    pd.testing.assert_frame_equal(
        big_logs._conditions_now(rows, visits).sort_values(key, ignore_index=True),
        condition_shares(putts, visits).sort_values(key, ignore_index=True),
    )


@pytest.mark.parametrize(("unread", "used"), [(1, True), (10, False)])
def test_holed_putts_are_used_where_enough_misses_are_read(tmp_path, rng, unread, used):
    """Putts are weighed, not different rows: misses that are not read are all one row."""
    putts = pd.DataFrame(
        {
            "player": "ash",
            "session": "2025-03-14",
            "distance_ft": 10.0,
            "line_deg": np.round(rng.normal(0, 1.5, 60)),
            "holed": False,
        }
    )
    putts.loc[: unread - 1, "line_deg"] = np.nan
    putts.loc[30:39, ["line_deg", "holed"]] = [np.nan, True]
    putts.to_csv(tmp_path / "log.csv", index=False)
    log, counts = read_log(tmp_path / "log.csv"), count_log(tmp_path / "log.csv")
    rows, _ = big_logs.practice_rows(counts)
    found = big_logs.counted_cells(rows, counts.rules, "line")
    assert found["count"].sum() == cells(log, "line")["count"].sum()
    assert found["count"].sum() == 60 - unread - (0 if used else 10)


def test_putts_are_drawn_with_the_first_of_each_visit_kept(demo, rng):
    log, counts = demo
    drawn = big_logs.some_putts(counts, 200, rng)
    visits = len(session_table(log.putts))
    assert len(drawn.putts) == 200 + visits * WARM_UP_PUTTS
    early = practice_putts(drawn.putts)["early"]
    assert early.sum() <= visits * WARM_UP_PUTTS
    everything = big_logs.some_putts(counts, 10**9, rng)
    for component in ("line", "pace"):
        pd.testing.assert_frame_equal(
            sorted_rows(cells(everything, component)), sorted_rows(cells(log, component))
        )


def test_a_counted_fit_is_the_fit_of_the_rows(demo, demo_fit):
    """The same cells have the same hash, so the fit kept on disk is found."""
    _, counts = demo
    found = big_logs.fit_counts(counts)
    for component in ("line", "pace"):
        expected = demo_fit.trees[component]["posterior"].dataset
        assert found.trees[component]["posterior"].dataset.equals(expected)
    assert found.putts_total.to_dict() == demo_fit.putts_total.to_dict()
    names = [verdict.name for verdict in found.checks["line"]]
    assert names == [verdict.name for verdict in demo_fit.checks["line"]]
