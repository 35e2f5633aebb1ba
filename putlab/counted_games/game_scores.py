"""Scores of counted games against what this golfer was expected to make on those holes."""

import numpy as np
import pandas as pd

from putlab.games import PAR
from putlab.settings import interval_probabilities
from putlab.strokes import tour_reference


def score_chances(chances):
    """Return the chances of every total over some holes.

    Parameters
    ----------
    chances : ndarray, shape (draws, holes, 10)
        Chances of 1, 2, ... 10 putts on each hole.

    Returns
    -------
    ndarray, shape (10 * holes + 1,)
        Chance of each total from 0, by convolution hole after hole within a draw (holes are
        alike in their golfer, not independent), then averaged over draws.
    """
    draws, holes, most = chances.shape
    total = np.zeros((draws, most * holes + 1))
    total[:, 0] = 1.0
    for hole in range(holes):
        added = np.zeros_like(total)
        for putts in range(1, most + 1):
            added[:, putts:] += chances[:, hole, putts - 1, None] * total[:, :-putts]
        total = added
    return total.mean(axis=0)


def game_scores(holes, chances, *, reference=None):
    """Return each game's score beside what was expected.

    Parameters
    ----------
    holes : pandas.DataFrame
        Holes played by one player (`putlab.games.played_holes`).
    chances : ndarray, shape (draws, holes, 10)
        Chances of 1, 2, ... 10 putts on each, from
        `putlab.counted_games.hole_chances.hole_chances`.
    reference : Reference, optional
        Whom to gain strokes on; default: the published tour average.

    Returns
    -------
    pandas.DataFrame
        A row a game: ``player, session, game, holes, par, score``; ``expected_score,
        expected_sd, expected_lo, expected_hi`` (mean, spread and 90 % equal-tailed interval
        of the score this golfer makes on these holes); ``chance_as_low`` (of this score or
        lower); ``gained_on_self, gained_on_reference`` (strokes; the latter NaN where the
        reference is silent on one of the holes).
    """
    reference = reference or tour_reference()
    rows = []
    where = np.arange(len(holes))
    for (player, session, game), part in holes.groupby(
        ["player", "session", "game"], sort=False
    ):
        here = where[
            (holes["player"] == player)
            & (holes["session"] == session)
            & (holes["game"] == game)
        ]
        score = int(part["putts"].sum())
        expected = _summary(score_chances(chances[:, here]), score)
        gained = reference.gained(part["distance_ft"], part["putts"]).sum()
        rows.append(
            {
                "player": player,
                "session": session,
                "game": game,
                "holes": len(part),
                "par": PAR * len(part),
                "score": score,
                **expected,
                "gained_on_self": expected["expected_score"] - score,
                "gained_on_reference": gained,
            }
        )
    return pd.DataFrame(rows)


def _summary(chance, score):
    totals, below = np.arange(chance.size), np.cumsum(chance)
    mean = chance @ totals
    low, high = (int(np.searchsorted(below, p - 1e-9)) for p in interval_probabilities())
    return {
        "expected_score": mean,
        "expected_sd": np.sqrt(chance @ (totals - mean) ** 2),
        "expected_lo": low,
        "expected_hi": high,
        "chance_as_low": min(below[score], 1.0),
    }
