"""Mutation testing of the modules that carry the claim.

    python tests/mutation/run.py                        all four areas, every mutant
    python tests/mutation/run.py --area verdict         one of them
    python tests/mutation/run.py --sample 100           some of each area's, drawn by a seed
    python tests/mutation/run.py --survivors            what survived last time, again
    python tests/mutation/run.py --judge                only apply ``equivalent.json``

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
from workers import ROOT, SURVIVED, import_heavy, put_to_the_test

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


def record_of(area, tried, survivors):
    """Return an area's part of the record.

    Parameters
    ----------
    area : Area
        Modules.
    tried : Counter
        Module to mutants put to the test.
    survivors : list of dict
        Names of those that no test noticed.

    Returns
    -------
    dict
        Scores, and every survivor with the reason or without.
    """
    why = reasons()
    missed = [name for name in survivors if key_of(name) not in why]
    equivalent = [name | {"why": why[key_of(name)]} for name in survivors if name not in missed]
    total = sum(tried.values())
    return {
        "tried": total,
        "killed": total - len(survivors),
        "survived": len(survivors),
        "equivalent": len(equivalent),
        "score_pct": percent(total - len(survivors), total),
        "score_without_equivalent_pct": percent(
            total - len(survivors), total - len(equivalent)
        ),
        "modules": modules_of(area, tried, survivors),
        "why equivalent": dict(Counter(name["why"] for name in equivalent)),
        "equivalent survivors": equivalent,
        "survivors that a test should kill": missed,
    }


def modules_of(area, tried, survivors):
    """Return tried and killed by module."""
    found = {}
    for module in area.modules:
        killed = tried[module] - sum(name["module"] == module for name in survivors)
        score = percent(killed, tried[module])
        found[module] = {"tried": tried[module], "killed": killed, "score_pct": score}
    return found


def percent(part, whole):
    """Return a share in percent to one place."""
    return round(100 * part / whole, 1) if whole else None


def run(names, sample, seed):
    """Put each area's mutants to the test and write the record after it."""
    import_heavy()
    for name in names:
        area, start = AREAS[name], time.monotonic()
        chosen = every = planted(area)
        if sample and sample < len(every):
            chosen = random.Random(seed).sample(every, sample)
        tried = Counter(mutant.module for mutant in chosen)
        found = record_of(area, tried, told(name, area, chosen))
        minutes = round((time.monotonic() - start) / 60, 1)
        drawn = {"seed": seed, "minutes": minutes} if sample else {"minutes": minutes}
        write(name, {"mutants": len(every)} | found | drawn | setting())


def run_again(names):
    """Put to the test only what survived the run on record, and correct the record."""
    import_heavy()
    for name in names:
        area, before = AREAS[name], read()[name]
        keys = {key_of(survivor) for survivor in survivors_in(before)}
        chosen = [mutant for mutant in planted(area) if key_of(mutant.name) in keys]
        judge(name, told(name, area, chosen))


def judge(name, survivors=None):
    """Write an area's record anew, with the survivors and the reasons of today."""
    before = read()[name]
    tried = Counter({module: part["tried"] for module, part in before["modules"].items()})
    survivors = survivors_in(before) if survivors is None else survivors
    write(name, before | record_of(AREAS[name], tried, survivors) | setting())


def survivors_in(record):
    """Return the names of all survivors of an area's record."""
    listed = record["equivalent survivors"] + record["survivors that a test should kill"]
    return [{key: part for key, part in name.items() if key != "why"} for name in listed]


def setting():
    """Return when and with what."""
    return {
        "date": datetime.date.today().isoformat(),
        "python": platform.python_version(),
        **{package: version(package) for package in VERSIONS},
    }


def read():
    """Return the record of every area."""
    return json.loads(RESULTS.read_text("utf-8")) if RESULTS.exists() else {}


def write(name, record):
    """Put one area's record among the others."""
    RESULTS.write_text(json.dumps(read() | {name: record}, indent=1) + "\n", "utf-8")


def told(name, area, chosen):
    """Return the names of those that survive, and say who they are on the way."""
    survivors = []
    for mutant, fate in fates(area, chosen):
        if fate == SURVIVED:
            survivors.append(mutant.name)
            where = f"{mutant.module}:{mutant.lines[0]}"
            print(f"{where}  {mutant.was}  →  {mutant.now}", flush=True)
    print(f"{name}: {len(chosen) - len(survivors)} of {len(chosen)} killed", flush=True)
    return survivors


def main():
    """Read the options and run."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--area", choices=AREAS, action="append")
    parser.add_argument("--sample", type=int, help="mutants an area, drawn at random")
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--survivors", action="store_true", help="what survived last time")
    parser.add_argument("--judge", action="store_true", help="only apply equivalent.json")
    given = parser.parse_args()
    names = given.area or list(AREAS)
    if given.judge:
        for name in names:
            judge(name)
    elif given.survivors:
        run_again(names)
    else:
        run(names, given.sample, given.seed)


if __name__ == "__main__":
    main()
