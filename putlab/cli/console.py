"""What every command shares: messages, tables, progress, exit codes."""

from __future__ import annotations

import contextlib
import contextvars
import errno
import gc
import io
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from types import FrameType
from typing import TYPE_CHECKING, Any

from putlab.base.errors import PutlabError, UsageError
from putlab.base.words import SPOKEN, length_number, printable, unless_hidden

if TYPE_CHECKING:
    import pandas as pd
    import typer

# An option of the whole command; the choice is forgotten when the run ends.
PSEUDONYMS = "--pseudonyms"

# What writing to a closed pipe, a full disk or a broken device says.
OUTPUT_LOST = (errno.EPIPE, errno.ENOSPC, errno.EIO)

EXIT_FINE, EXIT_PROBLEM, EXIT_USAGE, EXIT_INTERRUPTED = 0, 1, 2, 130


@contextlib.contextmanager
def insistent_interrupts() -> Iterator[None]:
    """Raise an interrupt again each second until it gets through."""

    def again(number: int, frame: FrameType | None) -> None:
        signal.setitimer(signal.ITIMER_REAL, 1.0)
        raise KeyboardInterrupt

    def quieter(lost: Any) -> None:  # of what callbacks lose, interrupts come again
        if not issubclass(lost.exc_type, KeyboardInterrupt):
            hook(lost)

    main = threading.current_thread() is threading.main_thread()
    if not main or not hasattr(signal, "setitimer"):  # Windows has no such timer
        yield
        return
    handlers = {n: signal.signal(n, again) for n in (signal.SIGINT, signal.SIGALRM)}
    hook, sys.unraisablehook = sys.unraisablehook, quieter
    try:
        yield
    finally:
        sys.unraisablehook = hook
        signal.setitimer(signal.ITIMER_REAL, 0)
        for number, handler in handlers.items():
            signal.signal(number, handler)


def run(app: typer.Typer | Callable[..., None], arguments: list[str] | None = None) -> int:
    """Run a typer application and return its exit code instead of a traceback."""
    # Imports make a million objects that stay; looking through them less often saves half a
    # second of a report.
    gc.set_threshold(50_000, 20, 100)
    arguments = list(sys.argv[1:] if arguments is None else arguments)
    if PSEUDONYMS in arguments:
        # People also type it after the command's name.
        arguments = [PSEUDONYMS, *(a for a in arguments if a != PSEUDONYMS)]
    _write_any_character()
    code = _ending(app, arguments)
    try:
        sys.stdout.flush()
    except OSError as error:
        return _output_lost(error)
    return code


def _ending(app: typer.Typer | Callable[..., None], arguments: list[str]) -> int:
    """Run the application; whatever happens, return a code and say why."""
    try:
        with insistent_interrupts():
            contextvars.copy_context().run(app, args=arguments, prog_name="putlab")
    except (SystemExit, KeyboardInterrupt) as stop:
        # Of Ctrl-C typer makes an exit with this code, without a word.
        code = getattr(stop, "code", EXIT_INTERRUPTED)
        if code == EXIT_INTERRUPTED:
            exec("")  # so that the process ends with its own exit code after the interrupt
            say("putlab: stopped. Nothing was half written; run the same command to start again.")
        return code if isinstance(code, int) else EXIT_PROBLEM
    except PutlabError as error:
        say(f"putlab: {error}")
        return EXIT_USAGE if isinstance(error, UsageError) else EXIT_PROBLEM
    except Exception as error:
        if isinstance(error, OSError) and error.errno in OUTPUT_LOST:
            return _output_lost(error)
        if os.environ.get("PUTLAB_DEBUG"):
            raise
        say(
            f"putlab: an error of the kit itself, not of your log "
            f"({type(error).__name__}: {unless_hidden(error)}). Nothing was half written. "
            "Set PUTLAB_DEBUG=1 to see where, and report it."
        )
        return EXIT_PROBLEM
    return EXIT_FINE


def _output_lost(error: OSError) -> int:
    """Say that standard output cannot be written, unless its reader (head, less) has gone."""
    # Point it elsewhere, so that what is still waiting fails no more.
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    if isinstance(error, BrokenPipeError):
        return EXIT_FINE
    say(f"putlab: standard output could not be written: {error.strerror or error}.")
    return EXIT_PROBLEM


def _write_any_character() -> None:
    """Let no letter of a name stop a stream that is not UTF-8; a file or pipe gets UTF-8."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            known = stream.encoding if stream.isatty() else "utf-8"
            stream.reconfigure(encoding=known, errors="backslashreplace")


def say(*lines: str) -> None:
    """Print a message for the person, on standard error."""
    print(*map(harmless, lines), sep="\n", file=sys.stderr, flush=True)


def harmless(text: str) -> str:
    """Return text of several lines in which no name or cell can steer a terminal."""
    return "\n".join(map(printable, text.split("\n")))


def tell(*lines: str, style: str | None = None) -> None:
    """Print lines of an answer, on standard output."""
    from rich.console import Console

    console = Console()
    for line in lines:
        console.print(harmless(line), style=style, markup=False, highlight=False)


def show(table: pd.DataFrame, title: str | None = None, *, whole: tuple[str, ...] = ()) -> None:
    """Print a table of text on standard output; columns that are whole are never wrapped.

    On a screen too narrow for its longest words it becomes a list, nothing of it cut.
    """
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    shown, console = Table(title=title, box=box.SIMPLE_HEAD), Console()
    for name in table.columns:
        shown.add_column(name, no_wrap=name in whole)
    for row in table.itertuples(index=False):
        shown.add_row(*(Text(harmless(str(cell))) for cell in row))
    least = console.measure(shown, options=console.options.update(width=10_000)).minimum
    if least + 2 * len(table.columns) <= console.width:
        console.print(shown)
        return
    tell(*([title] if title else []), style="bold")
    for row in table.astype(str).to_dict("records"):
        tell("", *(f"{name}: {text}".replace("\n", " ") for name, text in row.items()))


def together(results: Sequence[Any]) -> pd.DataFrame:
    """Return the tables of several results as one."""
    import pandas as pd

    return pd.concat([one.table for one in results], ignore_index=True)


def in_words(table: pd.DataFrame, columns: Mapping[str, tuple[str, Any]]) -> pd.DataFrame:
    """Return columns as text under (title, format or function), an interval's ends below."""
    texts = {}
    for name, (title, form) in columns.items():
        form = form if callable(form) else form.format
        text = table[name].map(form)
        if name == "distance_ft":
            text, title = table[name].map(length_number), title.replace("ft", SPOKEN.get())
        if f"{name}_lo" in table:
            low, high = (table[name + end].map(form) for end in ("_lo", "_hi"))
            ends = "\n[" + low + ", " + high + "]"
            text = text + ends.where(table[f"{name}_lo"].notna(), "")
        texts[title] = text.where(table[name].notna(), "-")
    return table.assign(**texts)[list(texts)]


def progress(text: str) -> Callable[..., None]:
    """Say that work begins, on standard error; return how to say how far it is."""
    say(f"{text}.")
    return lambda done, total, what=text: say(f"{what}: {done} of {total}.")
