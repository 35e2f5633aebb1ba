"""Plant one fault at a time in a copy of the package: do the room's quick tests notice?

`uv run python tests/mutation.py putlab/green/roll.py --sample 20 --seed 1` turns comparisons
round, exchanges + and - or * and /, changes numbers, and prints what no test noticed.
"""

import argparse
import ast
import datetime
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from putlab.base.cache import versions

ROOT = Path(__file__).parents[1]
QUICK = "not slow and not calibration and not bench"
PAIRS = {ast.Lt: ast.GtE, ast.Gt: ast.LtE, ast.Eq: ast.NotEq, ast.Add: ast.Sub, ast.Mult: ast.Div}
SWAPS = PAIRS | {after: before for before, after in PAIRS.items()}


def faults(text):
    """Yield the module with each fault in turn, and what the fault is."""
    tree = ast.parse(text)
    for node in list(ast.walk(tree)):
        was, kept, line = ast.unparse(node), dict(vars(node)), getattr(node, "lineno", 0)
        if isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS:
            node.ops = [SWAPS[type(node.ops[0])](), *node.ops[1:]]
        elif isinstance(node, ast.BinOp) and type(node.op) in SWAPS:
            node.op = SWAPS[type(node.op)]()
        elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
            node.value = 2 * node.value + 1
        else:
            continue
        yield ast.unparse(tree), {"line": line, "was": was, "now": ast.unparse(node)}
        vars(node).update(kept)


def passes(folder, room):
    """Return whether the room's quick tests pass with the package of that folder."""
    # The safe path keeps the working directory, and with it the true package, out of sight.
    env = {"PYTHONPATH": folder, "PYTHONSAFEPATH": "1", "PYTHONDONTWRITEBYTECODE": "1"}
    env = os.environ | env | {"PUTLAB_CACHE": tempfile.mkdtemp(dir=folder)}
    command = [sys.executable, "-m", "pytest", "-xqn0", "-p", "no:cacheprovider", "-m", QUICK]
    how = {"cwd": ROOT, "env": env, "capture_output": True, "timeout": 300}
    try:
        return subprocess.run([*command, f"tests/{room}"], **how).returncode == 0
    except subprocess.TimeoutExpired:
        return False


parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
parser.add_argument("module", type=Path)
parser.add_argument("--sample", type=int, default=20)
parser.add_argument("--seed", type=int, default=1)
given = parser.parse_args()
found = list(faults((ROOT / given.module).read_text("utf-8")))
chosen = random.Random(given.seed).sample(found, min(given.sample, len(found)))
survivors, room = [], given.module.parts[1]
with tempfile.TemporaryDirectory() as folder:
    shutil.copytree(ROOT / "putlab", Path(folder, "putlab"))
    assert passes(folder, room), "the tests fail without a fault"
    for text, fault in [("raise RuntimeError", {"line": 0}), *chosen]:
        Path(folder, given.module).write_text(text, "utf-8")
        survivors += [fault] * passes(folder, room)
result = {"module": str(given.module), "date": datetime.date.today().isoformat()}
result |= {"versions": versions(), "faults": len(found), "tried": len(chosen)}
result |= {"killed": len(chosen) - len(survivors), "survivors": survivors}
print(json.dumps(result, indent=1))
