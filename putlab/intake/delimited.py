"""CSV and its relatives: encodings, separators, and rows that have too many cells."""

import codecs
import csv
import re
from itertools import islice

from putlab.errors import LogError
from putlab.intake.tables import CHUNK_ROWS, Table, chunk_of, reading
from putlab.schema import ACCEPTED_NAMES, tidy

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


def open_delimited(path, name, *, encoding=None, separator=None):
    """Open a text file of separated cells.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    name : str
        How to call it in messages.
    encoding, separator : str, optional
        Where they are known; otherwise read off the file.

    Returns
    -------
    Table
        Rows are numbered as a spreadsheet shows them: the header is row 1.

    Raises
    ------
    LogError
        The file is not text, or holds no header.
    """
    notes = []
    encoding = encoding or _encoding(path, name, notes)
    separator = separator or _separator(path, name, encoding)

    def open_records():
        with reading(name), path.open(encoding=encoding, newline="") as stream:
            yield from _records(stream, separator, name)

    header = next(open_records(), None)
    if header is None:
        raise LogError(f"{name} holds only blank lines; expected a row of column names.")
    width = len(header[1])

    def chunks(wanted):
        records = islice(open_records(), 1, None)
        while rows := list(islice(records, CHUNK_ROWS)):
            yield _chunk(rows, wanted, width)

    return Table(name, header[1], chunks, encoding, separator, notes)


def _records(stream, separator, name):
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

    def __init__(self, stream):
        self._stream, self._taken, self.ended = iter(stream), [], False
        self._next = next(self._stream, None)

    def __iter__(self):
        while self._next is not None:
            line, self._next = self._next, next(self._stream, None)
            self.ended = self._next is None
            self._taken.append(line)
            yield line

    def take(self):
        taken, self._taken = self._taken, []
        return taken


def _open_quote(lines, cells, separator, width):
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


def _chunk(rows, wanted, width):
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


def _too_many(cells, width):
    return (
        f"{cells} cells under {width} column names; "
        "is a decimal comma or a separator inside a cell not in quotes?"
    )


def _encoding(path, name, notes):
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


def _sixteen_bits(start, name):
    """Tell the byte order of UTF-16 without a mark: plain letters have a zero byte."""
    even, odd = start[0::2].count(0), start[1::2].count(0)
    if odd > len(start) / 4 and even < len(start) / 50:
        return "utf-16-le"
    if even > len(start) / 4 and odd < len(start) / 50:
        return "utf-16-be"
    raise LogError(
        f"{name} holds binary data, not text; expected a .csv, .tsv, .parquet or .xlsx log."
    )


def _decodes(path, name, encoding):
    decoder = codecs.getincrementaldecoder(encoding)()
    with reading(name), path.open("rb") as stream:
        try:
            while block := stream.read(BLOCK):
                decoder.decode(block)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return False
    return True


def _separator(path, name, encoding):
    """Return the separator that makes most known column names out of the header."""
    with reading(name), path.open(encoding=encoding, newline="") as stream:
        for line in stream:
            if hint := _hint(line):
                return hint
            if line.strip():
                return max(SEPARATORS, key=lambda mark: _names_found(line, mark))
    return ","


def _hint(line):
    """Return the separator named by a first line ``sep=;``, which spreadsheets write."""
    found = re.fullmatch(r'"?sep=(.)"?', line.strip("\r\n"))
    return found[1] if found else None


def _names_found(line, separator):
    cells = next(csv.reader([line], delimiter=separator))
    return sum(tidy(cell) in ACCEPTED_NAMES for cell in cells), len(cells)
