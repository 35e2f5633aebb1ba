"""Golfers made in memory, as draws: for tests of the decision that need no fit."""

from dataclasses import replace

import numpy as np
import pandas as pd

from putlab.green.skill import Skill
from putlab.practice.case import GolferState

LENGTHS_FT = np.array([3.0, 6.0, 10.0, 16.0, 24.0, 36.0])
TREND_PRIOR_SD = 0.1


def made_state(
    *,
    line_sd_deg=1.0,
    pace_sd_pct=8.0,
    line_bias_deg=0.0,
    pace_bias_pct=0.0,
    log_sd=0.08,
    draws=60,
    putts=50,
    trend=None,
    lengths=LENGTHS_FT,
    seed=3,
):
    """Return a golfer known to a log sd, alike from day to day, of no known trend."""
    rng = np.random.default_rng(seed)
    shape = (draws, len(lengths))

    def spread(value):
        return np.broadcast_to(value, shape) * np.exp(log_sd * rng.standard_normal(shape))

    def bias(value, sd):
        return np.broadcast_to(value, shape) + sd * rng.standard_normal(shape)

    skill = Skill(
        lengths,
        spread(line_sd_deg),
        bias(line_bias_deg, log_sd * np.mean(line_sd_deg)),
        spread(pace_sd_pct),
        bias(pace_bias_pct, log_sd * np.mean(pace_sd_pct)),
    )
    mean, sd = (0.0, TREND_PRIOR_SD) if trend is None else trend
    draw = {c: mean + sd * rng.standard_normal(draws * 5) for c in ("line", "pace")}
    practised = pd.DataFrame({"distance_ft": lengths, "putts": putts})
    return GolferState(
        player="golfer",
        skill=skill,
        within=skill,
        practised=practised,
        trend=draw,
        trend_prior_sd=dict.fromkeys(("line", "pace"), TREND_PRIOR_SD),
    )


class MadeGolfer:
    """A golfer whose posterior is given as draws, with the parts that plans and reviews use."""

    def __init__(
        self,
        *,
        line_sd_deg=1.0,
        pace_sd_pct=8.0,
        line_bias_deg=0.0,
        pace_bias_pct=0.0,
        log_sd=0.0,
        setup=(0.0, 0.0),
        form=0.0,
        mishit_share=0.0,
        lengths=LENGTHS_FT,
        putts=50,
        draws=500,
        seed=4,
    ):
        self.player = "golfer"
        self.lengths = np.asarray(lengths, dtype=float)
        self.practised = pd.DataFrame({"distance_ft": self.lengths, "putts": putts})
        rng = np.random.default_rng(seed)
        shape = (draws, self.lengths.size)
        self.level = {
            "line": np.log(line_sd_deg) + log_sd * rng.standard_normal(shape),
            "pace": np.log(pace_sd_pct) + log_sd * rng.standard_normal(shape),
        }
        self.bias = {
            "line": np.broadcast_to(line_bias_deg, shape),
            "pace": np.broadcast_to(pace_bias_pct, shape),
        }
        one = np.ones(draws)
        self.named = {
            name: {"visit_bias_sd": one * sd, "visit_form_sd": one * form, "warm_up": 0 * one,
                   "mishit_share": one * mishit_share}
            for name, sd in zip(("line", "pace"), setup, strict=True)
        }  # fmt: skip

    def draws(self, component, name):
        """Return the draws of a quantity."""
        return self.named[component][name]

    def log_spread_and_bias(self, component, distance_ft):
        """Return log spread and bias at lengths of the golfer's own."""
        at = np.searchsorted(self.lengths, distance_ft)
        return self.level[component][:, at], self.bias[component][:, at]


def made_plan(player="golfer", seed=7, minutes=40.0, lengths_ft=()):
    """Return the next session of a golfer with a weak spot at 6 ft, for a roster if need be."""
    from putlab.log.rules import ReadingRules
    from putlab.practice.advice import advise
    from putlab.practice.plan import plan

    golfer, state = MadeGolfer(), made_state(line_sd_deg=[1.0, 1.8, 1.0, 1.0, 1.0, 1.0])
    golfer.player = player
    advice = advise(replace(state, player=player), minutes=25, reference=Skill.constant(1.4, 9.0))
    rules = ReadingRules(line_step_deg=1.0, roll_step_ft=0.1)
    rest = {"minutes": minutes, "seed": seed, "session": "2026-03-01", "stimp_ft": 9.5}
    return plan(golfer, rules, advice, lengths_ft=lengths_ft, **rest)
