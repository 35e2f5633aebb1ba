"""Effective draws a second of the line fit, beside rivals in the same run."""

import importlib.util
import json
from pathlib import Path

import pytest

pytestmark = pytest.mark.bench

RIVALS = str(Path(__file__).with_name("rivals.py"))

# Rivals are stopped here. Where every draw is slow two chains sample, which on two cores
# gives as many draws a second as four.
LIMIT_S = {1_000: 150, 100_000: 300}
# So slow that no limit within reason lets it finish at 100 thousand putts.
STORY_LIMIT_S = 150
CHAINS = {1_000: 4, 100_000: 2}
MOST_DRAWS = {putts: 1000 * chains for putts, chains in CHAINS.items()}

OURS = "counted"
BARS = {1_000: 3.0, 100_000: 30.0}
AGAINST = ["plain normal, PyMC", "same story in plain PyMC"]
OTHERS = {
    1_000: ["uncounted", "plain normal, nutpie", "plain normal, Stan"],
    100_000: ["plain normal, nutpie"],
}

# The package builds the model in some two minutes, which is no part of sampling.
STAN_BUILD_S = 240


@pytest.mark.parametrize("putts", [1_000, 100_000])
def test_effective_draws_a_second(measured, run_process, putts):
    ours, bounded = _rate(measured, run_process, OURS, putts, chains=4)
    assert not bounded, "the kit itself was stopped"
    for kind in OTHERS[putts]:
        _rate(measured, run_process, kind, putts, CHAINS[putts])
    kept = [_beside(measured, run_process, ours, rival, putts, BARS[putts]) for rival in AGAINST]
    # A line of the table for each rival; None where a stopped rival leaves it open.
    assert False not in kept


def _beside(measured, run_process, ours, rival, putts, bar):
    """Keep how many times a rival's rate ours is, and whether the bar is kept."""
    theirs, bounded = _rate(measured, run_process, rival, putts, CHAINS[putts])
    times = ours / theirs
    what = f"{OURS} against {rival}, {putts} putts"
    if not bounded:
        return measured.add("sampling", what, times, "times", least=bar)
    note = "a lower bound: the rival was stopped"
    if times < bar:
        note += f"; whether the bar of {bar:g} times is kept is not known"
        return measured.add("sampling", what, times, "times or more", note=note)
    return measured.add("sampling", what, times, "times or more", least=bar, note=note)


def _rate(measured, run_process, kind, putts, chains):
    """Keep effective draws a second; return them, and whether they are an upper bound."""
    what = f"{kind}, {putts} putts"
    limit = LIMIT_S[putts]
    if kind.startswith("same story"):
        limit = min(limit, STORY_LIMIT_S)
    if kind.endswith("Stan"):
        if importlib.util.find_spec("stan") is None:
            measured.add("sampling", what, "not installed", "")
            return None, True
        limit += STAN_BUILD_S
    ran = run_process(RIVALS, kind, str(putts), str(chains), limit=limit)
    if not ran.finished:
        # No more than every draw of the run, each as good as an independent one.
        bound = MOST_DRAWS[putts] / limit
        note = f"stopped after {limit} s, unfinished: fewer than this"
        measured.add("sampling", what, bound, "ESS/s at most", note=note)
        return bound, True
    return _told(measured, what, ran), False


def _told(measured, what, ran):
    found = json.loads(ran.output.strip().splitlines()[-1])
    rate = found["ess"] / found["sampling"]
    base = ", ".join(f"{value:.2f}" for value in found["base"])
    note = (
        f"{found['sampling']:.1f} s after {found['build']:.1f} s to build; "
        f"{found['ess']:.0f} of {found['slowest']}; {found['cpu']:.0f} s of processor in all; "
        f"{ran.megabytes:.0f} MB; log spread at 10 ft {base}"
    )
    measured.add("sampling", what, rate, "ESS/s", note=note)
    return rate
