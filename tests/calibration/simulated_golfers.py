"""Golfers of known truth who practise by the power law, and what that does to their rounds.

Written apart from the decision modules: strokes come from `putlab.green.hole_out`, whole rounds
before and after practice, no visits, parabolas or first-order sums.
"""

from dataclasses import dataclass

import numpy as np
import xarray as xr
from made_logs import balanced_schedule, log_of
from simulate import rounded, simulate_errors
from true_golfers import steady

from putlab.green.hole_out import hole_out
from putlab.green.published import green_spread
from putlab.green.skill import Skill
from putlab.model.design import SPOT_RANGE, make_design, session_table
from putlab.model.priors import PRIORS
from putlab.model.readings import COMPONENTS, intervals, lengths_ft
from putlab.model.spread import MISHIT_TIMES, named_quantities
from putlab.posterior import sampling as fitting
from putlab.posterior.fit import put_together
from putlab.practice.learning import Learning
from putlab.practice.saving import OPTIONS, PRACTICE_FT, putts_of
from putlab.rounds.first_putts import shipped_mix

LENGTHS_FT = np.array([3.0, 6.0, 10.0, 16.0, 24.0, 36.0])
SESSIONS, EACH = 5, 10
PUTTS = SESSIONS * EACH * len(LENGTHS_FT)
GRID_FT = np.geomspace(1.0, 80.0, 40)
PLAYER = "golfer"
MISHITS = 0.01

# Where a plan's putts can be struck: where the advice has them struck, and for everybody's 6 ft.
PLAN_FT = np.append(PRACTICE_FT, 6.0)


@dataclass(frozen=True)
class TrueGolfer:
    """What is true of one golfer, at the end of the log, on a new day.

    Attributes
    ----------
    sd, bias : dict of str to ndarray, shape (lengths,)
        By component: spread within a visit, and bias (degrees, percent).
    visit_bias_sd : dict of str to float
        Sd of the offset that a visit shares.
    rate : dict of str to float
        Fall of log spread per unit of log experience; the log's trend follows it.
    experience : float
        Putts struck at every length before the log.
    yields : ndarray, shape (grid, 2)
        What a putt of practice is worth at each of `GRID_FT`, for line and for pace.
    bias_putts : dict of str to float
        Putts that halve a bias.
    carry_range : float
        Log distance over which carry-over falls to 1/e.
    first_putts : ndarray, shape (mix lengths,)
        The golfer's own first putts of a round.
    """

    sd: dict
    bias: dict
    visit_bias_sd: dict
    rate: dict
    experience: float
    yields: np.ndarray
    bias_putts: dict
    carry_range: float
    first_putts: np.ndarray


def draw_learning(rng, learning, *, typical=False):
    """Return what practice does for a golfer; with ``typical`` all at the medians."""

    def lognormal(median, log_sd, size=None):
        return median * np.exp(0 if typical else log_sd * rng.standard_normal(size))

    def of(name):
        return {c: getattr(learning, f"{c}_{name}") for c in COMPONENTS}

    # Straight over log distance; the level is in the rate.
    steep = learning.yield_log_sd * rng.standard_normal(2)
    stray = np.multiply.outer(steep, np.log(GRID_FT / 10))
    return {
        "rate": {c: lognormal(m, learning.rate_log_sd) for c, m in of("rate").items()},
        "experience": lognormal(learning.experience, learning.experience_log_sd),
        "yields": np.exp(0 * stray if typical else stray).T,
        "bias_putts": {c: lognormal(m, learning.bias_log_sd) for c, m in of("bias_putts").items()},
        "carry_range": lognormal(learning.carry_range, learning.carry_log_sd),
    }


def draw_mix(rng, log_sd):
    """Return a golfer's own first putts: the shipped mix, strayed smoothly."""
    mix = shipped_mix()
    x = np.log(mix.distance_ft)
    correlation = np.exp(-np.abs(np.subtract.outer(x, x)) / SPOT_RANGE)
    strayed = mix.first_putts * np.exp(
        log_sd * rng.multivariate_normal(np.zeros(x.size), correlation)
    )
    return 18 * strayed / strayed.sum()


def play_log(golfer, rng, *, sessions=SESSIONS, each=EACH):
    """Return the log of a golfer's practice that ends at the truth given."""
    putts = balanced_schedule([PLAYER], sessions, LENGTHS_FT, each, rng)
    visits = session_table(putts)
    before_first = np.log1p(visits["putts_before"].iloc[0] / 100) - visits["practised"].iloc[0]
    # The model's trend is per log(1 + putts / 100); the golfer's own law has its experience: over
    # the log's putts both fall alike.
    now = np.log1p(len(putts) / 100) - before_first
    fall = np.log1p(len(putts) / golfer.experience) / np.log1p(len(putts) / 100)
    trend = {name: golfer.rate[name] * fall for name in COMPONENTS}
    size = {"players": 1, "lengths": len(LENGTHS_FT)}
    at = {"players": [PLAYER], "lengths_ft": LENGTHS_FT}
    errors = {}
    for name in COMPONENTS:
        truth = steady(
            np.log(golfer.sd[name]) + trend[name] * now,
            golfer.bias[name],
            visit_bias_sd=golfer.visit_bias_sd[name],
            visit_form_sd=0.06,
            trend=-trend[name],
            mishit_share=MISHITS,
            **size,
        )
        errors[name] = simulate_errors(putts, truth, rng, **at)
    putts["line_deg"] = rounded(errors["line"], 1.0)
    putts["roll_ft"] = rounded(putts["distance_ft"] * (1 + errors["pace"] / 100), 0.1)
    return log_of(putts)


def quick_fit(log, *, seed=1, draws=300, tune=300, chains=2, cores=2):
    """Return the spread model's fit by the same sampler with fewer draws, unchecked."""
    visits = session_table(log.putts)
    posteriors, designs = {}, {}
    for name in COMPONENTS:
        rows = intervals(log, name)
        lengths = lengths_ft(log.putts["distance_ft"])
        design = make_design(rows, visits, lengths, [PLAYER], PRIORS[name])
        raw = fitting.sample(
            fitting.compiled_for(design),
            seed=seed,
            draws=draws,
            tune=tune,
            chains=chains,
            cores=cores,
        )
        posterior = named_quantities(raw.posterior.dataset, design)
        posteriors[name] = xr.DataTree.from_dict({"posterior": posterior})
        designs[name] = design
    return put_together(log, designs, posteriors, seed)


def strokes(golfer, plans, *, learning, practised=PUTTS / len(LENGTHS_FT)):
    """Return the true strokes of a round after each of several plans.

    Parameters
    ----------
    plans : ndarray, shape (plans, lengths, 2)
        Putts struck at each of `PLAN_FT` for line and for pace.
    practised : float
        Putts at each length so far.
    """
    plans = np.asarray(plans, dtype=float)
    x, known = np.log(GRID_FT), np.log(LENGTHS_FT)

    def reach(lengths):
        return np.exp(-np.abs(np.subtract.outer(np.log(lengths), x)) / golfer.carry_range)

    experience = golfer.experience + practised * reach(LENGTHS_FT).sum(axis=0)
    worth = [np.interp(np.log(PLAN_FT), x, of) for of in golfer.yields.T]
    columns, wild = {}, {}
    for i, name in enumerate(COMPONENTS):
        struck = plans[..., i] + learning.other_share * plans[..., 1 - i]
        counting = (struck * worth[i]) @ reach(PLAN_FT)
        narrower = (1 + counting / experience) ** -golfer.rate[name]
        for into, times in ((columns, 1.0), (wild, MISHIT_TIMES)):
            sd = np.hypot(times * golfer.sd[name], golfer.visit_bias_sd[name])
            into[name] = np.exp(np.interp(x, known, np.log(sd))) * narrower
        left = 0.5 ** (counting / golfer.bias_putts[name])
        columns[name + " bias"] = np.interp(x, known, golfer.bias[name]) * left
    skill = Skill(
        GRID_FT,
        line_sd_deg=columns["line"],
        line_bias_deg=columns["line bias"],
        pace_sd_pct=columns["pace"],
        pace_bias_pct=columns["pace bias"],
        line_wild=np.full(1, MISHITS),
        line_wild_sd_deg=wild["line"],
        pace_wild=np.full(1, MISHITS),
        pace_wild_sd_pct=wild["pace"],
    )
    out = hole_out(skill.wider(*green_spread()), shipped_mix().distance_ft)
    return out.average_putts @ golfer.first_putts


def plan_of(option, minutes, learning):
    """Return the putts of time spent on one option, shape (lengths, 2)."""
    putts = putts_of(option, minutes, learning)
    return np.stack([np.append(putts[c], 0.0) for c in COMPONENTS], axis=1)


def line_at_6_ft(minutes, learning):
    """Return the putts of time that all goes to line from 6 ft, shape (lengths, 2)."""
    plan = np.zeros((PLAN_FT.size, 2))
    plan[-1, COMPONENTS.index("line")] = minutes * learning.putts_a_minute(6.0)
    return plan


def true_savings(golfer, minutes, learning):
    """Return the strokes a round truly saved by each option, and then by line at 6 ft."""
    plans = [np.zeros((PLAN_FT.size, 2))]
    plans += [plan_of(option, minutes, learning) for option in OPTIONS]
    found = strokes(golfer, [*plans, line_at_6_ft(minutes, learning)], learning=learning)
    return found[0] - found[1:]


DEFAULT = Learning()
