"""The model of putts made and missed on a green: the spread model, seen through the hole.

A green adds to a golfer's spread: it must be read, and its surface is uneven. With level,
bias, visit_form, trend, effect and mishits as in `putlab.model.spread`, for each component:

    green[p]   ~ LogNormal around the published split of variance
    direction  ~ (1 - m[p]) Normal(mu, sigma) + m[p] Normal(mu, wide)     and so roll-out
    mu         = bias[p, d] + shift[condition]
    log sd     = level[p, d] + trend[p] practised + effect[condition] + ... (as in practice)
    sigma^2    = exp(2 (log sd + visit_form_sd^2)) + visit_bias_sd[p]^2 + green[p]^2
    wide^2     = the same with 4 sd for sd

    made       with chance P(d): in line, hard enough to get there, soft enough to drop
    missed     with chance 1 - P(d)
    left       between l1 and l2 with chance Q(d, l1, l2)
    followed by one putt  with chance Two = sum over bands b of Q(d, b) P(middle of b)
    followed by more      with chance 1 - P(d) - Two

What a visit's putts share (its bias, its form) is part of the scatter here: a dozen made or missed
can't tell it apart.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pymc as pm
import pytensor.tensor as pt

from putlab.green.published import green_spread
from putlab.model.hole_chance import Scatter, Strips, event_chance
from putlab.model.spread import MISHIT_TIMES, PARAMETERS, add_component, cell_location

if TYPE_CHECKING:
    from putlab.model.green_putts import GreenDesign

# How far golfers and greens differ from the published split: within half and double for two
# in three or so (assumption; where a log has putts on a green, it is estimated).
GREEN_LOG_SD = 0.5

GREEN_PARAMETERS = ["green_line_sd_deg", "green_pace_sd_pct"]

# The free names of the model: the spread model's for each component, and the green's.
JOINT_PARAMETERS = [
    *(f"{component}_{name}" for component in ("line", "pace") for name in PARAMETERS),
    *GREEN_PARAMETERS,
]

NEVER = 1e-300  # what the model thinks impossible must not make the whole log impossible


def green_priors() -> Any:
    """Return median and log sd of the green's extra spread, of line and of pace."""
    return np.array([[median, GREEN_LOG_SD] for median in green_spread()])


def build_model(design: GreenDesign) -> Any:
    """Return the unfitted joint model of practice readings and outcomes on a green.

    Parameters
    ----------
    design : putlab.model.green_putts.GreenDesign
        Arrays; either part may be empty.

    Returns
    -------
    pymc.Model
        Model with the free parameters `JOINT_PARAMETERS`.
    """
    sizes = zip(("player", "session", "length", "condition"), design.size, strict=True)
    with pm.Model(coords={name: np.arange(size) for name, size in sizes}) as model:
        golfer = {
            name: add_component(component, f"{name}_")
            for name, component in design.components.items()
        }
        add_green(design, golfer)
    return model


def add_green(design: GreenDesign, golfer: dict) -> Any:
    """Add the green's spread and the outcomes to the model in context."""
    data = {name: pm.Data(name, value) for name, value in design.data.items()}
    prior = data["green_priors"]  # median and log sd, of line and of pace
    green = [
        pm.LogNormal(name, pt.log(prior[i, 0]), prior[i, 1], dims="player")
        for i, name in enumerate(GREEN_PARAMETERS)
    ]
    line, pace = (
        _on_green(name, golfer[name], green[i], data) for i, name in enumerate(("line", "pace"))
    )
    target_ft = data["event_value"][2]
    line, pace = line.in_unit(np.pi / 180), pace.in_unit(target_ft[:, None] / 100, 100)
    chance = event_chance(strips_of(data), line, pace, target_ft.shape[0])
    pm.Potential("outcomes", outcomes_logp(chance, data))
    return chance


def strips_of(data: dict) -> Any:
    """Return the strips kept in a design's arrays."""
    line, weight, low, high = (data["node"][i] for i in range(4))
    rolls = pt.stack([low, high], axis=-1)
    return Strips(data["range_event"], data["range_edge"], line, weight, rolls)


def _on_green(name: Any, v: Any, green: Any, data: Any) -> Scatter:
    """Return how one component scatters on a green, in its own unit, for each event."""
    player, position, condition = (data["event_index"][i] for i in range(3))
    practised, counted = (data["event_value"][i] for i in range(2))
    level, bias = _at_positions(name, v, data)
    nothing = pt.zeros(1)
    mean, log_sd = cell_location(
        v | {"level": level, "bias": bias, "visit_bias": nothing, "visit_form": nothing},
        {
            "player": player,
            "length": position,
            "session": pt.zeros_like(player),
            "condition": condition,
            "practised": practised,
            "warm_up": pt.zeros_like(practised),
            "counted": counted,
            "x": data["positions"][-1],
        },
    )
    model = pm.modelcontext(None)
    sd = pt.exp(log_sd + model[f"{name}_visit_form_sd"] ** 2)
    shared = model[f"{name}_visit_bias_sd"][player] ** 2 + green[player] ** 2
    share = v["mishit_share"][player]
    return Scatter(
        pt.stack([mean, mean], axis=1),
        pt.stack([pt.sqrt((times * sd) ** 2 + shared) for times in (1, MISHIT_TIMES)], axis=1),
        pt.stack([1 - share, share], axis=1),
    )


def _at_positions(name: Any, v: Any, data: Any) -> tuple:
    """Return level and bias at the lengths struck at, between and beyond those practised."""
    model = pm.modelcontext(None)
    weights, at = data["positions"][:-1], data["positions"][-1]
    base = model[f"{name}_base_u"] - v["mean_visit_form"]
    slope = model[f"{name}_slope"]
    straight = base[:, None] + slope[:, None] * v["x"]
    level = base[:, None] + slope[:, None] * at + (v["level"] - straight) @ weights
    mean = (model[f"{name}_bias_mean_u"] - v["mean_visit_bias"])[:, None]
    return level, mean + (v["bias"] - mean) @ weights


def outcomes_logp(chance: Any, data: dict) -> Any:
    """Return the log probability of all outcomes."""
    index, made, missed = pt.cast(data["made"][0], "int64"), data["made"][1], data["made"][2]
    drops = chance[index]
    total = (made * _log(drops) + missed * _log(1 - drops)).sum()
    index, count = pt.cast(data["leave"][0], "int64"), data["leave"][1]
    total += (count * _log(chance[index])).sum()
    index, one, more = data["followed_event"], data["followed"][0], data["followed"][1]
    bands = (index.shape[0] - 1) // 2
    two = (chance[index[1 : 1 + bands]] * chance[index[1 + bands :]]).sum(axis=0)
    return total + (one * _log(two) + more * _log(1 - chance[index[0]] - two)).sum()


def _log(chance: Any) -> Any:
    return pt.log(pt.maximum(chance, NEVER))
