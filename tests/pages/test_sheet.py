"""The plan on paper, in a workbook, and as rows that load back as a log once filled in."""

import io
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from made_golfers import made_plan
from openpyxl import load_workbook

from putlab.base.errors import UsageError
from putlab.log.read import read_log
from putlab.pages.sheet import FILL_IN_COLUMNS, page, rows_to_fill_in, workbook, write_plan


@pytest.fixture(scope="module")
def plan():
    return made_plan()


def filled_in(twin):
    """Return the twin as a person would fill it in."""
    counted = twin["drill"] == "counted"
    return twin.assign(
        line_deg=np.where(counted, np.nan, 1.0), holed=np.where(counted, "yes", None)
    )


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_the_rows_filled_in_loads_back_as_a_log(plan, tmp_path, ending):
    path = tmp_path / f"plan.{ending}"
    write_plan([plan], path)
    table = pd.read_csv(path) if ending == "csv" else pd.read_excel(path, sheet_name="log")
    assert list(table.columns) == FILL_IN_COLUMNS
    filled_in(table).to_csv(tmp_path / "done.csv", index=False)
    log = read_log(tmp_path / "done.csv")
    assert len(log.rejects) == 0
    assert len(log.putts) == len(plan.log_rows)
    assert (log.putts["drill"] == plan.log_rows["drill"].to_numpy()).all()


def test_rows_left_blank_are_told_and_the_rest_is_read(plan, tmp_path):
    twin = rows_to_fill_in([plan]).astype({"line_deg": object})
    twin.loc[:9, "line_deg"] = 0
    twin.to_csv(tmp_path / "part.csv", index=False)
    log = read_log(tmp_path / "part.csv")
    assert len(log.putts) == 10
    assert len(log.rejects) == len(twin) - 10


def test_a_workbook_has_the_list_beside_the_rows_and_the_same_bytes_each_time(plan):
    first = workbook([plan])
    assert first == workbook([plan])
    book = load_workbook(io.BytesIO(first))
    assert book.sheetnames == ["log", "list"]
    words = [row[0].value for row in book["list"].iter_rows(max_col=1) if row[0].value]
    assert any("Warm-up" in str(word) for word in words)


def test_a_label_like_a_formula_stays_text(tmp_path):
    plan = made_plan(player="=1+1")
    book = load_workbook(io.BytesIO(workbook([plan])))
    assert book["log"]["A2"].value == "=1+1"
    assert book["log"]["A2"].data_type != "f"
    write_plan([plan], tmp_path / "p.csv")
    assert "\n=1+1" not in (tmp_path / "p.csv").read_text()


def test_a_label_with_markup_does_not_run():
    html = page([made_plan(player="<script>x</script>")])
    assert "<script>" not in html
    assert "&lt;script&gt;" in html


def test_the_page_has_a_box_for_every_reading(plan):
    html = page([plan])
    # A box a putt, one a hole, and one for the total of the game.
    assert html.count('class="box"') == len(plan.log_rows) + 1
    assert "http" not in html.replace("http-equiv", "")


def test_another_ending_is_refused_before_anything_is_done():
    with pytest.raises(UsageError, match=r"\.csv .*\.xlsx .*\.html"):
        write_plan([], "plan.docx")


def test_an_ending_may_be_in_capitals(plan, tmp_path):
    write_plan([plan], tmp_path / "Plan.HTML")
    assert (tmp_path / "Plan.HTML").read_text(encoding="utf-8").startswith("<!doctype html>")


def test_plans_of_a_roster_share_one_table(plan):
    other = SimpleNamespace(log_rows=plan.log_rows.assign(player="other"))
    assert list(rows_to_fill_in([plan, other])["player"].unique()) == ["golfer", "other"]
