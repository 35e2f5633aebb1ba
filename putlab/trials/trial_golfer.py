"""What a golfer's own spread and readings mean for the size of a trial."""

import numpy as np

from putlab.decision.precision import reading_share
from putlab.errors import UsageError
from putlab.holeout import hole_out
from putlab.priors import PRIORS
from putlab.settings import PAST_FT, STIMP_FT
from putlab.skill import Skill
from putlab.trial import Conditions

COMPONENTS = ("line", "pace")

# The model learns of mishits, first putts and form from the same putts, which leaves this
# share for the change: measured on simulated trials (`tests/calibration/trials.py`).
FOR_THE_CHANGE = 0.96

# Steps of the numerical slopes: log spread, then bias in degrees and percent.
LOG_STEP, BIAS_STEP = 0.05, {"line": 0.1, "pace": 1.0}


def conditions_of(golfer, distances_ft, component, rules):
    """Return what a fitted golfer's readings allow.

    Parameters
    ----------
    golfer : putlab.golfer.Golfer
        One player's posterior.
    distances_ft : sequence of float
        Lengths of the trial, in feet.
    component : {"line", "pace"}
        Component that is judged.
    rules : putlab.rules.ReadingRules
        How the readings are made.

    Returns
    -------
    putlab.trial.Conditions
        Share of an exact reading, and session variation.
    """
    share = own_share(golfer, distances_ft, component, rules)
    return _own(golfer, component, share, f"a reading tells {share:.0%} of an exact one")


def _own(golfer, component, share, said):
    return Conditions(
        share=share,
        form_sd=float(golfer.draws(component, "form_sd").mean()),
        visit_means=True,
        source=f"{golfer.player}'s own spread, readings and visits; {said}",
    )


def own_share(golfer, distances_ft, component, rules):
    """Return what this golfer's readings tell relative to exact ones.

    Parameters
    ----------
    golfer, distances_ft, component, rules
        As in `conditions_of`.

    Returns
    -------
    float
        Mean over the lengths, less what the model needs for all else that it learns.

    Raises
    ------
    UsageError
        The player has no readings of the component.
    """
    rows = golfer.fit.designs[component].rows
    if not (rows["player"] == golfer.player).any():
        raise UsageError(f"{golfer.player} has no {component} readings in this log.")
    lengths = np.array(sorted({float(d) for d in distances_ft}))
    skill = golfer.skill(lengths, new_day=False)
    if component == "line":
        spread, unit = skill.line_sd_deg, np.ones(lengths.size)
        step, noise = rules.line_step_deg, rules.line_noise_deg
    else:
        spread, unit = skill.pace_sd_pct, 100 / lengths
        step, noise = rules.roll_step_ft, rules.roll_noise_ft
    mishits = golfer.draws(component, "mishit_share").mean()
    shares = [
        reading_share(sd, step=(step or 0) * u, noise=(noise or 0) * u, mishit_share=mishits)
        for sd, u in zip(spread.mean(axis=0), unit, strict=True)
    ]
    return float(np.mean(shares)) * FOR_THE_CHANGE


def golfer_at_large():
    """Return the skill of a golfer of whom nothing is known: the middle of the priors.

    Returns
    -------
    putlab.skill.Skill
        One draw.
    """
    return Skill.constant(*(PRIORS[name].sd_median for name in COMPONENTS))


def strokes_conditions(
    detect_pct,
    mix,
    *,
    golfer=None,
    distances_ft=(),
    rules=None,
    stimp_ft=STIMP_FT,
    past_ft=PAST_FT,
):
    """Return what a trial judged by strokes allows: cuts of both spreads, read together.

    The change of strokes a round is taken as straight in both log ratios and both changes
    of bias; its variance adds up what n putts an arm leave unknown of each.

    Parameters
    ----------
    detect_pct : float
        Cut of both spreads, percent.
    mix : putlab.rounds.RoundMix
        First putts of a round.
    golfer : putlab.golfer.Golfer, optional
        One player's posterior; default: a golfer at large, read exactly.
    distances_ft : sequence of float
        Lengths of the trial, in feet, where a golfer is given.
    rules : putlab.rules.ReadingRules
        How the readings are made, where a golfer is given.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims.

    Returns
    -------
    putlab.trial.Conditions
        With the share that makes the one-component design that of strokes.
    """
    skill, shares = golfer_at_large(), dict.fromkeys(COMPONENTS, 1.0)
    if golfer is not None:
        skill = _typical(golfer, mix)
        shares = {name: own_share(golfer, distances_ft, name, rules) for name in COMPONENTS}
    cut = -np.log1p(-detect_pct / 100)
    saved, by_spread, by_bias = _slopes(skill, cut, mix, stimp_ft, past_ft)
    spreads = {"line": skill.line_sd_deg, "pace": skill.pace_sd_pct}
    variance = sum(
        by_spread[name] ** 2 / shares[name]
        + 2 * (by_bias[name] * np.exp(np.log(spreads[name]).mean())) ** 2
        for name in COMPONENTS
    )
    share = float(saved**2 / (cut**2 * variance))
    said = f"{detect_pct:g} % off both spreads saves {saved:.2f} strokes a round"
    if golfer is None:
        return Conditions(share=share, source=f"a golfer at large, read exactly; {said}")
    return _own(golfer, "line", share, said)


def _typical(golfer, mix):
    """Return the golfer's new-day skill at its posterior mean, as one draw."""
    at = np.unique([2.0, *mix.distance_ft, 60.0])
    skill = golfer.skill(at, new_day=True)
    names = ("line_sd_deg", "line_bias_deg", "pace_sd_pct", "pace_bias_pct")
    return Skill(at, *(getattr(skill, name).mean(axis=0) for name in names))


def _slopes(skill, cut, mix, stimp_ft, past_ft):
    """Return strokes saved by the cut, and slopes by log spread and by bias."""
    # log spread of line and pace, bias of line and pace: one changed at a time, both ways
    steps = np.diag([LOG_STEP, LOG_STEP, *BIAS_STEP.values()])
    changes = np.concatenate([[[0.0] * 4, [-cut, -cut, 0, 0]], steps, -steps])
    changed = Skill(
        skill.distance_ft,
        skill.line_sd_deg * np.exp(changes[:, [0]]),
        skill.line_bias_deg + changes[:, [2]],
        skill.pace_sd_pct * np.exp(changes[:, [1]]),
        skill.pace_bias_pct + changes[:, [3]],
    )
    putts = hole_out(changed, mix.distance_ft, stimp_ft=stimp_ft, past_ft=past_ft)
    strokes = mix.average(putts.average_putts)
    slopes = (strokes[2:6] - strokes[6:10]) / (2 * np.diag(steps))
    by_spread, by_bias = (
        dict(zip(COMPONENTS, part, strict=True)) for part in (slopes[:2], slopes[2:])
    )
    return float(strokes[0] - strokes[1]), by_spread, by_bias
