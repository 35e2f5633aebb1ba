"""Tables as read: one file gives one or more, each in chunks of raw cells."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from putlab.errors import LogError

# Rows held at once. Large enough that work a chunk is not felt, small enough that a log
# of any length is read in a few hundred megabytes.
CHUNK_ROWS = 250_000

ENDINGS = (".csv", ".tsv", ".parquet", ".xlsx")


@dataclass
class Chunk:
    """Some rows of a table as read.

    Attributes
    ----------
    frame : pandas.DataFrame
        Raw cells, one column a name of the header; the index is the row's number.
    broken : list of tuple
        ``(row, value, reason)`` of rows whose cells cannot be told apart.
    """

    frame: pd.DataFrame
    broken: list = field(default_factory=list)

    @property
    def rows(self):
        """Number of rows, broken ones included."""
        return len(self.frame) + len(self.broken)


@dataclass
class Table:
    """A table that can be read chunk by chunk, once.

    Attributes
    ----------
    name : str
        How it is called in rejects and messages: the file's name, and the sheet's.
    header : list of str
        Column names as found.
    chunks : callable
        Called with the positions of the wanted columns, ``{name: position}``; yields
        `Chunk`.
    encoding, separator : str
        Of a text file.
    notes : list of str
        What the reader had to decide; may grow while chunks are read.
    """

    name: str
    header: list
    chunks: Callable[[dict], Iterator[Chunk]]
    encoding: str = "utf-8"
    separator: str = ","
    notes: list = field(default_factory=list)


def open_tables(path, name=None, *, encoding=None, separator=None):
    """Open every table of a file.

    Parameters
    ----------
    path : path-like
        A .csv, .tsv, .parquet or .xlsx file. What it holds is told by its content.
    name : str, optional
        How to call it; default: the file's name.
    encoding, separator : str, optional
        Where they are known; otherwise read off the file.

    Returns
    -------
    list of Table
        One, or one a sheet of a workbook.

    Raises
    ------
    LogError
        The file is empty, damaged, or not a table.
    """
    path = Path(path)
    name = name or path.name
    kind = _kind(path, name)
    if kind == ".parquet":
        from putlab.intake.columnar import open_parquet

        return [open_parquet(path, name)]
    if kind == ".xlsx":
        from putlab.intake.workbook import open_workbook

        return open_workbook(path, name)
    from putlab.intake.delimited import open_delimited

    return [open_delimited(path, name, encoding=encoding, separator=separator)]


def _kind(path, name):
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


def chunk_of(rows, wanted):
    """Return rows of text cells as a chunk with the wanted columns.

    Parameters
    ----------
    rows : list of tuple
        ``(row number, list of cells)``; missing cells at the end are blank.
    wanted : dict of str to int
        Column names and where in the row they stand.

    Returns
    -------
    Chunk
        Nothing broken in it.
    """
    index = pd.Index([number for number, _ in rows], dtype="int64", name="row")
    width = 1 + max(wanted.values(), default=0)
    bodies = [
        cells if len(cells) >= width else cells + [""] * (width - len(cells))
        for _, cells in rows
    ]
    columns = {name: [cells[at] for cells in bodies] for name, at in wanted.items()}
    return Chunk(pd.DataFrame(columns, index=index, dtype=object))


@contextmanager
def reading(name):
    """Turn what the system says about a file that cannot be read into a `LogError`.

    Parameters
    ----------
    name : str
        The file, as the message should call it.

    Yields
    ------
    None
        Read the file inside.

    Raises
    ------
    LogError
        The system or the decoder refused.
    """
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
