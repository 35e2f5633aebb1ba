"""Pseudonyms: what players, visits, files and sheets are called where no name may be said.

Nothing that was read before the labels are known is said then, for it may hold a name.
"""

import re
import unicodedata
from contextlib import suppress

import pandas as pd

from putlab.base.words import HIDING, counted

# Columns of labels, and what a label of each is called with a number.
NOUNS = {"player": "player", "session": "visit", "condition": "condition", "trial": "trial"}

# A visit that is called by its day names nobody.
DAY = re.compile(r"\d{4}-\d\d-\d\d([ T]\d\d:\d\d(:\d\d)?)?", re.ASCII)

UNSAID = (
    "the log can't be used, and the reason may hold a name, so it is not said under pseudonyms. "
    "Read it without them to see the reason."
)

# What each label is called, by column; players by first putt, so that a log that grows visit
# by visit keeps its pseudonyms.
Called = dict[str, dict[str, str]]


def pseudonyms_of(putts: pd.DataFrame) -> Called:
    """Return what labels are called: all players, visits but by day, others that hold a name."""
    if not HIDING.get():
        return {}
    labels = {column: list(putts[column].dropna().unique()) for column in NOUNS}
    return {
        column: {
            label: f"{NOUNS[column]} {number}" if _tells(column, label, labels["player"]) else label
            for number, label in enumerate(found, start=1)
        }
        for column, found in labels.items()
    }


def _tells(column: str, label: str, players: list[str]) -> bool:
    """Return whether a label of a column may tell who somebody is."""
    if column in ("player", "session"):
        return column == "player" or not DAY.fullmatch(label)
    text, words = _plain(label)
    for name, parts in map(_plain, players):
        # A word of the player's name in the label, or one of the label in the name.
        inside = [part for part in parts if part in text] + [word for word in words if word in name]
        if set(parts) & set(words) or any(len(w) > 2 or not w.isascii() for w in inside):
            return True
    return False


def name_in(called: Called, column: str, label: str) -> str:
    """Return what a label of a column is called."""
    return called.get(column, {}).get(label, label)


def under(called: Called, rows: pd.DataFrame) -> pd.DataFrame:
    """Return rows with their labels as they are called."""
    return rows.assign(**{c: rows[c].map(to).astype(rows[c].dtype) for c, to in called.items()})


def _plain(label: str) -> tuple[str, list[str]]:
    """Return a label without case, accents and strokes, and its words and numbers."""
    text = "".join(map(_bare, unicodedata.normalize("NFKC", label).casefold()))
    return text, re.findall(r"[^\W\d_]+|\d+", text)


def _bare(letter: str) -> str:
    """Return a letter without what its name in Unicode says it is written with."""
    with suppress(KeyError):
        return unicodedata.lookup(unicodedata.name(letter, "").partition(" WITH ")[0])
    return letter


def said(remarks: list[str]) -> list[str]:
    """Return remarks on a log as it was found, or how many are not said because of names."""
    if not (HIDING.get() and remarks):
        return remarks
    unsaid = counted(len(remarks), "remark")
    return [f"{unsaid} may hold names; read the log without pseudonyms to see them."]
