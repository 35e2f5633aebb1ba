"""The same putts have the same key of a fit, however they are written down."""

import numpy as np
import pandas as pd
import pytest
from made_logs import simulated_log

from putlab.base.cache import content_key
from putlab.log.read import read_log
from putlab.log.schema import COLUMN
from putlab.model import readings
from putlab.model.design import make_design, session_table
from putlab.model.priors import PRIORS


@pytest.fixture
def putts(rng):
    log = simulated_log(rng, players=3, sessions=3, lengths=[4.0, 9.0, 20.0], each=6)
    kept = [name for name in COLUMN if log.putts[name].notna().any()]
    return log.putts[kept].round(3)


@pytest.fixture
def rng():
    return np.random.default_rng(3)


def keys(path):
    """Return what the key of each component's fit is made of, hashed."""
    log = read_log(path)
    practice = readings.practice_putts(log.putts)
    players = list(log.putts["player"].drop_duplicates())
    where = session_table(log.putts), readings.lengths_ft(practice["distance_ft"]), players
    return [
        content_key(design.containers, design.size)
        for component in readings.COMPONENTS
        for design in [make_design(readings.intervals(log, component), *where, PRIORS[component])]
    ]


def written(folder, name, *tables):
    (folder / name).mkdir()
    for number, table in enumerate(tables):
        table.to_csv(folder / name / f"{number}.csv", index=False)
    return folder / name


def test_row_order_file_format_and_file_split_leave_the_key_alone(tmp_path, putts, rng):
    found = keys(written(tmp_path, "whole", putts))
    for number in range(3):
        shuffled = putts.sample(frac=1, random_state=rng)
        assert keys(written(tmp_path, f"shuffled {number}", shuffled)) == found
        parts = [shuffled.iloc[:40], shuffled.iloc[40:]]
        assert keys(written(tmp_path, f"parts {number}", *parts)) == found
    visits = [visit for _, visit in putts.sort_values("player").groupby("session")]
    assert keys(written(tmp_path, "visits", *reversed(visits))) == found
    putts.to_excel(tmp_path / "a.xlsx", index=False)
    putts.iloc[::-1].to_parquet(tmp_path / "a.parquet")
    assert keys(tmp_path / "a.xlsx") == keys(tmp_path / "a.parquet") == found


def test_players_may_take_turns_in_any_way_where_putts_are_not_numbered(tmp_path, putts):
    plain = putts.drop(columns="putt")
    by_player = plain.sort_values("player", kind="stable")
    backwards = plain.sort_values("player", kind="stable", ascending=False)
    found = keys(written(tmp_path, "turns", plain))
    assert keys(written(tmp_path, "one by one", by_player)) == found
    assert keys(written(tmp_path, "backwards", backwards)) == found


def test_another_reading_is_another_key(tmp_path, putts):
    other = putts.assign(line_deg=putts["line_deg"].mask(putts.index == 5, 3.0))
    pd.testing.assert_frame_equal(other.drop(columns="line_deg"), putts.drop(columns="line_deg"))
    assert keys(written(tmp_path, "a", putts))[0] != keys(written(tmp_path, "b", other))[0]
