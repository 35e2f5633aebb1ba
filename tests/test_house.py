"""The house: rooms in one order, a quick front door, docstrings, style and types that pass."""

import ast
import importlib
import inspect
import subprocess
import sys
from pathlib import Path

import numpydoc.validate
import pytest

import putlab as pl
from putlab.base.cache import ROOMS

ROOT = Path(__file__).parents[1]
MODULES = sorted((ROOT / "putlab").rglob("*.py"))


def room_of(path):
    parts = path.relative_to(ROOT / "putlab").parts
    return parts[0] if len(parts) > 1 else None


def imports_of(path, *, inner=True):
    """Yield the kit's modules that a file imports, inside functions too unless told not to."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree) if inner else tree.body:
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("putlab."):
            below = ROOT / (node.module.replace(".", "/"))
            for alias in node.names:
                file = below / f"{alias.name}.py"
                yield f"{node.module}.{alias.name}" if file.is_file() else node.module


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_imports_point_to_earlier_rooms_only(path):
    here = room_of(path)
    if here is None:
        return  # the front door and `python -m putlab` open every room
    taken = {name.split(".")[1] for name in imports_of(path)} - {here}
    later = {room for room in taken if ROOMS.index(room) > ROOMS.index(here)}
    assert not later


@pytest.mark.parametrize("path", [p for p in MODULES if room_of(p) == "cli"], ids=lambda p: p.name)
def test_commands_use_the_front_door_the_base_and_each_other_only(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            node.body = []  # names of types, which are not there when the command runs
    froms = {n.module for n in ast.walk(tree) if isinstance(n, ast.ImportFrom)}
    plain = {a.name for n in ast.walk(tree) if isinstance(n, ast.Import) for a in n.names}
    ours = {name for name in froms | plain if name.split(".")[0] == "putlab"}
    assert {".".join(name.split(".")[:2]) for name in ours} <= {"putlab", *OPEN_TO_COMMANDS}
    used = {n.attr for n in ast.walk(tree) if isinstance(n, ast.Attribute)
            and isinstance(n.value, ast.Name) and n.value.id == "pl"}  # fmt: skip
    assert used <= {*pl.FRONT_DOOR, "__version__"}


OPEN_TO_COMMANDS = ("putlab.base", "putlab.cli")


def test_every_folder_is_a_room_with_a_head_and_none_is_twinned_with_a_module():
    folders = {p.parent.name for p in MODULES if p.parent != ROOT / "putlab"}
    assert folders == set(ROOMS)
    for room in ROOMS:
        head = ast.get_docstring(ast.parse((ROOT / "putlab" / room / "__init__.py").read_text()))
        assert "Takes:" in head
        assert "Gives:" in head
        assert not (ROOT / "putlab" / f"{room}.py").exists()
        assert not (ROOT / "putlab" / room / f"{room}.py").exists()


def test_no_files_import_each_other_in_a_circle():
    names = {p: p.relative_to(ROOT).with_suffix("").as_posix().replace("/", ".") for p in MODULES}
    left = {names[p]: set(imports_of(p, inner=False)) for p in MODULES}
    while free := [name for name, takes in left.items() if not takes & left.keys()]:
        for name in free:
            del left[name]
    assert not left


def test_the_front_door_opens_quickly_and_brings_nothing_heavy():
    heavy = "{'numpy', 'pandas', 'pymc', 'matplotlib'} & set(sys.modules)"
    code = f"import sys, putlab; print({heavy} or 'nothing')"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "nothing"


def test_every_public_name_is_there_and_unknown_ones_are_answered():
    for name in pl.__all__:
        assert getattr(pl, name) is not None
    assert set(pl.__all__) <= set(dir(pl))
    with pytest.raises(AttributeError, match="no 'putt'; it offers read_log"):
        _ = pl.putt


def public_objects():
    """Yield the full name of every public function and class, and of the classes' own methods."""
    for name, place in pl.FRONT_DOOR.items():
        found = getattr(pl, name)
        if inspect.ismodule(found):
            continue
        yield f"putlab.{place}"


RULES = {"GL08", "PR01", "PR02", "PR03", "PR04", "PR07", "RT01", "RT03", "SS02", "SS03", "SS06"}


@pytest.mark.parametrize("name", list(public_objects()))
def test_public_docstrings_follow_the_numpydoc_rules(name):
    errors = numpydoc.validate.validate(name)["errors"]
    assert [error for error in errors if error[0] in RULES] == []


def test_the_command_and_the_notebooks_use_the_front_door_only():
    import nbformat

    for path in (ROOT / "notebooks").glob("*.ipynb"):
        cells = [c.source for c in nbformat.read(path, 4).cells if c.cell_type == "code"]
        lines = [line.strip() for cell in cells for line in cell.splitlines()]
        taken = [line for line in lines if line.startswith(("import putlab", "from putlab"))]
        assert taken == ["import putlab as pl"], path.name


@pytest.mark.parametrize(
    "command",
    [["ruff", "check", "."], ["ruff", "format", "--check", "."], ["mypy"]],
    ids=["ruff check", "ruff format", "mypy"],
)
def test_style_and_types_pass(command):
    ran = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stdout[-3000:] + ran.stderr[-1000:]


def test_each_module_imports_by_itself():
    for path in MODULES:
        name = path.relative_to(ROOT).with_suffix("").as_posix().replace("/", ".")
        if not name.endswith("__main__"):
            assert importlib.import_module(name.removesuffix(".__init__"))
