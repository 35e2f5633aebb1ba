"""What a golfer is expected to take on the holes of a game, if a little wider or tighter.

From it and from the putts taken follows how much wider a golfer scatters when it counts.
"""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline
from scipy.special import expit, logit, logsumexp

from putlab.base.settings import PAST_FT, STIMP_FT, interval_probabilities
from putlab.green.hole_out import MOST_PUTTS, hole_out
from putlab.green.published import green_spread
from putlab.green.skill import Skill
from putlab.green.slope import Green
from putlab.green.slope_hole_out import slope_more_than

if TYPE_CHECKING:
    from putlab.posterior.player import Golfer

# Draws of the golfer: a game's score varies far more than a golfer's mean does.
DRAWS = 30

# A green less steep than this plays as flat; steeper ones are taken to the nearest half of a
# percent, so that holes of like slope are solved together.
FLAT_PCT, SLOPE_STEP_PCT = 0.25, 0.5

# A chance of more putts below this has no odds worth comparing.
LEAST_CHANCE = 1e-9


def new_day_skill(golfer: "Golfer") -> Skill:
    """Return a player's skill on a new day, at the lengths practised and a few beyond them.

    Parameters
    ----------
    golfer : Golfer
        One player's posterior.

    Returns
    -------
    Skill
        Its draws; what differs from day to day is part of the spread.
    """
    practised = golfer.fit.designs["line"].lengths_ft
    beyond = [d for d in (2.0, 60.0) if not practised[0] * 0.9 < d < practised[-1] * 1.1]
    return golfer.skill(np.unique([*practised, *beyond]), new_day=True)


def hole_chances(
    skill: Skill, holes: pd.DataFrame, *, ratios: ArrayLike = (1.0,), past_ft: float = PAST_FT
) -> np.ndarray:
    """Return the chances (ratios, draws, holes, 10) of 1 to 10 putts, both spreads times a ratio.

    On slopes (``slope_pct, slope_to_deg``) the spread of reading a green is added.
    """
    # On a slope the chances of more putts are those on the flat with their odds shifted by as
    # much as the slope shifts them for the golfer's mean skill (`putlab.green.slope_hole_out`):
    # all draws for the price of one. Their mean is within 0.003 of solving the slope for each
    # draw, a single draw's chance within 0.02 (see the tests).
    skill = skill.thinned(DRAWS)
    ratios = np.asarray(ratios, dtype=float)
    stimp_ft = holes["stimp_ft"].fillna(STIMP_FT).to_numpy(dtype=float)
    # A slope whose direction nobody wrote down is played as flat.
    known = holes["slope_pct"].where(holes["slope_to_deg"].notna(), 0.0)
    steps = known.fillna(0.0).to_numpy(dtype=float) / SLOPE_STEP_PCT
    slope_pct = np.where(steps * SLOPE_STEP_PCT < FLAT_PCT, 0.0, steps.round() * SLOPE_STEP_PCT)
    distance_ft = holes["distance_ft"].to_numpy(dtype=float)
    to_deg = holes["slope_to_deg"].fillna(0.0).to_numpy(dtype=float)
    found = np.empty((ratios.size, skill.draws, len(holes), MOST_PUTTS))
    for stimp, slope in np.unique(np.column_stack([stimp_ft, slope_pct]), axis=0):
        here = (stimp_ft == stimp) & (slope_pct == slope)
        golfer = skill.wider(*green_spread()) if slope else skill
        more = _more_than(golfer, distance_ft[here], ratios, stimp, past_ft)
        if slope:
            lies = distance_ft[here], to_deg[here]
            more = _on_slope(more, golfer, lies, ratios, Green(stimp, slope), past_ft)
        found[:, :, here] = -np.diff(more, axis=-1, append=0.0)
    return found


def scaled(skill: Skill, ratios: ArrayLike) -> Skill:
    """Return ``len(ratios) * draws`` draws: both spreads times each ratio, ratio after ratio."""
    every = skill[np.tile(np.arange(skill.draws), np.size(ratios))]
    times = np.repeat(np.asarray(ratios), skill.draws)[:, None]
    spreads = {name: times * sd for name, sd in every.values.items() if "_sd_" in name}
    return replace(every, **spreads)


def _more_than(
    skill: Skill, distance_ft: np.ndarray, ratios: ArrayLike, stimp_ft: float, past_ft: float
) -> np.ndarray:
    """Return chances of more than 0 to 9 putts, shape (ratios, draws, holes, 10)."""
    lengths_ft, place = np.unique(distance_ft, return_inverse=True)
    out = hole_out(scaled(skill, ratios), lengths_ft, stimp_ft=stimp_ft, past_ft=past_ft)
    more = np.moveaxis(out.more_than, 0, -1)[:, place]
    return more.reshape(-1, skill.draws, distance_ft.size, MOST_PUTTS)


def _on_slope(
    more: np.ndarray,
    skill: Skill,
    lies: tuple[np.ndarray, np.ndarray],
    ratios: np.ndarray,
    green: Green,
    past_ft: float,
) -> np.ndarray:
    """Shift the odds of more putts as the slope does for the mean golfer at each ratio."""
    flat = _more_than(skill.mean, lies[0], ratios, green.stimp_ft, past_ft)
    slope = slope_more_than(scaled(skill.mean, ratios), green, *lies, past_ft=past_ft)
    shift = _log_odds(np.moveaxis(slope, 0, -1))[:, None] - _log_odds(flat)
    shifted = expit(_log_odds(more) + shift)
    shifted[..., 0] = 1.0
    # More than k + 1 putts is never likelier than more than k.
    return np.minimum.accumulate(shifted, axis=-1)


def _log_odds(chance: np.ndarray) -> np.ndarray:
    return logit(np.clip(chance, LEAST_CHANCE, 1 - LEAST_CHANCE))


# How much wider a golfer scatters when it counts, learned from the putts taken in games.

# Prior of the log ratio: centred on no change, 90 % between 0.66 and 1.5. Golfers say that a
# score tightens them up or focuses them; no published size is agreed on for putting, so the
# prior takes no side (assumption).
PRIOR_LOG_SD = 0.25

# Ratios at which chances are computed, and between which their logarithm runs smoothly; the
# middle one is the golfer as in practice.
RATIOS_SOLVED = np.exp(np.linspace(-0.9, 0.9, 7))
# Log ratios of the answer.
LOG_RATIOS = np.linspace(-0.9, 0.9, 361)

# The least a hole's putts can be thought likely: one putt in a thousand goes wrong in a way
# that no spread explains (a bump, a lapse), and must not settle the ratio alone.
LAPSE = 1e-3


@dataclass(frozen=True)
class CountedRatio:
    """Posterior of spread in a game over spread in practice, from so many holes."""

    median: float
    interval: tuple[float, float]  # the kit's
    chance_wider: float  # that the spread is wider when it counts
    holes: int


def counted_ratio(chances: np.ndarray, putts: ArrayLike) -> CountedRatio:
    """Return what putts taken say, given `hole_chances` at `RATIOS_SOLVED`; over ten is ten."""
    taken_no = np.clip(np.asarray(putts, dtype=int), 1, chances.shape[-1])
    taken = np.take_along_axis(chances, taken_no[None, None, :, None] - 1, axis=-1)[..., 0]
    by_draw = np.log(np.maximum(taken, 0.0) * (1 - LAPSE) + LAPSE / chances.shape[-1]).sum(-1)
    solved = logsumexp(by_draw, axis=1) - np.log(by_draw.shape[1])
    log_prior = -((LOG_RATIOS / PRIOR_LOG_SD) ** 2) / 2
    log_chance = log_prior + CubicSpline(np.log(RATIOS_SOLVED), solved)(LOG_RATIOS)
    chance = np.exp(log_chance - logsumexp(log_chance))
    below = np.cumsum(chance) - chance / 2
    low, high = interval_probabilities()
    low, median, high = np.exp(np.interp([low, 0.5, high], below, LOG_RATIOS)).tolist()
    chance_wider = 1 - float(np.interp(0.0, LOG_RATIOS, below))
    return CountedRatio(median, (low, high), chance_wider, taken_no.size)
