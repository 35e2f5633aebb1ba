"""Readings become intervals, and equal intervals become counts.

A display that says +1 in whole degrees says *between 0.5 and 1.5*. A ball stopped by the
backstop says *at least that far*. A holed putt says *hard enough to arrive, soft enough to
drop*. Each reading is therefore kept as the interval ``lo < value < hi`` that it stands for,
in the unit of its component: degrees for line, 100 (roll / target - 1) percent for pace.
"""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.green.published import HOLE_RADIUS_FT
from putlab.log.checks import visit_read, was_read
from putlab.log.read import Log
from putlab.log.rules import ReadingRules

# Warm-up: the first few putts of a visit may scatter wider (common practice).
WARM_UP_PUTTS = 5

# Where no step is known a reading is taken as exact; an interval this narrow, in units of a
# typical spread, changes nothing but keeps one likelihood for all.
EXACT_WIDTH = 1e-4

# Distances closer than this, in log distance, share one estimate (9.8 ft and 10 ft).
SAME_LENGTH = 0.04
MOST_LENGTHS = 24

# A cell with more distinct intervals than this has neighbours joined: beyond, a fit's cost
# no longer grows with the putts.
CROWDED = 48

# Bins a sixth of a spread wide lose a quarter of a per cent of what readings say about it
# (Sheppard: variance h²/12 against s²), which moves an estimate by a twentieth of its own
# error; wider ones in the tails still tell a mishit from a poor putt.
_TAIL_EDGES_SD = np.array([3.33, 3.67, 4.0, 4.5, 5.0, 6.0])
BIN_EDGES_SD = np.concatenate([-_TAIL_EDGES_SD[::-1], np.arange(-18, 19) / 6, _TAIL_EDGES_SD])

COMPONENTS = ("line", "pace")
CELL = ["player", "session", "length", "condition", "warm_up", "counted"]


def intervals(log: Log, component: str, practice: pd.DataFrame | None = None) -> pd.DataFrame:
    """Turn a log into counted intervals of one component.

    Parameters
    ----------
    log : putlab.log.read.Log
        A log that has been read.
    component : {"line", "pace"}
        Line in degrees, or pace as 100 (roll / target - 1) in percent.
    practice : pandas.DataFrame, optional
        The log's `practice_putts`, where they are at hand.

    Returns
    -------
    pandas.DataFrame
        One row an interval: ``player, session, length, condition, warm_up, counted,
        distance_ft, lo, hi, noise, count``, with ``length`` an index into
        `lengths_ft`.
    """
    rows = INTERVALS[component](
        practice_putts(log.putts) if practice is None else practice, log.rules
    )
    return join_crowded(count_equal(rows[rows["hi"] > rows["lo"]]))


def practice_putts(putts: pd.DataFrame) -> pd.DataFrame:
    """Return the putts that tell about spread in practice, with the labels of their cell."""
    # Practice, not a visit to a green: there nothing was read, and elsewhere something.
    ever_read = was_read(putts).groupby(putts["player"]).transform("any")
    putts = first_putts(putts[visit_read(putts) | ~ever_read])
    length = nearest_length(putts["distance_ft"], lengths_ft(putts["distance_ft"]))
    return putts.assign(length=length)


def with_errors(putts: pd.DataFrame) -> pd.DataFrame:
    """Add what `practice_putts` missed by as read: ``line``, degrees, ``pace``, % of the target."""
    return putts.assign(
        line=putts["line_deg"], pace=100 * (putts["roll_ft"] / putts["target_ft"] - 1)
    )


def first_putts(putts: pd.DataFrame) -> pd.DataFrame:
    """Return the first putts of a log, wherever they were struck."""
    order = putts.groupby(["player", "session"], sort=False).cumcount()
    # Where there is a hole the golfer means to reach and pass it; without one, to stop there.
    past = np.where(putts["holed"].notna(), PAST_FT, 0.0)
    past = putts["aim_past_ft"].fillna(pd.Series(past, putts.index))
    putts = putts.assign(
        warm_up=order < WARM_UP_PUTTS,
        counted=in_game(putts),
        condition=conditions_held(putts),
        target_ft=putts["distance_ft"] + past,
    )
    return putts[~(putts["putt_no"] > 1)]


def in_game(putts: pd.DataFrame) -> pd.Series:
    """Tell putts that counted."""
    return (putts["drill"] == "counted").fillna(False).astype(bool)


def conditions_held(putts: pd.DataFrame) -> pd.Series:
    """Return the condition of each putt; where a green's has none, that of practice nearby."""
    named = putts["condition"].fillna("")
    practice = visit_read(putts)
    held = named.where(practice).groupby(putts["player"])
    nearest = held.ffill().fillna(held.bfill()).fillna("")
    return named.where(practice | (named != ""), nearest)


def lengths_ft(distance_ft: ArrayLike) -> np.ndarray:
    """Return the lengths a log holds, near ones merged."""
    values = pd.Series(np.round(np.asarray(distance_ft), 6)).value_counts().sort_index()
    tolerance = SAME_LENGTH
    while True:
        group = _chain(np.log(values.index.to_numpy(float)), tolerance)
        lengths = values.groupby(group).idxmax().to_numpy(float)
        if lengths.size <= MOST_LENGTHS:
            return lengths
        tolerance *= 1.3


def _chain(sorted_values: np.ndarray, tolerance: float) -> np.ndarray:
    """Number groups so that none spans more than the tolerance."""
    starts = list[float]()
    for value in sorted_values:
        if not starts or value - starts[-1] > tolerance:
            starts.append(value)
    return np.searchsorted(starts, sorted_values, side="right")


def nearest_length(distance_ft: ArrayLike, lengths: np.ndarray) -> np.ndarray:
    """Return the index of the nearest length, in log distance."""
    edges = np.sqrt(lengths[1:] * lengths[:-1])
    return np.searchsorted(edges, np.asarray(distance_ft, dtype=float))


def line_intervals(putts: pd.DataFrame, rules: ReadingRules) -> pd.DataFrame:
    """Return the interval of start direction, in degrees, that each putt tells."""
    lo, hi = _around(putts["line_deg"], rules.line_step_deg, 1.0)
    if rules.line_limit_deg is not None:
        inside = rules.line_limit_deg - (rules.line_step_deg or 0.0) / 2
        limit = rules.line_limit_deg
        right, left = putts["line_deg"] >= limit, putts["line_deg"] <= -limit
        lo = lo.mask(right, inside).mask(left, -np.inf)
        hi = hi.mask(right, np.inf).mask(left, -inside)
    swallowed = _swallowed(putts, "line_deg")
    edge = np.degrees(np.arcsin(np.minimum(HOLE_RADIUS_FT / putts["distance_ft"], 1.0)))
    lo, hi = lo.mask(swallowed, -edge), hi.mask(swallowed, edge)
    rows = putts.assign(lo=lo, hi=hi, noise=rules.line_noise_deg or 0.0)
    return rows.dropna(subset=["lo", "hi"])


def pace_intervals(putts: pd.DataFrame, rules: ReadingRules) -> pd.DataFrame:
    """Return the interval of 100 (roll / target - 1), in percent, that each putt tells."""
    low_ft, high_ft = _around(putts["roll_ft"], rules.roll_step_ft, putts["target_ft"] * 0.1)
    # Nothing rolls less than not at all: a reading of zero holds all that fell short of it.
    low_ft = low_ft.mask(low_ft <= 0, -np.inf)
    if rules.roll_limit_ft is not None:
        inside = rules.roll_limit_ft - (rules.roll_step_ft or 0.0) / 2
        stopped = putts["roll_ft"] >= inside
        low_ft, high_ft = low_ft.mask(stopped, inside), high_ft.mask(stopped, np.inf)
    swallowed = _swallowed(putts, "roll_ft")
    arrive_ft, drop_ft = dropping_rolls_ft(
        putts["distance_ft"], putts["line_deg"], putts["stimp_ft"]
    )
    low_ft, high_ft = low_ft.mask(swallowed, arrive_ft), high_ft.mask(swallowed, drop_ft)
    per_ft = 100 / putts["target_ft"]
    noise_pct = (rules.roll_noise_ft or 0.0) * per_ft
    rows = putts.assign(lo=low_ft * per_ft - 100, hi=high_ft * per_ft - 100, noise=noise_pct)
    return rows.dropna(subset=["lo", "hi"])


INTERVALS = {"line": line_intervals, "pace": pace_intervals}


def dropping_rolls_ft(
    distance_ft: ArrayLike, line_deg: ArrayLike, stimp_ft: ArrayLike
) -> tuple[np.ndarray, np.ndarray]:
    """Return the roll-outs between which a ball drops: it arrives, and is slow enough."""
    # Here, not above: to look at a log needs no integrals, whose library takes half a second.
    from putlab.green.flat import past_limit_ft, rim_ft

    angle = np.radians(np.nan_to_num(np.asarray(line_deg, dtype=float)))
    distance = np.asarray(distance_ft, dtype=float)
    offset = np.minimum(np.abs(distance * np.sin(angle)), HOLE_RADIUS_FT * 0.999)
    along = distance * np.cos(angle)
    speed: Any = np.where(np.isnan(stimp_ft), STIMP_FT, stimp_ft)
    return along - rim_ft(offset), along + past_limit_ft(offset, speed)


def _swallowed(putts: pd.DataFrame, reading: str) -> pd.Series:
    """Holed putts without this reading, for players whose misses do have it."""
    holed = (putts["holed"] == True).fillna(False).astype(bool)  # noqa: E712 (nullable boolean)
    missed = (putts["holed"] == False).fillna(False).astype(bool)  # noqa: E712
    read = putts[reading].notna()
    shares = read[missed].groupby(putts.loc[missed, "player"]).mean()
    return holed & ~read & putts["player"].isin(shares.index[shares >= 0.95])


def _around(
    reading: pd.Series, step: float | None, scale: float | pd.Series
) -> tuple[pd.Series, pd.Series]:
    width = step if step else EXACT_WIDTH * scale
    return reading - width / 2, reading + width / 2


def count_equal(rows: pd.DataFrame) -> pd.DataFrame:
    """Count equal intervals of one cell instead of repeating them."""
    counted = rows if "count" in rows else rows.assign(count=1)
    # A hair of rounding: the same reading over the same distance is the same interval.
    counted = counted.assign(lo=counted["lo"].round(9), hi=counted["hi"].round(9))
    groups = counted.groupby([*CELL, "lo", "hi", "noise"], sort=True, dropna=False)
    return groups.agg(count=("count", "sum"), distance_ft=("distance_ft", "mean")).reset_index()


def join_crowded(rows: pd.DataFrame, most: int = CROWDED) -> pd.DataFrame:
    """Join neighbouring intervals in cells that hold very many different ones."""
    size = rows.groupby(CELL, sort=False, dropna=False)["lo"].transform("size")
    crowded = rows[size > most]
    if crowded.empty:
        return rows.reset_index(drop=True)
    joined = [_join(cell) for _, cell in crowded.groupby(CELL, sort=False, dropna=False)]
    return pd.concat([rows[size <= most], *joined], ignore_index=True)


def _join(cell: pd.DataFrame) -> pd.DataFrame:
    """Join the readings of one cell onto bins fixed by its middle and its spread."""
    # A width that is there: where lengths differ a little, so do widths in per cent.
    step = (cell["hi"] - cell["lo"]).quantile(0.5, interpolation="lower")
    plain = cell[np.isclose(cell["hi"] - cell["lo"], step, rtol=1e-6)]
    centre = (plain["lo"] + plain["hi"]).to_numpy() / 2
    edges = _bin_edges(centre, plain["count"].to_numpy(), plain["lo"].iloc[0], step)
    place = np.searchsorted(edges, centre)
    inside = (place > 0) & (place < edges.size)
    binned = plain[inside].assign(lo=edges[place[inside] - 1], hi=edges[place[inside]])
    return pd.concat([count_equal(binned), cell.drop(plain.index[inside])], ignore_index=True)


def _bin_edges(centre: np.ndarray, count: np.ndarray, start: float, step: float) -> np.ndarray:
    low, middle, high = np.quantile(centre, [0.25, 0.5, 0.75], weights=count, method="inverted_cdf")
    spread = max((high - low) / 1.349, step)  # a normal's quartiles are 1.349 sd apart
    edges = middle + spread * BIN_EDGES_SD
    return np.unique(start + np.round((edges - start) / step) * step)
