"""The commands of `putlab` and the text of its help."""

from collections.abc import Callable

import typer

from putlab import __version__
from putlab.base.words import HIDING
from putlab.cli.check import cache, check, import_, notebooks
from putlab.cli.console import PSEUDONYMS
from putlab.cli.practice import advise, game, plan, review, start
from putlab.cli.skill import backtest, estimate, holeout, report, roll
from putlab.cli.trial import compare, trial

OVERVIEW = """Putting practice study kit: a log of putts in; true line and pace spread,
strokes, and what to practise next out.

Start here, with the invented log that comes with the kit:

  putlab check data_demo

  putlab report data_demo

"""

# In the order of a practice: log and skill, session, change, known skill, files.
COMMANDS: list[Callable[..., None]] = [start, import_, check, report, estimate, advise, plan]
COMMANDS += [review, game, trial, compare, backtest, holeout, roll, notebooks, cache]


def build_app() -> typer.Typer:
    """Return the typer application with every command registered."""
    app = typer.Typer(
        help=OVERVIEW,
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,  # rich takes longer to load than all else that help needs
    )
    app.callback()(_options)
    for command in COMMANDS:
        name = command.__name__.rstrip("_")
        # Its first line whole, where typer would cut it short.
        app.command(name, short_help=(command.__doc__ or "").partition("\n")[0])(command)
    return app


def _version(show: bool) -> None:
    if show:
        typer.echo(__version__)
        raise typer.Exit


def _options(
    version: bool = typer.Option(
        False, "--version", help="Print the version and stop.", is_eager=True, callback=_version
    ),
    under_pseudonyms: bool = typer.Option(
        False,
        PSEUDONYMS,
        help="Call players 'player 1', 'player 2' …, and files, sheets and visits likewise, in all "
        "that is shown and written; options then take such labels.",
    ),
) -> None:
    HIDING.set(under_pseudonyms)
