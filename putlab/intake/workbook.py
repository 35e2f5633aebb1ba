"""XLSX workbooks: each sheet is a table."""

import warnings
import zipfile

from putlab.errors import LogError
from putlab.intake.cells import printable, text_of
from putlab.intake.tables import CHUNK_ROWS, Table, chunk_of

# A workbook is a zip archive. One that unpacks to more than this is no coach's log, and
# may have been made to fill the memory.
UNPACKED_LIMIT = 1_000_000_000


def open_workbook(path, name):
    """Open the sheets of an XLSX workbook.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    name : str
        How to call it in messages.

    Returns
    -------
    list of Table
        A table a visible sheet that has any cells; rows are numbered as the spreadsheet
        shows.

    Raises
    ------
    LogError
        The file is damaged, protected by a password, or holds nothing.
    """
    sheets = _sheets(path, name)
    if not sheets:
        raise LogError(f"{name} holds no cells; expected a row of column names, then putts.")
    alone = len(sheets) == 1
    return [
        _table(rows, name if alone else f"{name}, sheet {printable(title)}")
        for title, rows in sheets
    ]


def _sheets(path, name):
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


def _rows(sheet):
    sheet.reset_dimensions()  # some programs write a false size, which would cut the sheet
    numbered = enumerate(sheet.iter_rows(values_only=True), start=1)
    texts = ((n, ["" if c is None else text_of(c) for c in cells]) for n, cells in numbered)
    return [(number, cells) for number, cells in texts if any(cells)]


def _table(rows, name):
    (_, header), *body = rows

    def chunks(wanted):
        for start in range(0, len(body), CHUNK_ROWS):
            yield chunk_of(body[start : start + CHUNK_ROWS], wanted)

    return Table(name, header, chunks)
