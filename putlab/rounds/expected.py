"""What a golfer is expected to take on the holes of a game, if a little wider or tighter."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.special import logsumexp
from scipy.stats import norm

from putlab.base.settings import PAST_FT, STIMP_FT, interval_probabilities
from putlab.green.hole_out import MOST_PUTTS, hole_out, thinned
from putlab.green.published import green_spread
from putlab.green.skill import Skill

# Draws of the golfer: a game's score varies far more than a golfer's mean does.
DRAWS = 30

# A green less steep than this plays as flat; steeper ones are taken to the nearest half of a
# percent, so that holes of like slope are solved together.
FLAT_PCT, SLOPE_STEP_PCT = 0.25, 0.5

# Steps over which the slope's effect is taken as straight: line bias, and the log by which
# line spread widens as pace spread narrows.
BIAS_STEP_DEG, LEAN_STEP = 0.2, 0.1

# A chance of more putts below this has no odds worth comparing.
LEAST_CHANCE = 1e-9


def hole_chances(skill, holes, *, ratios=(1.0,), past_ft=PAST_FT, reading=True, draws=DRAWS):
    """Return the chances of 1, 2, ... 10 putts on each hole.

    On a slope the chances of more putts are those on the flat with their odds shifted by as
    much as the slope shifts them for the golfer's mean skill (`putlab.green.slope_hole_out`): all
    draws for the price of one. Their mean is within 0.003 of solving the slope for each
    draw, a single draw's chance within 0.02 (see the tests).

    Parameters
    ----------
    skill : Skill
        The golfer in practice; at most `draws` of its draws are used.
    holes : pandas.DataFrame
        ``distance_ft, stimp_ft, slope_pct, slope_to_deg``, a row a hole; green speed is the
        kit's where it is missing, slope none where it or its direction is.
    ratios : sequence of float
        Factors on both spreads.
    past_ft : float
        How far past the hole the golfer aims to roll the ball.
    reading : bool
        On sloping holes add the spread of reading a green (`putlab.green.published.green_spread`).
    draws : int
        Draws to use.

    Returns
    -------
    ndarray, shape (ratios, draws, holes, 10)
        Chances, adding up to 1 over the last axis.
    """
    skill = thinned(skill, draws)
    stimp_ft = holes["stimp_ft"].fillna(STIMP_FT).to_numpy(dtype=float)
    # A slope whose direction nobody wrote down is played as flat.
    known = holes["slope_pct"].where(holes["slope_to_deg"].notna(), 0.0)
    steps = known.fillna(0.0).to_numpy(dtype=float) / SLOPE_STEP_PCT
    slope_pct = np.where(steps * SLOPE_STEP_PCT < FLAT_PCT, 0.0, steps.round() * SLOPE_STEP_PCT)
    distance_ft = holes["distance_ft"].to_numpy(dtype=float)
    to_deg = holes["slope_to_deg"].fillna(0.0).to_numpy(dtype=float)
    found = np.empty((len(ratios), skill.draws, len(holes), MOST_PUTTS))
    for stimp, slope in np.unique(np.column_stack([stimp_ft, slope_pct]), axis=0):
        here = (stimp_ft == stimp) & (slope_pct == slope)
        golfer = skill.wider(*green_spread()) if reading and slope else skill
        more = _more_than(golfer, distance_ft[here], ratios, stimp, past_ft)
        if slope:
            lies = distance_ft[here], to_deg[here]
            more = _tilted(more, golfer, lies, ratios, (stimp, slope), past_ft)
        found[:, :, here] = _exactly(more)
    return found


def scaled(skill, ratios):
    """Return a skill with both spreads times each ratio, ratio after ratio.

    Parameters
    ----------
    skill : Skill
        The golfer.
    ratios : sequence of float
        Factors on both spreads.

    Returns
    -------
    Skill
        ``len(ratios) * draws`` draws.
    """
    factor = np.asarray(ratios, dtype=float)[:, None, None]
    columns = (
        np.broadcast_to(factor**power * values, (factor.size, *values.shape)).reshape(
            -1, skill.distance_ft.size
        )
        for values, power in (
            (skill.line_sd_deg, 1),
            (skill.line_bias_deg, 0),
            (skill.pace_sd_pct, 1),
            (skill.pace_bias_pct, 0),
        )
    )
    return Skill(skill.distance_ft, *columns)


def _more_than(skill, distance_ft, ratios, stimp_ft, past_ft):
    """Return chances of more than 0 to 9 putts, shape (ratios, draws, holes, 10)."""
    lengths_ft, place = np.unique(distance_ft, return_inverse=True)
    out = hole_out(scaled(skill, ratios), lengths_ft, stimp_ft=stimp_ft, past_ft=past_ft)
    more = np.moveaxis(out.more_than, 0, -1)[:, place]
    return more.reshape(len(ratios), skill.draws, distance_ft.size, MOST_PUTTS)


def _tilted(more, skill, lies, ratios, green, past_ft):
    """Shift the odds of more putts as the slope does for golfers near the mean one.

    The shift is solved for the mean skill at each ratio, and taken as straight in what else
    sets a draw apart: its line bias, as the green falls to one side, and how its line and
    pace spread lean towards each other.
    """
    mean, steps = _mean_of(skill), (BIAS_STEP_DEG, LEAN_STEP)
    aside = [_stepped(mean, *(side * step)) for step in np.diag(steps) for side in (1, -1)]
    shift = _slope_shift(_stacked([scaled(mean, ratios), *aside]), lies, green, past_ft)
    odds = _log_odds(more) + shift[: len(ratios), None]
    pairs = shift[len(ratios) :].reshape(len(steps), 2, *shift.shape[1:])
    off = _off(skill, lies[0]) - _off(mean, lies[0])
    for (up, down), step, away in zip(pairs, steps, off, strict=True):
        odds = odds + away[..., None] * (up - down) / (2 * step)
    shifted = 1 / (1 + np.exp(-odds))
    shifted[..., 0] = 1.0
    # More than k + 1 putts is never likelier than more than k.
    return np.minimum.accumulate(shifted, axis=-1)


def _stepped(skill, bias_deg, lean):
    """Return a skill with more line bias, and line spread wider as pace spread narrows."""
    return replace(
        skill,
        line_bias_deg=skill.line_bias_deg + bias_deg,
        line_sd_deg=skill.line_sd_deg * np.exp(lean),
        pace_sd_pct=skill.pace_sd_pct * np.exp(-lean),
    )


def _off(skill, distance_ft):
    """Return line bias and lean at lengths in any order, shape (2, draws, holes)."""
    lengths_ft, place = np.unique(distance_ft, return_inverse=True)
    there = skill.at(lengths_ft)
    lean = np.log(there.line_sd_deg / there.pace_sd_pct) / 2
    return np.stack([there.line_bias_deg, lean])[..., place]


def _slope_shift(skill, lies, green, past_ft):
    """Return log odds of more putts on the slope less those on the flat, by draw."""
    from putlab.green.aim import Green
    from putlab.green.slope_hole_out import SlopePutts

    distance_ft, to_deg = lies
    flat = _more_than(skill, distance_ft, (1.0,), green[0], past_ft)[0]
    slope = SlopePutts(skill, Green(*green), past_ft=past_ft, longest_ft=distance_ft.max())
    out = slope.hole_out(distance_ft, slope_to_deg=to_deg)
    return _log_odds(np.moveaxis(out.more_than, 0, -1)) - _log_odds(flat)


def _mean_of(skill):
    return Skill(
        skill.distance_ft,
        np.exp(np.log(skill.line_sd_deg).mean(axis=0)),
        skill.line_bias_deg.mean(axis=0),
        np.exp(np.log(skill.pace_sd_pct).mean(axis=0)),
        skill.pace_bias_pct.mean(axis=0),
    )


def _stacked(skills):
    names = ("line_sd_deg", "line_bias_deg", "pace_sd_pct", "pace_bias_pct")
    columns = (np.concatenate([getattr(skill, name) for skill in skills]) for name in names)
    return Skill(skills[0].distance_ft, *columns)


def _log_odds(chance):
    chance = np.clip(chance, LEAST_CHANCE, 1 - LEAST_CHANCE)
    return np.log(chance / (1 - chance))


def _exactly(more):
    return more - np.concatenate([more[..., 1:], np.zeros_like(more[..., :1])], axis=-1)


# How much wider a golfer scatters when it counts, learned from the putts taken in games.


# Prior of the log ratio: centred on no change, 90 % between 0.66 and 1.5. Golfers say that a
# score tightens them up or focuses them; no published size is agreed on for putting, so the
# prior takes no side (assumption).
PRIOR_LOG_SD = 0.25

# Ratios at which chances are computed, and between which their logarithm runs smoothly.
NODES = np.exp(np.linspace(-0.9, 0.9, 7))
# Log ratios of the answer.
GRID = np.linspace(-0.9, 0.9, 361)

# The least a hole's putts can be thought likely: one putt in a thousand goes wrong in a way
# that no spread explains (a bump, a lapse), and must not settle the ratio alone.
LAPSE = 1e-3


@dataclass(frozen=True)
class CountedRatio:
    """Posterior of spread in a game over spread in practice.

    Attributes
    ----------
    ratio : ndarray, shape (n,)
        Ratios, rising.
    chance, prior : ndarray, shape (n,)
        Posterior and prior probability of each.
    holes : int
        Holes it rests on.
    """

    ratio: np.ndarray
    chance: np.ndarray
    prior: np.ndarray
    holes: int

    @property
    def median(self):
        """Ratio as likely too small as too large."""
        return self.quantile(0.5)

    @property
    def interval(self):
        """Ends of the 90 % equal-tailed interval."""
        return tuple(self.quantile(p) for p in interval_probabilities())

    @property
    def chance_wider(self):
        """Probability that the spread is wider when it counts."""
        return float(self.chance[self.ratio > 1].sum() + self.chance[self.ratio == 1].sum() / 2)

    def quantile(self, probability):
        """Return a quantile of the ratio.

        Parameters
        ----------
        probability : float
            Between 0 and 1.

        Returns
        -------
        float
            Straight in log ratio between grid points.
        """
        below = np.cumsum(self.chance) - self.chance / 2
        return float(np.exp(np.interp(probability, below, np.log(self.ratio))))


def node_chances(skill, holes, **options):
    """Return the chances of 1 to 10 putts on each hole at the nodes of the ratio.

    Parameters
    ----------
    skill : Skill
        The golfer in practice.
    holes : pandas.DataFrame
        Holes played (`putlab.rounds.games.played_holes`).
    **options
        Of `putlab.rounds.expected.hole_chances`.

    Returns
    -------
    ndarray, shape (7, draws, holes, 10)
        For `counted_ratio`; the middle node is the golfer as in practice.
    """
    return hole_chances(skill, holes, ratios=NODES, **options)


def counted_ratio(chances, putts, *, prior_log_sd=PRIOR_LOG_SD):
    """Return what the putts taken say about the ratio.

    Parameters
    ----------
    chances : ndarray, shape (7, draws, holes, 10)
        From `node_chances`.
    putts : array_like, shape (holes,)
        Putts taken on each hole; more than ten count as ten.
    prior_log_sd : float
        Spread of the normal prior of the log ratio, centred on 0.

    Returns
    -------
    CountedRatio
        The posterior on a grid from 0.41 to 2.46.
    """
    putts = np.clip(np.asarray(putts, dtype=int), 1, chances.shape[-1])
    taken = np.take_along_axis(chances, putts[None, None, :, None] - 1, axis=-1)[..., 0]
    by_draw = np.log(np.maximum(taken, 0.0) * (1 - LAPSE) + LAPSE / chances.shape[-1]).sum(-1)
    at_nodes = logsumexp(by_draw, axis=1) - np.log(by_draw.shape[1])
    log_prior = norm.logpdf(GRID, scale=prior_log_sd)
    log_chance = log_prior + CubicSpline(np.log(NODES), at_nodes)(GRID)
    prior, chance = (np.exp(part - logsumexp(part)) for part in (log_prior, log_chance))
    return CountedRatio(np.exp(GRID), chance, prior, putts.size)
