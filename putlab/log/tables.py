"""Tables as found: a file holds one or more, each with a header and rows of raw cells."""

import codecs
import csv
import io
import re
import warnings
import zipfile
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import partial, reduce
from itertools import chain, islice, repeat
from operator import itemgetter
from pathlib import Path
from sys import intern
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from putlab.base.errors import LogError
from putlab.base.words import printable
from putlab.log.cells import text_of
from putlab.log.checks import day_in
from putlab.log.headings import LOOKED_AT, header_at

ENDINGS = (".csv", ".tsv", ".parquet", ".xlsx")

# Row number, cells, and what is wrong with them if anything is.
Record = tuple[int, list[str], str | None]

# Row number, cell and reason of rows whose cells cannot be told apart.
Broken = list[tuple[int, str, str]]


@dataclass
class Table:
    """A table's header, and how to read columns of it, once, by ``{known name: position}``.

    The index of the columns read is the row's number.
    """

    name: str
    header: list[str]  # as found, under titles maybe
    read: Callable[[dict[str, int]], tuple[pd.DataFrame, Broken]]
    notes: list[str] = field(default_factory=list)
    visit: str = ""  # the day in its titles or name, or the sheet's name, where it can be a visit's


def open_tables(content: bytes, name: str, encoding: str | None = None) -> list[Table]:
    """Open the tables of a file: one, or one a sheet. First bytes do not lie, names can."""
    if not content:
        raise LogError(f"{name} is empty; expected a row of column names, then a row a putt.")
    if content.startswith(b"PAR1"):
        return [_open_parquet(content, name)]
    if content.startswith(b"PK\x03\x04"):
        return _open_workbook(content, name)
    ending = Path(name).suffix.lower()
    if ending in (".parquet", ".xlsx"):
        raise LogError(
            f"{name} does not hold what its ending says: it is not a {ending} file, or is "
            "damaged. Save it again, or give it the ending that fits."
        )
    return [_open_delimited(content, name, encoding)]


# What a row of totals or averages at the foot of a sheet begins with.
TOTALS = re.compile(r"(grand |sub-?)?(totals?|sum|averages?|avg|mean|median)[ .:]*", re.I)


def _gathered(records: Iterable[Record], wanted: dict[str, int]) -> tuple[pd.DataFrame, Broken]:
    """Return records as columns; missing cells at the end of a row are blank."""
    good, broken, last = [], [], deque[tuple[int, str]](maxlen=3)
    for number, cells, problem in records:
        if problem:
            broken.append((number, max(cells, key=len), problem))
        else:
            # Readings repeat: each is held once, or long logs fill the memory.
            texts = (intern(cells[at]) if at < len(cells) else "" for at in wanted.values())
            good.append((number, *texts))
            last.append((number, next(filter(None, map(str.strip, cells)), "")))
    frame = pd.DataFrame(good, columns=["row", *wanted], dtype=object)
    frame = frame.astype({"row": "int64"}).set_index("row")
    totals = [(number, cell) for number, cell in last if TOTALS.fullmatch(cell)]
    broken += [(number, cell, "totals or averages, no putt") for number, cell in totals]
    return frame.drop([number for number, _ in totals], errors="ignore"), broken


# CSV and its relatives: encodings, separators, and quotation marks left open.

MARKS = {codecs.BOM_UTF8: "utf-8-sig", codecs.BOM_UTF16_LE: "utf-16", codecs.BOM_UTF16_BE: "utf-16"}

SEPARATORS = ",;\t|"

# Put behind the last line: nothing decodes to half a surrogate pair, so a cell that ends
# with it was never closed.
END = "\ud800"

GUESSED = (
    "not UTF-8; read as Windows-1252. Check accented letters in labels, or save the file as UTF-8."
)
NEVER_CLOSED = "a quotation mark opens a cell and is never closed"
TOO_MANY = "is a decimal comma or a separator inside a cell not in quotes?"


def _open_delimited(content: bytes, name: str, encoding: str | None) -> Table:
    """Open a text file; rows are numbered as a spreadsheet shows them, the header being 1."""
    text, known = _text_of(content, name, encoding)
    separator, first = _shape(text)
    records = _records(io.StringIO(text, newline=""), separator, name, first)
    header = next(records, None)
    if header is None:
        raise LogError(f"{name} holds only blank lines; expected a row of column names.")
    notes = [f"{name}: {GUESSED}"] if known == "cp1252" and not encoding else []
    visit = day_in(" ".join(islice(io.StringIO(text), first - 1))) or day_in(name)
    return Table(name, header[1], partial(_gathered, records), notes, visit)


def _text_of(content: bytes, name: str, given: str | None) -> tuple[str, str]:
    """Return a file's text and encoding: as given, by its mark, or by trying."""
    known = given or next((MARKS[mark] for mark in MARKS if content.startswith(mark)), None)
    start = content[:4096]
    binary = start.count(0) > len(start) / 10  # a stray zero byte or two only spoils its cell
    for encoding in [known] if known else ["utf-8", "cp1252"] * (not binary):
        with suppress(UnicodeError, LookupError, TypeError):
            return content.decode(encoding), encoding
    raise LogError(
        f"{name} is not text throughout in {str(known or 'utf-8')[:40]}: it is damaged, no text, "
        "or another encoding is meant. Save it as CSV in UTF-8."
    )


def _shape(text: str) -> tuple[str, int]:
    """Return the separator that makes most known names of a row, and that row's line."""
    lines = enumerate(io.StringIO(text, newline=""), start=1)
    start = list(islice(((n, line) for n, line in lines if line.strip()), LOOKED_AT))
    tried = []
    for mark in SEPARATORS:
        rows = [next(csv.reader([line], delimiter=mark)) for _, line in start]
        at, known = header_at(rows)
        tried.append((known, len(rows[at]) if rows else 0, mark, start[at][0] if rows else 1))
    return max(tried, key=itemgetter(0, 1))[2:]


# No cell is too long to read: a long one is refused by row, not by crash.
csv.field_size_limit(2**31 - 1)


def _records(lines: Iterable[str], separator: str, name: str, first: int) -> Iterator[Record]:
    """Yield every row that is not blank, from the line of the header on."""
    rows = csv.reader(chain(lines, [END]), delimiter=separator)
    width = before = 0
    for number, cells in enumerate(rows, start=1):
        taken, before = rows.line_num - before, rows.line_num
        if never_closed := bool(cells) and cells[-1].endswith(END):
            cells[-1] = cells[-1].removesuffix(END)
            if taken > 2:
                raise LogError(
                    f"{name}, row {number}: {NEVER_CLOSED}, so the rest of the file is one cell. "
                    "Close it or take it out."
                )
        if rows.line_num < first or not "".join(cells).strip():
            continue
        if never_closed:
            yield number, cells, NEVER_CLOSED
        elif width and taken > 1 and _rows_inside(cells, separator, width):
            yield number, cells, f"a quotation mark left open takes {taken} lines into one cell"
        elif width and (extra := _surplus(cells, width, separator)):
            many = f"{len(cells)} cells under {width} column names; {TOO_MANY}"
            yield number, [extra], many
        else:
            width = width or len(cells)
            yield number, cells, None


def _surplus(cells: list[str], width: int, separator: str) -> str:
    """Return what stands beyond the last column name, or why a blank there is no harm."""
    extra = " ".join(cells[width:]).strip()
    # Between commas a blank last cell may be one that a decimal comma has pushed out.
    pushed_out = separator == "," and len(cells) > width
    return extra or (separator.join(cells) if pushed_out else "")


def _rows_inside(cells: list[str], separator: str, width: int) -> bool:
    """Return whether a cell of several lines holds one with the separators of a row."""
    broken = [cell for cell in cells if "\n" in cell or "\r" in cell]
    inside = (part for cell in broken for part in cell.splitlines())
    return width > 1 and any(part.count(separator) >= width - 1 for part in inside)


# Parquet files.


def _open_parquet(content: bytes, name: str) -> Table:
    """Open a Parquet file; rows are numbered from 1, as there is no header row to count."""
    with _damage(name, "Parquet"):
        file = pq.ParquetFile(pa.BufferReader(content))
        header = list(file.schema_arrow.names)

    def read(wanted: dict[str, int]) -> tuple[pd.DataFrame, Broken]:
        names = [header[position] for position in wanted.values()]
        with _damage(name, "Parquet"):
            # What pandas notes beside a table may be damaged, and says nothing of a log.
            found = file.read(columns=names).replace_schema_metadata()
            columns = [_cells(found.column(column)) for column in names]
        frame = pd.DataFrame(dict(zip(wanted, columns, strict=True)))
        return frame.set_axis(pd.RangeIndex(1, 1 + len(frame), name="row")), []

    return Table(name, header, read)


def _cells(column: pa.ChunkedArray) -> Any:
    """Return a column for pandas: lists, which it cannot hold, as text, durations as counts."""
    if pa.types.is_nested(column.type):
        return list(map(str, column.to_pylist()))
    counts = column.cast(pa.int64()) if pa.types.is_duration(column.type) else column
    return counts.to_pandas(timestamp_as_object=True)


@contextmanager
def _damage(name: str, form: str) -> Iterator[None]:
    """Name the file in whatever the reader of its form says is wrong with it."""
    try:
        yield
    except LogError:
        raise
    except Exception as error:  # Arrow, zip, XML and cell parsers raise errors of their own
        first_line = (str(error).splitlines() or [""])[0][:200]
        raise LogError(
            f"{name} is damaged, cut short or protected and could not be read as {form} "
            f"({type(error).__name__}: {first_line}). Copy it again, or save it again as .csv."
        ) from error


# XLSX workbooks: each sheet is a table.

# A workbook is a zip archive. One that unpacks to more than this is no coach's log, and
# may have been made to fill the memory.
UNPACKED_LIMIT = 200_000_000

# Nor does one have more rows or columns than these; a cell can claim any place in a few bytes.
# Rows without a number, or of no cells, pack into next to nothing: tags of any kind are counted.
MOST_ROWS, MOST_COLUMNS, MOST_TAGS = 200_000, 500, 4_000_000
ROW = re.compile(rb'<(?:\w+:)?row\b(?:[^>]*?\br="([^"]*)")?')
CELL = re.compile(rb'<(?:\w+:)?c\b[^>]*?\br="([A-Za-z]*)')
FORMULA = re.compile(rb"<(?:\w+:)?f\b")


def _open_workbook(content: bytes, name: str) -> list[Table]:
    """Open every visible sheet that has any cells."""
    from openpyxl import load_workbook

    with _damage(name, "a workbook"), zipfile.ZipFile(io.BytesIO(content)) as archive:
        unpacked = sum(entry.file_size for entry in archive.infolist())
        if unpacked > UNPACKED_LIMIT:
            raise LogError(f"{name} unpacks to {unpacked:,} bytes; save the log as .csv.")
        parts = [n for n in archive.namelist() if n.startswith("xl/worksheets/")]
        calculated = [_holds_formulas(archive.read(part), name) for part in parts]
    # openpyxl warns of drawings and styles that it leaves out: no cell is among them.
    with _damage(name, "a workbook"), warnings.catch_warnings(action="ignore"):
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        typed = load_workbook(io.BytesIO(content), read_only=True) if any(calculated) else book
        seen = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]
        hidden = [printable(s.title) for s in book.worksheets if s not in seen]
        found = [(s.title, list(_sheet_records(s, typed[s.title]))) for s in seen]
    sheets = [(title, records) for title, records in found if records]
    if not sheets:
        raise LogError(f"{name} holds no cells; expected a row of column names, then putts.")
    notes = [f"{name}: sheet {title} is hidden and was not read." for title in hidden]
    return [_sheet(name, *sheet, alone=len(sheets) == 1, notes=notes) for sheet in sheets]


def _sheet(name: str, title: str, records: list[Record], *, alone: bool, notes: list[str]) -> Table:
    at, _ = header_at([cells for _, cells, _ in records[:LOOKED_AT]])
    above = " ".join(cell for _, cells, _ in records[:at] for cell in cells)
    visit = day_in(above) or day_in(title) or (day_in(name) if alone else "")
    # A sheet alone that nobody has named says nothing.
    visit = visit or ("" if alone and title.lower().startswith("sheet") else title)
    place = name if alone else f"{name}, sheet {printable(title)}"
    return Table(place, records[at][1], partial(_gathered, records[at + 1 :]), notes, visit)


def _holds_formulas(sheet: bytes, name: str) -> bool:
    """Return whether a sheet's XML calculates; refuse a size that no log has."""
    if (tags := sheet.count(b"<")) > MOST_TAGS:
        raise LogError(
            f"{name} has a sheet of {tags:,} parts; expected at most {MOST_TAGS:,}. "
            "Save the log as .csv."
        )
    rows = [int(number or at) for at, number in enumerate(ROW.findall(sheet), 1)] or [1]
    widest = max(map(_column_number, set(CELL.findall(sheet))), default=0)
    in_order = rows == sorted(set(rows)) and 1 <= rows[0] <= rows[-1] <= MOST_ROWS
    if not in_order or widest > MOST_COLUMNS:
        raise LogError(
            f"{name} claims rows numbered {min(rows):,} to {max(rows):,} and a column number "
            f"{widest:,}; expected rows each once, in order, from 1 to {MOST_ROWS:,}, and at "
            f"most {MOST_COLUMNS} columns. Save the log as .csv."
        )
    return FORMULA.search(sheet) is not None


def _column_number(letters: bytes) -> int:
    return reduce(lambda number, letter: 26 * number + letter - 64, letters.upper(), 0)


def _sheet_records(sheet: Any, typed: Any) -> Iterator[Record]:
    """Yield the rows of a sheet; where `typed` has a formula and no value was kept, itself."""
    for part in {id(sheet): sheet, id(typed): typed}.values():
        part.reset_dimensions()  # some programs write a false size, which would cut the sheet
    formulas = typed.iter_rows(values_only=True) if typed is not sheet else repeat(())
    for number, (row, entered) in enumerate(zip(sheet.iter_rows(), formulas, strict=False), 1):
        cells = [_cell_text(cell) for cell in row]
        for at, (cell, formula) in enumerate(zip(cells, entered, strict=False)):
            cells[at] = cell or text_of(formula)
        if any(cells):
            yield number, cells, None


def _cell_text(cell: Any) -> str:
    """Return a workbook's cell as it is seen: 0.02 in a cell of percents is 2%."""
    value = cell.value
    if isinstance(value, int | float) and "%" in (cell.number_format or ""):
        return f"{100 * value:.10g}%"
    return text_of(value)
