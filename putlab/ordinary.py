"""An ordinary day: what this golfer's putts would show today, if nothing were different.

Days are drawn from the posterior: a draw of the golfer, an offset and a form for the visit,
putt by putt with mishits, and each reading as the display would show it, in its steps and
stopped by its backstop. What is said of a day is then held against such days.
"""

import numpy as np
import pandas as pd

from putlab.readings import COMPONENTS, practice_putts
from putlab.spread import MISHIT_TIMES

# Days drawn: a chance of 1 in 20 is then known to within a tenth of itself.
DAYS = 4000


def readings_of(log, player, session):
    """Return the practice putts of one visit with their readings as errors.

    Parameters
    ----------
    log : putlab.log.Log
        A log that has been read.
    player, session : str
        Whose visit.

    Returns
    -------
    pandas.DataFrame
        ``distance_ft, target_ft, early``, and ``line`` (degrees) and ``pace`` (percent of the
        target), NaN where it was not read; putts of counted games are left out.
    """
    putts = practice_putts(log.putts)
    mine = (putts["player"] == player) & (putts["session"] == session) & ~putts["counted"]
    putts = putts[mine]
    return pd.DataFrame(
        {
            "distance_ft": putts["distance_ft"],
            "target_ft": putts["target_ft"],
            "early": putts["early"],
            "line": putts["line_deg"],
            "pace": 100 * (putts["roll_ft"] / putts["target_ft"] - 1),
        }
    ).reset_index(drop=True)


def planned_putts(distance_ft, putts, *, target_ft=None):
    """Return putts still to be struck at one length, in the form `ordinary_days` takes.

    Parameters
    ----------
    distance_ft : float
        Length in feet.
    putts : int
        How many.
    target_ft : float, optional
        How far they are meant to roll; default: the length, as without a hole.

    Returns
    -------
    pandas.DataFrame
        ``distance_ft, target_ft, early``.
    """
    target_ft = distance_ft if target_ft is None else target_ft
    row = {"distance_ft": float(distance_ft), "target_ft": float(target_ft), "early": False}
    return pd.DataFrame([row] * int(putts))


def ordinary_days(golfer, putts, rules, *, days=DAYS, seed=0):
    """Draw what putts would show on ordinary days.

    Parameters
    ----------
    golfer : putlab.golfer.Golfer
        One player's posterior, from a log that does not hold the day in question.
    putts : pandas.DataFrame
        ``distance_ft, target_ft, early`` of each putt.
    rules : putlab.rules.ReadingRules
        Steps and limits of the display.
    days : int
        How many days.
    seed : int
        Seed of the days.

    Returns
    -------
    dict of str to ndarray, shape (days, putts)
        By component: errors as read, degrees and percent of the target.
    """
    rng = np.random.default_rng([seed, 11])
    lengths, which = np.unique(putts["distance_ft"].to_numpy(float), return_inverse=True)
    early = putts["early"].to_numpy(bool)
    shown = {}
    for name in COMPONENTS:
        log_sd, bias = golfer.log_spread_and_bias(name, lengths)
        pick = rng.integers(len(log_sd), size=days)
        draw = {
            key: golfer.draws(name, key)[pick, None]
            for key in ("setup_sd", "form_sd", "early", "mishit_share")
        }
        setup = draw["setup_sd"] * rng.standard_normal((days, 1))
        form = draw["form_sd"] * rng.standard_normal((days, 1))
        sd = np.exp(log_sd[pick][:, which] + form + draw["early"] * early)
        wild = rng.random(sd.shape) < draw["mishit_share"]
        spread = sd * np.where(wild, MISHIT_TIMES, 1.0) * rng.standard_normal(sd.shape)
        error = bias[pick][:, which] + setup + spread
        shown[name] = as_read(name, error, putts["target_ft"].to_numpy(float), rules, rng)
    return shown


def as_read(component, error, target_ft, rules, rng):
    """Return errors as the display shows them.

    Parameters
    ----------
    component : {"line", "pace"}
        Component.
    error : ndarray, shape (days, putts)
        True errors, degrees or percent of the target.
    target_ft : ndarray, shape (putts,)
        How far each putt is meant to roll.
    rules : putlab.rules.ReadingRules
        Steps, limits and noise of the display.
    rng : numpy.random.Generator
        Source of the sensor's noise.

    Returns
    -------
    ndarray, shape (days, putts)
        In the same units.
    """
    if component == "line":
        value = error + (rules.line_noise_deg or 0.0) * rng.standard_normal(error.shape)
        limit = rules.line_limit_deg or np.inf
        return stepped(np.clip(value, -limit, limit), rules.line_step_deg)
    roll = np.maximum(target_ft * (1 + error / 100), 0.0)
    roll = roll + (rules.roll_noise_ft or 0.0) * rng.standard_normal(error.shape)
    roll = stepped(np.clip(roll, 0.0, rules.roll_limit_ft or np.inf), rules.roll_step_ft)
    return 100 * (roll / target_ft - 1)


def stepped(values, step):
    """Return values in the steps of a display.

    Parameters
    ----------
    values : ndarray
        True values.
    step : float or None
        Step; None or 0 shows values as they are.

    Returns
    -------
    ndarray
        Multiples of the step.
    """
    return np.round(values / step) * step if step else values
