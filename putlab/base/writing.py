"""Write results so that a reader sees the old file or the whole new one, never a part."""

from __future__ import annotations

import contextlib
import json
import os
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from putlab.base.errors import OutputError, UsageError

if TYPE_CHECKING:
    import pandas as pd

# A cell that starts with one of these can run as a formula in a spreadsheet
# (OWASP, "CSV injection"); a leading apostrophe makes it text.
FORMULA_STARTS = ("=", "+", "@", "-", "\t", "\r")


def check_writable(path: str | Path | None) -> None:
    """Refuse a place that can't be written, before the work and not after it."""
    if path is None or str(path) == "-":
        return
    path = Path(path)
    folder = path.parent
    _refuse_folder(path)
    if not folder.is_dir():
        raise OutputError(f"{path} could not be written: there is no folder {folder}.")
    if not os.access(folder, os.W_OK):
        raise OutputError(f"{path} could not be written: {folder} is read-only; choose another.")


def _refuse_folder(path: Path) -> None:
    if path.is_dir():
        raise OutputError(f"{path} is a folder; give the name of a file to write.")


def write_bytes(path: str | Path, content: bytes, *, mode: int | None = None) -> None:
    """Replace a file in one step; a mode of None is what the user's umask allows."""
    path = Path(path)
    _refuse_folder(path)
    try:
        _replace(path, content, mode)
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(
            f"{path} could not be written: {reason}. Nothing was changed; choose another place."
        ) from error


def _replace(path: Path, content: bytes, mode: int | None) -> None:
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:40]}.")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, 0o666 & ~_umask() if mode is None else mode)
        os.replace(temporary, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        raise


def _umask() -> int:
    current = os.umask(0)  # it can only be read by setting it
    os.umask(current)
    return current


def write_text(path: str | Path, text: str) -> None:
    """Replace a text file in one step, or print it where the path is ``-``."""
    if str(path) == "-":
        sys.stdout.write(text)
        sys.stdout.flush()
    else:
        write_bytes(path, text.encode("utf-8"))


def write_table(
    table: pd.DataFrame, path: str | Path, *, meta: dict | None = None, digits: int = 6
) -> None:
    """Write a table as CSV or, with what it rests on in ``meta``, as JSON records."""
    suffix = Path(str(path)).suffix.lower()
    if str(path) == "-" or suffix == ".csv":
        safe = table.map(_spreadsheet_safe)
        write_text(path, safe.to_csv(index=False, float_format=f"%.{digits}g"))
    elif suffix == ".json":
        write_text(path, json_records(table, meta=meta, digits=digits))
    else:
        raise UsageError(f"{path}: a table is written as .csv or .json; got {suffix!r}.")


def json_records(table: pd.DataFrame, *, meta: dict | None = None, digits: int = 6) -> str:
    """Return a table as JSON text, ``{"meta": {...}, "records": [...]}``; NaN is null."""
    records = json.loads(table.to_json(orient="records", double_precision=15))
    rounded = [{name: _significant(v, digits) for name, v in row.items()} for row in records]
    whole = {"meta": meta or {}, "records": rounded}
    return json.dumps(whole, indent=2, ensure_ascii=False, allow_nan=False, default=str) + "\n"


def _significant(value: Any, digits: int) -> Any:
    return float(f"{value:.{digits}g}") if isinstance(value, float) else value


def _spreadsheet_safe(value: Any) -> Any:
    if isinstance(value, str) and value.startswith(FORMULA_STARTS):
        with contextlib.suppress(ValueError):
            float(value)
            return value
        return "'" + value
    return value
