"""The model of line and pace spread.

For one component (line in degrees; pace as 100 (roll / target - 1) percent), player p,
session s, length d with x = log(d / 10 ft):

    reading in [lo, hi] ~ (1 - m[p]) Normal(mu, sigma) + m[p] Normal(mu, 4 sigma)
    mu        = bias[p, d] + visit_bias[s] + shift[condition]
    log sigma = level[p, d] + visit_form[s] + trend[p] practised[s] + effect[condition]
                + effect_slope[condition] x + warm_up[p] (first putts) + counted[p] (in a game)

    level[p, d] ~ straight in x with slope[p] around base[p], plus an Ornstein-Uhlenbeck
                  bump in x of size spot_sd
    bias[p, d]  ~ around bias_mean[p], with a bump in x of size bias_spot_sd
    base[p]     ~ Normal(base_mean, between_sd): players share a population
    visit_bias[s]    ~ Normal(0, visit_bias_sd[p]);  visit_form[s] ~ Normal(0, visit_form_sd)

The noise of the sensor adds to sigma in quadrature. Equal intervals are counted.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pymc as pm
import pytensor.tensor as pt
import xarray as xr

from putlab.model.design import unpack
from putlab.model.priors import SpreadPriors

if TYPE_CHECKING:
    from putlab.model.design import Design

MISHIT_TIMES = 4.0

# Mishits are a minority by definition: without a ceiling a second, false answer exists in
# which most putts are "mishits" of a very narrow golfer.
MISHIT_MOST = 0.2

# The free names of the model, in the order of the story above.
PARAMETERS = [
    "base_mean", "between_sd", "base_u", "slope", "spot_sd", "level_u",
    "bias_mean_u", "bias_spot_sd", "bias_u", "visit_bias_sd", "visit_bias_u", "visit_form_sd", "visit_form_u",
    "trend", "warm_up", "counted", "effect", "effect_slope", "shift", "mishit_u",
]  # fmt: skip


def build_model(design: Design) -> Any:
    """Return the unfitted model of one component.

    Parameters
    ----------
    design : putlab.model.design.Design
        Counted cells and covariates; they become data containers, so a compiled model of
        the same size can take another log's.

    Returns
    -------
    pymc.Model
        Model with the free parameters `PARAMETERS`.
    """
    with pm.Model(coords=_coords(design)) as model:
        add_component(design)
    return model


def _coords(design: Any) -> dict:
    sizes = dict(zip(("player", "session", "length", "condition"), design.size, strict=True))
    return {name: np.arange(size) for name, size in sizes.items()}


def add_component(design: Design, prefix: str = "") -> Any:
    """Add one component's parameters and likelihood to the model in context."""
    data = _unpacked(design, prefix)
    prior = {name: data["priors"][i] for i, name in enumerate(SpreadPriors.names())}
    v = _sessions(data, prior, prefix) | _effects(prior, prefix)
    v |= _level(v, data, prior, prefix) | _bias(v, data, prior, prefix)
    pm.Potential(prefix + "readings", readings_logp(v, data).sum())
    return v | {"x": data["x"]}


# How the stacked arrays of a design are called in the story above.
STACKS = {
    "cell_index": ("player", "session", "length", "condition"),
    "cell_covariate": ("practised", "warm_up", "counted"),
    "row": ("lo", "hi", "noise", "count"),
    "over_lengths": ("x", "cholesky", "cholesky_inverse"),
    "centre_length": ("centre_level", "centre_bias"),
    "centre_session": ("centre_visit_bias", "centre_visit_form"),
}


def _unpacked(design: Any, prefix: Any) -> Any:
    """Make the data containers and return what is in them by its name in the story."""
    vectors: Any = (pm.Data(prefix + name, value) for name, value in design.containers.items())
    data = unpack(*vectors, design.size)
    for stack, names in STACKS.items():
        data |= {name: data[stack][i] for i, name in enumerate(names)}
    data["x"] = pt.diagonal(data["x"])
    return data


def _lognormal(name: Any, prior: Any, key: Any, **kwargs: Any) -> Any:
    return pm.LogNormal(name, pt.log(prior[key + "_median"]), prior[key + "_log_sd"], **kwargs)


def _partly_centred(name: Any, mean: Any, sd: Any, centre: Any, dims: Any) -> Any:
    """Return Normal(mean, sd) values through a variable that is centred by a given share."""
    u = pm.Normal(name, centre * mean, sd**centre, dims=dims)
    return mean + (u - centre * mean) * sd ** (1 - centre)


# Level and bias are sampled with the player's mean visit_form and visit_bias in them, and freed of it
# afterwards: the readings place that sum well, and its two parts only together.


def _level(v: Any, data: Any, prior: Any, prefix: Any) -> dict:
    base_mean = pm.Normal(prefix + "base_mean", pt.log(prior["sd_median"]), prior["sd_log_sd"])
    between_sd = _lognormal(prefix + "between_sd", prior, "between")
    mean_visit_form = data["visit_share"] @ v["visit_form"]
    base_u = pm.Normal(prefix + "base_u", base_mean + mean_visit_form, between_sd, dims="player")
    slope = pm.Normal(prefix + "slope", 0, prior["slope_sd"], dims="player")
    spot_sd = _lognormal(prefix + "spot_sd", prior, "spot")
    straight = base_u[:, None] + slope[:, None] * data["x"][None, :]
    white = _partly_centred(
        prefix + "level_u",
        straight @ data["cholesky_inverse"].T,
        spot_sd,
        data["centre_level"],
        ("player", "length"),
    )
    level = white @ data["cholesky"].T - mean_visit_form[:, None]
    return {"level": level, "mean_visit_form": mean_visit_form}


def _bias(v: Any, data: Any, prior: Any, prefix: Any) -> dict:
    mean_visit_bias = data["visit_share"] @ v["visit_bias"]
    bias_mean_u = pm.Normal(
        prefix + "bias_mean_u", mean_visit_bias, prior["bias_sd"], dims="player"
    )
    spot_sd = _lognormal(prefix + "bias_spot_sd", prior, "bias_spot")
    flat = bias_mean_u[:, None] * pt.ones_like(data["x"])[None, :]
    white = _partly_centred(
        prefix + "bias_u",
        flat @ data["cholesky_inverse"].T,
        spot_sd,
        data["centre_bias"],
        ("player", "length"),
    )
    bias = white @ data["cholesky"].T - mean_visit_bias[:, None]
    return {"bias": bias, "mean_visit_bias": mean_visit_bias}


def _sessions(data: Any, prior: Any, prefix: Any) -> dict:
    visit_bias_sd = _lognormal(prefix + "visit_bias_sd", prior, "visit_bias", dims="player")
    visit_form_sd = _lognormal(prefix + "visit_form_sd", prior, "visit_form")
    visit_bias = _partly_centred(
        prefix + "visit_bias_u",
        0,
        visit_bias_sd[data["session_player"]],
        data["centre_visit_bias"],
        "session",
    )
    visit_form = _partly_centred(
        prefix + "visit_form_u", 0, visit_form_sd, data["centre_visit_form"], "session"
    )
    return {"visit_bias": visit_bias, "visit_form": visit_form}


def _effects(prior: Any, prefix: Any) -> Any:
    def normal(name: Any, sd: Any, dims: Any) -> Any:
        return pm.Normal(prefix + name, 0, sd, dims=dims)

    return {
        "trend": normal("trend", prior["trend_sd"], "player"),
        "warm_up": normal("warm_up", prior["warm_up_sd"], "player"),
        "counted": normal("counted", prior["counted_sd"], "player"),
        "effect": normal("effect", prior["effect_sd"], "condition"),
        "effect_slope": normal("effect_slope", prior["effect_slope_sd"], "condition"),
        "shift": normal("shift", prior["shift_sd"], "condition"),
        "mishit_share": MISHIT_MOST
        * pm.Beta(prefix + "mishit_u", prior["mishit_a"], prior["mishit_b"], dims="player"),
    }


def readings_logp(v: dict, data: dict) -> Any:
    """Return the log probability of every counted interval."""
    mu, log_sd = cell_location(v, data)
    row = data["row_cell"]
    player = data["player"][row]
    sd = pt.exp(log_sd)[row]
    share = v["mishit_share"][player]
    return data["count"] * pt.log(
        (1 - share) * interval_probability(data, mu[row], pt.sqrt(sd**2 + data["noise"] ** 2))
        + share
        * interval_probability(
            data, mu[row], pt.sqrt((MISHIT_TIMES * sd) ** 2 + data["noise"] ** 2)
        )
        + 1e-300  # a reading beyond anything the model expects must not make it impossible
    )


def cell_location(v: dict, data: dict) -> Any:
    """Return mean and log spread of every cell."""
    player, length = data["player"], data["length"]
    session, condition = data["session"], data["condition"]
    changed = pt.neq(condition, 0)
    mu = v["bias"][player, length] + v["visit_bias"][session] + changed * v["shift"][condition]
    effect = v["effect"][condition] + v["effect_slope"][condition] * data["x"][length]
    log_sd = (
        v["level"][player, length]
        + v["visit_form"][session]
        + v["trend"][player] * data["practised"]
        + v["warm_up"][player] * data["warm_up"]
        + v["counted"][player] * data["counted"]
        + changed * effect
    )
    return mu, log_sd


def interval_probability(data: dict, mu: Any, sd: Any) -> Any:
    """Return the normal probability of each interval."""
    lo, hi = data["lo"] - mu, data["hi"] - mu
    right = lo + hi > 0
    scale = 1 / (sd * np.sqrt(2))
    near, far = pt.switch(right, -lo, hi) * scale, pt.switch(right, -hi, lo) * scale
    return 0.5 * (pt.erfc(-near) - pt.erfc(-far))


# From the free parameters that were sampled to the named quantities of the model's story.


def build_dims() -> Any:
    """Return the dimensions of every free parameter."""
    player = ["base_u", "slope", "bias_mean_u", "visit_bias_sd", "trend", "warm_up", "counted"]
    player += ["mishit_u"]
    dims: dict[str, tuple] = dict.fromkeys(PARAMETERS, ()) | dict.fromkeys(player, ("player",))
    dims |= dict.fromkeys(["level_u", "bias_u"], ("player", "length"))
    dims |= dict.fromkeys(["visit_bias_u", "visit_form_u"], ("session",))
    return dims | dict.fromkeys(["effect", "effect_slope", "shift"], ("condition",))


def named_quantities(raw: Any, design: Design) -> Any:
    """Return the quantities of the model's story, without padding and centring."""
    v = {name: raw[name].values for name in raw.data_vars}
    x, cholesky, cholesky_inverse = design.data["over_lengths"]
    visit_bias_sd = v["visit_bias_sd"][..., design.data["session_player"]]
    centre = design.data["centre_session"]
    visit_bias = v["visit_bias_u"] * visit_bias_sd ** (1 - centre[0])
    visit_form = v["visit_form_u"] * v["visit_form_sd"][..., None] ** (1 - centre[1])
    mean_visit_bias, mean_visit_form = (
        visit_bias @ design.data["visit_share"].T,
        visit_form @ design.data["visit_share"].T,
    )
    straight = v["base_u"][..., None] + v["slope"][..., None] * np.diag(x)
    flat = np.broadcast_to(v["bias_mean_u"][..., None], straight.shape)
    centre = design.data["centre_length"]
    level = (
        _uncentre(v["level_u"], straight @ cholesky_inverse.T, v["spot_sd"], centre[0]) @ cholesky.T
    )
    bias = (
        _uncentre(v["bias_u"], flat @ cholesky_inverse.T, v["bias_spot_sd"], centre[1]) @ cholesky.T
    )
    lengths, visits = len(design.lengths_ft), len(design.sessions)
    conditions = slice(1, 1 + len(design.conditions))
    named = {
        "base_mean": ((), v["base_mean"]),
        "between_sd": ((), v["between_sd"]),
        "spot_sd": ((), v["spot_sd"]),
        "bias_spot_sd": ((), v["bias_spot_sd"]),
        "visit_form_sd": ((), v["visit_form_sd"]),
        "base": (("player",), v["base_u"] - mean_visit_form),
        "bias_mean": (("player",), v["bias_mean_u"] - mean_visit_bias),
        "level": (("player", "length"), level[..., :lengths] - mean_visit_form[..., None]),
        "bias": (("player", "length"), bias[..., :lengths] - mean_visit_bias[..., None]),
        "visit_bias": (("session",), visit_bias[..., :visits]),
        "visit_form": (("session",), visit_form[..., :visits]),
        "mishit_share": (("player",), MISHIT_MOST * v["mishit_u"]),
    }
    for name in ("slope", "visit_bias_sd", "trend", "warm_up", "counted"):
        named[name] = (("player",), v[name])
    for name in ("effect", "effect_slope", "shift"):
        named[name] = (("condition",), v[name][..., conditions])
    coords = {
        "player": design.players,
        "length": design.lengths_ft,
        "session": np.arange(1, visits + 1),
        "condition": _condition_labels(design.conditions),
    }
    return xr.Dataset(
        {name: (("chain", "draw", *dims), value) for name, (dims, value) in named.items()},
        coords=coords,
    )


def _condition_labels(conditions: Any) -> list:
    return [f"{row.player}: {row.condition or 'none'}" for row in conditions.itertuples()]


def _uncentre(u: Any, mean: Any, sd: Any, centre: Any) -> Any:
    sd = sd[..., None, None]
    return mean + (u - centre * mean) * sd ** (1 - centre)


def tree_of(posterior: Any, diverging: Any) -> Any:
    """Return draws as ArviZ keeps them."""
    sizes = posterior.sizes
    posterior = posterior.assign_coords(
        chain=np.arange(sizes["chain"]), draw=np.arange(sizes["draw"])
    )
    stats = xr.Dataset({"diverging": (("chain", "draw"), np.asarray(diverging))})
    return xr.DataTree.from_dict({"posterior": posterior, "sample_stats": stats})
