"""Counting: the same rows as reading, in less memory, at any length."""

import subprocess
import sys

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from logs import table, write_csv

from putlab.counts import count_log
from putlab.errors import LogError
from putlab.log import read_log
from putlab.schema import COLUMNS

KEYS = [column.name for column in COLUMNS if column.name != "putt"]


@pytest.fixture
def rng():
    return np.random.default_rng(5)


def practice(rng, putts, *, players=3, step=1.0):
    """Return typed putts of some players over four sessions."""
    distance = rng.choice([3.0, 6.0, 10.0], putts)
    line = rng.normal(0, 1.5, putts)
    return pd.DataFrame(
        {
            "player": [f"p{n}" for n in rng.integers(0, players, putts)],
            "session": np.sort(rng.choice(["2025-03-14", "2025-03-21", "2025-04-01"], putts)),
            "distance_ft": distance,
            "line_deg": np.round(line / step) * step if step else line,
            "roll_ft": np.round(distance * (1 + rng.normal(0, 0.1, putts)), 1 if step else 9),
        }
    )


def counted_by_pandas(putts):
    """Return the counts of equal rows by the independent route: group what was read."""
    keys = putts[KEYS].astype({"holed": "object"})
    return keys.value_counts(dropna=False).sort_index()


def agree(path, **options):
    log, counts = read_log(path), count_log(path, **options)
    assert counts.cells["count"].sum() + counts.rejected == counts.rows_read == log.rows_read
    assert counts.rejected == len(log.rejects)
    cells = counts.cells.astype({"holed": "object"}).groupby(KEYS, dropna=False)["count"].sum()
    expected = counted_by_pandas(log.putts)
    assert cells.sort_index().tolist() == expected.tolist()
    assert cells.sort_index().index.equals(expected.index)
    assert (counts.rules, counts.digest, counts.files) == (log.rules, log.digest, log.files)
    return log, counts


@pytest.mark.parametrize("chunk", [50, 1000])
def test_counts_are_those_of_the_rows_read(tmp_path, rng, monkeypatch, chunk):
    monkeypatch.setattr("putlab.intake.columnar.CHUNK_ROWS", chunk)
    frame = practice(rng, 700)
    frame.loc[[3, 300], "distance_ft"] = [0, np.nan]
    frame.loc[5, "player"] = None
    frame["holed"] = rng.choice([False, None], 700)
    frame["condition"] = rng.choice(["old", "new", None], 700)
    frame.to_parquet(tmp_path / "a.parquet")
    log, counts = agree(tmp_path / "a.parquet")
    assert counts.rejected == 3
    pd.testing.assert_frame_equal(log.rejects, counts.rejects)


def test_files_in_feet_and_metres_and_other_dates_join(tmp_path):
    write_csv(tmp_path / "a.csv", {"session": "2025-03-14"}, {"distance_ft": "12"})
    frame = table({"session": "2025-03-14 00:00:00"}, {}).drop(columns="distance_ft")
    frame.assign(distance_m=["3.6576", "3.048"]).to_csv(tmp_path / "b.csv", index=False)
    agree(tmp_path)


def test_a_log_without_players(tmp_path):
    table({}, {}).drop(columns="player").to_csv(tmp_path / "a.csv", index=False)
    agree(tmp_path / "a.csv")


def test_numbered_putts_that_are_there_twice_count_once(tmp_path, monkeypatch):
    monkeypatch.setattr("putlab.intake.delimited.CHUNK_ROWS", 3)
    rows = [{"line_deg": str(n % 3)} for n in range(8)]
    write_csv(tmp_path / "a.csv", *rows, putt=[str(n % 4) for n in range(1, 9)])
    write_csv(tmp_path / "b.csv", *rows[:5], putt=[str(n) for n in range(1, 6)])
    log, counts = agree(tmp_path)
    assert counts.rejected > 3
    pd.testing.assert_frame_equal(log.rejects, counts.rejects)


def test_a_copied_file_counts_once(tmp_path):
    write_csv(tmp_path / "a.csv", {}, {})
    write_csv(tmp_path / "b.csv", {}, {})
    agree(tmp_path)


def test_the_first_putts_of_a_visit_are_marked(tmp_path, monkeypatch):
    monkeypatch.setattr("putlab.intake.delimited.CHUNK_ROWS", 4)
    rows = [{"player": name} for name in "ababbbbbbaaaa"]
    counts = count_log(write_csv(tmp_path / "a.csv", *rows))
    cells = counts.cells.set_index(["player", "early"])["count"]
    assert cells.to_dict() == {("a", True): 5, ("a", False): 1, ("b", True): 5, ("b", False): 2}


def test_rejects_beyond_the_first_thousand_are_counted(tmp_path, monkeypatch):
    monkeypatch.setattr("putlab.counts.MOST_REJECTS", 10)
    monkeypatch.setattr("putlab.intake.delimited.CHUNK_ROWS", 7)
    rows = [{"distance_ft": "0"}] * 25 + [{}]
    counts = count_log(write_csv(tmp_path / "a.csv", *rows))
    assert (counts.rejected, len(counts.rejects)) == (25, 10)


def test_rows_of_nobody_beyond_those_kept_are_counted(tmp_path, monkeypatch):
    monkeypatch.setattr("putlab.intake.counter.MOST_NAMELESS", 4)
    monkeypatch.setattr("putlab.intake.delimited.CHUNK_ROWS", 4)
    counts = count_log(write_csv(tmp_path / "a.csv", *[{"player": ""}] * 9, {}))
    assert (counts.rejected, counts.cells["count"].sum()) == (9, 1)


@pytest.mark.parametrize("chunk", [400, 10_000])
def test_too_many_different_rows_are_put_on_a_wider_step(tmp_path, rng, monkeypatch, chunk):
    monkeypatch.setattr("putlab.intake.columnar.CHUNK_ROWS", chunk)
    frame = practice(rng, 4000, players=1, step=0.1)
    frame.to_parquet(tmp_path / "a.parquet")
    counts = count_log(tmp_path / "a.parquet", most_cells=1600)
    log = read_log(tmp_path / "a.parquet")
    assert len(counts.cells) <= 1600
    assert counts.cells["count"].sum() == 4000
    assert counts.rules.line_step_deg == pytest.approx(0.3)
    assert any("line_deg was put on steps of 0.3" in warning for warning in counts.warnings)
    # Each wide reading stands for exactly three narrow ones: nothing crosses an edge.
    wide = (log.putts["line_deg"] / 0.1).round() / 3
    expected = np.floor(wide + 0.5).value_counts().sort_index()
    found = counts.cells.groupby((counts.cells["line_deg"] / 0.3).round())["count"].sum()
    assert found.to_dict() == expected.to_dict()


def test_readings_stopped_by_a_limit_stay_at_it(tmp_path, rng):
    frame = practice(rng, 3000, players=1, step=0.0)
    frame["roll_ft"] = frame["roll_ft"].clip(upper=10.0)
    frame.to_parquet(tmp_path / "a.parquet")
    counts = count_log(tmp_path / "a.parquet", rules={"roll_limit_ft": 10.0}, most_cells=300)
    stopped = counts.cells.loc[counts.cells["roll_ft"] == 10.0, "count"].sum()
    near = frame["roll_ft"] > 10.0 - counts.rules.roll_step_ft / 2
    assert (frame["roll_ft"] == 10.0).sum() <= stopped <= near.sum()
    assert counts.cells["roll_ft"].max() == 10.0


def test_steps_widen_only_so_far(tmp_path, rng):
    practice(rng, 1000, step=0.0).to_parquet(tmp_path / "a.parquet")
    counts = count_log(tmp_path / "a.parquet", most_cells=10)
    assert counts.rules.line_step_deg == pytest.approx(0.27)
    assert len(counts.cells) > 10


def test_a_chunk_of_nothing_but_repeats(tmp_path, monkeypatch):
    monkeypatch.setattr("putlab.intake.delimited.CHUNK_ROWS", 2)
    rows = [{"line_deg": "1"}, {"line_deg": "2"}] * 2
    counts = count_log(write_csv(tmp_path / "a.csv", *rows, putt=["1", "2"] * 2))
    assert (counts.cells["count"].sum(), counts.rejected) == (2, 2)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("session,distance_ft,line_deg\n", "no rows"),
        ("session,distance_ft,line_deg\na,0,1\n", "none of the 1 rows can be used"),
        ("session,distance_ft,line_deg\na,10,1,9\n", "none of the 1 rows can be used"),
    ],
)
def test_nothing_to_count_is_refused(tmp_path, text, message):
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    with pytest.raises(LogError, match=message):
        count_log(tmp_path / "a.csv")


def write_long_parquet(path, putts, players, step, *, block=1_000_000):
    rng = np.random.default_rng(1)
    schema = pa.Schema.from_pandas(practice(rng, 1), preserve_index=False)
    with pq.ParquetWriter(path, schema) as writer:
        for _ in range(putts // block):
            frame = practice(rng, block, players=players, step=step)
            writer.write_table(pa.Table.from_pandas(frame, preserve_index=False))


MEASURE = """
import resource, sys, time
start = time.perf_counter()
from putlab.counts import count_log
counts = count_log(sys.argv[1])
assert counts.cells["count"].sum() == int(sys.argv[2])
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(time.perf_counter() - start, peak / 2**20)
"""


@pytest.mark.bench
@pytest.mark.parametrize(("players", "step"), [(3, 1.0), (200, 1.0), (20, 0.0)])
def test_ten_million_rows_in_under_a_minute_and_two_gigabytes(tmp_path, players, step):
    path = tmp_path / "long.parquet"
    write_long_parquet(path, 10_000_000, players, step)
    command = [sys.executable, "-c", MEASURE, str(path), "10000000"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    seconds, gigabytes = map(float, done.stdout.split())
    print(f"\n{players} players, step {step}: {seconds:.1f} s, {gigabytes:.2f} GB")
    assert seconds < 60
    assert gigabytes < 2
