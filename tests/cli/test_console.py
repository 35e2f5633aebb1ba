"""Messages and exit codes of the command, whichever way it ends."""

import contextvars
import inspect
import json
import os
import signal
import subprocess
import sys
import time
from types import SimpleNamespace

import pandas as pd
import pytest
import typer
from conftest import DEMO

from putlab.base import words
from putlab.base.errors import FitError, LogError, UsageError
from putlab.base.words import lengths_in
from putlab.cli import console, options
from putlab.cli.app import build_app
from putlab.cli.console import in_words


def app_that(action):
    app = typer.Typer(pretty_exceptions_enable=False)
    app.command()(action)
    return app


def raising(error):
    def command():
        raise error

    return app_that(command)


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (LogError("row 3"), 1),
        (FitError("no"), 1),
        (UsageError("bad"), 2),
        (KeyboardInterrupt(), 130),
    ],
)
def test_every_ending_has_its_code_and_one_message(error, code, capsys):
    assert console.run(raising(error), []) == code
    said = capsys.readouterr().err
    assert said.startswith("putlab: ")
    assert "Traceback" not in said


def test_an_error_of_the_kit_says_so_without_a_traceback(capsys, monkeypatch):
    monkeypatch.delenv("PUTLAB_DEBUG", raising=False)
    assert console.run(raising(ZeroDivisionError("x")), []) == 1
    said = capsys.readouterr().err
    assert "error of the kit itself" in said
    assert "Traceback" not in said


def test_the_developer_can_have_the_traceback(monkeypatch):
    monkeypatch.setenv("PUTLAB_DEBUG", "1")
    with pytest.raises(ZeroDivisionError, match="x"):
        console.run(raising(ZeroDivisionError("x")), [])


@pytest.mark.parametrize("arguments", [["nonsense"], ["check"], ["estimate", "x", "--seed", "y"]])
def test_wrong_usage_exits_with_2(arguments, capsys):
    assert console.run(build_app(), arguments) == 2
    assert capsys.readouterr().err


def test_every_command_explains_itself_by_example(capsys):
    app = build_app()
    for command in app.registered_commands:
        name = command.name
        assert console.run(app, [name, "--help"]) == 0
        assert f"putlab {name}" in capsys.readouterr().out


def test_pseudonyms_may_be_asked_for_after_the_command(tmp_path, capsys):
    out = tmp_path / "estimates.json"
    arguments = ["estimate", str(DEMO), "-o", str(out), "--pseudonyms"]
    assert console.run(build_app(), arguments) == 0
    said = capsys.readouterr()
    players = {row["player"] for row in json.loads(out.read_text())["records"]}
    assert players == {"player 1", "player 2", "player 3"}
    for name in ("alder", "birch", "rowan"):
        assert name not in out.read_text() + said.out + said.err


HELD_OUT = ["pymc", "arviz", "matplotlib", "jinja2", "statsmodels"]
SOLVERS = ["scipy.stats", "scipy.interpolate", "scipy.ndimage"]


@pytest.mark.parametrize(
    ("command", "never"),
    [
        ("--help", ["rich", "pydantic", "numpy", "pandas", "scipy"]),
        ("check --help", ["rich", "numpy", "pandas", "scipy"]),
        ("holeout --help", ["rich", "numpy", "pandas", "scipy"]),
        (f"check {DEMO}", ["rich", "scipy"]),
        ("holeout --line-sd-deg 1 --pace-sd-pct 8", ["scipy.optimize", *SOLVERS]),
        ("roll --distance-ft 10", ["rich", *SOLVERS]),
    ],
)
def test_light_commands_load_no_heavy_library(command, never):
    # What is loaded, and not how long it takes: that depends on how busy the machine is.
    code = (
        "import sys; from putlab.cli.app import build_app; from putlab.cli.console import run; "
        f"run(build_app(), {command.split()!r}); "
        f"print(sorted({{*{HELD_OUT + never!r}}} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.strip().endswith("[]"), done.stdout[-200:] + done.stderr


def test_an_interrupt_lost_in_a_callback_comes_again():
    heard = []

    def lost(*_):
        try:
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(0.1)
        except KeyboardInterrupt:
            heard.append("lost")

    @console.insistent_interrupts()
    def interrupted():
        lost()
        time.sleep(10)

    before = signal.getsignal(signal.SIGINT)
    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert heard == ["lost"]
    assert signal.getsignal(signal.SIGINT) is before
    assert signal.getitimer(signal.ITIMER_REAL) == (0.0, 0.0)


def test_of_what_callbacks_lose_all_but_interrupts_is_told(monkeypatch):
    told = []
    monkeypatch.setattr(sys, "unraisablehook", told.append)
    fault = SimpleNamespace(exc_type=ValueError)
    with console.insistent_interrupts():
        sys.unraisablehook(SimpleNamespace(exc_type=KeyboardInterrupt))
        sys.unraisablehook(fault)
    assert told == [fault]


def test_an_interrupt_inside_a_string_of_code_ends_with_the_promised_code(tmp_path):
    script = """
import sys
from putlab.cli.console import run

def app(**kwargs):
    exec("raise KeyboardInterrupt")

sys.exit(run(app, []))
"""
    (tmp_path / "interrupted.py").write_text(script)
    arguments = [sys.executable, "-m", "interrupted"]
    run = subprocess.run(arguments, stderr=subprocess.PIPE, text=True, cwd=tmp_path)
    assert run.returncode == 130
    assert "stopped. Nothing was half written" in run.stderr


@pytest.mark.slow
def test_an_interrupt_during_a_fit_ends_cleanly(tmp_path):
    out = tmp_path / "estimates.csv"
    environment = os.environ | {"PUTLAB_CACHE": str(tmp_path / "cache")}
    arguments = [sys.executable, "-m", "putlab", "estimate", str(DEMO), "-o", str(out)]
    run = subprocess.Popen(arguments, stderr=subprocess.PIPE, text=True, env=environment)
    time.sleep(8)  # past the imports, into compiling or sampling
    run.send_signal(signal.SIGINT)
    _, said = run.communicate(timeout=120)
    assert run.returncode == 130
    assert "stopped. Nothing was half written" in said
    assert "Traceback" not in said
    assert not out.exists()


def test_lengths_of_a_table_are_shown_in_the_unit_of_the_log():
    table = pd.DataFrame({"distance_ft": [1.5 / 0.3048, 8.0], "putts": [3, 4]})
    columns = {"distance_ft": ("Distance, ft", "{:g}"), "putts": ("Putts", "{}")}
    with lengths_in("m"):
        shown = in_words(table, columns)
    assert shown.to_dict("list") == {"Distance, m": ["1.5", "2.4"], "Putts": ["3", "4"]}
    # 1.5 m are 4.92126 ft, by the exact foot.
    assert in_words(table, columns).to_dict("list")["Distance, ft"] == ["4.9", "8"]


def test_answers_come_in_the_unit_asked_for(tmp_path):
    log = tmp_path / "a.csv"
    log.write_text("session,distance_ft,line_deg\na,10,1\na,6,2\n")

    def said(units):
        read = options.read(log, units=units)
        return read.units, words.length_words(10)

    # By the exact foot: 10 ft are 3.048 m, said to a tenth.
    assert contextvars.copy_context().run(said, "m") == ("m", "3\u00a0m")
    assert contextvars.copy_context().run(said, None) == ("ft", "10\u00a0ft")
    commands = {command.callback.__name__: command for command in build_app().registered_commands}
    for name in ("report", "estimate", "advise", "plan", "review", "trial", "start"):
        assert "units" in inspect.signature(commands[name].callback).parameters
