"""Parquet files, a row group or less at a time."""

from contextlib import contextmanager

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from putlab.errors import LogError
from putlab.intake.tables import CHUNK_ROWS, Chunk, Table


def open_parquet(path, name):
    """Open a Parquet file.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    name : str
        How to call it in messages.

    Returns
    -------
    Table
        Its rows are numbered from 1; there is no header row to count.

    Raises
    ------
    LogError
        The file is cut short or damaged.
    """
    with _damage(name):
        file = pq.ParquetFile(path)
        header = list(file.schema_arrow.names)

    def chunks(wanted):
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


def _frame(batch, wanted, header):
    columns = {
        name: _series(batch.column(batch.schema.get_field_index(header[position])))
        for name, position in wanted.items()
    }
    return pd.DataFrame(columns, copy=False)


def _series(array):
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
def _damage(name):
    """Name the file in whatever the Parquet reader says is wrong with it."""
    try:
        yield
    except (pa.ArrowException, OSError, ValueError, KeyError, TypeError) as error:
        first_line = (str(error).splitlines() or [type(error).__name__])[0][:200]
        raise LogError(
            f"{name} is damaged or cut short and could not be read as Parquet "
            f"({first_line}). Copy it again from where it was written."
        ) from error
