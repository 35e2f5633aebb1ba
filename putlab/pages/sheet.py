"""Rows to fill in: a workbook, a page for the phone beside the mat, or a CSV; a plan on paper."""

import base64
import datetime
import hashlib
import io
import json
import os
import zipfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from putlab.base import writing
from putlab.base.errors import OutputError
from putlab.base.words import lengths_in
from putlab.log.schema import ACCEPTED_NAMES, COLUMN, M_PER_FT, Column
from putlab.model.readings import COMPONENTS
from putlab.practice.plan import Plan
from putlab.rounds.games import slope_words

# What is written down beside the mat, on either sheet of a workbook; then who, when and where.
READ = {"putts": ["line_deg", "roll_ft"], "game": ["putts_taken", "leave_ft"]}
FIRST = {"putts": ["putt", "distance_ft"], "game": ["hole_no", "distance_ft"]}
REST = ["condition", "trial", "player", "session", "slope_pct", "slope_to_deg", "stimp_ft", "drill"]
REST += ["putt", "hole_no", "putt_no"]
# Columns of these that are left out where no row has anything in them.
OPTIONAL = {"slope_pct", "slope_to_deg", "condition", "trial", "hole_no", "putt_no"}

AIMS = {"line": "Line", "pace": "Pace", "both": "Line and pace", "counted": "Counted game"}

# Earliest date a zip archive knows: a workbook's bytes then depend on its content alone.
ZIP_EPOCH = (1980, 1, 1, 0, 0, 0)

TEMPLATES = Path(__file__).with_name("templates")
WORDS = (TEMPLATES / "sheet.txt").read_text("utf-8").splitlines()


def write_sheet(
    rows: pd.DataFrame, path: str | Path, *, units: str = "ft", plans: Sequence[Plan] = ()
) -> None:
    """Write rows to fill in, that load as a log once readings stand in them.

    Parameters
    ----------
    rows : pandas.DataFrame
        A row a putt and a hole, with columns of the log, lengths in feet; readings blank.
    path : path-like
        ``.csv``, ``.xlsx`` or ``.html``; ``-`` writes the rows to standard output.
    units : {"ft", "m"}
        Unit of the lengths written.
    plans : sequence of putlab.practice.plan.Plan
        What the rows follow from, a player each: told on a sheet or beneath the page's keys.

    Raises
    ------
    UsageError
        Another ending.
    OutputError
        The file could not be written, or another one stands there, which may be filled in.
    """
    writing.check_writable(path, writing.SHEET)
    ending = Path(path).suffix.lower()
    if ending == ".xlsx":
        content = workbook(rows, units, plans)
    elif ending == ".html":
        content = page(rows, units, plans).encode()
    else:
        content = writing.csv_text(fill_in(rows, units), digits=10).encode()
    if str(path) == "-":
        writing.write_text(path, content.decode())
        return
    if os.path.isfile(path) and Path(path).read_bytes() != content:
        raise OutputError(
            f"{path} is there already and may have readings in it; give another name, or delete it."
        )
    writing.write_bytes(path, content)


def fill_in(rows: pd.DataFrame, units: str, sheet: str = "") -> pd.DataFrame:
    """Return the columns of one sheet of a workbook, or of both, lengths in feet or metres."""
    sheets = [sheet] if sheet else ["putts", "game"]
    wanted = [name for part in (FIRST, READ) for one in sheets for name in part[one]]
    filled = {name for name in rows if rows[name].notna().any()}
    names = [n for n in dict.fromkeys([*wanted, *REST]) if n in filled or n not in OPTIONAL]
    table = rows.reindex(columns=names)
    for name in names if units == "m" else ():
        if COLUMN[name].metric:
            table[name] = (table[name].astype(float) * M_PER_FT).round(4)
    return table.rename(columns={n: _named(COLUMN[n], units) for n in names})


def _named(column: Column, units: str) -> str:
    return column.metric if units == "m" and column.metric else column.name


def _limits(column: Column, units: str) -> tuple[float, float]:
    scale = M_PER_FT if units == "m" and column.metric else 1.0
    return column.least * scale, column.most * scale


# The page for the phone, with the plan to print beneath.


def page(rows: pd.DataFrame, units: str, plans: Sequence[Plan] = ()) -> str:
    """Return a page that takes readings down key by key; the only one of the kit with a script."""
    # Templates wait until a page is wanted: most plans are read in a terminal.
    from markupsafe import Markup

    from putlab.pages.page import environment

    table = fill_in(rows, units).map(writing.spreadsheet_safe)
    visit: dict[str, Any] = {"units": units, "columns": list(table)}
    visit["rows"] = json.loads(table.to_json(orient="values", double_precision=10))
    read = [COLUMN[name] for names in READ.values() for name in names]
    visit["limits"] = {_named(column, units): _limits(column, units) for column in read}
    parts: dict[str, str] = {}
    for name, ending in (("script", "js"), ("style", "css")):
        text = (TEMPLATES / f"visit.{ending}").read_text("utf-8")
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        parts |= {name: Markup(text), f"{name}_hash": f"sha256-{digest}"}
    with lengths_in(units):
        goals = [(plan.player, goal) for plan in plans for goal in plan.targets]
        bands = {(who, goal.distance_ft, goal.component): goal.band for who, goal in goals}
        visit["notes"] = [_note(row, bands) for row in rows.to_dict("records")]
        visit["id"] = hashlib.sha256(json.dumps(visit).encode()).hexdigest()[:16]
        visit_text = json.dumps(visit, ensure_ascii=False)
        template = environment().get_template("visit.html")
        return template.render(plans=plans, bands=bands, visit=visit_text, **parts)


def _note(row: dict, bands: dict[tuple, str]) -> str:
    """What a putt is for, beside its length: condition, aim, slope."""
    drill, slope = row["drill"], row.get("slope_pct")
    components = COMPONENTS if drill == "both" else [drill]
    aims = [bands.get((row["player"], row["distance_ft"], name)) for name in components]
    aim = [AIMS.get(drill, ""), ", ".join(filter(None, aims))]
    said = [row.get("condition"), ": ".join(filter(None, aim))]
    said.append(slope_words(slope, row["slope_to_deg"]) if slope and slope > 0 else None)
    return " · ".join(text for text in said if text and not pd.isna(text))


# The workbook.


def workbook(rows: pd.DataFrame, units: str, plans: Sequence[Plan] = ()) -> bytes:
    """Return an XLSX: sheets ``putts`` and ``game`` to fill in, a ``list`` of plans, ``words``."""
    from openpyxl import Workbook
    from openpyxl.writer.excel import ExcelWriter

    book = Workbook()
    book.remove(book.active)
    counted = rows["drill"] == "counted"
    for name, part in (("putts", rows[~counted]), ("game", rows[counted])):
        if len(part):
            _sheet_to_fill_in(book.create_sheet(name), part, name, units)
    if plans:
        listing = book.create_sheet("list")
        with lengths_in(units):
            _fill(listing, [row for plan in plans for row in [*plan.listing, []]])
        listing.column_dimensions["B"].width = 18
    meanings = [[_named(COLUMN[name], units), COLUMN[name].meaning] for name in COLUMN]
    cautions = [[caution] for caution in Plan.cautions[:3]]
    words = book.create_sheet("words")
    _fill(words, [*([word] for word in WORDS), [], *meanings, [], *cautions])
    words.column_dimensions["A"].width = 16
    book.properties.created = book.properties.modified = datetime.datetime(*ZIP_EPOCH)
    buffer = io.BytesIO()
    ExcelWriter(book, _Undated(buffer, "w")).save()
    return buffer.getvalue()


def _sheet_to_fill_in(sheet: Any, rows: pd.DataFrame, name: str, units: str) -> None:
    from openpyxl.styles import Font, PatternFill
    from openpyxl.utils import get_column_letter

    table = fill_in(rows, units, name)
    _fill(sheet, [table.columns, *table.astype(object).where(table.notna(), None).to_numpy()])
    players = [player for player in rows["player"].unique() if not pd.isna(player)]
    for number, title in enumerate(table.columns, start=1):
        column = COLUMN[ACCEPTED_NAMES[title]]
        letter = get_column_letter(number)
        sheet.cell(1, number).font = Font(bold=True)
        sheet.column_dimensions[letter].width = max(len(title) + 2, 9)
        if (check := _validation(column, units, players)) is not None:
            # Rows added beneath are checked as well.
            check.add(f"{letter}2:{letter}{len(table) + 200}")
            sheet.add_data_validation(check)
        for row in range(2, len(table) + 2) if column.name in READ[name] else ():
            sheet.cell(row, number).fill = PatternFill("solid", fgColor="FFF4CC")
    sheet.freeze_panes = "C2"


def _validation(column: Column, units: str, players: list[str]) -> Any:
    """The drop-down or limits of a column's cells; None where any label will do."""
    from openpyxl.worksheet.datavalidation import DataValidation

    choices = {"flag": ["yes", "no"], "label": list(column.choices)}.get(column.kind, [])
    if column.name == "player" and len(players) > 1 and not any("," in p for p in players):
        choices = players
    if choices and len(listed := ",".join(choices)) <= 250:  # what a list in a cell may hold
        check = DataValidation("list", formula1=f'"{listed}"')
        check.error = f"One of {', '.join(choices)}"[:250]
    elif column.kind in ("number", "whole"):
        least, most = (f"{limit:g}" for limit in _limits(column, units))
        kind, whole = ("whole", "whole ") if column.kind == "whole" else ("decimal", "")
        check = DataValidation(kind, operator="between", formula1=least, formula2=most)
        check.error = f"A {whole}number from {least} to {most}"
    else:
        return None
    check.allow_blank = check.showErrorMessage = check.showInputMessage = True
    check.promptTitle = check.errorTitle = _named(column, units)
    check.prompt = column.meaning
    return check


def _fill(sheet: Any, rows: Iterable[Iterable]) -> None:
    for number, row in enumerate(rows, start=1):
        for column, value in enumerate(row, start=1):
            cell = sheet.cell(number, column, value)
            if isinstance(value, str):
                # A label that starts like a formula stays text.
                cell.data_type = "s"


class _Undated(zipfile.ZipFile):
    """An archive that asks no clock, which may stand before 1980: equal content, equal bytes."""

    def writestr(self, name: str, content: Any) -> None:  # type: ignore[override]
        super().writestr(zipfile.ZipInfo(name, ZIP_EPOCH), content, zipfile.ZIP_DEFLATED)

    def write(self, path: str, name: str) -> None:  # type: ignore[override]
        self.writestr(name, Path(path).read_bytes())
