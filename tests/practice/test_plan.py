"""The next session: minutes kept, order mixed, and a twin that loads back as a log."""

import io
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from made_golfers import LENGTHS_FT, MadeGolfer, made_state
from openpyxl import load_workbook

from putlab.base.errors import UsageError
from putlab.green.skill import Skill
from putlab.log.package import ReadingRules
from putlab.log.read import read_log
from putlab.pages.sheet import (
    TWIN_COLUMNS,
    check_ending,
    page,
    twin_table,
    workbook,
    write_plan,
)
from putlab.practice.advice import advise
from putlab.practice.plan import (
    BLOCK_SET,
    DRILL_MINUTES,
    HOLES,
    MIXED_SET,
    is_new,
    ordered_sets,
    shuffled_apart,
)
from putlab.practice.plan import plan as plan_next
from putlab.practice.split import LEAST_MINUTES

RULES = ReadingRules(line_step_deg=1.0, roll_step_ft=0.1)


def make_plan(player="golfer", seed=7, minutes=40.0):
    golfer, who = MadeGolfer(), made_state(line_sd_deg=[1.0, 1.8, 1.0, 1.0, 1.0, 1.0])
    golfer.player = player
    who = type(who)(player, who.skill, who.practised, who.trend, who.trend_prior_sd)
    advice = advise(who, minutes=25, reference=Skill.constant(1.4, 9.0))
    return plan_next(golfer, RULES, advice, minutes=minutes, seed=seed,
                     session="2026-03-01", stimp_ft=9.5)  # fmt: skip


@pytest.fixture(scope="module")
def plan():
    return make_plan()


def test_drills_fit_the_time_left_by_warm_up_and_game(plan):
    learning = plan.advice.case.learning
    minutes = [t.putts / learning.putts_a_minute(t.distance_ft) for t in plan.targets]
    assert sum(minutes) == pytest.approx(25, abs=4)
    # Putts come in whole sets, so a drill may run over by half of one.
    assert max(minutes) < DRILL_MINUTES + LEAST_MINUTES


def test_the_sets_hold_the_drills_putts(plan):
    put = plan.sets.groupby(["distance_ft", "component"])["putts"].sum().to_dict()
    assert put == {(t.distance_ft, t.component): t.putts for t in plan.targets}
    assert plan.sets["putts"].max() <= MIXED_SET


def test_the_sets_rows_are_those_of_the_twin(plan):
    for row in plan.sets.itertuples():
        part = plan.log_rows.iloc[row.first - 1 : row.last]
        assert set(part["distance_ft"]) == {row.distance_ft}
        assert set(part["drill"]) == {row.component}


def test_the_session_ends_with_a_counted_game_on_the_golfers_lengths(plan):
    last = plan.log_rows.tail(HOLES)
    assert set(last["drill"]) == {"counted"}
    assert list(last["hole_no"]) == list(range(1, HOLES + 1))
    assert set(last["distance_ft"]) <= set(LENGTHS_FT)


def test_the_same_seed_gives_the_same_plan_and_another_another(plan):
    again, other = make_plan(), make_plan(seed=8)
    assert again.log_rows.equals(plan.log_rows)
    assert not other.log_rows["distance_ft"].equals(plan.log_rows["distance_ft"])


def test_too_short_a_session_is_refused():
    with pytest.raises(UsageError, match="too few"):
        make_plan(minutes=15)


def test_mixed_sets_do_not_follow_themselves_where_that_can_be_helped(rng):
    sets = [(6.0, "line", 5)] * 5 + [(10.0, "line", 5)] * 3 + [(24.0, "pace", 5)] * 2
    for _ in range(50):
        names = [one[:2] for one in shuffled_apart(sets, rng)]
        assert all(a != b for a, b in zip(names[:-1], names[1:], strict=True))


def test_a_drill_of_most_sets_still_gets_all_of_them(rng):
    sets = [(6.0, "line", 5)] * 6 + [(10.0, "line", 5)]
    assert sorted(shuffled_apart(sets, rng)) == sorted(sets)


def test_a_beginner_at_a_length_repeats_in_blocks_first(rng):
    drills = [(6.0, "line", 25), (10.0, "line", 20)]
    new = {(6.0, "line"): False, (10.0, "line"): True}
    sets = ordered_sets(drills, new, rng)
    assert sets[:2] == [(10.0, "line", BLOCK_SET)] * 2
    assert sets[2:] == [(6.0, "line", MIXED_SET)] * 5


@pytest.mark.parametrize(
    ("golfer", "new"),
    [
        (MadeGolfer(putts=60), False),
        (MadeGolfer(putts=10), True),
        (MadeGolfer(putts=60, line_sd_deg=2.5), True),
    ],
)
def test_who_struck_few_or_scatters_widely_is_new(golfer, new):
    assert is_new(golfer, 6.0, "line") is new


def test_the_order_cites_both_studies_and_their_disagreement(plan):
    said = " ".join(plan.order)
    assert "Fazeli and others" in said
    assert "Dias and Mendes (2010)" in said
    assert "disagree" in said


def test_the_list_warns_of_strain_and_pain(plan):
    said = " ".join(plan.cautions)
    for word in ("back and wrists", "Stop at pain", "Juniors", "coach"):
        assert word in said


def filled_in(twin):
    """Return the twin as a person would fill it in."""
    counted = twin["drill"] == "counted"
    return twin.assign(
        line_deg=np.where(counted, np.nan, 1.0), holed=np.where(counted, "yes", None)
    )


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_the_twin_filled_in_loads_back_as_a_log(plan, tmp_path, ending):
    path = tmp_path / f"plan.{ending}"
    write_plan([plan], path)
    table = pd.read_csv(path) if ending == "csv" else pd.read_excel(path, sheet_name="log")
    assert list(table.columns) == TWIN_COLUMNS
    filled_in(table).to_csv(tmp_path / "done.csv", index=False)
    log = read_log(tmp_path / "done.csv")
    assert len(log.rejects) == 0
    assert len(log.putts) == len(plan.log_rows)
    assert (log.putts["drill"] == plan.log_rows["drill"].to_numpy()).all()


def test_rows_left_blank_are_told_and_the_rest_is_read(plan, tmp_path):
    twin = twin_table([plan]).astype({"line_deg": object})
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
    plan = make_plan(player="=1+1")
    book = load_workbook(io.BytesIO(workbook([plan])))
    assert book["log"]["A2"].value == "=1+1"
    assert book["log"]["A2"].data_type != "f"
    write_plan([plan], tmp_path / "p.csv")
    assert "\n=1+1" not in (tmp_path / "p.csv").read_text()


def test_a_label_with_markup_does_not_run():
    html = page([make_plan(player="<script>x</script>")])
    assert "<script>" not in html
    assert "&lt;script&gt;" in html


def test_the_page_has_a_box_for_every_reading(plan):
    html = page([plan])
    # A box a putt, one a hole, and one for the total of the game.
    assert html.count('class="box"') == len(plan.log_rows) + 1
    assert "http" not in html.replace("http-equiv", "")


def test_another_ending_is_refused_before_anything_is_done():
    from pathlib import Path

    with pytest.raises(UsageError, match=r"\.csv .*\.xlsx .*\.html"):
        check_ending(Path("plan.docx"))
    assert check_ending(None) is None


def test_plans_of_a_roster_share_one_table(plan):
    other = SimpleNamespace(log_rows=plan.log_rows.assign(player="other"))
    assert list(twin_table([plan, other])["player"].unique()) == ["golfer", "other"]
