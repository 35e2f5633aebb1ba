"""From counted cells to the arrays a model reads: indices, covariates, padding."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from putlab.centring import centring
from putlab.packing import pack
from putlab.readings import CELL
from putlab.settings import FAR

# Length over which a weak spot spreads, in log distance: at 10 ft it has faded to 1/e by
# 14 ft (assumption; its size is estimated).
BUMP_RANGE = 0.35
REFERENCE_FT = 10.0

# Padded sizes: logs of like size share one compiled model.
SESSION_SLOTS = (4, 8, 12, 16, 24, 32, 48, 64, 96, 128, 192, 256, 384, 512, 1024, 2048, 4096)
LENGTH_SLOTS = (2, 4, 6, 8, 12, 16, 24)
CONDITION_SLOTS = (1, 2, 4, 8, 16, 32, 64, 128, 256, 512)


@dataclass(frozen=True)
class Design:
    """What a model needs to know of a log, for one component.

    Attributes
    ----------
    players : list of str
        Labels, in the order of the player index.
    sessions : pandas.DataFrame
        ``player, session, putts_before, practised`` of each session slot in use;
        ``practised`` is log(1 + putts_before / 100) less the player's mean of it.
    lengths_ft : ndarray, shape (lengths,)
        Lengths in use.
    conditions : pandas.DataFrame
        ``player, condition`` of each condition slot in use, for players with two or more.
    rows : pandas.DataFrame
        The counted intervals.
    size : tuple of int
        Players and padded numbers of sessions, lengths and conditions.
    data : dict of str to ndarray
        What the model reads: ``cell_index`` (player, session, length, condition),
        ``cell_covariate`` (practised, early, counted), ``row`` (lo, hi, noise, count),
        ``row_cell``, ``over_lengths`` (x on a diagonal, colouring and whitening matrix),
        ``session_player``, ``visit_share`` (each visit's share of a player's readings),
        ``centre_length`` (level, bias), ``centre_session`` (setup, form), ``priors``.
    """

    players: list
    sessions: pd.DataFrame
    lengths_ft: np.ndarray
    conditions: pd.DataFrame
    rows: pd.DataFrame
    size: tuple
    data: dict

    @property
    def containers(self):
        """The same as the model's data containers (`putlab.packing`)."""
        return pack(self.data)

    @property
    def putts(self):
        """Number of readings, equal ones counted."""
        return float(self.data["row"][3].sum())

    def counted_as(self, putts):
        """Return the same design with its readings counted as so many.

        Parameters
        ----------
        putts : float
            Sum of the counts.

        Returns
        -------
        Design
            For a first look: its answer is too wide, and otherwise alike.
        """
        row = self.data["row"].copy()
        row[3] *= putts / self.putts
        return replace(self, data=self.data | {"row": row})


def make_design(rows, sessions, lengths, players, priors):
    """Arrange counted cells for the model.

    Parameters
    ----------
    rows : pandas.DataFrame
        From `putlab.readings.cells`.
    sessions : pandas.DataFrame
        From `session_table`.
    lengths : ndarray
        Lengths in feet that ``rows["length"]`` points into.
    players : list of str
        Every player of the log, with or without readings of this component.
    priors : putlab.priors.SpreadPriors
        Priors, which travel as data so that one compiled model serves both components.

    Returns
    -------
    Design
        Indices, covariates and padded arrays.
    """
    conditions = condition_table(rows)
    size = (
        len(players),
        _slot(len(sessions), SESSION_SLOTS),
        _slot(len(lengths), LENGTH_SLOTS),
        _slot(len(conditions) + 1, CONDITION_SLOTS),
    )
    data = _row_data(rows, sessions, conditions, players)
    data |= _length_data(lengths, size[2])
    data |= _session_data(data, sessions, players, size) | centring(data, size)
    data["priors"] = np.array(priors.values())
    return Design(players, sessions, lengths, conditions, rows, size, data)


def session_table(putts):
    """Return every visit with the putts struck before it.

    Parameters
    ----------
    putts : pandas.DataFrame
        The whole normalised log in order, follow-up putts included: they are practice too.

    Returns
    -------
    pandas.DataFrame
        ``player, session, putts, putts_before, practised``.
    """
    table = (
        putts.groupby(["player", "session"], sort=False).size().rename("putts").reset_index()
    )
    table["putts_before"] = (
        table.groupby("player", sort=False)["putts"].cumsum() - table["putts"]
    )
    struck = np.log1p(table["putts_before"] / 100)
    weighted = (struck * table["putts"]).groupby(table["player"]).sum()
    mean = weighted / table.groupby("player")["putts"].sum()
    table["practised"] = struck - table["player"].map(mean)
    return table


def condition_table(rows):
    """Return the conditions of every player who has two or more of them.

    Parameters
    ----------
    rows : pandas.DataFrame
        Counted cells.

    Returns
    -------
    pandas.DataFrame
        ``player, condition`` in order of label.
    """
    seen = rows[["player", "condition"]].drop_duplicates()
    several = seen.groupby("player")["condition"].transform("size") > 1
    return seen[several].sort_values(["player", "condition"]).reset_index(drop=True)


def _slot(needed, slots):
    return next((size for size in slots if size >= needed), needed)


def _codes(frame, keys, table):
    """Return each row's position in a table of distinct keys, -1 where it has none."""
    index = pd.MultiIndex.from_frame(table[keys])
    return index.get_indexer(pd.MultiIndex.from_frame(frame[keys]))


def _row_data(rows, sessions, conditions, players):
    groups = rows[CELL].drop_duplicates().reset_index(drop=True)
    session = _codes(groups, ["player", "session"], sessions)
    practised = sessions["practised"].to_numpy(float)[session]
    # Slot 0 is "no condition to tell apart", which has no effect.
    condition = _codes(groups, ["player", "condition"], conditions) + 1
    player = pd.Index(players).get_indexer(groups["player"])
    bounds = rows[["lo", "hi"]].clip(-FAR, FAR)
    return {
        "cell_index": np.stack([player, session, groups["length"].to_numpy(int), condition]),
        "cell_covariate": np.stack(
            [practised, groups["early"].to_numpy(float), groups["counted"].to_numpy(float)]
        ),
        "row_cell": _codes(rows, CELL, groups),
        "row": np.stack([bounds["lo"], bounds["hi"], rows["noise"], rows["count"]]).astype(
            float
        ),
    }


def _length_data(lengths, slots):
    x = np.zeros(slots)
    x[: len(lengths)] = np.log(lengths / REFERENCE_FT)
    colour = np.eye(slots)
    used = slice(0, len(lengths))
    colour[used, used] = np.linalg.cholesky(bump_correlation(x[used], x[used]))
    return {"over_lengths": np.stack([np.diag(x), colour, np.linalg.inv(colour)])}


def bump_correlation(x, other):
    """Return the correlation of weak spots at log distances (Ornstein-Uhlenbeck process).

    Parameters
    ----------
    x, other : ndarray, shapes (n,) and (m,)
        Log distances.

    Returns
    -------
    ndarray, shape (n, m)
        exp(-|x - other| / range).
    """
    return np.exp(-np.abs(x[:, None] - other[None, :]) / BUMP_RANGE)


def _session_data(data, sessions, players, size):
    """Return whose each visit is, and its share of the player's readings."""
    _, session, _, _ = data["cell_index"][:, data["row_cell"]]
    count = np.bincount(session, weights=data["row"][3], minlength=size[1])
    used = slice(0, len(sessions))
    session_player = np.zeros(size[1], dtype=int)
    session_player[used] = pd.Index(players).get_indexer(sessions["player"])
    share = np.zeros((size[0], size[1]))
    share[session_player, np.arange(size[1])] = count
    share /= np.maximum(share.sum(axis=1, keepdims=True), 1)
    return {"session_player": session_player, "visit_share": share}
