"""Results are written whole or not at all, and are safe to open."""

import json
import os
import stat

import numpy as np
import pandas as pd
import pytest

from putlab.base.errors import OutputError, UsageError
from putlab.base.writing import check_writable, write_bytes, write_table, write_text


def test_a_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "a.csv"
    write_text(path, "old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="No space left"):
        write_text(path, "new")
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_an_interrupt_leaves_no_part_behind(tmp_path, monkeypatch):
    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "replace", stop)
    with pytest.raises(KeyboardInterrupt):
        write_bytes(tmp_path / "a", b"x")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["missing/a.csv", "."])
def test_a_place_that_cannot_be_written_is_refused_first(tmp_path, name):
    with pytest.raises(OutputError, match=r"folder"):
        check_writable(tmp_path / name)


def test_formulas_become_text_in_csv(tmp_path, capsys):
    write_table(pd.DataFrame({"player": ["=1+1", "@x", "anne", "-10", "-1+x"]}), "-")
    assert capsys.readouterr().out == "player\n'=1+1\n'@x\nanne\n-10\n'-1+x\n"


def test_json_has_records_and_meta_and_no_nan(tmp_path):
    table = pd.DataFrame({"a": [1.23456789, np.nan], "b": ["x", None]})
    write_table(table, tmp_path / "a.json", meta={"seed": 1})
    whole = json.loads((tmp_path / "a.json").read_text())
    assert whole["meta"] == {"seed": 1}
    assert whole["records"] == [{"a": 1.23457, "b": "x"}, {"a": None, "b": None}]


def test_an_unknown_ending_is_wrong_usage(tmp_path):
    with pytest.raises(UsageError, match="written as .csv or .json"):
        write_table(pd.DataFrame({"a": [1]}), tmp_path / "a.txt")


def test_a_device_or_a_pipe_is_left_as_it_is(tmp_path):
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    for write in (check_writable, lambda path: write_bytes(path, b"x")):
        with pytest.raises(OutputError, match="a device or a pipe"):
            write(pipe)
    assert stat.S_ISFIFO(pipe.stat().st_mode)


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664])
def test_who_may_read_a_file_stays(tmp_path, mode):
    path = tmp_path / "a.csv"
    path.write_text("old")
    path.chmod(mode)
    write_text(path, "new")
    assert path.read_text() == "new"
    assert stat.S_IMODE(path.stat().st_mode) == mode
