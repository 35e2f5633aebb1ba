"""Mutation testing of the modules that carry the claim.

    python tests/mutation/run.py                        all four areas, every mutant
    python tests/mutation/run.py --area verdict         one of them
    python tests/mutation/run.py --sample 100           some of each area's, drawn by a seed
    python tests/mutation/run.py --survivors            only those that survived last time

Written here because the tools at hand do not reach what matters: mutmut 3 leaves a module's
constants and its properties alone (the hole's radius, the bars of the verdict), and
cosmic-ray starts Python anew for each mutant, some five seconds of imports. Here the imports
are shared by forking and each mutant meets only the tests that reach its line, the quickest
first. Nothing is written to the modules: a mutant lives in the memory of its process.

Survivors that no test could tell from the original are listed in ``equivalent.json`` with
the reason; the rest are faults that the tests would let pass. Both are recorded in
``tests/results/mutation.json``.
"""

import argparse
import datetime
import json
import platform
import random
import tempfile
import time
from collections import Counter
from importlib.metadata import version
from pathlib import Path

from areas import AREAS
from mutants import mutants
from reach import reach_of
from workers import ROOT, SURVIVED, TIMED_OUT, import_heavy, put_to_the_test

RESULTS = ROOT / "tests" / "results" / "mutation.json"
EQUIVALENT = Path(__file__).with_name("equivalent.json")
VERSIONS = ("numpy", "pymc", "pytest", "scipy")


def planted(area):
    """Return every mutant of an area."""
    found = []
    for module, functions in area.modules.items():
        found += mutants(module, (ROOT / module).read_text("utf-8"), functions)
    return found


def fates(area, chosen):
    """Put mutants to the test; yield each with what became of it."""
    with tempfile.TemporaryDirectory() as folder:
        reach = reach_of(area, folder)
        for mutant in chosen:
            tests = reach.tests(mutant.module, mutant.lines)
            limit = 10 + 5 * sum(reach.seconds[test] for test in tests)
            fate = put_to_the_test(mutant, tests, folder, limit) if tests else SURVIVED
            yield mutant, fate


def reasons():
    """Return why survivors are equivalent: key of the mutant to group of reasons."""
    groups = json.loads(EQUIVALENT.read_text("utf-8")) if EQUIVALENT.exists() else []
    return {key_of(name): group["reason"] for group in groups for name in group["mutants"]}


def key_of(name):
    """Return a mutant's name as a key."""
    return tuple(sorted(name.items()))


def record_of(area, made, outcome):
    """Return an area's part of the record."""
    why = reasons()
    survivors = [mutant.name for mutant, fate in outcome if fate == SURVIVED]
    equivalent = [
        name | {"why": why[key_of(name)]} for name in survivors if key_of(name) in why
    ]
    missed = [name for name in survivors if key_of(name) not in why]
    tried = len(outcome)
    return {
        "mutants": made,
        "tried": tried,
        "killed": tried - len(survivors),
        "of them by time": sum(fate == TIMED_OUT for _, fate in outcome),
        "survived": len(survivors),
        "equivalent": len(equivalent),
        "score_pct": percent(tried - len(survivors), tried),
        "score_without_equivalent_pct": percent(
            tried - len(survivors), tried - len(equivalent)
        ),
        "modules": modules_of(area, outcome),
        "why equivalent": dict(Counter(name["why"] for name in equivalent)),
        "equivalent survivors": equivalent,
        "survivors that a test should kill": missed,
    }


def modules_of(area, outcome):
    """Return tried and killed by module."""
    found = {}
    for module in area.modules:
        here = [fate for mutant, fate in outcome if mutant.module == module]
        killed = sum(fate != SURVIVED for fate in here)
        found[module] = {
            "tried": len(here),
            "killed": killed,
            "score_pct": percent(killed, len(here)),
        }
    return found


def percent(part, whole):
    """Return a share in percent to one place."""
    return round(100 * part / whole, 1) if whole else None


def run(names, sample, seed, survivors_only):
    """Run the areas named and write the record after each."""
    import_heavy()
    record = json.loads(RESULTS.read_text("utf-8")) if RESULTS.exists() else {"areas": {}}
    for name in names:
        area, start = AREAS[name], time.monotonic()
        chosen = every = planted(area)
        if survivors_only:
            chosen = those_left(every, record["areas"][name])
        elif sample and sample < len(every):
            chosen = random.Random(seed).sample(every, sample)
        outcome = list(told(name, area, chosen))
        if survivors_only:
            continue
        record["areas"][name] = record_of(area, len(every), outcome) | {
            "seed": seed if sample else None,
            "minutes": round((time.monotonic() - start) / 60, 1),
            "date": datetime.date.today().isoformat(),
            "python": platform.python_version(),
            **{package: version(package) for package in VERSIONS},
        }
        RESULTS.write_text(json.dumps(record, indent=1) + "\n", "utf-8")


def those_left(every, before):
    """Return the mutants that survived the run on record."""
    left = before["equivalent survivors"] + before["survivors that a test should kill"]
    keys = {key_of({k: v for k, v in name.items() if k != "why"}) for name in left}
    return [mutant for mutant in every if key_of(mutant.name) in keys]


def told(name, area, chosen):
    """Yield what became of each mutant, and say who survived."""
    killed = 0
    for mutant, fate in fates(area, chosen):
        killed += fate != SURVIVED
        if fate == SURVIVED:
            print(
                f"{mutant.module}:{mutant.lines[0]}  {mutant.was}  →  {mutant.now}", flush=True
            )
        yield mutant, fate
    print(f"{name}: {killed} of {len(chosen)} killed", flush=True)


def main():
    """Read the options and run."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--area", choices=AREAS, action="append")
    parser.add_argument("--sample", type=int, help="mutants an area, drawn at random")
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--survivors", action="store_true", help="only last time's survivors")
    given = parser.parse_args()
    run(given.area or list(AREAS), given.sample, given.seed, given.survivors)


if __name__ == "__main__":
    main()
