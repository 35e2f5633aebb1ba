"""What the measurements share: one table of everything measured, kept with its date.

    uv run --group bench pytest -n 0 -m bench tests/bench

Take measurements on an otherwise idle machine. Each line of the table is one figure, the
bar it must keep where there is one, and what rivals took in the same run.
"""

import contextlib
import datetime
import json
import os
import platform
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import psutil
import pytest

RESULTS = Path(__file__).parents[1] / "results" / "bench.json"
ROOT = Path(__file__).parents[2]
DEMO = ROOT / "data_demo"


class Table:
    """Figures measured in this run."""

    def __init__(self):
        self.rows = []

    def add(self, group, what, value, unit, *, most=None, least=None, note=""):
        """Keep a figure, with the bar it is held to: at most, or at least."""
        kept = None
        if most is not None or least is not None:
            kept = bool((most is None or value <= most) and (least is None or value >= least))
        self.rows.append(
            {
                "group": group,
                "what": what,
                "value": value if isinstance(value, str) else float(f"{value:.4g}"),
                "unit": unit,
                "at_most": most,
                "at_least": least,
                "kept": kept,
                "note": note,
            }
        )
        return kept


TABLE = Table()


@pytest.fixture
def measured():
    """Return the table of this run."""
    return TABLE


@dataclass(frozen=True)
class Run:
    """A process that ran, or was stopped at its time limit.

    Attributes
    ----------
    seconds : float
        Wall time, from start to end.
    megabytes : float
        Most memory that it and what it started held, looked at many times.
    output : str
        Standard output.
    finished : bool
        False where the limit stopped it.
    """

    seconds: float
    megabytes: float
    output: str
    finished: bool = True


@pytest.fixture
def run_process(tmp_path):
    """Return a function that runs Python with arguments, and measures it."""

    def run(*arguments, limit=600, env=None, ends=0):
        return timed_process([sys.executable, *arguments], tmp_path, limit, env or {}, ends)

    return run


def timed_process(command, folder, limit, env, ends):
    """Run a command; return wall time, peak memory and output."""
    out, err = folder / "out.txt", folder / "err.txt"
    start = time.perf_counter()
    with out.open("w") as output, err.open("w") as errors:
        # A group of its own, so that a limit stops what the process started as well.
        process = subprocess.Popen(
            command,
            cwd=ROOT,
            stdout=output,
            stderr=errors,
            env=os.environ | env,
            start_new_session=True,
        )
        try:
            status, peak, finished = _wait(process, start, limit)
        finally:
            # Interrupted: a group of its own is not told of that.
            if process.returncode is None:
                os.killpg(process.pid, signal.SIGKILL)
    seconds = time.perf_counter() - start
    if finished and status != ends:
        raise AssertionError(f"{command} ended with {status}: {err.read_text()[-3000:]}")
    return Run(seconds, peak / 2**20, out.read_text(), finished)


def _wait(process, start, limit):
    """Wait for the end; return status, peak memory in bytes, and whether it was reached."""
    peak, next_look, finished = 0, start, True
    while (status := process.poll()) is None:
        now = time.perf_counter()
        if now >= next_look:
            peak = max(peak, _memory(process.pid))
            # Often enough for a short process, seldom enough not to slow a long one.
            next_look = now + min(max(0.02, (now - start) / 50), 1.0)
        if finished and now > start + limit:
            os.killpg(process.pid, signal.SIGKILL)
            finished = False
        time.sleep(0.002)
    return status, peak, finished


def _memory(pid):
    """Return resident memory of a process and all it started; what has ended holds none.

    The kernel's own peak would not do: a child inherits its parent's at birth.
    """
    held = 0
    with contextlib.suppress(psutil.NoSuchProcess):
        parent = psutil.Process(pid)
        for process in (parent, *parent.children(recursive=True)):
            with contextlib.suppress(psutil.NoSuchProcess):
                held += process.memory_info().rss
    return held


def pytest_terminal_summary(terminalreporter):
    """Print the table and keep it, with date, machine and versions."""
    if not TABLE.rows:
        return
    terminalreporter.section("measured")
    for line in _lines(TABLE.rows):
        terminalreporter.write_line(line)
    earlier = json.loads(RESULTS.read_text(encoding="utf-8")) if RESULTS.exists() else {}
    rows = {(r["group"], r["what"]): r for r in earlier.get("figures", [])}
    rows |= {(r["group"], r["what"]): r | _when() for r in TABLE.rows}
    RESULTS.parent.mkdir(exist_ok=True)
    kept = {"machine": _machine(), "figures": list(rows.values())}
    RESULTS.write_text(json.dumps(kept, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    terminalreporter.write_line(f"kept in {RESULTS.relative_to(ROOT)}")


def _when():
    # A figure taken on a busy machine says so.
    return {
        "date": datetime.datetime.now(datetime.UTC).date().isoformat(),
        "load": round(os.getloadavg()[2], 1),
    }


def _machine():
    from putlab.base.cache import versions

    return {"cores": os.cpu_count(), "system": platform.system(), "versions": versions()}


def _lines(rows):
    for row in rows:
        value = row["value"] if isinstance(row["value"], str) else f"{row['value']:g}"
        bar = "" if row["at_most"] is None else f"at most {row['at_most']:g}"
        bar = bar if row["at_least"] is None else f"at least {row['at_least']:g}"
        kept = {True: "kept", False: "NOT MET", None: ""}[row["kept"]]
        yield (
            f"{row['group']:<9} {row['what']:<56} {value:>9} {row['unit']:<14} "
            f"{bar:<13} {kept:<8} {row['note']}"
        )
