"""The `advise`, `plan` and `review` commands: what they write, show and refuse."""

import json

import pandas as pd
import pytest
import typer
from conftest import DEMO

import putlab as pl
from putlab.cli.console import run
from putlab.cli.practice import advise, plan, review
from putlab.log.read import read_log
from putlab.practice.advice import advise as advise_golfer
from putlab.practice.sensitivity import what_if

COLUMNS = ["player", "stretch", "from_ft", "to_ft", "component", "measured_putts"]
COLUMNS += [f"{lens}{end}" for lens in ("strokes_lost", "saved_next_hour")
            for end in ("", "_lo", "_hi")]  # fmt: skip
COLUMNS += ["saved_by_middle", "saved_by_scatter", "p_best", "expected_regret"]


@pytest.fixture
def command(monkeypatch, demo_fit):
    """Return a way to run the commands with the demo's fit at hand."""
    monkeypatch.setattr(pl, "fit", lambda log, **options: demo_fit, raising=False)
    app = typer.Typer(pretty_exceptions_enable=False)
    for one in (advise, plan, review):
        app.command()(one)
    return lambda *arguments: run(app, [str(part) for part in arguments])


def test_advice_has_a_row_a_player_stretch_and_component(command, tmp_path, demo_fit):
    path = tmp_path / "advice.csv"
    assert command("advise", DEMO, "-o", path) == 0
    table = pd.read_csv(path)
    assert list(table.columns) == COLUMNS
    assert len(table) == 3 * 5 * 2
    assert table.groupby("player")["p_best"].sum().to_numpy() == pytest.approx(1, abs=1e-4)
    expected = advise_golfer(demo_fit.golfer("birch")).table
    found = table[table["player"] == "birch"]["saved_next_hour"].to_numpy()
    assert found == pytest.approx(expected["saved_next_hour"].to_numpy(), rel=1e-5)


def test_the_answer_comes_first_on_the_screen(command, capsys):
    assert command("advise", DEMO, "--player", "birch", "--weeks", 4) == 0
    said = capsys.readouterr().out
    assert said.startswith("birch:")
    answer = " ".join(said.split("━")[0].split())
    for words in ("strokes a round", "to the tour golfer with the putter", "Over 4 weeks, 10 hours",
                  "Best split:"):  # fmt: skip
        assert words in answer
    assert "a coach who sees you decides" in said.replace("\n", " ")


def test_json_tells_sentences_assumptions_and_checks(command, tmp_path):
    path = tmp_path / "advice.json"
    assert command("advise", DEMO, "--player", "rowan", "--minutes", 40, "-o", path) == 0
    whole = json.loads(path.read_text())
    assert "the next 40 minutes" in whole["meta"]["says"]["rowan"][0]
    names = {row["name"] for row in whole["meta"]["assumptions"]["rowan"]}
    assert {"line_rate", "carry_range", "mix", "stimp_ft"} <= names
    assert "R-hat" in whole["meta"]["diagnostics"]["line"]


def test_a_reference_and_a_mix_of_the_users_own_change_what_is_lost(command, tmp_path):
    reference, mix = tmp_path / "club.csv", tmp_path / "mine.csv"
    reference.write_text("distance_ft,average_putts\n3,1.2\n6,1.55\n10,1.75\n20,2.05\n40,2.4\n")
    mix.write_text("distance_ft,first_putts\n6,10\n24,8\n")
    options = ["--player", "alder", "--reference", reference, "--mix", mix]
    tables = []
    for number, more in enumerate([[], options]):
        path = tmp_path / f"{number}.csv"
        assert command("advise", DEMO, *(more or options[:2]), "-o", path) == 0
        tables.append(pd.read_csv(path))
    lost = [table["strokes_lost"].sum() for table in tables]
    # The club of the file needs more putts than the tour: less is lost to it.
    assert lost[1] < lost[0]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--minutes", 0], "--minutes: got 0; expected 1 to 6000"),
        (["--player", "brich"], "Did you mean 'birch'"),
        (["--mix", "champion"], "no mix of first putts"),
        (["--reference", "nowhere.csv"], "neither a level (tour, scratch, 5"),
    ],
)
def test_a_wrong_choice_is_told_before_the_fit(command, capsys, arguments, words):
    assert command("advise", DEMO, *arguments) == 2
    assert words in capsys.readouterr().err


def test_what_the_choice_leans_on_is_said_when_asked(command, capsys, monkeypatch):
    monkeypatch.setitem(what_if.__kwdefaults__, "draws", 10)
    assert command("advise", DEMO, "--player", "birch", "--what-if") == 0
    assert "Leans on:" in capsys.readouterr().out


def test_a_plan_is_written_as_rows_workbook_and_page(command, tmp_path):
    for ending in ("csv", "xlsx", "html"):
        path = tmp_path / f"plan.{ending}"
        arguments = ["--player", "birch", "--seed", 7, "--session", "2026-02-03", "-o", path]
        assert command("plan", DEMO, "--minutes", 40, *arguments) == 0
        assert path.stat().st_size > 500
    rows = pd.read_csv(tmp_path / "plan.csv")
    assert (rows["session"] == "2026-02-03").all()
    assert (rows["stimp_ft"] == 9.5).all()


def test_a_plan_filled_in_joins_the_log(command, tmp_path):
    path = tmp_path / "2026-02-03.csv"
    arguments = ["--player", "birch", "--session", "2026-02-03", "-o", path]
    assert command("plan", DEMO, *arguments) == 0
    rows = pd.read_csv(path).assign(line_deg=0.0)
    rows.to_csv(path, index=False)
    for evening in DEMO.glob("2026-*.csv"):
        (tmp_path / evening.name).write_bytes(evening.read_bytes())
    log = read_log(tmp_path)
    assert (log.putts["session"] == "2026-02-03").sum() == len(rows)


def test_everybody_gets_a_plan_where_nobody_is_named(command, capsys):
    assert command("plan", DEMO) == 0
    said = capsys.readouterr().out
    assert all(f"{name}, 40 minutes" in said for name in ("alder", "birch", "rowan"))
    assert said.count("Stop at pain") == 3


@pytest.mark.parametrize(
    ("arguments", "words"),
    [(["--minutes", 10], "18 or more"), (["-o", "plan.docx"], ".csv (rows to fill in)")],
)
def test_a_plan_that_cannot_be_is_refused(command, capsys, arguments, words):
    assert command("plan", DEMO, *arguments) == 2
    assert words in capsys.readouterr().err


def test_a_review_is_written_and_shown(command, tmp_path, capsys):
    path = tmp_path / "review.csv"
    assert command("review", DEMO, "--player", "birch", "-o", path) == 0
    table = pd.read_csv(path)
    assert set(table["session"]) == {"2026-01-27"}
    assert set(table["measure"]) == {"spread", "bias", "share inside"}
    assert command("review", DEMO, "--player", "birch", "--session", "2026-01-20") == 0
    assert capsys.readouterr().out.startswith("birch, 2026-01-20:")


def test_a_visit_that_is_not_there_is_told(command, capsys):
    assert command("review", DEMO, "--session", "2030-01-01") == 2
    assert "rowan has '" in capsys.readouterr().err
