"""Whole commands, from the shell's start to its end: what a person waits for."""

import json
from pathlib import Path

import pytest

REFIT = str(Path(__file__).with_name("refit.py"))

pytestmark = pytest.mark.bench

HOLEOUT = ("holeout", "--line-sd-deg", "1.5", "--pace-sd-pct", "9")
QUICK = [
    (("--help",), 0.2, 0),
    # The demo has a few rows that can't be used, which `check` ends with 1 to say.
    (("check", "data_demo"), 0.6, 1),
    (HOLEOUT, 0.6, 0),
    (("roll", "--distance-ft", "10", "--slope-pct", "2", "--slope-to-deg", "90"), 0.6, 0),
]
CHANGE = ("--player", "birch", "--before", "usual routine", "--after", "new routine")
# Of a log whose fit is known, asked a second time.
ASKED = [
    ("advise", "data_demo", "--player", "rowan"),
    ("plan", "data_demo", "--player", "rowan"),
    ("estimate", "data_demo"),
    ("compare", "data_demo", *CHANGE),
]


@pytest.mark.parametrize(
    ("command", "most", "ends"), QUICK, ids=[command[0].strip("-") for command, *_ in QUICK]
)
def test_commands_that_need_no_fit(measured, run_process, command, most, ends):
    run_process("-m", "putlab", *command, ends=ends)  # so that byte code is compiled
    best = min(
        (run_process("-m", "putlab", *command, ends=ends) for _ in range(3)),
        key=lambda run: run.seconds,
    )
    name = " ".join(("putlab", *command[:2]))
    kept = measured.add("command", name, best.seconds, "s", most=most)
    measured.add("command", f"{name}: memory", best.megabytes, "MB")
    assert kept


def test_report_of_the_demo(measured, run_process, tmp_path):
    """Cold: nothing kept of the fit, as after a new visit. Warm: all is known."""
    report = ("-m", "putlab", "report", "data_demo", "-o", str(tmp_path / "report.html"))
    env = {"PUTLAB_CACHE": str(tmp_path / "cache")}
    run_process("-m", "putlab", "check", "data_demo", ends=1)
    cold = run_process(*report, env=env)
    warm = run_process(*report, env=env)
    kept = [
        measured.add("command", "putlab report data_demo, cold", cold.seconds, "s", most=23),
        measured.add("command", "putlab report data_demo, warm", warm.seconds, "s", most=4),
    ]
    for command in ASKED:
        run_process("-m", "putlab", *command, env=env)
        again = min(run_process("-m", "putlab", *command, env=env).seconds for _ in range(3))
        what = f"putlab {command[0]} data_demo, warm"
        kept.append(measured.add("command", what, again, "s", most=2.5))
    measured.add("command", "putlab report data_demo, cold: memory", cold.megabytes, "MB")
    assert all(kept)


def test_refit_after_a_visit_compiles_nothing(measured, run_process):
    found = json.loads(run_process(REFIT).output.strip().splitlines()[-1])
    note = f"{found['cpu']:.1f} s of processor"
    kept = measured.add("command", "refit after a visit", found["wall"], "s", most=10, note=note)
    assert kept
    assert found["compiled"] == 0


@pytest.mark.parametrize("module", ["pymc", "arviz", "matplotlib", "pytensor", "nutpie"])
def test_quick_commands_load_nothing_heavy(run_process, module):
    for command, *_ in QUICK:
        code = (
            f"import sys; sys.argv = ['putlab', *{command!r}]\n"
            "from putlab.cli import main\n"
            "try: main()\nexcept SystemExit: pass\n"
            f"sys.exit({module!r} in sys.modules)"
        )
        run_process("-c", code)
