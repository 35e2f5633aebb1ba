"""Tables as found: a file holds one or more, each with a header and rows of raw cells."""

import codecs
import csv
import math
import re
import warnings
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any, TextIO

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from putlab.base.errors import LogError
from putlab.log.cells import printable, text_of
from putlab.log.schema import ACCEPTED_NAMES, tidy

ENDINGS = (".csv", ".tsv", ".parquet", ".xlsx")

# Row number, cells, and what is wrong with them if anything is.
Record = tuple[int, list[str], str | None]


@dataclass
class Cells:
    """The known columns of a table as found; the index is the row's number."""

    frame: pd.DataFrame
    # Row number, cell and reason of rows whose cells cannot be told apart.
    broken: list[tuple[int, str, str]] = field(default_factory=list)


@dataclass
class Table:
    """A table's header, and how to read columns of it given as ``{known name: position}``."""

    name: str
    header: list[str]
    read: Callable[[dict[str, int]], Cells]
    notes: list[str] = field(default_factory=list)


def open_tables(
    path: str | Path,
    name: str | None = None,
    *,
    encoding: str | None = None,
    separator: str | None = None,
) -> list[Table]:
    """Open the tables of a file: one, or one a sheet. What it holds is told by its content."""
    path = Path(path)
    name = name or path.name
    kind = _kind(path, name)
    if kind == ".parquet":
        return [_open_parquet(path, name)]
    if kind == ".xlsx":
        return _open_workbook(path, name)
    return [_open_delimited(path, name, encoding, separator)]


def _kind(path: Path, name: str) -> str:
    """Return the ending that fits the content: first bytes do not lie, names can."""
    with reading(name), path.open("rb") as stream:
        start = stream.read(4)
    if not start:
        raise LogError(f"{name} is empty; expected a row of column names, then a row a putt.")
    if start == b"PAR1":
        return ".parquet"
    if start == b"PK\x03\x04":
        return ".xlsx"
    ending = path.suffix.lower()
    if ending in (".parquet", ".xlsx"):
        raise LogError(
            f"{name} does not hold what its ending says: it is not a {ending} file, or is "
            "damaged. Save it again, or give it the ending that fits."
        )
    return ".csv"


@contextmanager
def reading(name: str | Path) -> Iterator[None]:
    """Turn what the system says about a file that cannot be read into a `LogError`."""
    try:
        yield
    except UnicodeError as error:
        raise LogError(
            f"{name} stops being text in the middle ({error}); it is damaged or cut short. "
            "Save it again as CSV in UTF-8."
        ) from error
    except OSError as error:
        raise LogError(
            f"{name} could not be read: {error.strerror or error}. Check the file and its "
            "permissions."
        ) from error


def _gathered(records: Iterable[Record], wanted: dict[str, int], width: float = math.inf) -> Cells:
    """Return records as columns; missing cells at the end of a row are blank."""
    numbers: list[int] = []
    columns: dict[str, list[str]] = {name: [] for name in wanted}
    broken = []
    same: dict[str, str] = {}  # readings repeat: each is held once, or long logs fill the memory
    for number, cells, problem in records:
        if problem:
            broken.append((number, max(cells, key=len), problem))
        elif len(cells) > width and (extra := " ".join(cells[int(width) :]).strip()):
            broken.append((number, extra, _too_many(len(cells), width)))
        else:
            numbers.append(number)
            for name, at in wanted.items():
                cell = cells[at] if at < len(cells) else ""
                columns[name].append(same.setdefault(cell, cell))
    index = pd.Index(numbers, dtype="int64", name="row")
    return Cells(pd.DataFrame(columns, index=index, dtype=object), broken)


def _too_many(cells: int, width: float) -> str:
    return (
        f"{cells} cells under {width} column names; "
        "is a decimal comma or a separator inside a cell not in quotes?"
    )


# CSV and its relatives: encodings, separators, and quotation marks left open.

# Longest first: the mark of UTF-32 begins with that of UTF-16.
MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)

SEPARATORS = (",", ";", "\t", "|")

BLOCK = 1 << 20

NEVER_CLOSED = "a quotation mark opens a cell and is never closed"


def _open_delimited(path: Path, name: str, encoding: str | None, separator: str | None) -> Table:
    """Open a text file; rows are numbered as a spreadsheet shows them, the header being 1."""
    notes: list[str] = []
    encoding = encoding or _encoding(path, name, notes)
    separator = separator or _separator(path, name, encoding)

    def records() -> Iterator[Record]:
        with reading(name), path.open(encoding=encoding, newline="") as stream:
            yield from _records(stream, separator, name)

    header = next(records(), None)
    if header is None:
        raise LogError(f"{name} holds only blank lines; expected a row of column names.")
    names = header[1]

    def read(wanted: dict[str, int]) -> Cells:
        return _gathered(islice(records(), 1, None), wanted, len(names))

    return Table(name, names, read, notes)


def _records(stream: TextIO, separator: str, name: str) -> Iterator[Record]:
    """Yield every row that is not blank."""
    # No cell is too long to read: a long one is refused by row, not by crash.
    csv.field_size_limit(2**31 - 1)
    lines = _Lines(stream)
    width = 0
    for number, cells in enumerate(csv.reader(lines, delimiter=separator), start=1):
        taken, problem = lines.take(), None
        if len(taken) > 1 or lines.ended:
            problem = _open_quote(taken, cells, separator, width)
        if problem == NEVER_CLOSED and len(taken) > 1:
            raise LogError(
                f"{name}, row {number}: {NEVER_CLOSED}, so the rest of the file is one cell. "
                "Close it or take it out."
            )
        blank = not cells or not (cells[0].strip() or "".join(cells).strip())
        if not blank and not (number == 1 and _hint(taken[0])):
            width = width or len(cells)
            yield number, cells, problem


class _Lines:
    """Hand lines on, and keep those the current row is made of."""

    def __init__(self, stream: TextIO) -> None:
        self._stream, self.ended = iter(stream), False
        self._taken: list[str] = []
        self._next = next(self._stream, None)

    def __iter__(self) -> Iterator[str]:
        while self._next is not None:
            line, self._next = self._next, next(self._stream, None)
            self.ended = self._next is None
            self._taken.append(line)
            yield line

    def take(self) -> list[str]:
        taken, self._taken = self._taken, []
        return taken


def _open_quote(lines: list[str], cells: list[str], separator: str, width: int) -> str | None:
    """Return what is wrong with a row that a quotation mark left open may have swallowed."""
    try:
        list(csv.reader(lines, delimiter=separator, strict=True))
    except csv.Error as error:
        if "end of data" in str(error):
            return NEVER_CLOSED
    broken = [cell for cell in cells if "\n" in cell or "\r" in cell]
    inside = [part for cell in broken for part in cell.splitlines()]
    if width > 1 and any(part.count(separator) >= width - 1 for part in inside):
        return f"a quotation mark left open takes {len(lines)} lines into one cell"
    return None


def _encoding(path: Path, name: str, notes: list[str]) -> str:
    """Return the file's encoding: by its mark, by its zero bytes, or by trying."""
    with reading(name), path.open("rb") as stream:
        start = stream.read(4096)
    for mark, encoding in MARKS:
        if start.startswith(mark):
            return encoding
    if start.count(0) > len(start) / 10:  # a stray zero byte or two only spoils its cell
        return _sixteen_bits(start, name)
    if _decodes(path, name, "utf-8"):
        return "utf-8"
    if _decodes(path, name, "cp1252"):
        notes.append(
            f"{name}: not UTF-8; read as Windows-1252. Check accented letters in labels, "
            "or save the file as UTF-8."
        )
        return "cp1252"
    raise LogError(f"{name} is not text that can be read; save it as CSV in UTF-8.")


def _sixteen_bits(start: bytes, name: str) -> str:
    """Tell the byte order of UTF-16 without a mark: plain letters have a zero byte."""
    even, odd = start[0::2].count(0), start[1::2].count(0)
    if odd > len(start) / 4 and even < len(start) / 50:
        return "utf-16-le"
    if even > len(start) / 4 and odd < len(start) / 50:
        return "utf-16-be"
    raise LogError(
        f"{name} holds binary data, not text; expected a .csv, .tsv, .parquet or .xlsx log."
    )


def _decodes(path: Path, name: str, encoding: str) -> bool:
    with reading(name), path.open(encoding=encoding, newline="") as stream:
        try:
            while stream.read(BLOCK):
                pass
        except UnicodeDecodeError:
            return False
    return True


def _separator(path: Path, name: str, encoding: str) -> str:
    """Return the separator that makes most known column names out of the header."""
    with reading(name), path.open(encoding=encoding, newline="") as stream:
        for line in stream:
            if hint := _hint(line):
                return hint
            if line.strip():
                return max(SEPARATORS, key=lambda mark: _names_found(line, mark))
    return ","


def _hint(line: str) -> str | None:
    """Return the separator named by a first line ``sep=;``, which spreadsheets write."""
    found = re.fullmatch(r'"?sep=(.)"?', line.strip("\r\n"))
    return found[1] if found else None


def _names_found(line: str, separator: str) -> tuple[int, int]:
    cells = next(csv.reader([line], delimiter=separator))
    return sum(tidy(cell) in ACCEPTED_NAMES for cell in cells), len(cells)


# Parquet files.


def _open_parquet(path: Path, name: str) -> Table:
    """Open a Parquet file; rows are numbered from 1, as there is no header row to count."""
    with _damage(name, "Parquet"):
        file = pq.ParquetFile(path)
        header = list(file.schema_arrow.names)

    def read(wanted: dict[str, int]) -> Cells:
        with _damage(name, "Parquet"):
            found = file.read(columns=[header[position] for position in wanted.values()])
            columns = {
                known: _series(found.column(header[position])) for known, position in wanted.items()
            }
            frame = pd.DataFrame(columns, copy=False)
        frame.index = pd.RangeIndex(1, 1 + len(frame), name="row")
        return Cells(frame)

    return Table(name, header, read)


def _series(array: pa.ChunkedArray) -> pd.Series:
    """Return a column as pandas holds it best: numbers and flags typed, the rest text."""
    kind = array.type
    if pa.types.is_dictionary(kind):
        kind = kind.value_type
        array = array.cast(kind)
    if pa.types.is_boolean(kind):
        return array.to_pandas(types_mapper={pa.bool_(): pd.BooleanDtype()}.get)
    if pa.types.is_decimal(kind):
        array = array.cast(pa.float64())
    elif pa.types.is_nested(kind) or pa.types.is_binary(kind):
        return pd.Series([str(value) for value in array.to_pylist()], dtype=object)
    elif pa.types.is_temporal(kind):
        return pd.Series(array.to_pylist(), dtype=object)
    return array.to_pandas()


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
UNPACKED_LIMIT = 1_000_000_000


def _open_workbook(path: Path, name: str) -> list[Table]:
    """Open every visible sheet that has any cells."""
    sheets = _sheets(path, name)
    if not sheets:
        raise LogError(f"{name} holds no cells; expected a row of column names, then putts.")
    alone = len(sheets) == 1
    return [
        _sheet_table(name if alone else f"{name}, sheet {printable(title)}", records)
        for title, records in sheets
    ]


def _sheet_table(name: str, records: list[Record]) -> Table:
    (_, header, _), *body = records
    return Table(name, header, lambda wanted: _gathered(body, wanted))


def _sheets(path: Path, name: str) -> list[tuple[str, list[Record]]]:
    from openpyxl import load_workbook

    with _damage(name, "a workbook"):
        with zipfile.ZipFile(path) as archive:
            unpacked = sum(entry.file_size for entry in archive.infolist())
        if unpacked > UNPACKED_LIMIT:
            raise LogError(f"{name} unpacks to {unpacked:,} bytes; save the log as .csv.")
        # openpyxl warns of drawings and styles that it leaves out: no cell is among them.
        with path.open("rb") as stream, warnings.catch_warnings(action="ignore"):
            book = load_workbook(stream, read_only=True, data_only=True)
            seen = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]
            sheets = [(sheet.title, list(_sheet_records(sheet))) for sheet in seen]
    return [(title, records) for title, records in sheets if records]


def _sheet_records(sheet: Any) -> Iterator[Record]:
    sheet.reset_dimensions()  # some programs write a false size, which would cut the sheet
    for number, row in enumerate(sheet.iter_rows(values_only=True), start=1):
        if any(cells := [text_of(cell) for cell in row]):
            yield number, cells, None
