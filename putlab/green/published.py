"""Published figures, each with its source: facts to check the kit against, and references."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from putlab.base.late import pd
from putlab.base.settings import PACKAGE

DATA = PACKAGE / "green" / "data"

# Rules of Golf (R&A and USGA): the hole is 4.25 inches across.
HOLE_RADIUS_FT = 4.25 / 24

# Fastest ball that still drops, dead centre on the flat (B. W. Holmes, "Putting: how a golf
# ball and hole interact", Am. J. Phys. 59, 1991; A. R. Penner, "The physics of putting",
# Can. J. Phys. 80, 2002). Off centre by d it falls as 1 - (d / R)^2: Penner (2002), recalled
# from memory.
CAPTURE_FT_S = 1.63 / 0.3048

# J. Karlsen and J. Nilsson, "Distance variability in golf putting among highly skilled
# players: the role of green reading", Int. J. Sports Sci. Coaching 3 (2008): 43 golfers, mean
# handicap 2.8. Spread of roll-out over 40 different putts of 2.2 to 19.3 m, and the last 15 of
# 30 repeats of one putt of 6 m; what of the former's variance came from where.
KARLSEN_NILSSON = "Karlsen and Nilsson, Int. J. Sports Sci. Coaching 3 (2008)"
PACE_SD_DIFFERENT_PUTTS_PCT = 10.6
PACE_SD_ONE_PUTT_REPEATED_PCT = 6.8
PACE_SD_SURFACE_PCT = 2.5
# Line and pace spread of a golfer who putts as the tour's published rates and averages: what
# `putlab.rounds.reference.tour_golfer` fits to them, written down so that data need no fit.
TOUR_LINE_SD_DEG, TOUR_PACE_SD_PCT = 1.4155, 8.9093
VARIANCE_SHARE = {"reading": 0.60, "technique": 0.34, "surface": 0.06}

# Tour statistics of 2021, second-hand: putts and three-putts a round.
TOUR_PUTTS_A_ROUND, TOUR_THREE_PUTTS_A_ROUND = 29.0, 0.47
# M. Broadie, Every Shot Counts (2014), second-hand: a golfer who scores 90, share of putts holed
# by length in feet, and putts a round.
NINETY_ONE_PUTT = {5.0: 0.50, 8.0: 0.27, 20.0: 0.06}
NINETY_PUTTS_A_ROUND = 33.0
# How many times as wide as the tour golfer's this golfer's line and pace spread: what
# `tests/helpers/shipped_figures.py` finds from those shares, written down.
NINETY_TIMES_TOUR = 1.5642


@dataclass(frozen=True)
class Published:
    """A published table.

    Attributes
    ----------
    frame : pandas.DataFrame
        Its rows; distances in feet unless a column says otherwise.
    source : str
        Who published it, where and when.
    """

    frame: pd.DataFrame
    source: str


def table(name: str) -> Published:
    """Return a published table.

    Parameters
    ----------
    name : str
        One of `SOURCES`: ``putts_made_berry_1995`` and ``putts_made_broadie_2018``
        (``distance_ft, tries, made``), ``one_putt_rates_broadie_2014`` (``distance_ft,
        tour_one_putt_pct``), ``tour_average_putts`` (``distance_ft, average_putts``),
        ``novice_practice_mckay_2021``: 75 novices, one flat putt, first fifty putts with
        sight, a row a block of ten. ``distance_sd_cm`` and ``lateral_sd_cm`` are geometric
        means over golfers of the spread of distance and lateral error within a block, with
        the standard error of their logarithm; ``..._bias_rms_cm`` is the root mean square
        over golfers of the block's mean error, ``..._bias_cm`` that with the sampling noise
        of a mean of ten taken out. The surface broke a little to one side, so part of the
        lateral bias is reading it.

    Returns
    -------
    Published
        The table and its source.

    Raises
    ------
    KeyError
        No such table.
    """
    return Published(shipped(name), SOURCES[name])


@lru_cache
def shipped(name: str) -> pd.DataFrame:
    """Return a table that comes with the kit, by the name of its file."""
    return pd.read_csv(DATA / f"{name}.csv")


SOURCES: dict[str, str] = json.loads((DATA / "sources.json").read_text("utf-8"))

# Of the variance called reading, the part that is judging a new length: practice of mixed
# lengths shows it already (assumption: the split's "different putts" differ in length too, and
# its authors call their assumptions conservative for reading).
NEW_LENGTH_SHARE = 0.5
GREEN_SOURCE = (
    f"{KARLSEN_NILSSON}; assumed: half of reading is judging a new length, which practice of "
    "mixed lengths shows, and line has the same split"
)


def green_share(*, mixed: bool = True) -> tuple[float, float]:
    """Share of the variance of line and of pace on a green that practice does not show."""
    reading, surface = VARIANCE_SHARE["reading"], VARIANCE_SHARE["surface"]
    return reading + surface, reading * (1 - NEW_LENGTH_SHARE * mixed) + surface


def green_spread(*, mixed: bool = True) -> tuple[float, float]:
    """Return the spread that a real green adds to the spread seen in practice.

    Over different putts on a green, roll-out scattered by 10.6 %: 60 % of the variance from
    reading the green, 6 % from its surface, the rest from technique, which practice shows
    already (Karlsen and Nilsson 2008). Practice of mixed lengths shows how new lengths are
    judged, too, which that split counts as reading: half of it, by *assumption*. For line no
    such split is published: that a green adds 66 % of the tour golfer's line variance
    (`TOUR_LINE_SD_DEG`), 1.15 degrees, is an *assumption*, between 0.8 and 1.35 degrees
    (`putlab.model.priors.GREEN_LOG_SD`).

    Parameters
    ----------
    mixed : bool
        Practice mixed lengths; where it was one putt repeated, pace gets all of the reading.

    Returns
    -------
    tuple of float
        ``line_sd_deg, pace_sd_pct``, to add in quadrature: ``skill.wider(*green_spread())``.
    """
    line, pace = np.sqrt(green_share(mixed=mixed)) * (TOUR_LINE_SD_DEG, PACE_SD_DIFFERENT_PUTTS_PCT)
    return float(line), float(pace)
