"""Which files make a log: folders, links, what is left out."""

import os

import pytest
from logs import csv_bytes, table, write_csv

from putlab.base.errors import LogError
from putlab.log.files import digest_of, find_files, joint_digest
from putlab.log.read import read_log


def test_a_folder_is_read_by_name_and_the_rest_is_noted(tmp_path):
    write_csv(tmp_path / "b.csv", {"player": "b"})
    write_csv(tmp_path / "a.tsv", {"player": "a"})
    table({"player": "c"}).to_parquet(tmp_path / "c.parquet")
    for name in (
        "README.md",
        "truth.csv",
        "notes.json",
        ".hidden.csv",
        "~$b.xlsx",
        "rejects.csv",
    ):
        (tmp_path / name).write_text("not a log", encoding="utf-8")
    (tmp_path / "old").mkdir()
    log = read_log(tmp_path)
    assert log.files == ["a.tsv", "b.csv", "c.parquet"]
    assert list(log.putts["player"]) == ["a", "b", "c"]
    noted = " ".join(log.notes)
    assert all(name in noted for name in ("README.md", "truth.csv", "notes.json", "old/"))
    assert "hidden" not in noted


def test_a_table_in_a_form_that_is_not_read_is_warned_of(tmp_path):
    write_csv(tmp_path / "a.csv", {})
    (tmp_path / "b.ods").write_bytes(b"x")
    assert read_log(tmp_path).warnings == [
        "b.ods was not read: save it as .xlsx or .csv to include it."
    ]


def test_a_folder_that_grows_gives_the_old_rows_and_the_new(tmp_path):
    write_csv(tmp_path / "2025-03-14.csv", {})
    first = read_log(tmp_path)
    write_csv(tmp_path / "2025-03-21.csv", {"session": "2025-03-21"})
    second = read_log(tmp_path)
    assert list(second.putts["session"]) == ["2025-03-14", "2025-03-21"]
    assert first.digest != second.digest


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda folder: folder / "none.csv", "does not exist"),
        (lambda folder: folder, "holds no log"),
        (lambda folder: _touch(folder / "putts.doc"), r"its ending is \.doc"),
        (lambda folder: _touch(folder / "putts"), "its ending is missing"),
        (lambda folder: _link(folder / "a.csv", folder / "b.csv"), "leads nowhere"),
        (lambda folder: _link(folder / "a.csv", folder / "a.csv"), "leads nowhere"),
        (lambda folder: _link(folder / "a.csv", folder / "a.csv").parent, "leads nowhere"),
        (lambda folder: _fifo(folder / "a.csv"), "is not a file"),
        (lambda folder: folder / ("x" * 5000), "could not be read"),
        (lambda folder: folder / "a\0.csv", "does not exist"),
    ],
)
def test_what_is_no_log_is_one_message(tmp_path, make, message):
    with pytest.raises(LogError, match=message):
        read_log(make(tmp_path))


def _touch(path):
    path.write_text("x", encoding="utf-8")
    return path


def _link(path, target):
    path.symlink_to(target)
    return path


def _fifo(path):
    os.mkfifo(path)
    return path


def test_a_loop_of_folders_is_not_followed(tmp_path):
    write_csv(tmp_path / "a.csv", {})
    (tmp_path / "again").symlink_to(tmp_path, target_is_directory=True)
    assert len(read_log(tmp_path).putts) == 1


def test_a_file_that_is_no_log_stops_the_folder_and_is_named(tmp_path):
    write_csv(tmp_path / "a.csv", {})
    (tmp_path / "b.csv").write_text("hole,par\n1,2\n", encoding="utf-8")
    with pytest.raises(LogError, match=r"b.csv: missing session; distance_ft .* found: hole, par"):
        read_log(tmp_path)


def test_a_name_that_is_no_text_is_shown_as_escapes(tmp_path):
    path = os.fsencode(tmp_path) + b"/\xff\x1b.csv"
    with open(path, "wb") as stream:
        stream.write(csv_bytes(table({}, {"distance_ft": "0"})))
    log = read_log(tmp_path)
    assert log.files == ["\\udcff\\x1b.csv"]
    assert log.rejects["file"][0] == "\\udcff\\x1b.csv"


def test_the_digest_is_of_the_content(tmp_path):
    # Of the SHA-256 examples of FIPS 180-2: "abc".
    (tmp_path / "a").write_bytes(b"abc")
    digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert digest_of(tmp_path / "a") == joint_digest([digest]) == digest
    assert joint_digest([digest, "0"]) != joint_digest(["0", digest])


def test_a_data_package_stands_for_its_folder(tmp_path):
    write_csv(tmp_path / "a.csv", {})
    (tmp_path / "datapackage.json").write_text(
        '{"resources": [{"name": "a", "path": "a.csv"}]}', encoding="utf-8"
    )
    assert find_files(tmp_path / "datapackage.json").paths == [tmp_path / "a.csv"]
