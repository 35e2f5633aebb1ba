"""What every command shares: messages, progress, exit codes."""

import contextlib
import functools
import gc
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from typing import Any

from putlab.base.errors import PutlabError, UsageError

# Whether names are replaced by labels in all that this run shows and writes.
pseudonyms = False
PSEUDONYMS = "--pseudonyms"

EXIT_FINE, EXIT_PROBLEM, EXIT_USAGE, EXIT_INTERRUPTED = 0, 1, 2, 130


class Interrupted(PutlabError):
    """The person pressed Ctrl-C."""


def stoppable(command: Callable) -> Any:
    """Let a command's Ctrl-C through to `run`, which typer would end without a word."""

    @functools.wraps(command)
    def guarded(*args: Any, **kwargs: Any) -> Any:
        try:
            return command(*args, **kwargs)
        except KeyboardInterrupt:
            raise Interrupted from None

    return guarded


@contextlib.contextmanager
def insistent_interrupts() -> Iterator[Any]:
    """Raise an interrupt again each second until it gets through."""

    def again(number: Any, frame: Any) -> None:
        signal.setitimer(signal.ITIMER_REAL, 1.0)
        raise KeyboardInterrupt

    main = threading.current_thread() is threading.main_thread()
    if not main or not hasattr(signal, "setitimer"):  # Windows has no such timer
        yield
        return
    before = {n: signal.signal(n, again) for n in (signal.SIGINT, signal.SIGALRM)}
    told, sys.unraisablehook = sys.unraisablehook, _all_but_interrupts(sys.unraisablehook)
    try:
        yield
    finally:
        sys.unraisablehook = told
        signal.setitimer(signal.ITIMER_REAL, 0)
        for number, handler in before.items():
            signal.signal(number, handler)


def _all_but_interrupts(hook: Any) -> Any:
    """Return a hook for what callbacks lose, quiet about interrupts: they come again."""

    def quieter(lost: Any) -> None:
        if not issubclass(lost.exc_type, KeyboardInterrupt):
            hook(lost)

    return quieter


def _forget_the_interrupt() -> None:
    """Let the process end with its own exit code after an interrupt that was heard."""
    exec("")


def run(app: Any, arguments: list[str] | None = None) -> Any:
    """Run a typer application and return its exit code instead of a traceback."""
    # Imports make a million objects that stay; looking through them less often saves half a
    # second of a report.
    gc.set_threshold(50_000, 20, 100)
    arguments = list(sys.argv[1:] if arguments is None else arguments)
    if PSEUDONYMS in arguments:
        # An option of the whole command, which people also type after the command's name.
        arguments = [PSEUDONYMS, *(a for a in arguments if a != PSEUDONYMS)]
    try:
        with insistent_interrupts():
            app(args=arguments, prog_name="putlab", standalone_mode=True)
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else EXIT_PROBLEM
    except (Interrupted, KeyboardInterrupt):
        _forget_the_interrupt()
        say("putlab: stopped. Nothing was half written; run the same command to start again.")
        return EXIT_INTERRUPTED
    except PutlabError as error:
        say(f"putlab: {error}")
        return EXIT_USAGE if isinstance(error, UsageError) else EXIT_PROBLEM
    except BrokenPipeError:
        # The reader (head, less) has gone: point stdout elsewhere so exit stays quiet.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return EXIT_FINE
    except Exception as error:
        if os.environ.get("PUTLAB_DEBUG"):
            raise
        kind = type(error).__name__
        say(
            f"putlab: an error of the kit itself, not of your log ({kind}: {error}). "
            "Nothing was half written. Set PUTLAB_DEBUG=1 to see where, and report it."
        )
        return EXIT_PROBLEM
    return EXIT_FINE


def say(text: str) -> None:
    """Print a message for the person, on standard error."""
    print(text, file=sys.stderr, flush=True)


@contextlib.contextmanager
def progress(text: str, *, total: int | None = None) -> Iterator[Any]:
    """Show a progress line on standard error while work goes on."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    columns = (SpinnerColumn(), TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(text, total=total)

        def advance(done: Any, total: Any = None, text: Any = None) -> None:
            changes = {"completed": done, "total": total, "description": text}
            bar.update(task, **{key: value for key, value in changes.items() if value is not None})

        yield advance
