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

What a visit's putts share (bias, form) is part of the scatter here: a dozen made or missed
can't tell it apart.
"""

from typing import Any

import numpy as np

from putlab.base.late import pm, pt
from putlab.model import spread
from putlab.model.green_putts import COUNTS, GreenDesign
from putlab.model.hole_chance import Scatter, Strips, event_chance
from putlab.model.readings import COMPONENTS
from putlab.model.spread import MISHIT_TIMES, PARAMETERS, cell_location, terms_at

GREEN_PARAMETERS = ["green_line_sd_deg", "green_pace_sd_pct"]

# The free names of the model: the spread model's for each component, and the green's.
JOINT_PARAMETERS = [
    *(f"{component}_{name}" for component in COMPONENTS for name in PARAMETERS),
    *GREEN_PARAMETERS,
]

NEVER = 1e-300  # what the model thinks impossible must not make the whole log impossible


def build_model(design: GreenDesign) -> Any:
    """Return the unfitted joint model of practice readings and outcomes on a green.

    Either part of the design may be empty; the free parameters are `JOINT_PARAMETERS`.
    """
    with pm.Model(coords=spread.coords_of(design.size)) as model:
        parts = design.components.items()
        golfer = {name: spread.add_component(part, f"{name}_") for name, part in parts}
        _add_green(design, golfer)
    return model


def _add_green(design: GreenDesign, golfer: dict[str, dict[str, Any]]) -> None:
    """Add the green's spread and the outcomes to the model in context."""
    data = {name: pm.Data(name, value) for name, value in design.data.items()}
    prior = data["green_priors"]  # median and log sd, of line and of pace
    green = [
        pm.LogNormal(name, pt.log(prior[i, 0]), prior[i, 1], dims="player")
        for i, name in enumerate(GREEN_PARAMETERS)
    ]
    chance = event_chances(golfer, green, data)
    made, left, followed = (data[name] for name in COUNTS)
    counts = pt.concatenate([made[1], made[2], left[1], followed[0], followed[1]])
    chances = outcome_chances(chance, data)
    pm.CustomDist("outcomes", chances, logp=outcomes_logp, observed=counts)


def event_chances(golfer: dict[str, dict[str, Any]], green: list, data: dict[str, Any]) -> Any:
    """Return the chance of every event."""
    line, pace = (_on_green(golfer[name], green[i], data) for i, name in enumerate(COMPONENTS))
    target_ft = data["event_value"][2]
    line, pace = line.in_unit(np.pi / 180), pace.in_unit(target_ft[:, None] / 100, 100)
    directions, weight, low, high = (data["node"][i] for i in range(4))
    rolls = pt.stack([low, high], axis=-1)
    strips = Strips(data["range_event"], data["range_edge"], directions, weight, rolls)
    return event_chance(strips, line, pace, target_ft.shape[0])


def _on_green(v: dict[str, Any], green: Any, data: dict[str, Any]) -> Scatter:
    """Return how one component scatters on a green, in its own unit, for each event."""
    player, position, condition = (data["event_index"][i] for i in range(3))
    practised, counted = (data["event_value"][i] for i in range(2))
    # Between and beyond the lengths practised.
    weights, x = data["positions"][:-1], data["positions"][-1]
    base, slope, middle = v["base"][:, None], v["slope"][:, None], v["bias_mean"][:, None]
    level = base + slope * x + (v["level"] - (base + slope * v["x"])) @ weights
    bias = middle + (v["bias"] - middle) @ weights
    # First putts and what a visit shares are no terms here: see above.
    names = ("trend", "counted", "effect", "effect_slope", "shift")
    mean, log_sd = cell_location(
        terms_at(
            {name: v[name] for name in names} | {"level": level, "bias": bias},
            {"player": player, "length": position, "condition": condition},
        ),
        {
            "practised": practised, "counted": counted, "x": x[position],
            "changed": pt.neq(condition, 0),
        },
    )  # fmt: skip
    sd = pt.exp(log_sd + v["visit_form_sd"] ** 2)
    shared = v["visit_bias_sd"][player] ** 2 + green[player] ** 2
    share = v["mishit_share"][player]
    return Scatter(
        pt.stack([mean, mean], axis=1),
        pt.stack([pt.sqrt((times * sd) ** 2 + shared) for times in (1, MISHIT_TIMES)], axis=1),
        pt.stack([1 - share, share], axis=1),
    )


def outcome_chances(chance: Any, data: dict[str, Any]) -> Any:
    """Return the chance of every counted outcome, of those of the events, shape (..., events)."""
    drops, left = (chance[..., pt.cast(data[name][0], "int64")] for name in ("made", "leave"))
    index = data["followed_event"]
    bands = (index.shape[0] - 1) // 2
    two = chance[..., index[1 : 1 + bands]] * chance[..., index[1 + bands :]]
    two = two.sum(axis=-2)
    more = 1 - chance[..., index[0]] - two
    return pt.concatenate([drops, 1 - drops, left, two, more], axis=-1)


def outcomes_logp(count: Any, chance: Any) -> Any:
    """Return the log probability of every counted outcome."""
    return count * pt.log(pt.maximum(chance, NEVER))
