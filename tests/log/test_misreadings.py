"""Cells that were once read as something else without a word; the right reading is known."""

import io
import zipfile

import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from putlab.base.errors import LogError
from putlab.log.read import read_log

HEADER = "session,distance_ft,line_deg,roll_ft\n"


def log_of(tmp_path, text, name="log.csv", **how):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return read_log(path, allow_empty=True, **how)


def test_a_decimal_comma_that_pushes_a_blank_cell_out_is_refused(tmp_path):
    log = log_of(tmp_path, HEADER + "s1,10,1,5,\ns1,10,2,\n")
    assert log.putts["line_deg"].tolist() == [2.0]
    assert log.rejects["row"].tolist() == [2]
    assert "5 cells under 4 column names" in log.rejects["reason"][0]


def test_a_blank_cell_too_many_between_semicolons_is_no_harm(tmp_path):
    log = log_of(tmp_path, HEADER.replace(",", ";") + "s1;10;1,5;;\n")
    assert log.putts["line_deg"].tolist() == [1.5]


@pytest.mark.parametrize("unseen", ["\u200b", "\u00ad", "\u2060", "\ufeff", "\u202e", "\u200e"])
def test_characters_that_nobody_sees_make_no_second_golfer(tmp_path, unseen):
    rows = f"player,{HEADER}el{unseen}m,s1,10,1,\nelm,s1,10,{unseen}2,\n"
    log = log_of(tmp_path, rows)
    assert log.players == ["elm"]
    assert log.putts["line_deg"].tolist() == [1.0, 2.0]


def test_a_short_date_that_could_be_two_is_asked_about(tmp_path):
    log = log_of(tmp_path, HEADER + "26-01-05,10,1,\n26-01-12,10,1,\n")
    assert log.putts["session"].tolist() == ["26-01-05", "26-01-12"]
    assert any("cannot be told" in warning for warning in log.warnings)


def test_a_short_date_that_can_only_be_one_is_read(tmp_path):
    log = log_of(tmp_path, HEADER + "13/02/26,10,1,\n")
    assert log.putts["session"].tolist() == ["2026-02-13"]


def workbook(tmp_path, fill, rows=(("s1", 10, 1, 10),)):
    book = openpyxl.Workbook()
    book.active.append(HEADER.strip().split(","))
    for row in rows:
        book.active.append(row)
    fill(book)
    path = tmp_path / "log.xlsx"
    book.save(path)
    return path


def test_a_formula_without_a_value_is_no_blank(tmp_path):
    def fill(book):
        book.active.append(["s1", 10, "=1+1", 9])

    log = read_log(workbook(tmp_path, fill))
    assert log.putts["line_deg"].tolist() == [1.0]
    assert log.rejects["value"].tolist() == ["=1+1"]


def test_a_hidden_sheet_is_named_as_unread(tmp_path):
    def fill(book):
        hidden = book.create_sheet("old")
        hidden.append(HEADER.strip().split(","))
        hidden.append(["s0", 10, 5, 10])
        hidden.sheet_state = "hidden"

    log = read_log(workbook(tmp_path, fill))
    assert len(log.putts) == 1
    assert any("sheet old is hidden and was not read" in note for note in log.notes)


def test_a_cell_of_percents_is_read_as_it_is_seen(tmp_path):
    def fill(book):
        book.active["E1"] = "slope_pct"
        book.active["E2"] = 0.02
        book.active["E2"].number_format = "0%"

    log = read_log(workbook(tmp_path, fill), allow_empty=True)
    read = log.putts["slope_pct"].tolist()
    assert read == [2.0] or log.rejects["value"].tolist() == ["2%"]


def altered(path, change):
    """Return the workbook with the XML of its first sheet changed."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts["xl/worksheets/sheet1.xml"] = change(parts["xl/worksheets/sheet1.xml"])
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    path.write_bytes(stream.getvalue())
    return path


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b'<row r="2"', b'<row r="-5"', "numbered -5 to 1"),
        (b'<row r="2"', b'<row r="1500000000"', "to 1,500,000,000"),
        (b'<row r="2"', b'<row r="1"', "each once"),
        (b'<c r="D2"', b'<c r="XFD2"', "a column number 16,384"),
    ],
)
def test_rows_and_columns_that_no_log_has_are_refused_at_once(tmp_path, old, new, said):
    path = workbook(tmp_path, lambda book: None)
    with pytest.raises(LogError, match=said):
        read_log(altered(path, lambda xml: xml.replace(old, new)))


def test_parquet_bytes_and_durations_are_plain(tmp_path):
    frame = {
        "player": pa.array([b"anna", b"anna"], pa.binary()),
        "session": ["s1", "s1"],
        "distance_ft": [10.0, 10.0],
        "line_deg": [1.0, 2.0],
        "condition": pa.array([2**62, 5], pa.duration("s")),
    }
    pq.write_table(pa.table(frame), tmp_path / "log.parquet")
    log = read_log(tmp_path / "log.parquet")
    assert log.players == ["anna"]
    assert log.putts["condition"].tolist() == [str(2**62), "5"]


def test_a_far_date_in_parquet_is_answered_with_a_sentence(tmp_path):
    days = pa.array([2**40], pa.timestamp("s"))
    frame = {"session": days, "distance_ft": [10.0], "line_deg": [1.0]}
    pq.write_table(pa.table(frame), tmp_path / "log.parquet")
    with pytest.raises(LogError, match="could not be read as Parquet"):
        read_log(tmp_path / "log.parquet")


def test_a_header_of_any_length_is_read(tmp_path):
    log = log_of(tmp_path, HEADER.strip() + ',"' + "x" * 200_000 + '"\ns1,10,1,,\n')
    assert len(log.putts) == 1


@pytest.mark.parametrize("huge", [10**400, -(10**400), 10**30])
@pytest.mark.parametrize("rule", ["line_step_deg", "roll_limit_m"])
def test_a_huge_whole_number_in_a_package_is_refused_by_name(tmp_path, huge, rule):
    package = '{"resources": [{"name": "log", "path": "log.csv", "putlab": {"%s": %d}}]}'
    (tmp_path / "datapackage.json").write_text(package % (rule, huge))
    with pytest.raises(LogError, match=r"reading rule (line_step_deg|roll_limit_ft): got"):
        log_of(tmp_path, HEADER + "s1,10,1,\n")


def test_a_file_that_changes_while_it_is_read_is_not_half_read(tmp_path, monkeypatch):
    path = tmp_path / "log.csv"
    path.write_text(HEADER + "s1,10,1,\n")
    read = type(path).read_bytes

    def cut(file):
        content = read(file)
        file.write_bytes(content[:-4])
        return content

    monkeypatch.setattr(type(path), "read_bytes", cut)
    with pytest.raises(LogError, match="changed while it was read"):
        read_log(path)


def test_a_parquet_log_of_typed_columns_is_read_as_before(tmp_path):
    frame = pd.DataFrame(
        {"session": pd.to_datetime(["2026-01-05"]), "distance_ft": [10], "line_deg": [1.5]}
    )
    frame.to_parquet(tmp_path / "log.parquet")
    assert read_log(tmp_path / "log.parquet").putts["session"].tolist() == ["2026-01-05"]


# A cell of one column and what whoever wrote it means, by the plain sense of its notation; None
# where it can mean two things or nothing, and the row must be refused. Inches are twelfths of a
# foot, a yard is three feet, a foot 0.3048 m exactly; 46086 is how spreadsheets count 2026-03-05.
MEANT = [
    *[
        ("line_deg", cell, 1.5)
        for cell in ("1.5", "1,5", "+1.5", "1,500", "1.50", "1,5\u00b0", "1.5 R")
    ],
    *[
        ("line_deg", cell, -2.0)
        for cell in ("-2", "\u22122", "-2.", "2 L", "L2", "2 left", "-2\u00b0")
    ],
    *[("line_deg", cell, 0.5) for cell in (".5", ",5", "0.5\u00b0", "R 0.5", "5e-1")],
    *[("line_deg", cell, 0.0) for cell in ("0", "-0", "0,0", "0 R", "0 L")],
    *[
        ("line_deg", cell, None)
        for cell in ("1/2", "1:30", "(2)", "2-", "- 2", "--2", "1.5.2", "1,5,2")
    ],
    *[
        ("line_deg", cell, None)
        for cell in ("left", "TRUE", "#REF!", "=1+1", "2026-05-12", "1O", "l")
    ],
    *[
        ("line_deg", cell, None)
        for cell in ("3'", "2 m", "-2 L", "+2 L", "1_0", "0x1F", "\u221e", "nan1")
    ],
    *[
        ("distance_ft", cell, 10.0)
        for cell in ("10", "10.", "10,0", "10 ft", "10'", "120 in", "1e1")
    ],
    *[
        ("distance_ft", cell, 4.5)
        for cell in (
            "4'6\"",
            "4 ft 6 in",
            "4ft6",
            "4' 6",
            "4\u20196\u201d",
            "4\u20326\u2033",
            "4 feet 6 inches",
        )
    ],
    *[("distance_m", cell, 4.5) for cell in ("4'6\"", "4 ft 6 in.")],
    *[("roll_ft", cell, None) for cell in ("4'13\"", "4'6'", "4.5'6\"", "-4'6\"", "6\"4'")],
    *[("line_deg", cell, None) for cell in ("4'6\"", "4 ft 6 in")],
    *[("session", cell, "2026-03-05") for cell in ("5-Mar-26", "5 March 2026", "March 5, 2026")],
    *[("session", cell, cell) for cell in ("5 Mat 2026", "32 March 2026", "March 2026")],
    *[("distance_ft", cell, 9.0) for cell in ("3 yd", "9 feet", "108 in", "2.7432 m", "274.32 cm")],
    *[
        ("distance_ft", cell, None)
        for cell in ("1O", "ten", "10-12", "~10", "<10", "10?", "10 ft 12", "0")
    ],
    *[
        ("distance_ft", cell, None)
        for cell in ("-10", "1,000.5", "10 12", "10\u00b0", "10 %", "10 kg")
    ],
    *[("distance_m", cell, 3 / 0.3048) for cell in ("3", "3,0", "3 m", "300 cm", "3.000")],
    *[("distance_m", cell, 10.0) for cell in ("10 ft", "3,048", "3.048 m", "10'")],
    *[("holed", cell, True) for cell in ("1", "1.0", "TRUE", "Yes", "y", "made", "in", "holed")],
    *[("holed", cell, False) for cell in ("0", "0.0", "False", "no", "N", "missed", "miss", "out")],
    *[("holed", cell, None) for cell in ("2", "0.5", "x", "-", "left", "short", "maybe")],
    *[("slope_pct", cell, 2.0) for cell in ("2", "2%", "2 %", "2,0", "+2")],
    *[("slope_pct", cell, None) for cell in ("1:50", "1 in 50", "2\u00b0", "-2", "two")],
    *[
        ("session", cell, "2026-03-05")
        for cell in ("2026-03-05", "2026-3-5", "2026/03/05", "46086")
    ],
    *[("session", cell, "2026-03-05") for cell in ("20260305", "2026.3.5")],
    *[("session", cell, "2026-02-13") for cell in ("13/02/2026", "13.2.26", "02/13/2026")],
    *[("session", cell, cell) for cell in ("2026-02-30", "week 10", "12", "2026-W10", "0")],
    *[("session", cell, None) for cell in ("none", "N/A", "", "null")],
    *[("condition", cell, cell) for cell in ("No", "0", "-", "A", "new grip", "Nan's grip")],
    ("condition", "none", "none"),
    *[("condition", cell, "") for cell in ("NA", "n/a", "null")],
    ("condition", "'=new", "=new"),
    ("player", "  elm ", "elm"),
    ("player", "e\u0301lm", "\u00e9lm"),
]


@pytest.mark.parametrize(("column", "cell", "meant"), MEANT)
def test_a_cell_is_read_as_it_is_meant_or_refused(tmp_path, column, cell, meant):
    good = {"player": "elm", "session": "s1", "distance_ft": "10", "line_deg": "1"}
    if column == "distance_m":
        del good["distance_ft"]
    path = tmp_path / "log.csv"
    pd.DataFrame([good | {column: cell}]).to_csv(path, index=False, sep=";")
    log = read_log(path, allow_empty=True)
    assert log.rows_read == 1
    if meant is None:
        assert log.rejects["column"].tolist() == [column]
        return
    read = log.putts[column.replace("_m", "_ft")].fillna("").tolist()
    assert read == ([pytest.approx(meant, abs=1e-9)] if isinstance(meant, float) else [meant])


def test_the_list_of_misreadings_is_long_enough():
    assert len(set(MEANT)) >= 60
