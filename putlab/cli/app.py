"""The commands of `putlab` and the text of its help."""

from typing import Any

import typer

from putlab import __version__
from putlab.cli import console

OVERVIEW = """Putting practice study kit: a log of putts in; true line and pace spread,
strokes, and what to practise next out.

Start here, with the invented log that comes with the kit:

  putlab check data_demo

  putlab report data_demo

"""


def build_app() -> Any:
    """Return the typer application with every command registered."""
    app = typer.Typer(
        help=OVERVIEW, no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False
    )
    app.callback()(_options)
    for command in _commands():
        app.command()(console.stoppable(command))
    return app


def _commands() -> list:
    """Return the commands in the order of a practice: log, skill, strokes, practice, change."""
    from putlab.cli.check import check
    from putlab.cli.game import game
    from putlab.cli.practice import advise, plan, review
    from putlab.cli.report import cache, notebooks, report
    from putlab.cli.skill import estimate, holeout, roll
    from putlab.cli.trial import compare, trial

    log = [check, report, estimate, advise]
    session = [plan, review, game]
    change = [trial, compare]
    known_skill = [holeout, roll]
    return [*log, *session, *change, *known_skill, notebooks, cache]


def _version(show: Any) -> None:
    if show:
        typer.echo(__version__)
        raise typer.Exit


def _options(
    version: bool = typer.Option(
        False, "--version", help="Print the version and stop.", is_eager=True, callback=_version
    ),
    pseudonyms: bool = typer.Option(
        False,
        console.PSEUDONYMS,
        help="Call players 'player 1', 'player 2' … in all that is shown and written; "
        "--player then takes such a label.",
    ),
) -> None:
    console.pseudonyms = pseudonyms
