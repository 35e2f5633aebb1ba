"""A day's spread, bias and share inside the band, held against ordinary days.

Many looks at once find something odd on most days, so the p-values are adjusted by Benjamini
and Hochberg's procedure (J. R. Stat. Soc. B 57, 1995; it holds for positively dependent
looks): with nothing new, a day makes news 1 time in 20.
"""

import numpy as np
import pandas as pd
from statsmodels.stats.multitest import multipletests

from putlab.ordinary import ordinary_days, planned_putts
from putlab.settings import interval_probabilities
from putlab.targets import FEWEST, half_width, inside

# Share of ordinary days that make news of one kind or another.
NEWS = 0.05

LOOKS = ("spread", "bias", "share inside")

# Verdicts.
NEW, ODD, ORDINARY, FEW = "news", "odd, but one of many looks", "ordinary", "too few putts"

COLUMNS = [
    "player", "session", "distance_ft", "component", "look", "putts", "today", "usual",
    "ordinary_lo", "ordinary_hi", "p", "p_adjusted", "verdict",
]  # fmt: skip


def judge(golfer, today, rules, *, seed=0):
    """Hold a day's readings against ordinary days.

    Parameters
    ----------
    golfer : putlab.golfer.Golfer
        One player's posterior, from a log that does not hold the day.
    today : pandas.DataFrame
        From `putlab.ordinary.readings_of`.
    rules : putlab.rules.ReadingRules
        Steps and limits of the display.
    seed : int
        Seed of the ordinary days.

    Returns
    -------
    pandas.DataFrame
        `COLUMNS` without player and session.
    """
    days = ordinary_days(golfer, today, rules, seed=seed) if len(today) else {}
    rows = []
    for name in days:
        for distance_ft in np.unique(today["distance_ft"]):
            here = ((today["distance_ft"] == distance_ft) & today[name].notna()).to_numpy()
            if not here.any():
                continue
            width = _band(golfer, name, distance_ft, rules, seed)
            now = looks(today.loc[here, name].to_numpy()[None], name, width, distance_ft, rules)
            then = looks(days[name][:, here], name, width, distance_ft, rules)
            count = int(here.sum())
            rows += [_row(distance_ft, name, k, count, now[k][0], then[k]) for k in LOOKS]
    return _judged(pd.DataFrame(rows)) if rows else pd.DataFrame(columns=COLUMNS[2:])


def _band(golfer, component, distance_ft, rules, seed):
    """Return the half width of the band that a plan would set for this length."""
    putts = planned_putts(distance_ft, 10)
    days = ordinary_days(golfer, putts, rules, seed=seed)[component]
    return half_width(component, days, distance_ft, rules)


def looks(errors, component, width, distance_ft, rules):
    """Return spread, bias and share inside the band, day by day.

    Parameters
    ----------
    errors : ndarray, shape (days, putts)
        Errors as read.
    component : {"line", "pace"}
        Component.
    width : float
        Half width of the band, degrees or feet.
    distance_ft : float
        Length.
    rules : putlab.rules.ReadingRules
        Limits of the display.

    Returns
    -------
    dict of str to ndarray, shape (days,)
        By look; spread is NaN for a single putt.
    """
    several = errors.shape[1] > 1
    return {
        "spread": errors.std(axis=1, ddof=1) if several else np.full(len(errors), np.nan),
        "bias": errors.mean(axis=1),
        "share inside": inside(component, errors, width, distance_ft, rules).mean(axis=1),
    }


def _row(distance_ft, component, look, putts, today, ordinary):
    few = putts < FEWEST or not np.isfinite(today)
    ends = [np.nan] * 2 if few else np.quantile(ordinary, interval_probabilities())
    return {
        "distance_ft": distance_ft,
        "component": component,
        "look": look,
        "putts": putts,
        "today": today,
        "usual": np.nan if few else np.median(ordinary),
        "ordinary_lo": ends[0],
        "ordinary_hi": ends[1],
        "p": np.nan if few else two_sided(today, ordinary),
    }


def two_sided(value, ordinary):
    """Return the chance of a value as far out on an ordinary day, on either side.

    Parameters
    ----------
    value : float
        Today's.
    ordinary : ndarray, shape (days,)
        On ordinary days.

    Returns
    -------
    float
        Twice the smaller tail, today counted among the days so that it is never 0; at most 1.
    """
    # Rounding must not part values that are equal in exact arithmetic.
    close = 1e-9 * (1 + abs(value))
    low = 1 + np.sum(ordinary <= value + close)
    high = 1 + np.sum(ordinary >= value - close)
    return float(min(1.0, 2 * min(low, high) / (1 + len(ordinary))))


def _judged(table):
    """Adjust the p-values for the number of looks, and say what each is."""
    looked = table["p"].notna()
    table["p_adjusted"] = np.nan
    table["verdict"] = FEW
    if looked.any():
        adjusted = multipletests(table.loc[looked, "p"], alpha=NEWS, method="fdr_bh")[1]
        table.loc[looked, "p_adjusted"] = adjusted
        table.loc[looked, "verdict"] = ORDINARY
    table.loc[table["p"] <= NEWS, "verdict"] = ODD
    table.loc[table["p_adjusted"] <= NEWS, "verdict"] = NEW
    return table
