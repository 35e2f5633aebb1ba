"""Which files make a log: folders, links, what is left out, and the Data Package beside them.

The package is checked with the standard's own library.
"""

import json
import os
import warnings

import frictionless
import pytest
from logs import csv_bytes, table, write_csv
from written_logs import write_datapackage

from putlab.base.errors import LogError
from putlab.log.files import digest_of, find_files, joint_digest
from putlab.log.read import read_log
from putlab.log.rules import ReadingRules


def test_a_folder_is_read_by_name_and_the_rest_is_noted(tmp_path):
    write_csv(tmp_path / "b.csv", {"player": "b"})
    write_csv(tmp_path / "a.tsv", {"player": "a"})
    table({"player": "c"}).to_parquet(tmp_path / "c.parquet")
    for name in ("README.md", "truth.csv", "notes.json", ".hidden.csv", "~$b.xlsx", "rejects.csv"):
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


def test_the_digest_is_of_the_content():
    # Of the SHA-256 examples of FIPS 180-2: "abc".
    digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert digest_of(b"abc") == joint_digest([digest]) == digest
    assert joint_digest([digest, "0"]) != joint_digest(["0", digest])


def test_a_data_package_stands_for_its_folder(tmp_path):
    write_csv(tmp_path / "a.csv", {})
    (tmp_path / "datapackage.json").write_text(
        '{"resources": [{"name": "a", "path": "a.csv"}]}', encoding="utf-8"
    )
    assert find_files(tmp_path / "datapackage.json").paths == [tmp_path / "a.csv"]


def describe(folder, *resources, **more):
    text = json.dumps({"resources": list(resources)} | more)
    (folder / "datapackage.json").write_text(text, encoding="utf-8")


def frictionless_errors(path):
    """Return (file, row, column) of every cell that frictionless refuses."""
    with warnings.catch_warnings(action="ignore"):
        report = frictionless.validate(str(path))
    assert not report.errors, report.errors
    return {
        (task.place, error.row_number, error.field_name)
        for task in report.tasks
        for error in task.errors
    }


def test_a_package_written_is_valid_and_reads_back(tmp_path):
    write_csv(tmp_path / "a.csv", {"holed": "yes"}, {"drill": "line"})
    write_csv(tmp_path / "b.csv", {}, {"line_deg": "2"})
    rules = ReadingRules(line_step_deg=1, roll_limit_ft=36)
    write_datapackage(tmp_path, ["a.csv", "b.csv"], rules, title="Winter", name="winter")
    assert frictionless_errors(tmp_path / "datapackage.json") == set()
    log = read_log(tmp_path)
    assert log.files == ["a.csv", "b.csv"]
    assert (len(log.putts), log.rules.declared) == (4, rules.declared)


def test_frictionless_refuses_the_cells_that_the_loader_refuses(tmp_path):
    bad = [
        {"distance_ft": "ten"},
        {"distance_ft": "-10"},
        {"line_deg": "wide"},
        {"roll_ft": "1024"},
        {"session": ""},
        {"holed": "maybe"},
        {"drill": "driving"},
        {"hole_no": "1.5"},
    ]
    write_csv(tmp_path / "a.csv", {}, *bad, {})
    write_datapackage(tmp_path, ["a.csv"], {})
    rejects = read_log(tmp_path).rejects
    ours = set(rejects[["file", "row", "column"]].itertuples(index=False, name=None))
    assert ours == frictionless_errors(tmp_path / "datapackage.json")
    assert len(ours) == len(bad)


def test_version_1_is_read(tmp_path):
    write_csv(tmp_path / "a.csv", {})
    write_csv(tmp_path / "other.csv", {})
    describe(
        tmp_path,
        {"name": "a", "path": "a.csv", "profile": "tabular-data-resource", "putlab": {}},
        {"name": "other", "path": "other.csv"},
        profile="tabular-data-package",
    )
    log = read_log(tmp_path)
    assert (log.files, log.warnings) == (["a.csv"], [])


def test_without_a_marked_resource_all_tables_are_the_log(tmp_path):
    write_csv(tmp_path / "a.csv", {})
    write_csv(tmp_path / "b.csv", {"line_deg": "2"})
    describe(
        tmp_path,
        {"name": "a", "path": ["a.csv", "b.csv"]},
        {"name": "picture", "path": "green.png"},
    )
    assert read_log(tmp_path).files == ["a.csv", "b.csv"]


def test_a_file_that_is_not_listed_is_warned_of(tmp_path):
    write_csv(tmp_path / "a.csv", {})
    write_csv(tmp_path / "new.csv", {})
    describe(tmp_path, {"name": "a", "path": "a.csv", "putlab": {}})
    log = read_log(tmp_path)
    assert log.files == ["a.csv"]
    assert log.warnings[0].startswith("new.csv not read: datapackage.json does not list them")


def test_rules_beside_a_single_file_are_used_where_they_name_it(tmp_path):
    write_csv(tmp_path / "a.csv", {})
    write_csv(tmp_path / "b.csv", {})
    describe(tmp_path, {"name": "a", "path": "a.csv", "putlab": {"roll_limit_ft": 30}})
    assert read_log(tmp_path / "a.csv").rules.roll_limit_ft == 30.0
    other = read_log(tmp_path / "b.csv")
    assert other.rules.roll_limit_ft is None
    assert "does not list b.csv" in other.notes[0]


def test_the_encoding_is_taken_from_the_package(tmp_path):
    (tmp_path / "a.csv").write_bytes(
        "player;session;distance_ft;line_deg\nŻ;a;10;1\n".encode("cp1250")
    )
    describe(tmp_path, {"path": "a.csv", "encoding": "cp1250", "putlab": {}})
    assert list(read_log(tmp_path).putts["player"]) == ["Ż"]


@pytest.mark.parametrize(
    "path",
    [
        *(
            "../a.csv",
            "/etc/passwd",
            "x/../../a.csv",
            "..\\a.csv",
            "C:\\a.csv",
            "~/a.csv",
            "a\0.csv",
        ),
        *("https://example.org/a.csv", "file:///a.csv", "s3://a/b.csv"),
    ],
)
def test_a_path_cannot_leave_the_folder(tmp_path, path):
    describe(tmp_path, {"name": "a", "path": path, "putlab": {}})
    with pytest.raises(LogError, match="leads outside"):
        read_log(tmp_path)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is not JSON"),
        ("{", "is not JSON"),
        ("[" * 100_000, r"is not JSON that can be read \(not text, or a number too long"),
        ('{"rows": ' + "9" * 5_000 + "}", r"is not JSON that can be read \(not text, or a number"),
        ("\ufeff{}", "is no data package|is not JSON"),
        ("[]", "is no data package"),
        ("{}", "expected a list under 'resources'"),
        ('{"resources": [1]}', "expected a list under 'resources'"),
        ('{"resources": [{"putlab": {}}]}', "needs the name of a file"),
        ('{"resources": [{"name": "a", "data": [1]}]}', "'a' needs the name of a file"),
        ('{"resources": [{"putlab": {}, "path": []}]}', "needs the name of a file"),
        ('{"resources": [{"putlab": {}, "path": 7}]}', "needs the name of a file"),
        ('{"resources": [{"putlab": {}, "path": "gone.csv"}]}', "which is not there"),
        ('{"resources": [{"putlab": 3, "path": "a.csv"}]}', "names and numbers"),
        ('{"resources": [{"putlab": {"line_stp_deg": 1}, "path": "a.csv"}]}', "line_step_deg"),
        ('{"resources": [{"putlab": {"line_step_deg": "1"}, "path": "a.csv"}]}', "got '1'"),
        ('{"resources": [{"putlab": {"line_step_deg": NaN}, "path": "a.csv"}]}', "got 'nan'"),
    ],
)
def test_a_broken_package_is_one_message(tmp_path, text, message):
    write_csv(tmp_path / "a.csv", {})
    (tmp_path / "datapackage.json").write_text(text, encoding="utf-8")
    with pytest.raises(LogError, match=f"datapackage.json.*({message})"):
        read_log(tmp_path)


@pytest.mark.parametrize("encoding", ["x", 8, "hex", "ascii"])
def test_an_encoding_that_does_not_fit_is_one_message(tmp_path, encoding):
    write_csv(tmp_path / "a.csv", {"player": "Zoë"})
    describe(tmp_path, {"path": "a.csv", "encoding": encoding})
    with pytest.raises(LogError, match=rf"a\.csv is not text throughout in {encoding}"):
        read_log(tmp_path)


def test_one_log_has_one_set_of_rules(tmp_path):
    for name in ("a", "b"):
        write_csv(tmp_path / f"{name}.csv", {"player": name})
    describe(
        tmp_path,
        {"name": "a", "path": "a.csv", "putlab": {"line_step_deg": 1}},
        {"name": "b", "path": "b.csv", "putlab": {"line_step_deg": 0.5}},
    )
    with pytest.raises(LogError, match="resource 'b' declares other reading rules"):
        read_log(tmp_path)
    assert read_log(tmp_path / "b.csv").rules.line_step_deg == 0.5
