"""Logs as they should not be: every row is used, rejected or refused, and none is lost."""

import csv
import datetime
import io
import tempfile
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from logs import csv_bytes, table

from putlab.base.errors import LogError
from putlab.log.read import read_log

# Cells and what they are worth: readable in every file format below.
GOOD = {
    "player": [("ash", "ash"), ("  elm ", "elm"), ("=1+1", "=1+1"), ("<b>Zoë</b>", "<b>Zoë</b>")],
    "session": [("2025-03-14", "2025-03-14"), ("week 2", "week 2"), ("7", "7")],
    "distance_ft": [("10", 10.0), ("6.5", 6.5), ("1e1", 10.0), ("3 ft", 3.0), ("150", 150.0)],
    "line_deg": [
        ("-1", -1.0),
        ("0", 0.0),
        ("+2.5°", 2.5),
        ("L2", -2.0),
        ("\u22123", -3.0),
        ("", None),
    ],
    "roll_ft": [("11.5", 11.5), ("0", 0.0), ("NA", None), ("", None)],
    "condition": [("old grip", "old grip"), ("", None), ("@new", "@new")],
}

# Cells that no reader could take for a value, each for a reason of its own.
BAD = {
    "player": ["x" * 101],
    "session": ["", "  ", "y" * 3000],
    "distance_ft": ["0", "-10", "150.1", "ten", "", "inf", "nan", "12 °", "1,000.5", "2025-05-12"],
    "line_deg": ["left", "91", "-inf", "R-1", "--1", "=1", "1e999"],
    "roll_ft": ["-0.1", "301", "8,5,2", "12..4", "true", "1O"],
    "condition": ["z" * 200],
}

COLUMNS = list(GOOD)


@st.composite
def rows(draw):
    """Draw a row and what it is worth: its values, or None where it must be rejected."""
    cells, worth = {}, {}
    spoiled = draw(st.sets(st.sampled_from(COLUMNS), max_size=2)) if draw(st.booleans()) else ()
    for column in COLUMNS:
        if column in spoiled:
            cells[column] = draw(st.sampled_from(BAD[column]))
        else:
            cells[column], worth[column] = draw(st.sampled_from(GOOD[column]))
    silent = worth.get("line_deg") is None and worth.get("roll_ft") is None
    return cells, None if spoiled or silent else worth


def as_csv(encoding, separator, comma):
    def write(frame, path):
        if comma:
            frame = frame.map(lambda cell: cell.replace(".", ",") if cell != "12..4" else cell)
        path.write_bytes(csv_bytes(frame, encoding=encoding, separator=separator))

    return ".csv", write


def as_workbook(frame, path):
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet()
    for row in [list(frame), *frame.to_numpy().tolist()]:
        sheet.append([_literal(cell, sheet) for cell in row])
    book.save(path)


def _literal(cell, sheet):
    """Keep text that begins like a formula text: openpyxl would make it one."""
    literal = openpyxl.cell.WriteOnlyCell(sheet, value=cell)
    literal.data_type = "s"
    return literal


FORMS = [
    as_csv("utf-8", ",", False),
    as_csv("utf-8-sig", ";", True),
    as_csv("utf-16", "\t", True),
    as_csv("utf-16", ",", False),
    (".xlsx", as_workbook),
    (".parquet", lambda frame, path: frame.to_parquet(path)),
]

LOGS = st.lists(rows(), min_size=1, max_size=12)


def every_row_is_accounted_for(log, form):
    """Write rows of known worth, read them, and compare."""
    ending, write = form
    frame = pd.DataFrame([cells for cells, _ in log], columns=COLUMNS)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, f"putts{ending}")
        write(frame, path)
        read = read_log(path, allow_empty=True)
    first = 1 if ending == ".parquet" else 2
    good = {first + at: worth for at, (_, worth) in enumerate(log) if worth is not None}
    assert set(read.putts["row"]) == set(good)
    assert len(read.putts) + len(read.rejects) == read.rows_read == len(log)
    for _, putt in read.putts.iterrows():
        found = {c: None if pd.isna(putt[c]) else putt[c] for c in COLUMNS}
        assert found == good[putt["row"]]


ARBITRARY = st.lists(
    st.fixed_dictionaries({column: st.text(max_size=12) for column in COLUMNS}), max_size=8
)


def any_text_is_read_or_refused(log, encoding, separator):
    """Write cells of any text at all; each row that is not blank is used or rejected."""
    frame = pd.DataFrame(log, columns=COLUMNS).astype(object)
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=separator)
    writer.writerows([COLUMNS, *frame.to_numpy().tolist()])
    present = sum(any(cell.strip() for cell in row.values()) for row in log)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "putts.csv")
        path.write_bytes(text.getvalue().encode(encoding))
        if not present:
            with pytest.raises(LogError, match="no rows"):
                read_log(path)
            return
        read = read_log(path, allow_empty=True)
    assert len(read.putts) + len(read.rejects) == read.rows_read == present


def _sound_files():
    sample = table(*[{"line_deg": str(n % 4), "holed": "no", "leave_ft": "2"} for n in range(30)])
    files = [(".csv", csv_bytes(sample)), (".csv", csv_bytes(sample, encoding="utf-16"))]
    quoted = sample.to_csv(index=False, quoting=csv.QUOTE_ALL).encode()
    typed = sample.assign(session=datetime.date(2025, 3, 14), line_deg=1.5, distance_ft=10)
    for ending, write in ((".parquet", typed.to_parquet), (".xlsx", typed.to_excel)):
        stream = io.BytesIO()
        write(stream, index=False)
        files.append((ending, stream.getvalue()))
    return [*files, (".csv", quoted)]


SOUND = _sound_files()


@st.composite
def corrupted_files(draw):
    """Draw a sound file with bytes cut off, changed, blanked, doubled or put in."""
    ending, content = draw(st.sampled_from(SOUND))
    content = bytearray(content)
    start = draw(st.integers(0, len(content) - 1))
    stop = min(len(content), start + draw(st.integers(1, 200)))
    harm = draw(st.sampled_from(["cut", "change", "blank", "double", "insert"]))
    if harm == "cut":
        del content[start:]
    elif harm == "change":
        for at in draw(st.lists(st.integers(0, len(content) - 1), min_size=1, max_size=20)):
            content[at] = draw(st.integers(0, 255))
    elif harm == "blank":
        content[start:stop] = bytes(stop - start)
    else:
        piece = content[start:stop] if harm == "double" else draw(st.binary(max_size=50))
        content[start:start] = piece
    return ending, bytes(content)


def a_corrupted_file_is_read_or_refused(corrupted):
    """Read a damaged file: nothing but a LogError that names it is raised, and no row is lost."""
    ending, content = corrupted
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, f"putts{ending}")
        path.write_bytes(content)
        read, message = None, ""
        try:
            read = read_log(path)
        except LogError as error:
            message = str(error)
    if read is None:
        assert "putts" in message
    else:
        assert len(read.putts) + len(read.rejects) == read.rows_read


def quickly(examples):
    """Return settings: files are written and read, which hypothesis would time out."""
    slow = [HealthCheck.too_slow, HealthCheck.data_too_large]
    return settings(max_examples=examples, deadline=None, suppress_health_check=slow)


@given(LOGS, st.sampled_from(FORMS))
@quickly(40)
def test_every_row_is_accounted_for(log, form):
    every_row_is_accounted_for(log, form)


@given(ARBITRARY, st.sampled_from(["utf-8", "utf-16", "utf-8-sig"]), st.sampled_from(",;\t"))
@quickly(40)
def test_any_text_is_read_or_refused(log, encoding, separator):
    any_text_is_read_or_refused(log, encoding, separator)


@given(corrupted_files())
@quickly(40)
def test_a_corrupted_file_is_read_or_refused(corrupted):
    a_corrupted_file_is_read_or_refused(corrupted)


@pytest.mark.calibration
@given(LOGS, st.sampled_from(FORMS))
@quickly(1500)
def test_1500_generated_logs(log, form):
    every_row_is_accounted_for(log, form)


@pytest.mark.calibration
@given(ARBITRARY, st.sampled_from(["utf-8", "utf-16", "utf-8-sig"]), st.sampled_from(",;\t"))
@quickly(500)
def test_500_logs_of_any_text(log, encoding, separator):
    any_text_is_read_or_refused(log, encoding, separator)


@pytest.mark.calibration
@given(corrupted_files())
@quickly(500)
def test_500_corrupted_files(corrupted):
    a_corrupted_file_is_read_or_refused(corrupted)
