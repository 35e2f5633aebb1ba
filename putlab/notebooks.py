"""The notebooks and the demo: find them, copy them out to work in, run them anew.

``python -m putlab.notebooks --execute`` runs every notebook of the source tree top to bottom
and keeps its outputs.
"""

import argparse
import filecmp
import shutil
from dataclasses import dataclass
from pathlib import Path

from putlab.errors import OutputError

FOLDERS = ("notebooks", "data_demo")
PACKAGE = Path(__file__).parent

# A notebook that takes longer is stuck; the cold fit of the demo takes a minute or two.
CELL_SECONDS = 600


@dataclass(frozen=True)
class Copied:
    """What a copy did.

    Attributes
    ----------
    written : list of pathlib.Path
        Files that were not there before.
    kept : list of pathlib.Path
        Files that stood there with other content, and still do.
    """

    written: list
    kept: list


def shipped(folder):
    """Return where a folder of the kit is: in the source tree, or in the installed package.

    Parameters
    ----------
    folder : {"notebooks", "data_demo"}
        Folder wanted.

    Returns
    -------
    pathlib.Path
        The folder.

    Raises
    ------
    OutputError
        This installation came without it.
    """
    for place in (PACKAGE / "_shipped" / folder, PACKAGE.parent / folder):
        if place.is_dir():
            return place
    raise OutputError(f"this installation of the kit came without its folder {folder}.")


def copy_out(target):
    """Copy the notebooks and the demo into a folder, never over a file that is there.

    Parameters
    ----------
    target : path-like
        Folder to work in; made where it is missing. ``notebooks`` and ``data_demo`` go in it.

    Returns
    -------
    Copied
        What was written, and what was left as it stood.

    Raises
    ------
    OutputError
        The folder or a file in it cannot be written.
    """
    target = Path(target)
    written, kept = [], []
    try:
        for folder in FOLDERS:
            for source in _files(shipped(folder)):
                goal = target / folder / source.relative_to(shipped(folder))
                if _place(source, goal):
                    written.append(goal)
                elif not filecmp.cmp(source, goal, shallow=False):
                    kept.append(goal)
    except OSError as error:
        raise OutputError(
            f"{target} could not be written: {error.strerror or error}. What was copied "
            "before stays; choose another folder."
        ) from error
    return Copied(written, kept)


def _files(folder):
    """Return the files to copy, without what running a notebook leaves behind."""
    return sorted(
        path
        for path in folder.rglob("*")
        if path.is_file() and not any(part.startswith((".", "__")) for part in path.parts[-2:])
    )


def _place(source, goal):
    """Copy a file where there is none; tell whether it was copied."""
    goal.parent.mkdir(parents=True, exist_ok=True)
    try:
        # "x": if somebody makes the file in this very moment, it is theirs.
        with open(goal, "xb") as stream, open(source, "rb") as content:
            shutil.copyfileobj(content, stream)
    except FileExistsError:
        return False
    return True


def execute(path):
    """Run a notebook top to bottom and keep its outputs in it.

    Parameters
    ----------
    path : path-like
        Notebook to run; its own folder is the working folder.
    """
    import nbformat
    from nbclient import NotebookClient

    from putlab.writing import write_text

    path = Path(path)
    notebook = nbformat.read(path, as_version=4)
    client = NotebookClient(
        notebook,
        timeout=CELL_SECONDS,
        startup_timeout=CELL_SECONDS,
        kernel_name="python3",
        resources={"metadata": {"path": str(path.parent)}},
    )
    client.execute()
    write_text(path, nbformat.writes(_tidy(notebook)) + "\n")


def _tidy(notebook):
    """Drop what differs between machines and says nothing: times and exact versions."""
    for cell in notebook.cells:
        cell.metadata.pop("execution", None)
    notebook.metadata = {
        "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
        "language_info": {"name": "python"},
    }
    return notebook


def _main():
    parser = argparse.ArgumentParser(prog="python -m putlab.notebooks", description=__doc__)
    parser.add_argument("--execute", action="store_true", help="run the notebooks anew")
    parser.add_argument("names", nargs="*", help="only notebooks whose name starts so")
    given = parser.parse_args()
    for path in sorted(shipped("notebooks").glob("*.ipynb")):
        if not given.names or path.name.startswith(tuple(given.names)):
            print(path.name, flush=True)
            if given.execute:
                execute(path)


if __name__ == "__main__":
    _main()
