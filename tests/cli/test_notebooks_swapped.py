"""Every notebook runs on logs unlike the hall's, where `LOG` alone is changed.

The hall's is what the default run executes them on; here they meet one player in metres, and
start directions alone.
"""

import shutil

import nbformat
import pytest
from conftest import DEMO
from execute_notebooks import execute
from swapped_logs import line_log

from putlab.base.settings import shipped

pytestmark = pytest.mark.notebooks

FOLDER = shipped("notebooks")
NAMES = sorted(path.stem for path in FOLDER.glob("*.ipynb"))


@pytest.fixture(scope="module", params=["attic", "line"])
def swapped(request, tmp_path_factory):
    """Return a folder of the kit's notebooks with their first cell naming another log."""
    folder = tmp_path_factory.mktemp(request.param)
    shutil.copytree(DEMO, folder / "data_demo")
    shutil.copytree(FOLDER, folder / "notebooks")
    log = "data_demo/attic" if request.param == "attic" else line_log(folder).name
    for path in (folder / "notebooks").glob("*.ipynb"):
        notebook = nbformat.read(path, as_version=4)
        first = next(cell for cell in notebook.cells if cell.cell_type == "code")
        named = [line for line in first.source.splitlines() if line.startswith("LOG = ")]
        assert len(named) == 1
        first.source = first.source.replace(named[0], f'LOG = "../{log}"')
        nbformat.write(notebook, path)
    return folder / "notebooks"


@pytest.mark.parametrize("name", NAMES)
def test_it_runs_to_its_end(swapped, name):
    path = swapped / f"{name}.ipynb"
    execute(path)
    outputs = [o for c in nbformat.read(path, 4).cells for o in c.get("outputs", [])]
    assert outputs
    assert not [o for o in outputs if o.output_type == "error" or o.get("name") == "stderr"]
