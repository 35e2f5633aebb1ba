"""A plan on paper, in a workbook, and as the rows of a log to be filled in."""

import base64
import io
import re
import zipfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from putlab.base.writing import PLAN, check_writable, csv_text, write_bytes, write_table, write_text
from putlab.practice.plan import Plan

# Columns that a session can fill in; the rest of the log's have no place here.
FILL_IN_COLUMNS = [
    "player", "session", "putt", "distance_ft", "line_deg", "roll_ft", "holed", "leave_ft",
    "stimp_ft", "drill", "hole_no", "putt_no", "putts_taken",
]  # fmt: skip

# Earliest date a zip archive knows: a workbook's bytes then depend on its content alone.
ZIP_EPOCH = (1980, 1, 1, 0, 0, 0)


def rows_to_fill_in(plans: Iterable[Plan]) -> pd.DataFrame:
    """Return the rows of several plans that load back as a log once filled in."""
    return pd.concat([plan.log_rows[FILL_IN_COLUMNS] for plan in plans], ignore_index=True)


def write_plan(plans: Sequence[Plan], path: str | Path) -> None:
    """Write plans as rows, workbook or page, by the file's ending.

    Parameters
    ----------
    plans : sequence of putlab.practice.plan.Plan
        One a player.
    path : path-like
        ``.csv``, ``.xlsx`` or ``.html``; ``-`` writes the rows to standard output.

    Raises
    ------
    UsageError
        Another ending.
    OutputError
        The file could not be written; what stood there before still does.
    """
    check_writable(path, PLAN)
    ending = Path(path).suffix.lower()
    if ending == ".xlsx":
        write_bytes(path, workbook(plans))
    elif ending == ".html":
        write_text(path, page(plans))
    else:
        write_table(rows_to_fill_in(plans), path)


def page(plans: Sequence[Plan]) -> str:
    """Return plans as one HTML page, a sheet of paper each; the rows hang on a link in it."""
    # Drawing and templates wait until a page is wanted: most plans are read in a terminal.
    from putlab.pages.page import environment

    sheets = []
    for plan in plans:
        rows = csv_text(rows_to_fill_in([plan])).encode()
        link = "data:text/csv;base64," + base64.b64encode(rows).decode()
        bands = {(goal.distance_ft, goal.component): goal.band for goal in plan.targets}
        sheets.append({"plan": plan, "bands": bands, "link": link})
    return environment().get_template("plan.html").render(sheets=sheets)


def workbook(plans: Sequence[Plan]) -> bytes:
    """Return an XLSX: a sheet ``log`` to fill in and read back, and a ``list`` for people."""
    from openpyxl import Workbook
    from openpyxl.styles import Font

    book = Workbook()
    sheet = book.active
    sheet.title = "log"
    table = rows_to_fill_in(plans)
    _fill(sheet, [table.columns, *table.astype(object).where(table.notna(), None).to_numpy()])
    for cell in sheet[1]:
        cell.font = Font(bold=True)
    sheet.freeze_panes = "A2"
    listing = book.create_sheet("list")
    _fill(listing, [row for plan in plans for row in [*plan.listing, []]])
    listing.column_dimensions["B"].width = 18
    buffer = io.BytesIO()
    book.save(buffer)
    return _same_bytes(buffer.getvalue())


def _fill(sheet: Any, rows: Iterable[Iterable]) -> None:
    for number, row in enumerate(rows, start=1):
        for column, value in enumerate(row, start=1):
            cell = sheet.cell(number, column, value)
            if isinstance(value, str):
                # A label that starts like a formula stays text.
                cell.data_type = "s"


def _same_bytes(archive: bytes) -> bytes:
    # Without the time at which the workbook was made.
    made, buffer = zipfile.ZipFile(io.BytesIO(archive)), io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as kept:
        for name in made.namelist():
            content = made.read(name)
            if name == "docProps/core.xml":
                content = re.sub(rb"\d{4}-\d\d-\d\dT[\d:]{8}Z", b"1980-01-01T00:00:00Z", content)
            kept.writestr(zipfile.ZipInfo(name, ZIP_EPOCH), content)
    return buffer.getvalue()
