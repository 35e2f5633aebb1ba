"""The `putlab` command: one module a group of commands, loaded only when it is used."""

import sys

from putlab.cli.app import build_app
from putlab.cli.console import run


def main(arguments=None):
    """Run the `putlab` command and exit with its code.

    Parameters
    ----------
    arguments : list of str, optional
        Command line without the program's name; default: the process's own.
    """
    sys.exit(run(build_app(), arguments))
