"""Files as people save them: encodings, separators, types, and damage."""

import datetime
import zipfile

import numpy as np
import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from logs import GOOD, csv_bytes, reasons, table, write_csv

from putlab.base.errors import LogError
from putlab.log.read import read_log
from putlab.log.tables import open_tables


def values(log):
    return log.putts[["player", "distance_ft", "line_deg", "roll_ft"]].to_numpy().tolist()


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize(
    ("encoding", "mark"), [("utf-8", ""), ("utf-8", "\ufeff"), ("utf-16", ""), ("cp1252", "")]
)
def test_encodings_and_separators(tmp_path, encoding, mark, separator):
    path = tmp_path / "putts.csv"
    frame = table({"player": "Zoë"}, {"player": "Zoë", "line_deg": "-2"})
    path.write_bytes(csv_bytes(frame, encoding=encoding, separator=separator, mark=mark))
    log = read_log(path)
    assert values(log) == [["Zoë", 10.0, 1.0, 11.5], ["Zoë", 10.0, -2.0, 11.5]]
    assert any("Windows-1252" in note for note in log.notes) == (encoding == "cp1252")


def test_decimal_commas(tmp_path):
    path = tmp_path / "putts.csv"
    path.write_bytes(csv_bytes(table({"roll_ft": "11,5", "line_deg": "-0,5"}), separator=";"))
    assert values(read_log(path)) == [["ash", 10.0, -0.5, 11.5]]


def test_a_decimal_comma_that_splits_its_cell_is_refused_by_row(tmp_path):
    path = tmp_path / "putts.csv"
    path.write_text(
        "session,distance_ft,line_deg\n1,10,1\n1,10,0,5\n1,10,2,\n1,10\n", encoding="utf-8"
    )
    log = read_log(path)
    assert list(log.putts["row"]) == [2]
    # Row 4 may have been 1, 10 and "2," with a decimal comma, or a comma too many.
    assert all(reasons(log)[row][1].startswith("4 cells under 3 column names") for row in (3, 4))
    assert reasons(log)[5][1].startswith("no reading")


def test_a_separator_named_in_the_first_line(tmp_path):
    path = tmp_path / "putts.csv"
    path.write_text("sep=;\nsession;distance_ft;line_deg\na;10;1\na;-1;1\n", encoding="utf-8")
    log = read_log(path)
    assert (len(log.putts), list(log.rejects["row"])) == (1, [4])


def test_blank_lines_are_no_rows_but_keep_the_numbering(tmp_path):
    path = tmp_path / "putts.csv"
    path.write_text("\nsession,distance_ft,line_deg\n\na,10,1\n,,\na,x,1\n", encoding="utf-8")
    log = read_log(path)
    assert (log.rows_read, list(log.putts["row"]), list(log.rejects["row"])) == (2, [4], [6])


def test_line_ends_of_other_systems(tmp_path):
    for ends in ("\r\n", "\r"):
        path = tmp_path / "putts.csv"
        path.write_bytes(csv_bytes(table({}, {})).replace(b"\n", ends.encode()))
        assert len(read_log(path).putts) == 2


def test_a_line_break_inside_a_comment_is_part_of_its_cell(tmp_path):
    path = write_csv(tmp_path / "putts.csv", {}, {}, remark=["windy,\nand wet", "dry"])
    assert len(read_log(path).putts) == 2


def test_a_quotation_mark_left_open_is_named_with_its_row(tmp_path):
    path = tmp_path / "putts.csv"
    path.write_text(
        'session,distance_ft,line_deg\na,10,1\n"a,10,1\na,10,2\na,10,3\n', encoding="utf-8"
    )
    with pytest.raises(LogError, match=r"putts.csv, row 3: a quotation mark .* never closed"):
        read_log(path)


def test_a_quotation_mark_that_swallows_rows_is_a_reject(tmp_path):
    path = tmp_path / "putts.csv"
    path.write_text(
        'session,distance_ft,line_deg\n"a,10,1\na,10,2\na",10,3\na,10,4\n', encoding="utf-8"
    )
    log = read_log(path)
    assert list(log.putts["line_deg"]) == [4.0]
    assert "takes 3 lines into one cell" in log.rejects["reason"][0]


def test_a_quotation_mark_open_in_the_last_row_is_a_reject(tmp_path):
    path = tmp_path / "putts.csv"
    path.write_text('session,distance_ft,line_deg\na,10,1\na,10,"2', encoding="utf-8")
    log = read_log(path)
    assert len(log.putts) == 1
    assert "never closed" in log.rejects["reason"][0]


def test_text_after_a_closing_quotation_mark_spoils_only_its_cell(tmp_path):
    path = tmp_path / "putts.csv"
    path.write_text('session,distance_ft,line_deg\na,10,1\na,10,"2"x', encoding="utf-8")
    log = read_log(path)
    assert (len(log.putts), log.rejects["value"][0]) == (1, "2x")


def test_a_cell_of_a_million_characters_is_refused_and_shortened(tmp_path):
    log = read_log(write_csv(tmp_path / "putts.csv", {"player": "x" * 1_000_000}, {}))
    assert len(log.putts) == 1
    assert log.rejects["value"][0] == "x" * 60 + "… (1,000,000 characters)"
    assert "1,000,000 characters; at most 100" in log.rejects["reason"][0]


def test_parquet_keeps_its_types(tmp_path):
    columns = {
        "player": pa.array([7, 7, None], pa.int32()),
        "session": pa.array([datetime.date(2025, 3, 14)] * 3),
        "distance_ft": pa.array([10, 12, 12], pa.int8()),
        "line_deg": pa.array([0.1, None, 0.3], pa.float32()),
        "holed": pa.array([True, None, False]),
        "roll_ft": pa.array([None, 11, 12], pa.float16()),
        "condition": pa.array(["a", "b", None]).dictionary_encode(),
    }
    pq.write_table(pa.table(columns), tmp_path / "putts.parquet")
    log = read_log(tmp_path / "putts.parquet")
    assert list(log.putts["player"]) == ["7", "7", "7"]
    assert list(log.putts["session"]) == ["2025-03-14"] * 3
    # 0.1 in 32 bits is 0.100000001490116 (IEEE 754): the reading meant is 0.1.
    assert log.putts["line_deg"][0] == 0.1
    assert log.putts["holed"][0]
    assert pd.isna(log.putts["holed"][1])
    assert len(log.rejects) == 0


def test_parquet_columns_of_unfit_types_are_refused_by_row(tmp_path):
    columns = {
        "session": ["a", "a"],
        "distance_ft": pa.array([[10], [12]]),
        "line_deg": [True, False],
        "roll_ft": pa.array([b"\xff", b"12"]),
    }
    pq.write_table(pa.table(columns), tmp_path / "putts.parquet")
    log = read_log(tmp_path / "putts.parquet", allow_empty=True)
    assert (len(log.putts), len(log.rejects)) == (0, 2)
    assert "also line_deg 'true': true/false where a number" in log.rejects["reason"][0]


def test_decimals_and_infinities_of_parquet(tmp_path):
    columns = {
        "session": ["a"] * 3,
        "distance_ft": pa.array([10.5, 10.5, 10.5], pa.float64()).cast(pa.decimal128(6, 2)),
        "line_deg": [np.inf, np.nan, 1.0],
    }
    pq.write_table(pa.table(columns), tmp_path / "putts.parquet")
    log = read_log(tmp_path / "putts.parquet")
    assert list(log.putts["distance_ft"]) == [10.5]
    assert "not a finite number" in reasons(log)[1][1]
    assert "no reading" in reasons(log)[2][1]


def test_an_index_that_pandas_stored_is_still_a_column(tmp_path):
    table({}, {"player": "elm"}).set_index("player").to_parquet(tmp_path / "putts.parquet")
    assert list(read_log(tmp_path / "putts.parquet").putts["player"]) == ["ash", "elm"]


def test_the_numbers_pandas_gives_its_rows_are_no_unknown_column(tmp_path):
    table({}, {}).iloc[::-1].to_parquet(tmp_path / "putts.parquet")
    table({}, {}).to_csv(tmp_path / "putts.csv")
    assert read_log(tmp_path).warnings == []


def write_xlsx(path, *sheets):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets:
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    book.save(path)
    return path


def test_a_workbook_with_dates_and_true_false(tmp_path):
    rows = [
        ["session", "distance_m", "holed", "line_deg"],
        [datetime.datetime(2025, 3, 14), 3.048, True, None],
        [],
        [datetime.date(2025, 3, 15), 3, False, 1.5],
        [datetime.date(2025, 3, 15), datetime.datetime(2025, 5, 12), False, 1],
    ]
    log = read_log(write_xlsx(tmp_path / "putts.xlsx", ("Putts", rows)))
    assert list(log.putts["session"]) == ["2025-03-14", "2025-03-15"]
    assert log.putts["distance_ft"].tolist() == [10.0, 3 / 0.3048]
    assert list(log.putts["holed"]) == [True, False]
    assert list(log.putts["row"]) == [2, 4]
    assert "did the spreadsheet turn 12.5 into one?" in reasons(log)[5][1]


def test_a_workbook_with_a_sheet_a_session(tmp_path):
    header = ["session", "distance_ft", "line_deg"]
    path = write_xlsx(
        tmp_path / "putts.xlsx",
        ("March", [header, ["a", 10, 1]]),
        ("April", [header, ["b", 10, 1], ["b", 0, 1]]),
        ("Notes", [["remember", "the tape"]]),
        ("Empty", []),
    )
    log = read_log(path)
    assert list(log.putts["file"]) == ["putts.xlsx, sheet March", "putts.xlsx, sheet April"]
    assert log.rejects["file"][0] == "putts.xlsx, sheet April"
    assert any("sheet Notes was not read" in warning for warning in log.warnings)


def test_a_hidden_sheet_is_left_alone(tmp_path):
    header = ["session", "distance_ft", "line_deg"]
    path = write_xlsx(tmp_path / "p.xlsx", ("Now", [header, ["a", 10, 1]]), ("Old", [header]))
    book = openpyxl.load_workbook(path)
    book["Old"].append(["a", 10, 1])
    book["Old"].sheet_state = "hidden"
    book.save(path)
    assert len(read_log(path).putts) == 1


def test_a_workbook_without_cells_is_refused(tmp_path):
    with pytest.raises(LogError, match="holds no cells"):
        read_log(write_xlsx(tmp_path / "putts.xlsx", ("Sheet", [])))


@pytest.mark.parametrize(("more", "said"), [
    ("<row/>" * 200_001, "rows numbered 1 to 200,001"),
    ("<row>" + "<c/>" * 4_000_000 + "</row>", "a sheet of 4,000,"),
    ("<row/>", "each once, in order"),
])  # fmt: skip
def test_rows_and_cells_that_name_no_place_are_counted(tmp_path, more, said):
    path = write_xlsx(tmp_path / "putts.xlsx", ("Sheet", [["session"], ["a"]]))
    with zipfile.ZipFile(path) as book:
        parts = {name: book.read(name).decode() for name in book.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as book:
        for name, text in parts.items():
            book.writestr(name, text.replace("<sheetData>", f"<sheetData>{more}"))
    with pytest.raises(LogError, match=said):
        read_log(path)


def test_an_archive_that_would_fill_the_memory_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("putlab.log.tables.UNPACKED_LIMIT", 1000)
    path = write_xlsx(tmp_path / "putts.xlsx", ("Sheet", [["session"], ["a"]]))
    with pytest.raises(LogError, match=r"unpacks to [\d,]+ bytes"):
        read_log(path)


def test_what_a_file_is_is_told_by_its_content(tmp_path):
    frame = table({}, {})
    frame.to_parquet(tmp_path / "a.csv")
    frame.to_excel(tmp_path / "b.csv", index=False)
    assert len(read_log(tmp_path / "a.csv").putts) == len(read_log(tmp_path / "b.csv").putts) == 2


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("a.csv", b"", "is empty"),
        ("a.csv", b"\n \n", "only blank lines"),
        ("a.csv", b"\x00\x01\x02\x03" * 100, "not text throughout"),
        ("a.csv", b"session,\x81\x8d\x8f\n", "not text throughout"),
        ("a.csv", "session,distance_ft\n".encode("utf-16")[:-1], "not text throughout"),
        ("a.csv", b"session,distance_ft,line_deg\n", "has column names but no rows"),
        ("a.parquet", b"PAR1", "damaged, cut short or protected"),
        ("a.parquet", b"session,distance_ft", "does not hold what its ending says"),
        ("a.xlsx", b"PK\x03\x04", "damaged, cut short or protected"),
        ("a.xlsx", b"session,distance_ft", "does not hold what its ending says"),
        ("a.xlsx", b"\xd0\xcf\x11\xe0" * 10, "does not hold what its ending says"),
    ],
)
def test_damage_is_one_message_that_names_the_file(tmp_path, name, content, message):
    (tmp_path / name).write_bytes(content)
    with pytest.raises(LogError, match=rf"{name}.*{message}"):
        read_log(tmp_path / name)


@pytest.mark.parametrize("keep", [0.3, 0.7, 0.99])
@pytest.mark.parametrize("ending", [".parquet", ".xlsx"])
def test_a_file_cut_short_is_refused(tmp_path, ending, keep):
    frame = table(*[{"line_deg": str(n % 5)} for n in range(500)])
    path = tmp_path / f"putts{ending}"
    frame.to_parquet(path) if ending == ".parquet" else frame.to_excel(path, index=False)
    path.write_bytes(path.read_bytes()[: int(keep * path.stat().st_size)])
    with pytest.raises(LogError, match=rf"putts{ending} is damaged"):
        read_log(path)


def test_a_zip_that_is_no_workbook_is_refused(tmp_path):
    with zipfile.ZipFile(tmp_path / "putts.xlsx", "w") as archive:
        archive.writestr("putts.csv", "session,distance_ft\n")
    with pytest.raises(LogError, match=r"putts.xlsx is damaged, cut short or protected"):
        read_log(tmp_path / "putts.xlsx")


def test_a_workbook_by_pandas_and_its_csv_are_the_same_log(tmp_path):
    frame = pd.DataFrame([GOOD] * 3).astype({"distance_ft": float, "roll_ft": float})
    frame.to_excel(tmp_path / "a.xlsx", index=False)
    frame.to_csv(tmp_path / "a.csv", index=False)
    first, second = (read_log(tmp_path / name).putts for name in ("a.xlsx", "a.csv"))
    pd.testing.assert_frame_equal(first.drop(columns="file"), second.drop(columns="file"))


def test_rows_are_numbered_in_every_kind_of_file(tmp_path):
    frame = table(*[{"line_deg": str(n % 9), "player": f"p{n % 4}"} for n in range(40)])
    frame.to_csv(tmp_path / "a.csv", index=False)
    frame.to_parquet(tmp_path / "a.parquet")
    frame.to_excel(tmp_path / "a.xlsx", index=False)
    for name, first in (("a.csv", 2), ("a.parquet", 1), ("a.xlsx", 2)):
        putts = read_log(tmp_path / name).putts
        assert list(putts["line_deg"]) == [float(n % 9) for n in range(40)]
        assert sorted(putts["row"]) == list(range(first, first + 40))


def test_an_encoding_can_be_given():
    content = "session;distance_ft\né;10\n".encode("latin-1")
    (opened,) = open_tables(content, "putts.csv", "latin-1")
    frame, broken = opened.read({"session": 0, "distance_ft": 1})
    assert (frame.to_numpy().tolist(), broken) == ([["é", "10"]], [])


def test_a_line_break_in_the_first_cell_is_no_open_quotation_mark(tmp_path):
    path = tmp_path / "putts.csv"
    path.write_text(
        'remark,session,distance_ft,line_deg\n"dry\nand calm",a,10,1\n"\n",a,10,2', encoding="utf-8"
    )
    assert list(read_log(path).putts["line_deg"]) == [1.0, 2.0]
