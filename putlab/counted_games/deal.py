"""Deal a counted game: holes to play whose lengths are a round's, on sloping ground."""

import numpy as np
import pandas as pd

from putlab.errors import UsageError
from putlab.schema import COLUMNS

# Slopes that holes are cut on: mostly 1 to 3 % (common practice).
SLOPES_PCT = (1.0, 2.0, 3.0)

# Downhill as seen from the ball, clockwise from the putt's own direction.
DIRECTIONS = {
    0: "downhill",
    45: "downhill, falls right",
    90: "falls right",
    135: "uphill, falls right",
    180: "uphill",
    225: "uphill, falls left",
    270: "falls left",
    315: "downhill, falls left",
}

SHORTEST_FT = 2.0
MOST_HOLES = 18
# A mix of so few lengths comes from marks on a mat or strip: deal those, not between them.
MARKS = 8


def deal_game(mix, holes, *, seed, session, slopes_pct=SLOPES_PCT):
    """Deal a card of holes to play.

    Lengths are taken evenly from the mix, one from each share of it, so that every game is
    about as long as a round; slopes and directions are dealt as evenly. The order is random.

    Parameters
    ----------
    mix : RoundMix
        First putts of a round.
    holes : int
        1 to 18; nine or eighteen is common practice.
    seed : int
        The same seed deals the same game.
    session : str
        Label or ISO date of the visit, written on the card.
    slopes_pct : sequence of float
        Steepnesses to deal from; ``(0,)`` for a level mat.

    Returns
    -------
    pandas.DataFrame
        A row a hole, every column of the log: ``drill`` is counted, ``putt_no`` 1, and the
        boxes for readings are empty, to be filled in.

    Raises
    ------
    UsageError
        The number of holes is not 1 to 18, or a slope is out of range.
    """
    if not 1 <= holes <= MOST_HOLES:
        raise UsageError(f"a counted game has 1 to {MOST_HOLES} holes; got {holes}.")
    slopes_pct = np.asarray(slopes_pct, dtype=float)
    if not slopes_pct.size or not np.all((slopes_pct >= 0) & (slopes_pct <= 5)):
        raise UsageError(f"slopes must be 0 to 5 %; got {slopes_pct}.")
    rng = np.random.default_rng(seed)
    slope = _evenly(slopes_pct, holes, rng)
    to_deg = np.where(
        slope > 0, _evenly(np.array(list(DIRECTIONS), dtype=float), holes, rng), 0
    )
    card = pd.DataFrame({column.name: None for column in COLUMNS}, index=range(holes))
    return card.assign(
        session=session,
        putt=np.nan,
        distance_ft=_lengths(mix, holes, rng),
        slope_pct=slope,
        slope_to_deg=to_deg,
        drill="counted",
        hole_no=np.arange(1, holes + 1),
        putt_no=1,
    )


def in_words(card):
    """Return a card as a golfer reads it.

    Parameters
    ----------
    card : pandas.DataFrame
        From `deal_game`.

    Returns
    -------
    pandas.DataFrame
        ``Hole, Length, Slope``.
    """
    slopes = [
        "level" if not slope else f"{slope:g} %, {DIRECTIONS[int(to_deg)]}"
        for slope, to_deg in zip(card["slope_pct"], card["slope_to_deg"], strict=True)
    ]
    lengths = [f"{length:g} ft" for length in card["distance_ft"]]
    return pd.DataFrame({"Hole": card["hole_no"], "Length": lengths, "Slope": slopes})


def _lengths(mix, holes, rng):
    """Return one length from each equal share of the mix, in whole feet or marks, shuffled."""
    share = np.cumsum(mix.first_putts) / mix.first_putts.sum()
    start = share - mix.first_putts / mix.first_putts.sum()
    wanted = (np.arange(holes) + rng.random(holes)) / holes
    if mix.distance_ft.size <= MARKS:
        return rng.permutation(mix.distance_ft[np.searchsorted(share, wanted)])
    # Each length of the mix stands for a stretch of lengths around it.
    log_length = np.interp(wanted, (start + share) / 2, np.log(mix.distance_ft))
    return rng.permutation(np.maximum(np.round(np.exp(log_length)), SHORTEST_FT))


def _evenly(values, count, rng):
    """Return so many values, each as often as any other, in random order."""
    times = -(-count // values.size)
    pool = np.concatenate([rng.permutation(values) for _ in range(times)])[:count]
    return rng.permutation(pool)
