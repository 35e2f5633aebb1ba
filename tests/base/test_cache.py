"""Kept fits: found by code and content, never trusted when altered."""

import io
import os
import shutil
import stat
import zipfile

import numpy as np
import pandas as pd
import pytest

from putlab.base.cache import (
    PACKAGE,
    ROOMS,
    clear_cache,
    code_digest,
    content_key,
    kept_or_made,
    load_arrays,
    save_arrays,
)
from putlab.cli import console
from putlab.cli.app import build_app

KEY = content_key("a test")


@pytest.fixture
def kept(own_cache):
    save_arrays(KEY, {"a": np.arange(5.0)})
    return own_cache / f"{KEY}.npz"


def test_what_is_kept_comes_back(kept):
    assert np.array_equal(load_arrays(KEY)["a"], np.arange(5.0))


def test_an_entry_under_a_wrong_name_is_not_trusted(kept):
    other = content_key("another")
    kept.rename(kept.with_name(f"{other}.npz"))
    assert load_arrays(other) is None


def cut_short(path):
    path.write_bytes(path.read_bytes()[:-40])


def one_byte_changed(path):
    """Spoil the compressed numbers, whose damage is an error of zlib or of a checksum."""
    content = bytearray(path.read_bytes())
    content[content.index(b"a.npy") + 30] ^= 0xFF
    path.write_bytes(bytes(content))


def the_directory_of_the_archive_changed(path):
    content = bytearray(path.read_bytes())
    content[content.rindex(b"PK\x01\x02") + 10] = 99  # a way of compression that nobody has
    path.write_bytes(bytes(content))


def no_numpy_inside(path):
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("_meta.npy", b"\x93NUMPY\x01\x00\x46\x00{'descr': ")


def a_single_array(path):
    stream = io.BytesIO()
    np.save(stream, np.arange(5.0))
    path.write_bytes(stream.getvalue())


def other_numbers(path):
    with np.load(path) as file:
        meta = file["_meta"]
    np.savez(path, _meta=meta, a=np.arange(5.0) + 1)


def another_dtype(path):
    with np.load(path) as file:
        meta = file["_meta"]
    np.savez(path, _meta=meta, a=np.arange(5.0, dtype="float32"))


def pickled_objects(path):
    np.savez(path, _meta="{}", a=np.array([{"run": "me"}], dtype=object))


def a_word_about_itself_that_is_no_json(path):
    np.savez(path, _meta="[" * 100_000, a=np.arange(5.0))


def a_folder(path):
    path.unlink()
    path.mkdir()
    (path / "x").write_text("x")


def open_to_others(path):
    path.chmod(0o666)


def a_pipe(path):
    path.unlink()
    os.mkfifo(path)


def a_link_to_a_copy(path):
    path.rename(path.with_name("elsewhere"))
    path.symlink_to(path.with_name("elsewhere"))


def a_link_to_nothing(path):
    path.unlink()
    path.symlink_to(path.with_name("nothing"))


HARMS = [
    open_to_others,
    a_pipe,
    a_link_to_a_copy,
    a_link_to_nothing,
    cut_short,
    one_byte_changed,
    the_directory_of_the_archive_changed,
    no_numpy_inside,
    a_single_array,
    other_numbers,
    another_dtype,
    pickled_objects,
    a_word_about_itself_that_is_no_json,
    a_folder,
    lambda path: path.write_bytes(b""),
    lambda path: path.write_bytes(b"PK\x03\x04" + bytes(200)),
]


@pytest.mark.parametrize("harm", HARMS, ids=lambda harm: harm.__name__)
def test_a_spoilt_entry_is_computed_anew(kept, harm):
    harm(kept)
    assert load_arrays(KEY) is None
    anew = kept_or_made(KEY, lambda: {"a": np.arange(3)})
    assert np.array_equal(anew["a"], np.arange(3))


def test_the_cache_is_private(kept):
    assert stat.S_IMODE(os.stat(kept).st_mode) == 0o600
    assert stat.S_IMODE(os.stat(kept.parent).st_mode) == 0o700


def test_clearing_removes_the_kits_entries_and_nothing_else(kept):
    kept.with_name("mine.npz").write_bytes(b"not the kit's")
    assert clear_cache() == 1
    assert kept.with_name("mine.npz").exists()


def test_clearing_removes_links_and_not_what_they_lead_to(kept):
    a_link_to_a_copy(kept)
    assert clear_cache() == 1
    assert kept.with_name("elsewhere").exists()
    assert not kept.is_symlink()


def test_a_folder_open_to_others_is_mentioned(kept, capsys):
    kept.parent.chmod(0o777)
    assert console.run(build_app(), ["cache"]) == 0
    assert "Others can write" in capsys.readouterr().err
    kept.parent.chmod(0o700)
    assert console.run(build_app(), ["cache"]) == 0
    assert "Others can write" not in capsys.readouterr().err


def test_a_cache_that_cannot_be_written_is_passed_over(monkeypatch, tmp_path):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("PUTLAB_CACHE", str(tmp_path / "file" / "cache"))
    save_arrays(KEY, {"a": np.arange(3)})
    assert load_arrays(KEY) is None


def test_keys_tell_types_shapes_and_order_apart():
    parts = [[1, 2], [1.0, 2.0], ["1", "2"], [[1], [2]], [2, 1], [np.array([1, 2])]]
    parts += [[pd.DataFrame({name: of})] for name in "ab" for of in ([1, 2], [2, 1], ["1", None])]
    parts += [[pd.DataFrame({"a": [1, 2]}, index=[1, 2])]]
    assert len({content_key(*p) for p in parts}) == len(parts)


def rooms_with_another_key(tmp_path, change):
    """Return the rooms whose code has another hash after a change of a copy of the package."""
    copy = tmp_path / "putlab"
    shutil.copytree(PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    before = [code_digest(room, copy) for room in ROOMS]
    change(copy)
    code_digest.cache_clear()
    return [room for room, old in zip(ROOMS, before, strict=True) if code_digest(room, copy) != old]


def replaced(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("green/published.py", "CAPTURE_FT_S = 1.63", "CAPTURE_FT_S = 1.64"),
        ("model/priors.py", "between_median: float = 0.3", "between_median: float = 0.31"),
    ],
)
def test_changed_code_changes_the_key_of_its_room_and_of_those_after(tmp_path, file, old, new):
    changed = rooms_with_another_key(tmp_path, lambda copy: replaced(copy / file, old, new))
    assert changed == list(ROOMS[ROOMS.index(file.split("/")[0]) :])


def test_changed_figures_change_the_key_as_code_does(tmp_path):
    def change(copy):
        path = next((copy / "green" / "data").glob("*.csv"))
        path.write_text(path.read_text(encoding="utf-8") + "0\n", encoding="utf-8")

    assert rooms_with_another_key(tmp_path, change) == list(ROOMS[ROOMS.index("green") :])


def test_words_about_code_change_no_key(tmp_path):
    def reword(copy):
        for path in sorted(copy.rglob("*.py")):
            replaced(path, '"""', '"""Other words. ')
            path.write_text(path.read_text(encoding="utf-8") + "\n# A comment.\n", encoding="utf-8")

    assert rooms_with_another_key(tmp_path, reword) == []
