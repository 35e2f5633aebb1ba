"""Write results so that a reader sees the old file or the whole new one, never a part."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import stat
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from putlab.base.errors import OutputError, UsageError
from putlab.base.words import listed, unless_hidden

if TYPE_CHECKING:
    import pandas as pd

# A cell that starts with one of these can run as a formula in a spreadsheet
# (OWASP, "CSV injection"); a leading apostrophe makes it text.
FORMULA_STARTS = ("=", "+", "@", "-", "\t", "\r")


# Digits that say a number exactly.
FULL_DIGITS = 17

# What a table, and what rows to fill in, can be written as.
TABLE = (".csv", ".json")
SHEET = (".csv (rows to fill in)", ".xlsx (a workbook)", ".html (a page for the phone)")


def check_writable(path: str | Path | None, kinds: Sequence[str] = TABLE) -> None:
    """Refuse a place or an ending (``kinds``, perhaps with its meaning) before the work."""
    if path is None or str(path) == "-":
        return
    path, said = Path(path), said_of(path)
    _refuse_what_is_no_file(path)
    if kinds and path.suffix.lower() not in [kind.split()[0] for kind in kinds]:
        raise UsageError(f"{said}: it is written as {listed(kinds, 'or')}; choose one of these.")
    if not os.path.isdir(path.parent):
        folder = unless_hidden(f"there is no folder {path.parent}", "its folder is missing")
        raise OutputError(f"{said} could not be written: {folder}.")
    if not os.access(path.parent, os.W_OK):
        raise OutputError(f"{said} could not be written: its folder is read-only; choose another.")


def said_of(path: str | Path | None) -> str:
    """Return a file to write as it is told of: its name may be that of a player."""
    return unless_hidden(path, "the file given")


def _refuse_what_is_no_file(path: Path) -> None:
    """Refuse a folder, device or pipe: putting a file in its place would destroy it."""
    if os.path.exists(path) and not os.path.isfile(path):
        what = "a folder" if os.path.isdir(path) else "a device or a pipe"
        said = f"{said_of(path)} is {what}, not a file"
        raise OutputError(f"{said}; give a file, or - for standard output.")


def write_bytes(path: str | Path, content: bytes, *, mode: int = 0o666) -> None:
    """Replace a file in one step; who may read it stays, or is what the user's umask allows."""
    path = Path(path)
    _refuse_what_is_no_file(path)
    temporary = path.with_name(f".{path.name[:40]}.{secrets.token_hex(8)}")
    try:
        if old := path.is_file():
            mode &= stat.S_IMODE(path.stat().st_mode)
        with open(temporary, "xb", opener=lambda name, flags: os.open(name, flags, mode)) as stream:
            if old:
                os.chmod(temporary, mode)
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(temporary, path)
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(
            f"{said_of(path)} could not be written: {reason}. Nothing was changed; choose another "
            "place."
        ) from error
    finally:
        with contextlib.suppress(OSError):  # it is there only where something went wrong
            temporary.unlink()


def write_text(path: str | Path, text: str) -> None:
    """Replace a text file in one step, or print it where the path is ``-``."""
    if str(path) == "-":
        print(text, end="", flush=True)
    else:
        # Names of files can hold bytes that are no text; they are written as their codes.
        write_bytes(path, text.encode("utf-8", "backslashreplace"))


def write_json(path: str | Path, whole: dict) -> None:
    """Write plain values as JSON; NaN is refused."""
    text = json.dumps(whole, indent=2, ensure_ascii=False, allow_nan=False, default=str)
    write_text(path, text + "\n")


def write_table(table: pd.DataFrame, path: str | Path, *, meta: dict | None = None) -> None:
    """Write a table as CSV or, with what it rests on in ``meta``, as JSON records."""
    check_writable(path)
    if Path(path).suffix.lower() == ".json":
        write_json(path, {"meta": meta or {}, "records": json_records(table)})
    else:
        write_text(path, csv_text(table))


def csv_text(table: pd.DataFrame, digits: int = 6) -> str:
    """Return a table as CSV in which no text runs as a formula."""
    return table.map(spreadsheet_safe).to_csv(index=False, float_format=f"%.{digits}g")


def json_records(values: pd.DataFrame | pd.Series, digits: int = 6) -> list[dict]:
    """Return a table's rows as JSON has them: so many digits, and NaN as None."""
    text = values.to_json(orient="records", double_precision=15)
    return json.loads(text, parse_float=lambda number: float(f"{float(number):.{digits}g}"))


def spreadsheet_safe(value: Any) -> Any:
    """Return a cell with text that a spreadsheet would run as a formula marked as text."""
    if isinstance(value, str) and value.startswith(FORMULA_STARTS):
        with contextlib.suppress(ValueError):
            float(value)
            return value
        return "'" + value
    return value
