"""How much an estimate leans on its priors: the same fit under other beliefs."""

from dataclasses import replace

import numpy as np
import pandas as pd

from putlab.golfer import fit_log, summary
from putlab.priors import PRIORS

# Each belief moved by about its own width, one at a time.
ALTERNATIVES = {
    "as shipped": {},
    "golfers a third narrower": {"sd_median": 0.7},
    "golfers a third wider": {"sd_median": 1.4},
    "weak spots twice the size": {"bump_median": 2.0},
    "weak spots half the size": {"bump_median": 0.5},
    "no change over practice": {"trend_sd": 0.01},
    "mishits twice as common": {"mishit_a": 2.0},
}


def prior_sensitivity(log, player, component, distance_ft, **options):
    """Refit a log under other priors and compare one estimate.

    Parameters
    ----------
    log : putlab.log.Log
        A log that has been read.
    player : str
        Whose estimate.
    component : {"line", "pace"}
        Component; the priors of the other stay.
    distance_ft : float
        Length, usually the least practised one.
    **options
        Passed to `putlab.golfer.fit_log`.

    Returns
    -------
    pandas.DataFrame
        ``priors, sd, sd_lo, sd_hi, moved``: spread in the component's unit, and its change
        against the shipped priors as a part of the shipped interval's width.
    """
    rows = []
    for name, factors in ALTERNATIVES.items():
        priors = PRIORS | {component: scaled(PRIORS[component], factors)}
        golfer = fit_log(log, priors=priors, **options).golfer(player)
        log_sd, _ = golfer.log_spread_and_bias(component, [distance_ft])
        sd, low, high = (value.item() for value in summary(np.exp(log_sd)))
        rows.append({"priors": name, "sd": sd, "sd_lo": low, "sd_hi": high})
    table = pd.DataFrame(rows)
    shipped = table.iloc[0]
    width = shipped["sd_hi"] - shipped["sd_lo"]
    return table.assign(moved=(table["sd"] - shipped["sd"]) / width)


def scaled(priors, factors):
    """Return priors with some of their numbers multiplied.

    Parameters
    ----------
    priors : putlab.priors.SpreadPriors
        Priors of one component.
    factors : dict of str to float
        Field name to factor.

    Returns
    -------
    putlab.priors.SpreadPriors
        Changed priors.
    """
    return replace(priors, **{name: getattr(priors, name) * f for name, f in factors.items()})


def least_practised_ft(golfer):
    """Return the length with the fewest putts.

    Parameters
    ----------
    golfer : putlab.golfer.Golfer
        One player's posterior.

    Returns
    -------
    float
        Distance in feet.
    """
    table = golfer.practised
    return float(table.loc[table["putts"].idxmin(), "distance_ft"])
