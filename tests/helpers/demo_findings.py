"""The demo's findings, worked out once for all tests of the report."""

import datetime

from putlab.pages.findings import player_findings
from putlab.pages.page import finished, html_of

MADE = datetime.datetime(2026, 2, 1, 9, 30, tzinfo=datetime.UTC)
_kept, _pages = {}, {}


def findings(log, fit, player):
    """Return the findings of one demo player."""
    if player not in _kept:
        _kept[player] = player_findings(log, fit, player)
    return _kept[player]


def render(log, meta, everybody, made):
    """Return the report of findings that were worked out before."""
    return finished(log, html_of(log, meta, everybody), lambda: everybody, None, made)


def page(log, fit, *players):
    """Return the report of some demo players, or of all, as HTML."""
    if players not in _pages:
        everybody = [findings(log, fit, player) for player in players or fit.players]
        _pages[players] = render(log, fit.meta(), everybody, made=MADE).html
    return _pages[players]


def one(found, name):
    """Return the chart of a player's findings with this name."""
    return found.figures[name]
