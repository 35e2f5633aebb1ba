"""The demo's findings, worked out once for all tests of the report."""

import datetime

from putlab.pages.findings import find
from putlab.pages.page import render

MADE = datetime.datetime(2026, 2, 1, 9, 30, tzinfo=datetime.UTC)
_kept, _pages = {}, {}


def findings(log, fit, player):
    """Return the findings of one demo player."""
    if player not in _kept:
        _kept[player] = find(log, fit, player)
    return _kept[player]


def page(log, fit, *players):
    """Return the report of some demo players, or of all, as HTML."""
    if players not in _pages:
        everybody = [findings(log, fit, player) for player in players or fit.players]
        _pages[players] = render(log, fit, everybody, made=MADE)
    return _pages[players]
