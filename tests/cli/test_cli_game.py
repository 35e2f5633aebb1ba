"""The `game` command: games judged, games dealt, and how it refuses."""

import io
import json

import pandas as pd
import pytest
import typer

from putlab.cli.console import run
from putlab.cli.practice import game
from putlab.rounds.first_putts import shipped_mix
from putlab.rounds.games import deal_game

DEMO_COLUMNS = {
    "player",
    "session",
    "game",
    "holes",
    "par",
    "score",
    "expected_score",
    "expected_sd",
    "expected_lo",
    "expected_hi",
    "chance_as_low",
    "gained_on_self",
    "gained_on_reference",
    "counted_ratio",
    "counted_ratio_lo",
    "counted_ratio_hi",
    "chance_wider",
}


@pytest.fixture
def command():
    app = typer.Typer(pretty_exceptions_enable=False)
    app.command()(game)
    return lambda *arguments: run(app, [str(part) for part in arguments])


def test_a_dealt_card_is_written_as_rows_to_fill_in(command, tmp_path):
    path = tmp_path / "card.csv"
    arguments = ["--deal", 9, "--seed", 4, "--session", "2026-02-03", "-o", path]
    assert command(*arguments) == 0
    card = pd.read_csv(path)
    expected = deal_game(shipped_mix(), 9, seed=4, session="2026-02-03", longest_ft=40)
    assert list(card["distance_ft"]) == list(expected["distance_ft"])
    assert set(card["drill"]) == {"counted"}
    assert card[["line_deg", "roll_ft", "putts_taken", "leave_ft"]].isna().all(axis=None)


def test_a_dealt_card_is_shown_in_words(command, capsys):
    assert command("--deal", 9, "--level", "tour", "--slopes", "0") == 0
    said = capsys.readouterr()
    assert said.out.count("level") == 9
    assert "Lengths: tour (derived: M. Broadie" in said.err


def test_lengths_can_be_those_of_the_players_own_games(command, capsys, pytestconfig):
    demo = pytestconfig.rootpath / "data_demo"
    assert command(demo, "--deal", 9, "--player", "rowan", "-o", "-") == 0
    said = capsys.readouterr()
    card = pd.read_csv(io.StringIO(said.out))
    assert set(card["player"]) == {"rowan"}
    assert set(card["distance_ft"]) <= {3, 6, 10, 16, 24, 36}
    assert "own rounds (counted:" in said.err


@pytest.mark.parametrize(("units", "longest"), [("ft", 20), ("m", 6)])
def test_no_hole_is_longer_than_there_is_room_for(command, capsys, tmp_path, units, longest):
    path = tmp_path / "card.xlsx"
    asked = ["--deal", 18, "--level", "tour", "--units", units, "--longest", longest]
    assert command(*asked, "-o", path) == 0
    assert f"none longer than {longest} {units}" in capsys.readouterr().err
    lengths = pd.read_excel(path, sheet_name="game")[f"distance_{units}"]
    assert lengths.max() == longest
    # In whole feet, or tenths of a metre.
    assert (lengths * (1 if units == "ft" else 10) % 1).max() < 1e-9


def test_a_log_in_metres_deals_in_metres(command, tmp_path, capsys):
    path = tmp_path / "log.csv"
    path.write_text("session,distance_m,line_deg\na,3,1\na,12,-1\n")
    assert command(path, "--deal", 9, "-o", tmp_path / "card.csv") == 0
    assert "none longer than 12 m" in capsys.readouterr().err
    assert pd.read_csv(tmp_path / "card.csv")["distance_m"].max() <= 12


def test_a_log_without_games_deals_a_round_that_its_mat_has_room_for(command, tmp_path, capsys):
    path = tmp_path / "log.csv"
    path.write_text("session,distance_ft,line_deg\na,10,1\na,30,-1\n")
    assert command(path, "--deal", 18, "-o", tmp_path / "card.csv") == 0
    assert "none longer than 30 ft" in capsys.readouterr().err
    assert pd.read_csv(tmp_path / "card.csv")["distance_ft"].max() == 30


@pytest.mark.parametrize(
    ("arguments", "match"),
    [
        ([], "give a LOG with counted games, or --deal 9"),
        (["--deal", 0], "holes 0: expected 1 to 18 holes"),
        (["--deal", 9, "--level", "champion"], "no mix of first putts for 'champion'"),
        (["--deal", 9, "--slopes", "1,x"], "--slopes 1,x: give percents"),
        (["--deal", 9, "--slopes", "40"], "0 to 5 %"),
        (["--deal", 9, "-o", "card.txt"], "card.txt"),
    ],
)
def test_wrong_usage_exits_2_and_says_why(command, capsys, arguments, match):
    assert command(*arguments) == 2
    assert match in " ".join(capsys.readouterr().err.split())


def test_a_log_without_games_stops_the_job(command, tmp_path, capsys):
    path = tmp_path / "log.csv"
    path.write_text("session,distance_ft,line_deg\n2026-01-01,10,1\n2026-01-01,10,-1\n")
    assert command(path) == 1
    assert "has no counted game" in capsys.readouterr().err


def test_a_player_who_is_not_there_is_refused_before_any_fit(command, capsys, pytestconfig):
    assert command(pytestconfig.rootpath / "data_demo", "--player", "aldr") == 2
    assert "Did you mean 'alder'?" in capsys.readouterr().err


@pytest.mark.slow
def test_demo_games_are_judged(command, tmp_path, pytestconfig, demo_fit):
    path = tmp_path / "games.json"
    assert demo_fit.players == ["alder", "birch", "rowan"]
    assert command(pytestconfig.rootpath / "data_demo", "-p", "birch", "-o", path) == 0
    whole = json.loads(path.read_text())
    table = pd.DataFrame(whole["records"])
    assert set(table) == DEMO_COLUMNS
    assert len(table) == 10
    assert table["counted_ratio"].nunique() == 1
    assert "Broadie" in whole["meta"]["reference"]


@pytest.mark.slow
def test_demo_games_are_told_in_words(command, capsys, pytestconfig, demo_fit):
    assert demo_fit.players == ["alder", "birch", "rowan"]
    assert command(pytestconfig.rootpath / "data_demo", "-p", "alder") == 0
    said = capsys.readouterr().out
    assert "alder: when it counts, spread is" in said
    assert "2026-01-27" in said
