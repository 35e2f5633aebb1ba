"""How the shipped mixes of first putts were made; `python -m putlab.round_mixes` remakes them.

The tour's is derived from a published record. Broadie's counts (2018) hold every putt, first
or not. A second putt starts where a first one stopped, so the tour golfer fitted to the same
record says how many of the putts of each length are second and later ones; the rest are
first. (A check on the idea: of putts up to 1.5 ft, which are hardly ever first ones, it
expects 2 % more than the 228,218 that were struck.)

For club golfers nothing published is at hand: their mixes are *assumptions*. A green hit
leaves a long first putt, a shot from beside the green a short one; both lengths are taken as
log-normal, with medians and numbers of greens hit that are commonly said in the trade, from
memory. The same form with the tour's numbers is near the tour's derived mix, which says that
the form is sound, not that the club golfers' numbers are.
"""

from importlib.resources import files

import numpy as np
from scipy.stats import norm

from putlab.flat_green.near_hole import leave_within
from putlab.published import SOURCES, table
from putlab.tour import tour_golfer

HOLES = 18

# Edges of Broadie's bins, read off their mean distances (0.28, 0.97, 1.93, ... ft).
BIN_EDGES_FT = np.array(
    [0, 0.5, *np.arange(1.5, 14), 15.5, 17.5, 19.5, 21.5, 22.5]
    + [*np.arange(26.5, 55, 4), 60.5, 66.5, 72.5, np.inf]
)

# Farther from the hole than any miss stops, feet.
BEYOND_FT = 500.0

# Greens hit of 18; median first putt after a green hit, and after a shot from beside the
# green, feet. Assumptions; the tour's are near its derived mix (two thirds of greens hit:
# common knowledge).
ASSUMED = {
    "handicap 0": (10, 24.0, 7.0),
    "handicap 10": (7, 27.0, 9.0),
    "handicap 20": (4, 30.0, 12.0),
}
TOUR_ASSUMED = (12, 19.0, 4.5)

# Spread of the logarithm of either length: the middle two thirds lie between half the median
# and twice the median (assumption).
LOG_SD = 0.7

# Lengths that stand for the club golfers' first putts, feet.
LENGTHS_FT = np.array([2, 3, 4, 5, 6, 7, 8, 10, 12, 15, 18, 22, 27, 33, 40, 50, 60.0])


def later_putts_expected():
    """Return how many of the putts in the published record were not first putts.

    Returns
    -------
    tuple of pandas.DataFrame and ndarray
        Broadie's table (2018), and the putts expected in each of its bins after a miss.
    """
    record = table("putts_made_broadie_2018").frame
    golfer, edges_ft = tour_golfer(), BIN_EDGES_FT[1:-1]
    within = leave_within(
        golfer.skill,
        record["distance_ft"],
        [*edges_ft, BEYOND_FT],
        stimp_ft=golfer.stimp_ft,
        past_ft=golfer.past_ft,
    )[0]
    share = np.diff(within, axis=1, prepend=0.0) / within[:, -1:]
    return record, (record["tries"] - record["made"]).to_numpy() @ share


def tour_mix():
    """Return the tour's first putts of a round, derived.

    Returns
    -------
    pandas.DataFrame
        ``level, distance_ft, first_putts, source``.
    """
    record, later = later_putts_expected()
    first = np.maximum(record["tries"] - later, 0.0)
    source = f"derived: {SOURCES['putts_made_broadie_2018']}, less the putts after a miss"
    # Putts of a foot are never first ones; what is left of the bins is rounding.
    kept = record["distance_ft"] > 1.5
    return _mix("tour", record["distance_ft"][kept], first[kept], source)


def assumed_mix(level, greens_hit, approach_ft, chip_ft):
    """Return a round's first putts from greens hit and two median lengths.

    Parameters
    ----------
    level : str
        Name of the level of play.
    greens_hit : float
        Greens hit of 18.
    approach_ft, chip_ft : float
        Median first putt after a green hit, and after a shot from beside the green, feet.

    Returns
    -------
    pandas.DataFrame
        ``level, distance_ft, first_putts, source``.
    """
    middles = np.log(LENGTHS_FT[:-1] * LENGTHS_FT[1:]) / 2
    edges = np.concatenate([[-np.inf], middles, [np.inf]])
    counts = [
        holes * np.diff(norm.cdf((edges - np.log(median_ft)) / LOG_SD))
        for holes, median_ft in ((greens_hit, approach_ft), (HOLES - greens_hit, chip_ft))
    ]
    source = (
        f"assumption: {greens_hit:g} greens hit, first putts of {approach_ft:g} ft after "
        f"them and {chip_ft:g} ft after others (medians)"
    )
    return _mix(level, LENGTHS_FT, sum(counts), source)


def all_mixes():
    """Return the shipped table.

    Returns
    -------
    pandas.DataFrame
        ``level, distance_ft, first_putts, source``.
    """
    import pandas as pd

    mixes = [tour_mix(), *(assumed_mix(level, *numbers) for level, numbers in ASSUMED.items())]
    return pd.concat(mixes, ignore_index=True)


def _mix(level, distance_ft, first_putts, source):
    import pandas as pd

    first_putts = HOLES * np.asarray(first_putts) / np.sum(first_putts)
    columns = {"level": level, "distance_ft": np.asarray(distance_ft)}
    return pd.DataFrame({**columns, "first_putts": first_putts.round(4), "source": source})


if __name__ == "__main__":
    path = files("putlab").joinpath("data", "rounds.csv")
    all_mixes().to_csv(path, index=False)
    print(f"wrote {path}")
