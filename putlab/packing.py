"""A design's arrays in two vectors, and back.

Each data container of a model costs a good half second of compilation, so a design travels as
one vector of whole numbers and one of numbers, from which the model takes its arrays.
"""

import math

import numpy as np

from putlab.priors import SpreadPriors

# In this order: what has a size known when compiling comes first, so that its place is known.
WHOLE = ("session_player", "cell_index", "row_cell")
REAL = (
    "over_lengths", "visit_share", "centre_length", "centre_session", "priors",
    "cell_covariate", "row",
)  # fmt: skip


def pack(data):
    """Return a design's arrays as two vectors.

    Parameters
    ----------
    data : dict of str to ndarray
        Arrays named in `WHOLE` and `REAL`.

    Returns
    -------
    dict of str to ndarray
        ``places``: the numbers of cells and of rows, then the whole numbers; ``numbers``.
    """
    head = [data["cell_index"].shape[1], data["row_cell"].size]
    whole = np.concatenate([head, *(data[name].ravel() for name in WHOLE)])
    return {
        "places": whole.astype(np.int32),
        "numbers": np.concatenate([data[name].ravel() for name in REAL]),
    }


def unpack(places, numbers, size):
    """Return the arrays that `pack` put into two vectors.

    Parameters
    ----------
    places, numbers : ndarray or pytensor vector
        The two vectors.
    size : tuple of int
        Players and padded numbers of sessions, lengths and conditions.

    Returns
    -------
    dict of str to ndarray or pytensor variable
        The arrays by name.
    """
    shapes = _shapes(size, places[0], places[1])
    return _taken(places[2:], WHOLE, shapes) | _taken(numbers, REAL, shapes)


def _shapes(size, cells, rows):
    players, sessions, lengths, _ = size
    return {
        "session_player": (sessions,),
        "cell_index": (4, cells),
        "row_cell": (rows,),
        "over_lengths": (3, lengths, lengths),
        "visit_share": (players, sessions),
        "centre_length": (2, players, lengths),
        "centre_session": (2, sessions),
        "priors": (len(SpreadPriors.names()),),
        "cell_covariate": (3, cells),
        "row": (4, rows),
    }


def _taken(vector, names, shapes):
    taken, start = {}, 0
    for name in names:
        end = start + math.prod(shapes[name])
        taken[name] = vector[start:end].reshape(shapes[name])
        start = end
    return taken
