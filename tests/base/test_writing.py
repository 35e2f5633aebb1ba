"""Results are written whole or not at all, and are safe to open."""

import json
import os

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
