"""What a change is worth in strokes: the same golfer, on new days, under each condition."""

from dataclasses import replace

import numpy as np
import pandas as pd
import xarray as xr

from putlab.holeout import hole_out
from putlab.kept_putts import kept_putts
from putlab.skill import Skill
from putlab.trials.contrast import condition_index

SPREADS, BIASES = ("line_sd_deg", "pace_sd_pct"), ("line_bias_deg", "pace_bias_pct")

# Putts that follow start from here to there, whatever the first putts were.
ENDS_FT = (2.0, 60.0)


def strokes_change(fit, player, before, after, moved, mix, *, stimp_ft, past_ft):
    """Return the change of strokes a round, all else equal.

    Parameters
    ----------
    fit : putlab.golfer.SpreadFit
        Fitted log.
    player, before, after : str
        Labels.
    moved : dict of str to ndarray
        `Contrast.moved` of the components that have both conditions.
    mix : putlab.rounds.RoundMix
        First putts of a round.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims.

    Returns
    -------
    ndarray, shape (draws,)
        Strokes a round after, less those before, on new days.
    """
    fit = _with_moved_effects(fit, player, before, after, moved)
    arms = [
        kept_putts(
            arm_skill(fit, player, condition, mix.distance_ft),
            mix.distance_ft,
            stimp_ft=stimp_ft,
            past_ft=past_ft,
        ).average_putts
        for condition in (before, after)
    ]
    return mix.average(arms[1] - arms[0])


def strokes_at_stake(fit, player, condition, pct, mix, *, stimp_ft, past_ft):
    """Return the strokes a round that a cut of both spreads would save this golfer.

    Parameters
    ----------
    fit : putlab.golfer.SpreadFit
        Fitted log.
    player, condition : str
        Labels.
    pct : float
        Cut of line and pace spread, percent.
    mix : putlab.rounds.RoundMix
        First putts of a round.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims.

    Returns
    -------
    float
        Strokes a round, above 0.
    """
    skill = arm_skill(fit, player, condition, mix.distance_ft)
    typical = {name: np.exp(np.log(getattr(skill, name)).mean(axis=0)) for name in SPREADS}
    biases = {name: getattr(skill, name).mean(axis=0) for name in BIASES}
    putts = [
        hole_out(
            Skill(skill.distance_ft, **{n: v * keep for n, v in typical.items()}, **biases),
            mix.distance_ft,
            stimp_ft=stimp_ft,
            past_ft=past_ft,
        ).average_putts[0]
        for keep in (1.0, 1 - pct / 100)
    ]
    return float(mix.average(putts[0] - putts[1]))


def arm_skill(fit, player, condition, distance_ft):
    """Return a player's new-day skill under one condition.

    Parameters
    ----------
    fit : putlab.golfer.SpreadFit
        Fitted log.
    player, condition : str
        Labels.
    distance_ft : ndarray
        Distances in feet, rising.

    Returns
    -------
    putlab.skill.Skill
        At these distances, and at short and long ones for the putts that follow.
    """
    now = pd.DataFrame({"player": [player], "condition": [condition], "share": [1.0]})
    at = np.unique([*ENDS_FT, *distance_ft])
    return replace(fit, condition_now=now).golfer(player).skill(at, new_day=True)


def _with_moved_effects(fit, player, before, after, moved):
    """Return the fit with the correction of each log ratio put into its two effects."""
    trees = dict(fit.trees)
    for component, draws in moved.items():
        posterior = trees[component]["posterior"].dataset
        effect = posterior["effect"].copy(deep=True)
        half = draws.reshape(effect.shape[:2]) / 2
        design = fit.designs[component]
        effect.values[..., condition_index(design, player, before)] -= half
        effect.values[..., condition_index(design, player, after)] += half
        trees[component] = xr.DataTree.from_dict({"posterior": posterior.assign(effect=effect)})
    return replace(fit, trees=trees)
