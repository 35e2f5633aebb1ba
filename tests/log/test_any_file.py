"""Files of any bytes, sheets and packages: a log, or one sentence that says what is wrong."""

import io
import json
import tempfile
from contextlib import suppress
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from putlab.base.errors import PutlabError
from putlab.log.files import PACKAGE
from putlab.log.headings import COLUMN_OF
from putlab.log.read import Log, read_log
from putlab.log.schema import ACCEPTED_NAMES

HEADINGS = st.one_of(
    st.sampled_from([*ACCEPTED_NAMES, *COLUMN_OF]),
    st.sampled_from(["Length (m)", "Rolled [cm]", "Line (deg)", "Notes", ""]),
    st.text(max_size=8),
)
CELLS = st.one_of(
    st.none(),
    st.integers(-3, 40),
    st.floats(-5, 300),
    st.booleans(),
    st.dates(),
    st.sampled_from(["R1", "L3", "+1°", "1.41 m", "3 ft", "made", "2026-01-05", "5/6/26", "1,234"]),
    st.text(max_size=6),
)
ROWS = st.lists(st.lists(CELLS, max_size=6), max_size=6)
NEEDED = st.sampled_from(
    [
        ["session", "distance_ft", "line_deg"],
        ["Date", "Length (m)", "Direction"],
        ["Visit", "Length", "Made", "Rolled"],
        ["Length (ft)", "Distance rolled", "No."],
    ]
)
GOOD = st.tuples(CELLS, st.integers(1, 40), CELLS, CELLS, CELLS).map(list)
HEADS = st.one_of(
    st.tuples(NEEDED, st.lists(HEADINGS, max_size=3)).map(lambda parts: parts[0] + parts[1]),
    st.lists(HEADINGS, max_size=6),
)
SHEETS = st.lists(
    st.tuples(st.booleans(), HEADS, st.one_of(ROWS, st.lists(GOOD, max_size=8))), max_size=3
)
JSON = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.sampled_from(["path", "name", "putlab", "columns", "x"]), inner),
    ),
    max_leaves=8,
)
PACKAGES = st.one_of(
    st.none(),
    st.binary(max_size=40),
    st.fixed_dictionaries(
        {"resources": st.one_of(JSON, st.just([{"path": "a.csv"}]))},
        optional={
            "putlab": st.one_of(
                JSON,
                st.fixed_dictionaries(
                    {"columns": st.dictionaries(HEADINGS, st.sampled_from([*ACCEPTED_NAMES, "?"]))}
                ),
            )
        },
    ),
)


def lines_of(titled, head, rows):
    return [*[["A title"]] * titled, head, *rows]


def as_workbook(sheets):
    """Return sheets, some under a title, as a workbook, without what no workbook can hold."""
    book = openpyxl.Workbook()
    for parts in sheets:
        sheet = book.create_sheet()
        for row in lines_of(*parts):
            sheet.append([_printable(cell) if isinstance(cell, str) else cell for cell in row])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _printable(text):
    return "".join(filter(str.isprintable, text.encode("utf-8", "ignore").decode()))


def as_csv(sheets):
    rows = [row for parts in sheets for row in lines_of(*parts)]
    text = "\n".join(",".join("" if c is None else str(c) for c in row) for row in rows)
    return text.encode("utf-8", "surrogatepass")


FILES = st.one_of(
    st.tuples(st.just("a.csv"), st.binary(max_size=300)),
    st.tuples(st.just("a.csv"), SHEETS.map(as_csv)),
    st.tuples(st.just("a.xlsx"), SHEETS.map(as_workbook)),
    st.tuples(st.sampled_from(["a.xlsx", "a.parquet"]), st.binary(max_size=100)),
)


def any_file_is_read_or_refused(file, package, guess):
    name, content = file
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, name).write_bytes(content)
        if package is not None:
            plain = package if isinstance(package, bytes) else json.dumps(package).encode()
            Path(folder, PACKAGE).write_bytes(plain)
        for path in (Path(folder, name), Path(folder)):
            with suppress(PutlabError):
                log = read_log(path, guess=guess, allow_empty=True)
                assert isinstance(log, Log)
                assert len(log.putts) + len(log.rejects) == log.rows_read


QUIET = [HealthCheck.too_slow, HealthCheck.data_too_large]


@given(FILES, PACKAGES, st.booleans())
@settings(max_examples=60, deadline=None, suppress_health_check=QUIET)
def test_any_file_is_read_or_refused(file, package, guess):
    any_file_is_read_or_refused(file, package, guess)


@pytest.mark.calibration
@given(FILES, PACKAGES, st.booleans())
@settings(max_examples=3000, deadline=None, suppress_health_check=QUIET)
def test_3000_files_of_any_kind(file, package, guess):
    any_file_is_read_or_refused(file, package, guess)
