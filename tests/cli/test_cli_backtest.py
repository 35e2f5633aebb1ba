"""The `backtest` command: what it asks for, shows and writes."""

import json

import pandas as pd
import typer
from conftest import DEMO

import putlab as pl
from putlab.cli.console import run
from putlab.cli.skill import backtest
from putlab.posterior.backtest import Backtest


def test_a_backtest_is_shown_and_written(monkeypatch, tmp_path, capsys):
    row = {"player": "birch", "session": "2024-01-01", "component": "line", "distance_ft": 10.0}
    row |= {"low": 0.4, "high": 0.5, "held_50": 1.0, "held_90": 1.0}
    row |= {"chance": 0.2, "plain": 0.1, "last_visit": 0.1}
    asked = {}

    def made(log, **options):
        asked.update(options)
        return Backtest(pd.DataFrame([row]))

    monkeypatch.setattr(pl, "backtest", made, raising=False)
    app = typer.Typer(pretty_exceptions_enable=False)
    app.command()(backtest)
    path = tmp_path / "backtest.json"
    assert run(app, [str(DEMO), "--player", "birch", "--visits", "1"]) == 0
    assert asked["visits"] == 1
    shown = capsys.readouterr()
    assert "-1.61" in shown.out
    assert "100\u202f%" in shown.out
    assert run(app, [str(DEMO), "-o", str(path)]) == 0
    assert json.loads(path.read_text())["records"][0]["held_90"] == 1.0
