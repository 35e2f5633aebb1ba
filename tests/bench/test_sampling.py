"""Effective draws a second of the line fit, beside rivals in the same run."""

import importlib.util
import json
from pathlib import Path

import pytest

pytestmark = pytest.mark.bench

RIVALS = str(Path(__file__).with_name("rivals.py"))

# Rivals are stopped here; what they then had drawn at most bounds what they could have given.
LIMIT_S = {1_000: 300, 100_000: 300}
MOST_DRAWS = 4_000

PLAIN = ["plain, PyMC's sampler", "plain, nutpie", "plain, Stan"]
LEAST = {1_000: 3.0, 100_000: 30.0}


@pytest.mark.parametrize("putts", [1_000, 100_000])
def test_effective_draws_a_second(measured, run_process, putts):
    rates = {}
    for kind in ["counted", "uncounted", *PLAIN]:
        if kind == "plain, Stan" and importlib.util.find_spec("stan") is None:
            measured.add("sampling", f"{kind}, {putts} putts", "not installed", "")
            continue
        ran = run_process(RIVALS, kind, str(putts), limit=LIMIT_S[putts])
        rates[kind] = _told(measured, kind, putts, ran)
    rival = rates[PLAIN[0]]
    times = rates["counted"] / rival
    what = f"counted against a row a putt (PyMC), {putts} putts"
    assert measured.add("sampling", what, times, "times", least=LEAST[putts])


def _told(measured, kind, putts, ran):
    what = f"{kind}, {putts} putts"
    if not ran.finished:
        bound = MOST_DRAWS / LIMIT_S[putts]
        note = f"did not finish in {LIMIT_S[putts]} s: fewer than {bound:.3g}/s"
        measured.add("sampling", what, bound, "ESS/s at most", note=note)
        return bound
    found = json.loads(ran.output.strip().splitlines()[-1])
    rate = found["ess"] / found["sampling"]
    note = (
        f"{found['sampling']:.1f} s after {found['build']:.1f} s to build; "
        f"{found['ess']:.0f} of {found['slowest']}; {found['cpu']:.0f} s of processor in all; "
        f"{ran.megabytes:.0f} MB"
    )
    measured.add("sampling", what, rate, "ESS/s", note=note)
    return rate
