"""`putlab notebooks`: a folder of notebooks to learn from and work in."""

from pathlib import Path
from typing import Annotated

import typer

Folder = Annotated[
    Path, typer.Argument(metavar="DIR", help="Folder to copy into; made where it is missing.")
]


def notebooks(folder: Folder):
    """Copy the notebooks and the demo log into a folder to work in.

    A file that is already there is never overwritten.

      putlab notebooks my-putting

      jupyter lab my-putting/notebooks
    """
    from putlab.cli.console import say
    from putlab.notebooks import copy_out
    from putlab.pages.wording import counted

    copied = copy_out(folder)
    say(f"{counted(len(copied.written), 'file')} copied into {folder}.")
    if copied.kept:
        names = ", ".join(str(path.relative_to(folder)) for path in copied.kept[:5])
        more = f" and {len(copied.kept) - 5} more" if len(copied.kept) > 5 else ""
        say(f"Left as they are, because they are yours now: {names}{more}.")
    say("Open one in JupyterLab; its first cell names the log: put your own there.")
