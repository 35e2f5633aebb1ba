"""The `putlab` command: one module a group of commands, loaded only when it is used."""

import sys

from putlab.cli.app import build_app
from putlab.cli.console import run


def main(arguments: list[str] | None = None) -> None:
    """Run the `putlab` command and exit with its code."""
    sys.exit(run(build_app(), arguments))
