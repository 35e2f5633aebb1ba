"""Whole commands, from the shell's start to its end: what a person waits for."""

import pytest

pytestmark = pytest.mark.bench

HOLEOUT = ("holeout", "--line-sd-deg", "1.5", "--pace-sd-pct", "9")
QUICK = [
    (("--help",), 0.5, 0),
    # The demo has a few rows that can't be used, which `check` ends with 1 to say.
    (("check", "data_demo"), 1.5, 1),
    (HOLEOUT, 2.0, 0),
    (("roll", "--distance-ft", "10", "--slope-pct", "2", "--slope-to-deg", "90"), 2.0, 0),
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
    """Cold: nothing kept of the fit, as after a new visit. Warm: the fit is known."""
    report = ("-m", "putlab", "report", "data_demo", "-o", str(tmp_path / "report.html"))
    env = {"PUTLAB_CACHE": str(tmp_path / "cache")}
    run_process("-m", "putlab", "check", "data_demo", ends=1)
    cold = run_process(*report, env=env)
    warm = run_process(*report, env=env)
    kept = [
        measured.add("command", "putlab report data_demo, cold", cold.seconds, "s", most=60),
        measured.add("command", "putlab report data_demo, warm", warm.seconds, "s", most=10),
    ]
    measured.add("command", "putlab report data_demo, cold: memory", cold.megabytes, "MB")
    assert all(kept)


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
