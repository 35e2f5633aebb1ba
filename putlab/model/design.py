"""From counted intervals to the arrays a model reads: indices, covariates, padding."""

import math
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import pandas as pd

from putlab.base.settings import FAR
from putlab.model.priors import SpreadPriors
from putlab.model.readings import CELL

# Length over which a weak spot spreads, in log distance: at 10 ft it has faded to 1/e by
# 14 ft (assumption; its size is estimated).
SPOT_RANGE = 0.35
REFERENCE_FT = 10.0

# Padded sizes: logs of like size share one compiled model.
SESSION_SLOTS = (4, 8, 12, 16, 24, 32, 48, 64, 96, 128, 192, 256, 384, 512, 1024, 2048, 4096)
LENGTH_SLOTS = (2, 4, 6, 8, 12, 16, 24)
CONDITION_SLOTS = (1, 2, 4, 8, 16, 32, 64, 128, 256, 512)


def log_distance(distance_ft: Any) -> np.ndarray:
    """Return x of the model's story: log(distance / 10 ft)."""
    return np.log(np.asarray(distance_ft, dtype=float) / REFERENCE_FT)


def length_correlation(x: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Return the correlation of spots at log distances (Ornstein-Uhlenbeck process)."""
    return np.exp(-np.abs(x[:, None] - other[None, :]) / SPOT_RANGE)


def length_weights(known: np.ndarray, x: np.ndarray) -> np.ndarray:
    """Return the weights of spots at known log distances in those at others, (known, x)."""
    return np.linalg.solve(length_correlation(known, known), length_correlation(known, x))


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
        What the model reads, by name and shape as in `PLACES` and `NUMBERS`; of the names that do
        not speak for themselves: ``row_cell`` is the cell of each counted interval, ``x`` stands
        on a diagonal, ``visit_share`` is each visit's share of a player's readings, ``centre_``
        how far a group of parameters is centred.
    """

    players: list[str]
    sessions: pd.DataFrame
    lengths_ft: np.ndarray
    conditions: pd.DataFrame
    rows: pd.DataFrame
    size: tuple[int, ...]
    data: dict[str, np.ndarray]

    @property
    def containers(self) -> dict[str, np.ndarray]:
        """The same as the model's data containers: two vectors."""
        return pack(self.data)

    @property
    def putts(self) -> float:
        """Number of readings, equal ones counted."""
        return float(self.data["count"].sum())

    def counted_as(self, putts: float) -> "Design":
        """Return the design with its readings counted as so many: its answer is too wide."""
        count = self.data["count"] * putts / self.putts
        return replace(self, data=self.data | {"count": count})


def make_design(
    rows: pd.DataFrame,
    sessions: pd.DataFrame,
    lengths: np.ndarray,
    players: list[str],
    priors: SpreadPriors,
) -> Design:
    """Arrange counted intervals for the model."""
    conditions = condition_table(rows)
    needed = len(sessions), len(lengths), len(conditions) + 1
    slots = SESSION_SLOTS, LENGTH_SLOTS, CONDITION_SLOTS
    size = len(players), *map(_slot, needed, slots)
    data = _row_data(rows, sessions, conditions, players) | _length_data(lengths, size[2])
    data |= _session_data(data, sessions, players, size) | centring(data, size)
    return Design(
        players, sessions, lengths, conditions, rows, size, data | {"priors": priors.vector}
    )


def session_table(putts: pd.DataFrame) -> pd.DataFrame:
    """Return every visit with the putts struck before it: ``putts, putts_before, practised``."""
    table = putts.groupby(["player", "session"], sort=False).size().rename("putts").reset_index()
    table["putts_before"] = table.groupby("player", sort=False)["putts"].cumsum() - table["putts"]
    struck = np.log1p(table["putts_before"] / 100)
    weighted = (struck * table["putts"]).groupby(table["player"]).sum()
    mean = weighted / table.groupby("player")["putts"].sum()
    return table.assign(practised=struck - table["player"].map(mean))


def condition_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the conditions of every player who has two or more of them."""
    seen = rows[["player", "condition"]].drop_duplicates()
    several = seen.groupby("player")["condition"].transform("size") > 1
    return seen[several].sort_values(["player", "condition"]).reset_index(drop=True)


def places(frame: pd.DataFrame, table: pd.DataFrame, keys: list[str]) -> np.ndarray:
    """Return each row's position in a table of distinct keys, -1 where it has none."""
    index = pd.MultiIndex.from_frame(table[keys])
    return index.get_indexer(pd.MultiIndex.from_frame(frame[keys]))


def _slot(needed: int, slots: tuple[int, ...]) -> int:
    return next((size for size in slots if size >= needed), needed)


def _row_data(
    rows: pd.DataFrame, sessions: pd.DataFrame, conditions: pd.DataFrame, players: list[str]
) -> dict[str, np.ndarray]:
    cells = rows[CELL].drop_duplicates().reset_index(drop=True)
    session = places(cells, sessions, ["player", "session"])
    return {
        "player": pd.Index(players).get_indexer(cells["player"]),
        "session": session,
        "length": cells["length"].to_numpy(int),
        # Slot 0 is "no condition to tell apart", which has no effect.
        "condition": places(cells, conditions, ["player", "condition"]) + 1,
        "practised": sessions["practised"].to_numpy(float)[session],
        "warm_up": cells["warm_up"].to_numpy(float),
        "counted": cells["counted"].to_numpy(float),
        "row_cell": places(rows, cells, CELL),
        "ends": rows[["lo", "hi"]].clip(-FAR, FAR).to_numpy(float).T,
        "noise": rows["noise"].to_numpy(float),
        "count": rows["count"].to_numpy(float),
    }


def _length_data(lengths: np.ndarray, slots: int) -> dict[str, np.ndarray]:
    used = slice(0, len(lengths))
    x, cholesky = np.zeros(slots), np.eye(slots)
    x[used] = log_distance(lengths)
    cholesky[used, used] = np.linalg.cholesky(length_correlation(x[used], x[used]))
    return {"x": np.diag(x), "cholesky": cholesky, "cholesky_inverse": np.linalg.inv(cholesky)}


def _session_data(
    data: dict[str, np.ndarray], sessions: pd.DataFrame, players: list[str], size: tuple[int, ...]
) -> dict[str, np.ndarray]:
    """Return whose each visit is, and its share of the player's readings."""
    session = data["session"][data["row_cell"]]
    count = np.bincount(session, weights=data["count"], minlength=size[1])
    player = np.zeros(size[1], dtype=int)
    player[: len(sessions)] = pd.Index(players).get_indexer(sessions["player"])
    share = np.zeros((size[0], size[1]))
    share[player, np.arange(size[1])] = count
    share /= np.maximum(share.sum(axis=1, keepdims=True), 1)
    return {"session_player": player, "visit_share": share}


# How far each group of a model's parameters is centred, chosen from the readings.

# Variances guessed before looking: half the typical sizes (weak spot 0.1 of log spread, bias
# 0.15, visit bias 0.25, visit form 0.07). Where a size turns out small a centred variable
# sticks, where large a non-centred one still moves. Halving doubled the least effective draws
# of a log of a thousand putts.
LEVEL, BIAS, VISIT_BIAS, VISIT_FORM = 0.05**2, 0.075**2, 0.125**2, 0.035**2

# How many degrees of freedom the guess before looking is worth, and the least variance that
# is believed, as a part of the scatter which readings alone give.
WORTH, LEAST = 4, 0.25


def centring(data: dict[str, np.ndarray], size: tuple[int, ...]) -> dict[str, np.ndarray]:
    """Return the shares, 0 (not centred) to 1 (wholly)."""
    cells = _cells(data)
    spots = cells.groupby(["player", "length"], as_index=False).sum()
    spots = _with_spread(spots.assign(mean=spots["sum"] / spots["count"]))
    visits = _visits(cells, spots)
    per_length, per_session = np.zeros((size[0], size[2])), np.zeros(size[1])
    per_length[spots["player"], spots["length"]] = spots["count"]
    per_session[visits["session"]] = visits["count"]
    x = np.diag(data["x"])[spots["length"]]
    level = _guess(LEVEL, spots, spots["log_sd"], spots["information"], x)
    bias = _guess(BIAS, spots, spots["mean"] / spots["sd"], spots["count"])
    visit_bias = _guess(VISIT_BIAS, visits, visits["mean"], visits["count"])
    visit_form = _guess(VISIT_FORM, visits, visits["log_sd"], visits["information"])

    # n putts place a mean to 1/n and a log spread to 1/(2n), in variance.
    parts = {
        "level": level * (2 * per_length), "bias": bias * per_length,
        "visit_bias": visit_bias * per_session, "visit_form": visit_form * (2 * per_session),
    }  # fmt: skip
    return {f"centre_{name}": part / (1 + part) for name, part in parts.items()}


def _cells(data: dict[str, np.ndarray]) -> pd.DataFrame:
    """Return count, mean and scatter of each player's readings at a visit and length."""
    count, middle = data["count"], middles(*data["ends"])
    cell = {name: data[name][data["row_cell"]] for name in ("player", "session", "length")}
    rows = pd.DataFrame(cell)
    rows = rows.assign(count=count, sum=count * middle, square=count * middle**2)
    cells = rows.groupby(["player", "session", "length"], as_index=False).sum()
    cells["mean"] = cells["sum"] / cells["count"]
    cells["scatter"] = (cells["square"] - cells["sum"] * cells["mean"]).clip(lower=0)
    return cells.assign(freedom=cells["count"] - 1)


def middles(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Return the middle of intervals; what lies beyond a limit is the limit."""
    return np.where(low <= -FAR, high, np.where(high >= FAR, low, (low + high) / 2))


def _with_spread(table: pd.DataFrame) -> pd.DataFrame:
    """Add the spread; it is unknown where there are no two readings, or no two that differ."""
    with np.errstate(divide="ignore", invalid="ignore"):
        sd = np.sqrt(table["scatter"] / table["freedom"])
        table = table.assign(sd=sd.where(sd > 0), information=2 * table["freedom"])
    return table.assign(log_sd=np.log(table["sd"]))


def _visits(cells: pd.DataFrame, spots: pd.DataFrame) -> pd.DataFrame:
    """Return count, mean and spread of each visit, in spreads of the player at the lengths."""
    usual = cells[["player", "length"]].merge(spots, on=["player", "length"], how="left")
    cells = cells.assign(
        mean=cells["count"] * (cells["mean"] - usual["mean"]) / usual["sd"],
        scatter=cells["scatter"] / usual["sd"] ** 2,
    )
    visits = cells.groupby(["player", "session"], as_index=False).sum(min_count=1)
    return _with_spread(visits.assign(mean=visits["mean"] / visits["count"]))


def _guess(
    typical: float, table: pd.DataFrame, value: pd.Series, precision: pd.Series, *on: Any
) -> float:
    """Return the variance of values about each player's mean, or line, less their own noise."""
    terms = np.stack([np.ones(len(table)), *on])
    known = (np.isfinite(value) & (precision > 0)).to_numpy()
    excess, freedom, total = 0.0, 0, 0.0
    for rows in table[known].groupby("player").indices.values():
        weight = np.sqrt(precision[known].to_numpy()[rows])
        weighted = (terms[:, known][:, rows] * weight).T
        target = value[known].to_numpy()[rows] * weight
        left = target - weighted @ np.linalg.lstsq(weighted, target)[0]
        excess += left @ left
        freedom += max(rows.size - len(terms), 0)
        total += (weight**2).sum()
    if freedom == 0:
        return typical
    noise = known.sum() / total
    seen = max(excess / freedom - 1, LEAST) * noise
    trust = freedom / (freedom + WORTH)
    return min(typical, typical ** (1 - trust) * seen**trust)


# A design's arrays in two vectors, and back. What has a size known when compiling comes first,
# so that its place is known.

PLACES: dict[str, tuple[str, ...]] = {
    "session_player": ("sessions",),
    **dict.fromkeys(("player", "session", "length", "condition"), ("cells",)),
    "row_cell": ("rows",),
}
NUMBERS: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(("x", "cholesky", "cholesky_inverse"), ("lengths", "lengths")),
    "visit_share": ("players", "sessions"),
    **dict.fromkeys(("centre_level", "centre_bias"), ("players", "lengths")),
    **dict.fromkeys(("centre_visit_bias", "centre_visit_form"), ("sessions",)),
    "priors": ("priors",),
    **dict.fromkeys(("practised", "warm_up", "counted"), ("cells",)),
    "ends": ("ends", "rows"),
    **dict.fromkeys(("noise", "count"), ("rows",)),
}


def pack(data: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Return a design's arrays as two vectors."""
    head = [data["player"].size, data["row_cell"].size]
    whole = np.concatenate([head, *(data[name].ravel() for name in PLACES)])
    numbers = np.concatenate([data[name].ravel() for name in NUMBERS])
    return {"places": whole.astype(np.int32), "numbers": numbers}


def unpack(places: Any, numbers: Any, size: tuple[int, ...]) -> dict[str, Any]:
    """Return the arrays that `pack` put into two vectors."""
    at = dict(zip(("players", "sessions", "lengths"), size, strict=False))
    at |= {"cells": places[0], "rows": places[1], "priors": len(fields(SpreadPriors)), "ends": 2}
    taken = {}
    for vector, names in ((places[2:], PLACES), (numbers, NUMBERS)):
        start = 0
        for name, dims in names.items():
            shape = tuple(at[dim] for dim in dims)
            end = start + math.prod(shape)
            taken[name] = vector[start:end].reshape(shape)
            start = end
    return taken
