"""The built wheel works outside the source tree, with what it ships."""

import os
import shutil
import subprocess
import sys

import pytest
from conftest import ROOT

pytestmark = pytest.mark.slow


def run(*command, where):
    own = ("PYTHONPATH", "PYTHONPYCACHEPREFIX", "VIRTUAL_ENV")
    environment = {k: v for k, v in os.environ.items() if k not in own}
    return subprocess.run(
        [str(part) for part in command], cwd=where, env=environment, capture_output=True, text=True
    )


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """Return the folder of a fresh environment with the wheel in it."""
    folder = tmp_path_factory.mktemp("wheel")
    uv = shutil.which("uv")
    assert uv, "uv is what runs these tests, so it is here"
    built = run(uv, "build", "--wheel", "--out-dir", folder, ROOT, where=ROOT)
    assert built.returncode == 0, built.stderr
    wheel = next(folder.glob("*.whl"))
    made = run(uv, "venv", "--python", sys.executable, folder / "venv", where=ROOT)
    assert made.returncode == 0, made.stderr
    python = folder / "venv" / "bin" / "python"
    put = run(uv, "pip", "install", "--python", python, wheel, where=ROOT)
    assert put.returncode == 0, put.stderr
    return folder


def test_the_command_runs_outside_the_source_tree(installed):
    putlab = installed / "venv" / "bin" / "putlab"
    said = run(
        putlab, "holeout", "--line-sd-deg", 1.5, "--pace-sd-pct", 9, "-o", "-", where=installed
    )
    assert said.returncode == 0, said.stderr
    assert said.stdout.startswith("distance_ft,one_putt,three_putt,average_putts,mean_leave_ft")


def test_the_wheel_brings_the_demo_and_the_notebooks(installed):
    putlab = installed / "venv" / "bin" / "putlab"
    copied = run(putlab, "notebooks", "work", where=installed)
    assert copied.returncode == 0, copied.stderr
    shipped = {path.name for path in (ROOT / "notebooks").glob("*.ipynb")}
    assert {path.name for path in (installed / "work").rglob("*.ipynb")} == shipped
    demo = installed / "work" / "data_demo"
    checked = run(putlab, "check", demo, where=installed)
    assert checked.returncode == 1  # the demo has typing errors
    assert "9 rejected" in checked.stdout
