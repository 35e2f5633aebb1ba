"""How figures that the kit ships were derived from published ones.

    python tests/helpers/shipped_figures.py

writes ``putlab/green/data/rounds.csv``, first putts of a round by level: the tour's from its
published record less the putts after a miss, club golfers' from greens hit and the median length
after them (assumptions), and the median after others with which they take the published putts.
It prints what `putlab.green.published` writes down of the tour golfer and of who scores 90.
"""

from pathlib import Path

import numpy as np
import pandas as pd
from scipy.optimize import brentq, least_squares
from scipy.stats import norm

from putlab.base.settings import PACKAGE
from putlab.green import published
from putlab.green.hole_out import hole_out
from putlab.rounds.first_putts import HOLES
from putlab.rounds.reference import (
    LEVELS,
    TOUR,
    level_skill,
    tour_golfer,
    tour_times,
    toward_ninety,
)

# Edges of the record's bins, read off their mean distances (0.28, 0.97, 1.93, ... ft).
BIN_EDGES_FT = np.array(
    [0, 0.5, *np.arange(1.5, 14), 15.5, 17.5, 19.5, 21.5, 22.5]
    + [*np.arange(26.5, 55, 4), 60.5, 66.5, 72.5, np.inf]
)

# Even shares of directions and of roll-outs: each pair is a putt.
WAYS = norm.ppf((np.arange(600) + 0.5) / 600)

# Spread of the logarithm of either length: the middle two thirds lie between half the median
# and twice the median (assumption).
LOG_SD = 0.7

# Assumptions, at scratch and how much more for each stroke of handicap: greens hit of 18, and
# the median first putt after one, feet.
GREENS_HIT, APPROACH_FT = (10.0, -0.3), (24.0, 0.3)

# Medians after a missed green among which one is sought, feet.
CHIP_FROM_FT, CHIP_TO_FT = 1.0, 30.0

# Lengths that stand for the club golfers' first putts, feet.
LENGTHS_FT = np.array([2, 3, 4, 5, 6, 7, 8, 10, 12, 15, 18, 22, 27, 33, 40, 50, 60.0])


def leave_shares(golfer, distance_ft):
    """Return the shares of misses from a length that stop in each bin; every putt is struck."""
    angle = np.radians(golfer.line_sd_deg * WAYS)[:, None]
    roll = (distance_ft + golfer.past_ft) * (1 + golfer.pace_sd_pct / 100 * WAYS)
    aside, along = distance_ft * np.sin(angle), distance_ft * np.cos(angle)
    # Holed: over the hole (4.25 in across), at no more than 1.63 m/s x (1 - (aside / radius)^2).
    part = np.clip(np.abs(aside) * 24 / 4.25, 0, 1)
    rim = 4.25 / 24 * np.sqrt(1 - part**2)
    speed2 = 36 / golfer.stimp_ft * np.maximum(roll - along, 0)
    holed = (part < 1) & (roll >= along - rim) & (speed2 <= (1.63 / 0.3048 * (1 - part**2)) ** 2)
    left_ft = np.hypot(roll - along, aside)[~holed]
    return np.histogram(left_ft, BIN_EDGES_FT)[0] / max(left_ft.size, 1)


def later_putts_expected():
    """Return the tour's record, and how many putts in each of its bins followed a miss."""
    record, golfer = published.table("putts_made_broadie_2018").frame, tour_golfer()
    share = np.array([leave_shares(golfer, distance_ft) for distance_ft in record["distance_ft"]])
    return record, (record["tries"] - record["made"]).to_numpy() @ share


def tour_mix():
    """Return the tour's first putts of a round, derived from its record."""
    record, later = later_putts_expected()
    first = np.maximum(record["tries"] - later, 0.0)
    source = f"derived: {published.SOURCES['putts_made_broadie_2018']}, less the putts after a miss"
    # Putts of a foot are never first ones; what is left of the bins is rounding.
    kept = record["distance_ft"] > 1.5
    return mix_table("tour", record["distance_ft"][kept], first[kept], source)


def putts_a_round(handicap):
    """Return putts a round: straight in handicap between the published (assumption)."""
    tour, ninety = published.TOUR_PUTTS_A_ROUND, published.NINETY_PUTTS_A_ROUND
    return tour + toward_ninety(handicap) * (ninety - tour)


def assumed_counts(greens_hit, approach_ft, chip_ft):
    """Return first putts from greens hit of 18 and the medians after them and after others."""
    middles = np.log(LENGTHS_FT[:-1] * LENGTHS_FT[1:]) / 2
    edges = np.concatenate([[-np.inf], middles, [np.inf]])
    counts = [
        holes * np.diff(norm.cdf((edges - np.log(median_ft)) / LOG_SD))
        for holes, median_ft in ((greens_hit, approach_ft), (HOLES - greens_hit, chip_ft))
    ]
    return np.sum(counts, axis=0)


def assumed_mix(level):
    """Return a club level's first putts, with which its golfer takes its putts a round."""
    handicap = LEVELS[level]
    greens_hit, approach_ft = (a + b * handicap for a, b in (GREENS_HIT, APPROACH_FT))
    wanted = putts_a_round(handicap)
    each = hole_out(level_skill(level), LENGTHS_FT).average_putts[0]

    def too_many(chip_ft):
        return float(assumed_counts(greens_hit, approach_ft, chip_ft) @ each) - wanted

    chip_ft = round(brentq(too_many, CHIP_FROM_FT, CHIP_TO_FT), 1)
    source = (
        f"assumption: {greens_hit:g} greens hit, first putts of {approach_ft:g} ft after them and "
        f"{chip_ft:g} ft after others (medians), the latter solved for {wanted:.1f} putts a round"
    )
    counts = assumed_counts(greens_hit, approach_ft, chip_ft)
    return mix_table(level, LENGTHS_FT, counts, source)


def mix_table(level, distance_ft, first_putts, source):
    """Return rows of the shipped table: ``level, distance_ft, first_putts, source``."""
    a_round = (HOLES * np.asarray(first_putts) / np.sum(first_putts)).round(4)
    columns = {"level": level, "distance_ft": np.asarray(distance_ft), "first_putts": a_round}
    return pd.DataFrame(columns | {"source": source})


def all_mixes():
    """Return the shipped table."""
    mixes = [tour_mix(), *(assumed_mix(level) for level in LEVELS if level != TOUR)]
    return pd.concat(mixes, ignore_index=True)


def fit_ninety():
    """Fit how many times as wide as the tour golfer's the spreads of who scores 90 are."""
    # One number for line and pace alike (assumption): three shares hardly tell one from the other,
    # and fitted apart give a pace spread of 44 %.
    lengths_ft, shares = np.array(list(published.NINETY_ONE_PUTT.items())).T

    def misses(log_times):
        skill = tour_times(float(np.exp(log_times[0])))
        return hole_out(skill, lengths_ft).one_putt[0] - shares

    return float(np.exp(least_squares(misses, [np.log(1.5)], diff_step=1e-3).x[0]))


if __name__ == "__main__":
    path = Path(PACKAGE) / "green" / "data" / "rounds.csv"
    all_mixes().to_csv(path, index=False)
    print(f"wrote {path}\n{tour_golfer().sentence}")
    print(f"Who scores 90: {fit_ninety():.4f} times as wide.")
