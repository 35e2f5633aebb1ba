"""Rows to fill in, as a workbook, a page and a CSV: what they hold, and that they load as a log."""

import base64
import hashlib
import io
import json
import re

import pandas as pd
import pytest
from fill_in import fill_in
from made_golfers import made_plan
from openpyxl import load_workbook

from putlab.base.errors import LogError, OutputError, UsageError
from putlab.log.read import read_log
from putlab.pages.sheet import page, workbook, write_sheet
from putlab.practice.plan import first_visit

ROWS = first_visit([3 / 0.3048, 1 / 0.3048], putts=20, session="2026-03-01")


@pytest.fixture(scope="module")
def plan():
    return made_plan()


def validations(sheet):
    """Return a sheet's rules for cells by the title of their column."""
    titles = {cell.column_letter: cell.value for cell in sheet[1]}
    return {
        titles[str(rule.sqref).rstrip("0123456789:").split(":")[0].rstrip("0123456789")]: rule
        for rule in sheet.data_validations.dataValidation
    }


@pytest.mark.parametrize("units", ["ft", "m"])
@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_a_sheet_filled_in_loads_as_it_is(tmp_path, ending, units):
    path = tmp_path / f"visit.{ending}"
    write_sheet(ROWS, path, units=units)
    assert fill_in(path) == 29
    log = read_log(path)
    assert len(log.putts) == 29
    assert log.warnings == []
    assert len(log.rejects) == 0
    assert set(log.putts["distance_ft"].round(9)) == {round(d / 0.3048, 9) for d in (1, 3)}
    # Both readings a putt, putts taken a hole.
    counted = log.putts["drill"] == "counted"
    assert log.putts.loc[~counted, ["line_deg", "roll_ft"]].notna().all(axis=None)
    assert log.putts.loc[counted, "putts_taken"].notna().all()


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_planned_rows_left_blank_are_no_rejects(tmp_path, ending):
    path = tmp_path / f"visit.{ending}"
    write_sheet(ROWS, path)
    fill_in(path, skip=12)
    log = read_log(path)
    assert (len(log.putts), len(log.rejects), log.rows_read) == (17, 0, 17)
    assert any("12 planned rows not filled in" in note for note in log.notes)


def test_a_sheet_with_no_reading_in_it_yet_says_so(tmp_path):
    write_sheet(ROWS, tmp_path / "visit.xlsx")
    with pytest.raises(LogError, match="no rows with a reading"):
        read_log(tmp_path / "visit.xlsx")


def test_cells_have_drop_downs_limits_and_words():
    book = load_workbook(io.BytesIO(workbook(ROWS, "m")))
    assert book.sheetnames == ["putts", "game", "words"]
    rules = validations(book["putts"])
    # 300 ft, the most a log takes, is 91.44 m (the international foot).
    assert (rules["roll_m"].type, rules["roll_m"].formula2) == ("decimal", "91.44")
    assert (rules["line_deg"].formula1, rules["line_deg"].formula2) == ("-90", "90")
    assert "+ right" in rules["line_deg"].prompt
    assert rules["drill"].formula1 == '"line,pace,both,counted"'
    taken = validations(book["game"])["putts_taken"]
    assert (taken.type, taken.formula1) == ("whole", "1")
    words = [row[0].value for row in book["words"].iter_rows(max_col=1) if row[0].value]
    assert {"distance_m", "roll_m", "putts_taken"} <= set(words)
    assert any("Stop at pain" in str(word) for word in words)


def test_players_are_offered_in_the_cells():
    rows = first_visit([4.0], putts=10, holes=0, players=["alder", "birch"], session="a")
    book = load_workbook(io.BytesIO(workbook(rows, "ft")))
    assert book.sheetnames == ["putts", "words"]
    assert validations(book["putts"])["player"].formula1 == '"alder,birch"'


def test_a_plan_has_its_list_beside_the_rows_and_the_same_bytes_each_time(plan):
    first = workbook(plan.log_rows, "ft", [plan])
    assert first == workbook(plan.log_rows, "ft", [plan])
    book = load_workbook(io.BytesIO(first))
    assert book.sheetnames == ["putts", "game", "list", "words"]
    words = [row[0].value for row in book["list"].iter_rows(max_col=1) if row[0].value]
    assert any("Warm-up" in str(word) for word in words)


def test_what_may_be_filled_in_is_never_overwritten(tmp_path):
    path = tmp_path / "visit.xlsx"
    write_sheet(ROWS, path)
    write_sheet(ROWS, path)  # still blank: the same bytes
    fill_in(path)
    before = path.read_bytes()
    with pytest.raises(OutputError, match="may have readings in it"):
        write_sheet(ROWS, path)
    assert path.read_bytes() == before


def test_a_label_like_a_formula_stays_text(tmp_path):
    rows = first_visit([4.0], putts=5, holes=0, players=["=1+1"], session="a")
    sheet = load_workbook(io.BytesIO(workbook(rows, "ft")))["putts"]
    cell = next(c for c, title in zip(sheet[2], sheet[1], strict=True) if title.value == "player")
    assert (cell.value, cell.data_type) == ("=1+1", "s")
    write_sheet(rows, tmp_path / "p.csv")
    assert "'=1+1" in (tmp_path / "p.csv").read_text()


def test_the_page_allows_its_own_script_and_style_and_nothing_else(plan):
    html = page(plan.log_rows, "ft", [plan])
    assert html.count("<script>") == html.count("<style>") == 1
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', html).group(1)
    rules = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    assert rules["default-src"] == "'none'"
    for name, tag in (("script-src", "script"), ("style-src", "style")):
        text = re.search(f"<{tag}>(.*?)</{tag}>", html, re.DOTALL).group(1)
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert rules[name] == f"'sha256-{digest}'"
    assert "http" not in html.replace("http-equiv", "")
    assert not re.search(r"\son\w+=|\sstyle=|\ssrc=", html)


def test_a_label_with_markup_does_not_run():
    plan = made_plan(player="</script><script>x</script>")
    html = page(plan.log_rows, "ft", [plan])
    assert "<script>x" not in html
    assert "&lt;script&gt;x" in html


def test_the_page_tells_what_each_putt_of_a_plan_is_for(plan):
    html = page(plan.log_rows, "ft", [plan])
    visit = json.loads(
        pd.Series([re.search(r'data-visit="([^"]*)"', html).group(1)])
        .str.replace("&#34;", '"').str.replace("&amp;", "&").iloc[0]
    )  # fmt: skip
    assert len(visit["rows"]) == len(plan.log_rows)
    at_6 = next(goal for goal in plan.targets if goal.component == "line")
    assert f"Line: {at_6.band}" in visit["notes"]
    # A box a putt, one a hole, and one for the total of the game, on paper.
    assert html.count('class="box"') == len(plan.log_rows) + 1


def test_another_ending_is_refused_before_anything_is_done():
    with pytest.raises(UsageError, match=r"\.csv .*\.xlsx .*\.html"):
        write_sheet(ROWS, "plan.docx")


def test_an_ending_may_be_in_capitals(tmp_path):
    write_sheet(ROWS, tmp_path / "Visit.HTML")
    assert (tmp_path / "Visit.HTML").read_text(encoding="utf-8").startswith("<!doctype html>")
