"""Run the kit's notebooks anew, each top to bottom, and keep what they print.

`python tests/helpers/execute_notebooks.py [NAME ...]`: all, or those whose name starts so.
"""

import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient

from putlab.base.settings import shipped
from putlab.base.writing import write_text

# A notebook that takes longer is stuck; the cold fit of the demo takes a minute or two.
CELL_SECONDS = 600


def execute(path):
    """Run a notebook top to bottom and keep its outputs in it."""
    notebook = nbformat.read(path, as_version=4)
    client = NotebookClient(
        notebook,
        timeout=CELL_SECONDS,
        startup_timeout=CELL_SECONDS,
        kernel_name="python3",
        # A widget's messages to and fro now and then cost nbclient the answer that it waits for;
        # what a widget would show stands above it, and the default run executes it.
        skip_cells_with_tag="widget",
        resources={"metadata": {"path": str(Path(path).parent)}},
    )
    client.execute()
    write_text(path, nbformat.writes(_tidy(notebook)) + "\n")


def _tidy(notebook):
    """Drop what differs between machines and says nothing: times and exact versions."""
    count = 0
    for cell in notebook.cells:
        cell.metadata.pop("execution", None)
        if cell.cell_type == "code":
            # Counted as they stand, those that are left out too.
            count += 1
            cell.execution_count = count
            for output in cell.outputs:
                if "execution_count" in output:
                    output.execution_count = count
        # A widget needs a kernel; what stands above it is its picture.
        if "widget" in cell.metadata.get("tags", []):
            cell.outputs = []
    notebook.metadata = {
        "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
        "language_info": {"name": "python"},
    }
    return notebook


if __name__ == "__main__":
    for notebook_path in sorted(shipped("notebooks").glob("*.ipynb")):
        if not sys.argv[1:] or notebook_path.name.startswith(tuple(sys.argv[1:])):
            print(notebook_path.name, flush=True)
            execute(notebook_path)
