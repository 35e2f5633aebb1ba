"""A visit without a log to plan from: some lengths, each as often, mixed, and a counted game."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from putlab.base.errors import expect
from putlab.base.settings import SEED
from putlab.practice.plan import BOTH, MIXED_SET, mixed_sets, rows_to_fill_in
from putlab.rounds.first_putts import shipped_mix


def first_visit(
    lengths_ft: Sequence[float],
    *,
    putts: int = 60,
    holes: int = 9,
    players: Sequence[str | None] = (None,),
    session: str | None = None,
    seed: int = SEED,
) -> pd.DataFrame:
    """Lay out a visit: sets of five putts, lengths mixed, and a counted game on a level mat.

    Parameters
    ----------
    lengths_ft : sequence of float
        Lengths in feet.
    putts : int
        Putts of each player, shared evenly among the lengths in whole sets.
    holes : int
        Holes of the counted game, at the same lengths; 0 for none.
    players : sequence of str or None
        Labels; None where nobody need be named.
    session : str, optional
        Label or ISO date of the visit.
    seed : int
        Seed of the order and of the holes.

    Returns
    -------
    pandas.DataFrame
        A row a putt and a hole with every column of the log; readings are blank.

    Raises
    ------
    UsageError
        A length or number that can't be.
    """
    lengths = sorted({float(d) for d in lengths_ft})
    expect(min(lengths, default=0) > 0, "lengths_ft", lengths_ft, "lengths in feet above 0")
    fewest = MIXED_SET * len(lengths)
    expect(fewest <= putts <= 1000, "putts", putts, f"{fewest} to 1000, a set a length or more")
    expect(holes >= 0, "holes", holes, "0 or more")
    mix = shipped_mix().among(lengths)
    sets = round(putts / MIXED_SET)
    shares = [MIXED_SET * len(part) for part in np.array_split(np.arange(sets), len(lengths))]
    drills = [(length, BOTH, share) for length, share in zip(lengths, shares, strict=True)]
    parts = []
    for number, player in enumerate(players):
        rng = np.random.default_rng([seed, number])
        mine = rows_to_fill_in(
            mixed_sets(drills, rng), mix, holes, seed=seed + number, session=session
        )
        parts.append(mine.assign(player=player))
    return pd.concat(parts, ignore_index=True)
