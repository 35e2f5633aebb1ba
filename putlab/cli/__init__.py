"""The `putlab` command, a module a group of commands, heavy imports inside them.

Takes: what a person types.
Gives: tables, files, messages and exit codes.
"""

import sys

from putlab.cli.app import build_app
from putlab.cli.console import run


def main(arguments: list[str] | None = None) -> None:
    """Run the `putlab` command and exit with its code."""
    sys.exit(run(build_app(), arguments))
