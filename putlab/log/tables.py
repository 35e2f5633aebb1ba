"""Tables as read: one file gives one or more, each in chunks of raw cells."""

import codecs
import csv
import re
import warnings
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from putlab.base.errors import LogError
from putlab.log.cells import printable, text_of
from putlab.log.schema import ACCEPTED_NAMES, tidy

# Rows held at once. Large enough that work a chunk is not felt, small enough that a log
# of any length is read in a few hundred megabytes.
CHUNK_ROWS = 250_000

ENDINGS = (".csv", ".tsv", ".parquet", ".xlsx")


@dataclass
class Chunk:
    """Some rows of a table as read."""

    frame: pd.DataFrame
    broken: list = field(default_factory=list)

    @property
    def rows(self) -> Any:
        """Number of rows, broken ones included."""
        return len(self.frame) + len(self.broken)


@dataclass
class Table:
    """A table that can be read chunk by chunk, once."""

    name: str
    header: list
    chunks: Callable[[dict], Iterator[Chunk]]
    encoding: str = "utf-8"
    separator: str = ","
    notes: list = field(default_factory=list)


def open_tables(
    path: str | Path,
    name: str | None = None,
    *,
    encoding: str | None = None,
    separator: str | None = None,
) -> Any:
    """Open every table of a file."""
    path = Path(path)
    name = name or path.name
    kind = _kind(path, name)
    if kind == ".parquet":
        return [open_parquet(path, name)]
    if kind == ".xlsx":
        return open_workbook(path, name)

    return [open_delimited(path, name, encoding=encoding, separator=separator)]


def _kind(path: Any, name: Any) -> str:
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


def chunk_of(rows: list[tuple], wanted: dict) -> Any:
    """Return rows of text cells as a chunk with the wanted columns."""
    index = pd.Index([number for number, _ in rows], dtype="int64", name="row")
    width = 1 + max(wanted.values(), default=0)
    bodies = [
        cells if len(cells) >= width else cells + [""] * (width - len(cells)) for _, cells in rows
    ]
    columns = {name: [cells[at] for cells in bodies] for name, at in wanted.items()}
    return Chunk(pd.DataFrame(columns, index=index, dtype=object))


@contextmanager
def reading(name: str) -> Iterator[Any]:
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


# CSV and its relatives: encodings, separators, and rows that have too many cells.


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


def open_delimited(
    path: Path, name: str, *, encoding: str | None = None, separator: str | None = None
) -> Table:
    """Open a text file of separated cells."""
    notes: list[str] = []
    encoding = encoding or _encoding(path, name, notes)
    separator = separator or _separator(path, name, encoding)

    def open_records() -> Iterator[Any]:
        with reading(name), path.open(encoding=encoding, newline="") as stream:
            yield from _records(stream, separator, name)

    header = next(open_records(), None)
    if header is None:
        raise LogError(f"{name} holds only blank lines; expected a row of column names.")
    width = len(header[1])

    def chunks(wanted: Any) -> Iterator[Any]:
        records = islice(open_records(), 1, None)
        while rows := list(islice(records, CHUNK_ROWS)):
            yield _chunk(rows, wanted, width)

    return Table(name, header[1], chunks, encoding, separator, notes)


def _records(stream: Any, separator: Any, name: Any) -> Iterator[Any]:
    """Yield ``(row number, cells, problem)`` for every row that is not blank."""
    # No cell is too long to read: a long one is refused by row, not by crash.
    csv.field_size_limit(2**31 - 1)
    lines = _Lines(stream)
    reader = csv.reader(lines, delimiter=separator)
    width, number = 0, 0
    for number, cells in enumerate(reader, start=1):
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

    def __init__(self, stream: Any) -> None:
        self._stream, self.ended = iter(stream), False
        self._taken: list[str] = []
        self._next = next(self._stream, None)

    def __iter__(self) -> Iterator[Any]:
        while self._next is not None:
            line, self._next = self._next, next(self._stream, None)
            self.ended = self._next is None
            self._taken.append(line)
            yield line

    def take(self) -> Any:
        taken, self._taken = self._taken, []
        return taken


def _open_quote(lines: Any, cells: Any, separator: Any, width: Any) -> Any:
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


def _chunk(rows: Any, wanted: Any, width: Any) -> Any:
    good, broken = [], []
    for number, cells, problem in rows:
        if problem:
            broken.append((number, max(cells, key=len), problem))
        elif len(cells) > width and (extra := " ".join(cells[width:]).strip()):
            broken.append((number, extra, _too_many(len(cells), width)))
        else:
            good.append((number, cells))
    chunk = chunk_of(good, wanted)
    chunk.broken = broken
    return chunk


def _too_many(cells: Any, width: Any) -> str:
    return (
        f"{cells} cells under {width} column names; "
        "is a decimal comma or a separator inside a cell not in quotes?"
    )


def _encoding(path: Any, name: Any, notes: Any) -> Any:
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


def _sixteen_bits(start: Any, name: Any) -> str:
    """Tell the byte order of UTF-16 without a mark: plain letters have a zero byte."""
    even, odd = start[0::2].count(0), start[1::2].count(0)
    if odd > len(start) / 4 and even < len(start) / 50:
        return "utf-16-le"
    if even > len(start) / 4 and odd < len(start) / 50:
        return "utf-16-be"
    raise LogError(
        f"{name} holds binary data, not text; expected a .csv, .tsv, .parquet or .xlsx log."
    )


def _decodes(path: Any, name: Any, encoding: Any) -> bool:
    decoder = codecs.getincrementaldecoder(encoding)()
    with reading(name), path.open("rb") as stream:
        try:
            while block := stream.read(BLOCK):
                decoder.decode(block)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return False
    return True


def _separator(path: Any, name: Any, encoding: Any) -> Any:
    """Return the separator that makes most known column names out of the header."""
    with reading(name), path.open(encoding=encoding, newline="") as stream:
        for line in stream:
            if hint := _hint(line):
                return hint
            if line.strip():
                return max(SEPARATORS, key=lambda mark: _names_found(line, mark))
    return ","


def _hint(line: Any) -> Any:
    """Return the separator named by a first line ``sep=;``, which spreadsheets write."""
    found = re.fullmatch(r'"?sep=(.)"?', line.strip("\r\n"))
    return found[1] if found else None


def _names_found(line: Any, separator: Any) -> tuple:
    cells = next(csv.reader([line], delimiter=separator))
    return sum(tidy(cell) in ACCEPTED_NAMES for cell in cells), len(cells)


# Parquet files, a row group or less at a time.


def open_parquet(path: Path, name: str) -> Table:
    """Open a Parquet file."""
    with _damage(name):
        file = pq.ParquetFile(path)
        header = list(file.schema_arrow.names)

    def chunks(wanted: Any) -> Iterator[Any]:
        first = 1
        with _damage(name):
            # Batches come by position in the file's own schema, as names may repeat.
            names = [header[position] for position in wanted.values()]
            for batch in file.iter_batches(batch_size=CHUNK_ROWS, columns=names):
                frame = _frame(batch, wanted, header)
                frame.index = pd.RangeIndex(first, first + len(frame), name="row")
                first += len(frame)
                yield Chunk(frame)

    return Table(name, header, chunks)


def _frame(batch: Any, wanted: Any, header: Any) -> pd.DataFrame:
    columns = {
        name: _series(batch.column(batch.schema.get_field_index(header[position])))
        for name, position in wanted.items()
    }
    return pd.DataFrame(columns, copy=False)


def _series(array: Any) -> Any:
    """Return a column as pandas holds it best: numbers and flags typed, the rest text."""
    kind = array.type
    if pa.types.is_dictionary(kind):
        array = array.dictionary_decode()
        kind = array.type
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
def _damage(name: Any) -> Iterator[Any]:
    """Name the file in whatever the Parquet reader says is wrong with it."""
    try:
        yield
    except (pa.ArrowException, OSError, ValueError, KeyError, TypeError) as error:
        first_line = (str(error).splitlines() or [type(error).__name__])[0][:200]
        raise LogError(
            f"{name} is damaged or cut short and could not be read as Parquet "
            f"({first_line}). Copy it again from where it was written."
        ) from error


# XLSX workbooks: each sheet is a table.


# A workbook is a zip archive. One that unpacks to more than this is no coach's log, and
# may have been made to fill the memory.
UNPACKED_LIMIT = 1_000_000_000


def open_workbook(path: Path, name: str) -> list:
    """Open the sheets of an XLSX workbook."""
    sheets = _sheets(path, name)
    if not sheets:
        raise LogError(f"{name} holds no cells; expected a row of column names, then putts.")
    alone = len(sheets) == 1
    return [
        _table(rows, name if alone else f"{name}, sheet {printable(title)}")
        for title, rows in sheets
    ]


def _sheets(path: Any, name: Any) -> list:
    """Return the rows of every sheet, as ``(title, [(row, cells), ...])``."""
    from openpyxl import load_workbook

    try:
        with zipfile.ZipFile(path) as archive:
            unpacked = sum(entry.file_size for entry in archive.infolist())
        if unpacked > UNPACKED_LIMIT:
            raise LogError(f"{name} unpacks to {unpacked:,} bytes; save the log as .csv.")
        # openpyxl warns of drawings and styles that it leaves out: no cell is among them.
        with path.open("rb") as stream, warnings.catch_warnings(action="ignore"):
            book = load_workbook(stream, read_only=True, data_only=True)
            seen = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]
            sheets = [(sheet.title, _rows(sheet)) for sheet in seen]
    except LogError:
        raise
    except Exception as error:  # zip, XML and cell parsers each raise errors of their own
        raise LogError(
            f"{name} is damaged or protected and could not be read as a workbook "
            f"({type(error).__name__}: {str(error)[:200]}). Open it in a spreadsheet and "
            "save it again as .xlsx or .csv."
        ) from error
    return [(title, rows) for title, rows in sheets if rows]


def _rows(sheet: Any) -> list:
    sheet.reset_dimensions()  # some programs write a false size, which would cut the sheet
    numbered = enumerate(sheet.iter_rows(values_only=True), start=1)
    texts = ((n, ["" if c is None else text_of(c) for c in cells]) for n, cells in numbered)
    return [(number, cells) for number, cells in texts if any(cells)]


def _table(rows: Any, name: Any) -> Iterator[Any]:
    (_, header), *body = rows

    def chunks(wanted: Any) -> Iterator[Any]:
        for start in range(0, len(body), CHUNK_ROWS):
            yield chunk_of(body[start : start + CHUNK_ROWS], wanted)

    return Table(name, header, chunks)
