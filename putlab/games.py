"""Counted games: holes of par two on the practice green, nothing conceded.

A game is read from the log's rows with `hole_no` and `putt_no`: a hole begins at putt 1, and
its putts are those taken until it was holed. A new game begins where a hole's number comes
again within a visit.
"""

import numpy as np
import pandas as pd

from putlab.errors import LogError

# Common practice: every hole of a counted game is a par of two.
PAR = 2

HOLE_COLUMNS = [
    "player",
    "session",
    "game",
    "condition",
    "hole_no",
    "distance_ft",
    "stimp_ft",
    "slope_pct",
    "slope_to_deg",
    "putts",
]


def played_holes(putts):
    """Return the finished holes of all counted games.

    Parameters
    ----------
    putts : pandas.DataFrame
        A log's putts, in order.

    Returns
    -------
    holes : pandas.DataFrame
        A row a hole: ``player, session, game`` (1, 2 and so on within the player's visits),
        ``condition, hole_no, distance_ft, stimp_ft, slope_pct, slope_to_deg`` (of the first
        putt, missing where not logged) and ``putts`` taken.
    notes : list of str
        Holes left out, and why.

    Raises
    ------
    LogError
        The log has no finished hole of a game.
    """
    rows = putts[putts["hole_no"].notna() & putts["putt_no"].notna()]
    if rows.empty:
        raise LogError(
            "the log has no counted game: no row has both hole_no and putt_no. "
            "`putlab game --deal 9` deals one to play."
        )
    groups = rows.groupby(["player", "session"], sort=False, dropna=False)
    visits = [_holes_of_visit(visit) for _, visit in groups]
    holes = pd.concat([holes for holes, _ in visits], ignore_index=True)
    notes = [note for _, found in visits for note in found]
    if holes.empty:
        raise LogError("the log has no finished hole of a counted game. " + " ".join(notes[:3]))
    games = holes["session"] + "/" + holes["game"].astype(str)
    holes["game"] = games.groupby(holes["player"], sort=False).transform(_numbered)
    return holes[HOLE_COLUMNS], notes


def _numbered(labels):
    return pd.factorize(labels)[0] + 1


def _holes_of_visit(visit):
    """Return a visit's finished holes and notes about the others."""
    starts = (visit["putt_no"] == 1) | (visit["hole_no"] != visit["hole_no"].shift())
    found, notes, seen, game = [], [], set(), 1
    for _, rows in visit.groupby(starts.cumsum(), sort=False):
        first = rows.iloc[0]
        if first["hole_no"] in seen:
            seen, game = set(), game + 1
        seen.add(first["hole_no"])
        trouble = _trouble(rows)
        if trouble:
            place = f"{first['player']}, {first['session']}, hole {first['hole_no']:g}"
            notes.append(f"{place}: {trouble}, so the hole is left out.")
            continue
        found.append({**first, "game": game, "putts": len(rows)})
    return pd.DataFrame(found, columns=HOLE_COLUMNS), notes


def _trouble(rows):
    """Say why a hole's score is not known, or return an empty text."""
    numbers = rows["putt_no"].to_numpy()
    if not np.array_equal(numbers, np.arange(1, len(rows) + 1)):
        return f"putts {', '.join(f'{n:g}' for n in numbers)} are not 1, 2, 3 and so on"
    holed = rows["holed"]
    if holed.iloc[:-1].fillna(False).any():
        return "a putt follows one that was holed"
    # Nothing is conceded: where holed is not written down, the last putt dropped.
    if not holed.fillna(True).iloc[-1]:
        return "the last putt was not holed"
    return ""
