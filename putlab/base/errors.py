"""Errors a person can act on: what was given, where, what was expected, what to do."""


class PutlabError(Exception):
    """Root of every error that the kit raises on purpose; its text is for the user."""


class LogError(PutlabError):
    """The log has a problem that stops the job."""


class FitError(PutlabError):
    """A fit failed its diagnostics, or the data cannot carry it."""


class UsageError(PutlabError):
    """An argument is wrong: the command was asked for something it cannot do."""


class OutputError(PutlabError):
    """A result could not be written; whatever stood there before still does."""


def expect(good: bool, name: str, given: object, expected: str) -> None:
    """Refuse an argument that can't be."""
    if not good:
        raise UsageError(f"{name} {given!r}: expected {expected}.")
