"""Notebooks: executed in order, quoting only what they print; copied out, never over a file.

That their cells still run and print the same is `nbval`'s part of the test run.
"""

import ast
import json
import re
import shutil

import nbformat
import pytest
from execute_notebooks import execute

from putlab.base.errors import OutputError
from putlab.base.settings import shipped
from putlab.cli.app import build_app
from putlab.cli.check import FOLDERS, copy_out
from putlab.cli.console import run

FOLDER = shipped("notebooks")
NAMES = [
    "00_start_here",
    "01_read_the_log",
    "02_true_line_and_pace",
    "03_where_the_strokes_go",
    "04_what_to_practise",
    "05_did_the_change_help",
    "06_next_session",
    "07_against_the_published_record",
    "08_play",
    "09_make_a_golfer",
    "coach_report",
]

# A cell that does not fit a screen holds more than one idea.
LONGEST_CELL = 16


def read(name):
    return nbformat.read(FOLDER / f"{name}.ipynb", as_version=4)


def code_cells(notebook):
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


def out_of_order(notebook):
    """Return the execution counts where they are not 1, 2, 3 ..."""
    counts = [cell.execution_count for cell in code_cells(notebook)]
    return [] if counts == list(range(1, len(counts) + 1)) else counts


def shown_text(notebook):
    """Return everything that the cells say: their code and what they printed."""
    said = [cell.source for cell in code_cells(notebook)]
    for cell in code_cells(notebook):
        for output in cell.outputs:
            said.append(output.get("text", ""))
            data = output.get("data", {})
            said += [data.get(kind, "") for kind in ("text/plain", "text/markdown")]
    return "\n".join(said)


def stale_numbers(notebook):
    """Return the numbers that prose quotes and no cell shows.

    Headings, and links to them, are numbered and citations dated by hand; all are left alone.
    """
    shown = set(re.findall(r"\d+(?:\.\d+)?", shown_text(notebook)))
    prose = "\n".join(c.source for c in notebook.cells if c.cell_type == "markdown")
    dated = r"^# \d+\. |\[\d+\. |\((?:[^()]*\D)?(?:19|20)\d\d\)"
    prose = re.sub(dated, "", prose, flags=re.MULTILINE)
    return [n for n in re.findall(r"(?<![\w.])\d+(?:\.\d+)?(?!\w)", prose) if n not in shown]


def test_the_notebooks_of_the_kit_are_all_there():
    assert sorted(path.stem for path in FOLDER.glob("*.ipynb")) == NAMES


@pytest.mark.parametrize("name", NAMES)
class TestNotebook:
    def test_it_was_executed_in_order_without_errors(self, name):
        notebook = read(name)
        assert out_of_order(notebook) == []
        outputs = [o for cell in code_cells(notebook) for o in cell.outputs]
        assert not [o for o in outputs if o.output_type == "error"]
        assert not [o for o in outputs if o.get("name") == "stderr"]

    def test_its_prose_quotes_only_what_its_cells_show(self, name):
        assert stale_numbers(read(name)) == []

    def test_it_stays_small_enough_to_read_online(self, name):
        assert (FOLDER / f"{name}.ipynb").stat().st_size < 500_000

    def test_it_imports_its_logic_and_defines_none(self, name):
        for cell in code_cells(read(name)):
            kinds = {type(node) for node in ast.walk(ast.parse(cell.source))}
            assert not kinds & {ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda}
            assert len(cell.source.splitlines()) <= LONGEST_CELL

    def test_its_first_cell_takes_the_users_own_log(self, name):
        first = code_cells(read(name))[0]
        given = ast.parse(first.source).body[0]
        assert given.targets[0].id == "LOG"
        assert (FOLDER / given.value.value).is_dir()

    def test_it_opens_with_one_question_and_the_decision_it_serves(self, name):
        text = "\n".join(c.source for c in read(name).cells if c.cell_type == "markdown")
        assert len(re.findall(r"^# ", text, flags=re.MULTILINE)) == 1
        if name != "coach_report":
            assert "**Question:**" in text
            assert "**Decision:**" in text

    def test_it_knows_no_folder_of_the_machine_it_ran_on(self, name):
        content = (FOLDER / f"{name}.ipynb").read_text()
        assert str(FOLDER.parent) not in content
        assert "/home/" not in content


def test_the_coach_report_has_its_parameters_in_a_tagged_cell():
    tagged = [
        c for c in code_cells(read("coach_report")) if "parameters" in c.metadata.get("tags", [])
    ]
    names = {target.id for node in ast.parse(tagged[0].source).body for target in node.targets}
    assert {"LOG", "PLAYER", "PAGE"} <= names


def made(*cells):
    return nbformat.v4.new_notebook(cells=list(cells))


def test_a_number_that_no_cell_prints_any_more_is_found():
    cell = nbformat.v4.new_code_cell("x", execution_count=1)
    cell.outputs = [nbformat.v4.new_output("stream", text="spread 0.83\n")]
    good = made(nbformat.v4.new_markdown_cell("# 1. A\nIt is 0.83 (Brede 1990)."), cell)
    stale = made(nbformat.v4.new_markdown_cell("It is 0.79, not 2°."), cell)
    assert stale_numbers(good) == []
    assert stale_numbers(stale) == ["0.79", "2"]


@pytest.mark.parametrize("counts", [[1, 3], [2, 1], [1, None], [None, None]])
def test_cells_run_out_of_order_are_found(counts):
    cells = [nbformat.v4.new_code_cell("x", execution_count=count) for count in counts]
    assert out_of_order(made(*cells)) == counts


def test_copies_of_notebooks_and_demo_keep_their_places(tmp_path):
    assert copy_out(tmp_path / "mine")[1] == []
    for name in NAMES:
        mine = tmp_path / "mine" / "notebooks" / f"{name}.ipynb"
        assert mine.read_bytes() == (FOLDER / mine.name).read_bytes()
        assert (mine.parent / "../data_demo/datapackage.json").is_file()


def test_a_persons_file_is_never_overwritten(tmp_path):
    mine = tmp_path / "notebooks" / "01_read_the_log.ipynb"
    mine.parent.mkdir()
    mine.write_text("my own work")
    _, kept = copy_out(tmp_path)
    assert mine.read_text() == "my own work"
    assert kept == [mine]
    assert copy_out(tmp_path) == ([], [mine])


def test_a_link_of_somebodys_is_not_written_through(tmp_path):
    name = "notebooks/00_start_here.ipynb"
    (tmp_path / "copy" / name).parent.mkdir(parents=True)
    (tmp_path / "copy" / name).symlink_to(tmp_path / "elsewhere")
    with pytest.raises(OutputError):
        copy_out(tmp_path / "copy")
    assert not (tmp_path / "elsewhere").exists()


def test_what_a_run_leaves_behind_is_not_copied(tmp_path, monkeypatch):
    source = tmp_path / "kit"
    for folder in FOLDERS:
        (source / folder / ".ipynb_checkpoints").mkdir(parents=True)
        (source / folder / ".ipynb_checkpoints" / "x-checkpoint.ipynb").write_text("{}")
        (source / folder / "x.txt").write_text("x")
    monkeypatch.setattr("putlab.base.settings.PACKAGE", source / "putlab")
    written, _ = copy_out(tmp_path / "mine")
    assert [path.name for path in written] == ["x.txt", "x.txt"]


def test_a_folder_that_cannot_be_made_is_told(tmp_path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(OutputError, match="could not be written"):
        copy_out(tmp_path / "file")


def test_the_command_says_what_it_did_and_what_it_left(tmp_path, capsys):
    assert run(build_app(), ["notebooks", str(tmp_path / "mine")]) == 0
    assert "files copied into" in capsys.readouterr().err
    (tmp_path / "mine" / "notebooks" / "01_read_the_log.ipynb").write_text("mine now")
    assert run(build_app(), ["notebooks", str(tmp_path / "mine")]) == 0
    assert "01_read_the_log.ipynb" in capsys.readouterr().err


@pytest.mark.slow
def test_running_a_notebook_anew_numbers_its_cells_and_keeps_its_outputs(tmp_path):
    shutil.copytree(FOLDER.parent / "data_demo", tmp_path / "data_demo")
    (tmp_path / "notebooks").mkdir()
    path = tmp_path / "notebooks" / "x.ipynb"
    cells = [
        nbformat.v4.new_code_cell("from pathlib import Path"),
        nbformat.v4.new_code_cell("print(Path('../data_demo').is_dir())"),
    ]
    nbformat.write(made(*cells), path)
    execute(path)
    done = json.loads(path.read_text())
    assert [cell["execution_count"] for cell in done["cells"]] == [1, 2]
    assert "".join(done["cells"][1]["outputs"][0]["text"]) == "True\n"
    assert "execution" not in done["cells"][0]["metadata"]
