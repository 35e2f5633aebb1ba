"""How far each group of a model's parameters is centred, chosen from the readings.

A parameter that its own data place well samples best centred, one that its prior places best
non-centred, with a smooth path between (Papaspiliopoulos, Roberts and Sköld, "A general
framework for the parametrization of hierarchical models", Statistical Science 22, 2007). The
share is prior variance / (prior variance + data variance). The prior variance is itself to be
estimated, so it is guessed here from moments of the readings, in units of the golfer's
spread; a wrong guess costs effective draws and changes no answer.
"""

import numpy as np
import pandas as pd

from putlab.settings import FAR

# Variances guessed before looking: half the typical sizes (weak spot 0.1 of log spread, bias
# 0.15, setup 0.25, form 0.07). Where a size turns out small a centred variable sticks, where
# large a non-centred one still moves. Halving doubled the least effective draws of a log of a
# thousand putts.
LEVEL, BIAS, SETUP, FORM = 0.05**2, 0.075**2, 0.125**2, 0.035**2

# How many degrees of freedom the guess before looking is worth, and the least variance that
# is believed, as a part of the scatter which readings alone give.
WORTH, LEAST = 4, 0.25


def centring(data, size):
    """Return the shares, 0 (not centred) to 1 (wholly).

    Parameters
    ----------
    data : dict of str to ndarray
        ``cell_index``, ``row``, ``row_cell`` and ``over_lengths`` of a
        `putlab.design.Design`.
    size : tuple of int
        Its ``size``.

    Returns
    -------
    dict of str to ndarray
        ``centre_length`` (level, bias), shape (2, players, lengths); ``centre_session``
        (setup, form), shape (2, sessions).
    """
    cells = _cells(data)
    spots = _spots(cells)
    visits = _visits(cells, spots)
    per_length, per_session = np.zeros((size[0], size[2])), np.zeros(size[1])
    per_length[spots["player"], spots["length"]] = spots["count"]
    per_session[visits["session"]] = visits["count"]
    x = np.diag(data["over_lengths"][0])[spots["length"]]
    level = _guess(LEVEL, spots, spots["log_sd"], spots["information"], [np.ones(x.size), x])
    bias = _guess(BIAS, spots, spots["mean"] / spots["sd"], spots["count"])
    setup = _guess(SETUP, visits, visits["mean"], visits["count"])
    form = _guess(FORM, visits, visits["log_sd"], visits["information"])
    # n putts place a mean to 1/n and a log spread to 1/(2n), in variance.
    return {
        "centre_length": np.stack([_share(level, 2 * per_length), _share(bias, per_length)]),
        "centre_session": np.stack([_share(setup, per_session), _share(form, 2 * per_session)]),
    }


def _share(variance, precision):
    return variance * precision / (1 + variance * precision)


def _cells(data):
    """Return count, mean and scatter of each player's readings at a visit and length."""
    low, high, _, count = data["row"]
    # A reading beyond a limit counts as the limit.
    middle = np.where(low <= -FAR, high, np.where(high >= FAR, low, (low + high) / 2))
    player, session, length, _ = data["cell_index"][:, data["row_cell"]]
    rows = pd.DataFrame({"player": player, "session": session, "length": length})
    rows = rows.assign(count=count, sum=count * middle, square=count * middle**2)
    cells = rows.groupby(["player", "session", "length"], as_index=False).sum()
    cells["mean"] = cells["sum"] / cells["count"]
    cells["scatter"] = (cells["square"] - cells["sum"] * cells["mean"]).clip(lower=0)
    cells["freedom"] = cells["count"] - 1
    return cells


def _spots(cells):
    """Return count, mean and spread of each player at each length."""
    spots = cells.groupby(["player", "length"], as_index=False).sum()
    spots["mean"] = spots["sum"] / spots["count"]
    return _with_spread(spots)


def _with_spread(table):
    """Add the spread; it is unknown where there are no two readings, or no two that differ."""
    with np.errstate(divide="ignore", invalid="ignore"):
        sd = np.sqrt(table["scatter"] / table["freedom"])
        table = table.assign(sd=sd.where(sd > 0), information=2 * table["freedom"])
    return table.assign(log_sd=np.log(table["sd"]))


def _visits(cells, spots):
    """Return count, mean and spread of each visit, in spreads of the player at the lengths."""
    usual = cells[["player", "length"]].merge(spots, on=["player", "length"], how="left")
    cells = cells.assign(
        mean=cells["count"] * (cells["mean"] - usual["mean"]) / usual["sd"],
        scatter=cells["scatter"] / usual["sd"] ** 2,
    )
    visits = cells.groupby(["player", "session"], as_index=False).sum(min_count=1)
    visits["mean"] /= visits["count"]
    return _with_spread(visits)


def _guess(typical, table, value, precision, on=None):
    """Return the variance of values about each player's mean, or line, less their own noise.

    It is never more than the typical one: with that, what is large samples well.
    """
    on = np.ones((1, len(table))) if on is None else np.stack(on)
    known = (np.isfinite(value) & (precision > 0)).to_numpy()
    excess, freedom, total = 0.0, 0, 0.0
    for rows in table[known].groupby("player").indices.values():
        weight = np.sqrt(precision[known].to_numpy()[rows])
        terms = (on[:, known][:, rows] * weight).T
        target = value[known].to_numpy()[rows] * weight
        left = target - terms @ np.linalg.lstsq(terms, target)[0]
        excess += left @ left
        freedom += max(rows.size - len(on), 0)
        total += (weight**2).sum()
    if freedom == 0:
        return typical
    noise = known.sum() / total
    seen = max(excess / freedom - 1, LEAST) * noise
    trust = freedom / (freedom + WORTH)
    return min(typical, typical ** (1 - trust) * seen**trust)
