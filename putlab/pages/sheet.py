"""A plan on paper, in a workbook, and as the rows of a log to be filled in."""

import base64
import io
import zipfile

import pandas as pd

from putlab.base.errors import UsageError
from putlab.base.writing import write_bytes, write_table, write_text
from putlab.practice.advice import CAUTION
from putlab.practice.plan import drill_words

# Columns of the twin that a session can fill in; the rest of the log's have no place here.
TWIN_COLUMNS = [
    "player", "session", "putt", "distance_ft", "line_deg", "roll_ft", "holed", "leave_ft",
    "stimp_ft", "drill", "hole_no", "putt_no",
]  # fmt: skip

# Earliest date a zip archive knows: a workbook's bytes then depend on its content alone.
ZIP_EPOCH = (1980, 1, 1, 0, 0, 0)

ENDINGS = (".csv", ".xlsx", ".html")


def check_ending(path):
    """Refuse a file that a plan can't be written to.

    Parameters
    ----------
    path : path-like or None
        Where it should go; ``-`` is the twin on standard output.

    Raises
    ------
    UsageError
        Its ending is none of `ENDINGS`.
    """
    if path is not None and str(path) != "-" and path.suffix.lower() not in ENDINGS:
        raise UsageError(
            f"{path}: a plan is written as .csv (rows to fill in), .xlsx (the same and the "
            "list) or .html (the list to print)."
        )


def twin_table(plans):
    """Return the rows of several plans that load back as a log once filled in.

    Parameters
    ----------
    plans : list of putlab.practice.plan.Plan
        One a player.

    Returns
    -------
    pandas.DataFrame
        Columns `TWIN_COLUMNS`; readings are blank.
    """
    return pd.concat([plan.log_rows[TWIN_COLUMNS] for plan in plans], ignore_index=True)


def write_plan(plans, path):
    """Write plans as rows, workbook or page, by the file's ending.

    Parameters
    ----------
    plans : list of putlab.practice.plan.Plan
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
    check_ending(path)
    suffix = "" if str(path) == "-" else path.suffix.lower()
    if suffix == ".xlsx":
        write_bytes(path, workbook(plans))
    elif suffix == ".html":
        write_text(path, page(plans))
    else:
        write_table(twin_table(plans), path)


def page(plans):
    """Return plans as one HTML page, a sheet of paper each.

    Parameters
    ----------
    plans : list of putlab.practice.plan.Plan
        One a player.

    Returns
    -------
    str
        Self-contained; the rows to fill in hang on a link inside it.
    """
    from putlab.pages.page import environment

    sheets = []
    for plan in plans:
        rows = twin_table([plan]).to_csv(index=False, float_format="%g").encode()
        link = "data:text/csv;base64," + base64.b64encode(rows).decode()
        goals = {(t.distance_ft, t.component): t for t in plan.targets}
        sets = [
            {"number": s.set, "name": f"{s.component} at {s.distance_ft:g} ft",
             "band": goals[s.distance_ft, s.component].band, "putts": s.putts}
            for s in plan.sets.itertuples()
        ]  # fmt: skip
        sheets.append({"plan": plan, "sets": sets, "link": link})
    return (
        environment()
        .get_template("plan.html")
        .render(sheets=sheets, drill_words=drill_words, caution=CAUTION)
    )


def list_rows(plan):
    """Return a plan as rows of text, for a workbook or a terminal.

    Parameters
    ----------
    plan : putlab.practice.plan.Plan
        One player's.

    Returns
    -------
    list of list of str
        Headings, drills, sets with empty boxes, game and cautions.
    """
    rows = [[f"{plan.player}, {plan.minutes:g} minutes"], [plan.advice.sentence], []]
    rows += [[plan.warm_up], [], *([drill_words(t)] for t in plan.targets), []]
    rows += [["Set", "Drill", "Putts", "Rows of the log", "Inside the band"]]
    rows += [
        [str(s.set), f"{s.component} at {s.distance_ft:g} ft", str(s.putts),
         f"{s.first} to {s.last}", ""]
        for s in plan.sets.itertuples()
    ]  # fmt: skip
    rows += [[], [plan.game_words], ["Hole", "Length, ft", "Putts taken"]]
    rows += [[str(h.hole_no), f"{h.distance_ft:g}", ""] for h in plan.game.itertuples()]
    return [*rows, [], *([text] for text in (*plan.order, *plan.cautions))]


def workbook(plans):
    """Return a workbook: the rows of the log to fill in, and the list.

    Parameters
    ----------
    plans : list of putlab.practice.plan.Plan
        One a player.

    Returns
    -------
    bytes
        XLSX; the sheet ``log`` is read back, the sheet ``list`` is for people.
    """
    from openpyxl import Workbook
    from openpyxl.styles import Font

    book = Workbook()
    sheet = book.active
    sheet.title = "log"
    twin = twin_table(plans)
    _fill(sheet, [list(twin.columns), *twin.astype(object).where(twin.notna(), None).to_numpy()])
    for cell in sheet[1]:
        cell.font = Font(bold=True)
    sheet.freeze_panes = "A2"
    listing = book.create_sheet("list")
    _fill(listing, [row for plan in plans for row in [*list_rows(plan), []]])
    listing.column_dimensions["B"].width = 18
    buffer = io.BytesIO()
    book.save(buffer)
    return _same_bytes(buffer.getvalue())


def _fill(sheet, rows):
    for number, row in enumerate(rows, start=1):
        for column, value in enumerate(row, start=1):
            cell = sheet.cell(number, column, value)
            if isinstance(value, str):
                # A label that starts like a formula stays text.
                cell.data_type = "s"


def _same_bytes(archive):
    """Return a workbook without the time at which it was made."""
    made, buffer = zipfile.ZipFile(io.BytesIO(archive)), io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as kept:
        for name in made.namelist():
            if name != "docProps/core.xml":
                kept.writestr(zipfile.ZipInfo(name, ZIP_EPOCH), made.read(name))
                continue
            text = pd.Series([made.read(name).decode()]).str.replace(
                r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", "1980-01-01T00:00:00Z", regex=True
            )
            kept.writestr(zipfile.ZipInfo(name, ZIP_EPOCH), text.iloc[0].encode())
    return buffer.getvalue()
