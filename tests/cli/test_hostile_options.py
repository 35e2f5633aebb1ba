"""Whatever is typed, a command ends with a code and a sentence, never an error of the kit."""

import contextlib
import os
import subprocess
import sys

import pytest
import typer
from conftest import DEMO
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from putlab.cli import console
from putlab.cli.app import build_app

NUMBERS = ["nan", "inf", "-inf", "1e300", "-1", "0", "1e-300", "2147483648", "9" * 30, "1e308", "4"]
TEXTS = ["", " ", "\u202egnp", "\x1b[31m", "=1+1", "a" * 300, "\udce9", "../..", "5,,", "1-", "3-1"]
PLACES = ["/dev/null", "/dev/zero", ".", "no folder/x.csv", "x.csv", "x.xlsx", "x", "-"]
COMMANDS = typer.main.get_command(build_app()).commands

# Each would start a server or copy files; their arguments are tested by themselves.
APART = {"notebooks", "cache"}


@st.composite
def command_lines(draw):
    """Draw a command and some of its options, with values that nobody should give."""
    name = draw(st.sampled_from(sorted(set(COMMANDS) - APART)))
    line = [name]
    for param in COMMANDS[name].params:
        if param.param_type_name == "argument":
            line.append(draw(st.sampled_from(["no such log.csv", "/dev/zero", "/dev/null"])))
        elif param.required or draw(st.integers(0, 3)) == 0:
            line.append(param.opts[0])
            if not param.is_flag:
                line.append(draw(st.sampled_from(NUMBERS + TEXTS + PLACES)))
    return line


# PyTensor raises the limit when it is loaded, in the middle of the first draws.
@pytest.mark.filterwarnings("ignore:The recursion limit will not be reset")
@settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
@given(line=command_lines())
def test_hostile_options_end_with_a_code_and_a_sentence(line, tmp_path_factory, capsys):
    with contextlib.chdir(tmp_path_factory.mktemp("options")):
        code = console.run(build_app(), line)
    said = capsys.readouterr()
    assert code in (0, 1, 2), line
    assert "error of the kit itself" not in said.err, (line, said.err)
    assert code == 0 or said.err.strip(), line
    assert not any(c in said.err + said.out for c in "\u202e\x1b"), line


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--line-sd-deg", "nan", "--pace-sd-pct", "8"], "--line-sd-deg: got nan"),
        (["--line-sd-deg", "1", "--pace-sd-pct", "1e300"], "--pace-sd-pct: got 1e+300"),
        (["--line-sd-deg", "1", "--pace-sd-pct", "8", "--stimp-ft", "nan"], "--stimp-ft: got nan"),
    ],
)
def test_numbers_that_no_putt_has_are_refused_by_name(options, said, capsys):
    assert console.run(build_app(), ["holeout", *options]) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("game LOG --level 10 --longest 20", "--level and --longest go with --deal"),
        ("game --deal 9 --reference r.csv", "--reference judges a LOG"),
        ("report LOG --workers 2", "give it"),
        ("report LOG --each-player --workers 2 --cluster a:1", "leave out --workers"),
        ("trial --lengths 10 --before A --after A", "name two conditions"),
        ("compare LOG --before A --after A", "name two conditions"),
    ],
)
def test_options_that_contradict_each_other_are_refused(line, said, capsys):
    assert console.run(build_app(), [str(DEMO) if w == "LOG" else w for w in line.split()]) == 2
    assert said in capsys.readouterr().err


HOLEOUT = [sys.executable, "-m", "putlab", "holeout", "--line-sd-deg", "1", "--pace-sd-pct", "8"]


def test_a_full_disk_behind_standard_output_is_told():
    with open("/dev/full", "w") as full:
        done = subprocess.run(HOLEOUT, stdout=full, stderr=subprocess.PIPE, text=True)
    assert done.returncode == 1
    assert done.stderr.startswith("putlab: standard output could not be written: No space left")
    assert "Traceback" not in done.stderr


def test_names_steer_no_terminal_and_break_no_stream_that_is_not_utf8(tmp_path):
    log = tmp_path / "a\u202e\x1b[2Jgnp \udce9.csv"
    log.write_text("player,session,distance_ft,line_deg\n\u0394\x1b,s1,10,1\nz\u0142y,s1,10,1\n")
    done = subprocess.run(
        [sys.executable, "-m", "putlab", "check", str(log)],
        capture_output=True,
        env=os.environ | {"PYTHONIOENCODING": "ascii"},
    )
    said = (done.stdout + done.stderr).decode()
    assert done.returncode in (0, 1)
    assert "z\u0142y" in said
    assert not any(c in said for c in "\u202e\x1b\udce9")
    assert "error of the kit" not in said
