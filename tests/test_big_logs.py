"""Counted logs: the same cells, visits and tables as the log read row by row."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from putlab import big_logs, fitting
from putlab.counts import count_log
from putlab.design import make_design, session_table
from putlab.golfer import condition_shares, practised_table
from putlab.log import read_log
from putlab.priors import LINE_PRIORS
from putlab.readings import WARM_UP_PUTTS, cells, lengths_ft, practice_putts
from putlab.settings import interval_probabilities


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


def counted_normals(rng, putts, sd):
    """Return a design of so many whole degrees at each of four visits and lengths."""
    ends = np.arange(-20.5, 21)
    chance = np.diff(stats.norm(0, sd).cdf(ends))
    table = [
        pd.DataFrame(
            {
                "player": "a", "session": f"visit {visit}", "length": length, "condition": "",
                "early": False, "counted": False, "lo": ends[:-1], "hi": ends[1:],
                "noise": 0.0, "count": rng.multinomial(putts, chance / chance.sum()),
            }
        )
        for visit in range(4)
        for length in range(4)
    ]  # fmt: skip
    rows = pd.concat(table, ignore_index=True)
    visits = rows.groupby(["player", "session"], as_index=False)["count"].sum()
    visits = visits.assign(practised=0.0)
    lengths = np.array([4.0, 8.0, 15.0, 28.0])
    return make_design(rows[rows["count"] > 0], visits, lengths, ["a"], LINE_PRIORS)


@pytest.mark.slow
def test_ten_million_putts_are_fitted_and_known_to_a_thousandth(rng):
    """Chains started anyhow are thrown off by so steep a posterior and never come back."""
    design = counted_normals(rng, 625_000, sd=1.3)
    assert design.putts == 10_000_000
    posterior = fitting.fit(design, "line", cores=2)["posterior"]
    found = (posterior["level"] + posterior["form"].mean("session")).values.reshape(-1, 4)
    low, high = np.quantile(found, interval_probabilities(), axis=0)
    # Exact readings would place a log spread to 1 / sqrt(2 n); whole degrees cost a little.
    exact = 1 / np.sqrt(2 * 2_500_000)
    assert np.all(np.abs(found.mean(axis=0) - np.log(1.3)) < 4 * exact)
    assert np.all(high - low < 1.5 * 2 * 1.645 * exact)


@pytest.mark.slow
def test_chains_of_very_many_putts_start_near_the_answer(rng):
    design = counted_normals(rng, 625_000, sd=1.3)
    near, plain = fitting.started_for(design), fitting.compiled_for(design)

    def lost(ready, seed):
        """Log density per putt below that of the truth's own normal."""
        density, _ = plain.logp_func(ready.initial_point_func(seed))
        return (truth - density) / design.putts

    rows = design.rows
    chance = np.diff(stats.norm(0, 1.3).cdf(rows[["lo", "hi"]]), axis=1)[:, 0]
    truth = (rows["count"] * np.log(chance)).sum()
    for seed in (1, 2, 3):
        assert abs(lost(near, seed)) < 0.01
        assert lost(plain, seed) > 0.05
    assert np.array_equal(near.initial_point_func(1), near.initial_point_func(1))
    few = counted_normals(rng, 100, sd=1.3)
    assert few.putts < fitting.MANY_PUTTS
    assert fitting.started_for(few).initial_point_func is plain.initial_point_func
