"""Kept fits: found by content, never trusted when altered."""

import os
import stat

import numpy as np
import pytest

from putlab.base.cache import clear_cache, content_key, load_arrays, save_arrays

KEY = content_key("a test")


@pytest.fixture
def kept(own_cache):
    save_arrays(KEY, {"a": np.arange(5.0)})
    return own_cache / f"{KEY}.npz"


def test_what_is_kept_comes_back(kept):
    assert np.array_equal(load_arrays(KEY)["a"], np.arange(5.0))


def test_an_entry_cut_short_is_not_trusted(kept):
    kept.write_bytes(kept.read_bytes()[:-40])
    assert load_arrays(KEY) is None


def test_an_entry_under_a_wrong_name_is_not_trusted(kept):
    other = content_key("another")
    kept.rename(kept.with_name(f"{other}.npz"))
    assert load_arrays(other) is None


def test_an_altered_entry_is_not_trusted(kept):
    with np.load(kept) as file:
        meta = file["_meta"]
    np.savez(kept, _meta=meta, a=np.arange(5.0) + 1)
    assert load_arrays(KEY) is None


def test_pickled_objects_are_never_loaded(kept):
    np.savez(kept, _meta="{}", a=np.array([{"run": "me"}], dtype=object))
    assert load_arrays(KEY) is None


def test_the_cache_is_private(kept):
    assert stat.S_IMODE(os.stat(kept).st_mode) == 0o600
    assert stat.S_IMODE(os.stat(kept.parent).st_mode) == 0o700


def test_clearing_removes_the_kits_entries_and_nothing_else(kept):
    kept.with_name("mine.npz").write_bytes(b"not the kit's")
    assert clear_cache() == 1
    assert kept.with_name("mine.npz").exists()


def test_a_cache_that_cannot_be_written_is_passed_over(monkeypatch, tmp_path):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("PUTLAB_CACHE", str(tmp_path / "file" / "cache"))
    save_arrays(KEY, {"a": np.arange(3)})
    assert load_arrays(KEY) is None


def test_keys_tell_types_shapes_and_order_apart():
    parts = [[1, 2], [1.0, 2.0], ["1", "2"], [[1], [2]], [2, 1], [np.array([1, 2])]]
    assert len({content_key(*p) for p in parts}) == len(parts)
