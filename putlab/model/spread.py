"""The model of line and pace spread.

For one component (line in degrees; pace as 100 (roll / target - 1) percent), player p,
session s, length d with x = log(d / 10 ft):

    reading in [lo, hi] ~ (1 - m[p]) Normal(mu, sigma) + m[p] Normal(mu, 4 sigma)
    mu        = bias[p, d] + visit_bias[s] + shift[condition]
    log sigma = level[p, d] + visit_form[s] + trend[p] practised[s] + warm_up[p] (first putts)
                + counted[p] (in a game) + effect[condition] + effect_slope[condition] x

    level[p, d]   ~ straight in x with slope[p] around base[p], plus an Ornstein-Uhlenbeck
                    spot in x of size spot_sd
    bias[p, d]    ~ around bias_mean[p], with a spot in x of size bias_spot_sd
    base[p]       ~ Normal(base_mean, between_sd): players share a population
    visit_bias[s] ~ Normal(0, visit_bias_sd[p]);  visit_form[s] ~ Normal(0, visit_form_sd)

The noise of the sensor adds to sigma in quadrature. Equal intervals are counted.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr
from scipy.special import ndtr

from putlab.base.late import pm, pt
from putlab.base.settings import FAR
from putlab.model.design import Design, unpack
from putlab.model.priors import by_name

MISHIT_TIMES = 4.0

# Mishits are a minority by definition: without a ceiling a second, false answer exists in
# which most putts are "mishits" of a very narrow golfer.
MISHIT_MOST = 0.2

# The free names of the model, in the order of the story above, and their dimensions.
_PLAYER, _SPOT, _VISIT, _CONDITION = ("player",), ("player", "length"), ("session",), ("condition",)
DIMS: dict[str, tuple[str, ...]] = {
    "base_mean": (), "between_sd": (), "base_u": _PLAYER, "slope": _PLAYER, "spot_sd": (),
    "level_u": _SPOT, "bias_mean_u": _PLAYER, "bias_spot_sd": (), "bias_u": _SPOT,
    "visit_bias_sd": _PLAYER, "visit_bias_u": _VISIT, "visit_form_sd": (), "visit_form_u": _VISIT,
    "trend": _PLAYER, "warm_up": _PLAYER, "counted": _PLAYER, "effect": _CONDITION,
    "effect_slope": _CONDITION, "shift": _CONDITION, "mishit_u": _PLAYER,
}  # fmt: skip
PARAMETERS = list(DIMS)

# What the equation below takes of the story, by the dimensions that place it.
TERMS = {
    "bias": _SPOT, "level": _SPOT, "visit_bias": _VISIT, "visit_form": _VISIT, "trend": _PLAYER,
    "warm_up": _PLAYER, "counted": _PLAYER, "effect": _CONDITION, "effect_slope": _CONDITION,
    "shift": _CONDITION,
}  # fmt: skip


def cell_location(v: Mapping[str, Any], at: Mapping[str, Any]) -> tuple[Any, Any]:
    """Return mean and log spread of cells: the one equation, for numpy and PyTensor alike.

    ``v`` holds the terms of the story as they apply to each cell, ``at`` the cells' covariates
    and whether their condition is ``changed``; whatever is left out is nought.
    """
    changed = at.get("changed", 1.0)
    mean = v.get("bias", 0.0) + v.get("visit_bias", 0.0) + changed * v.get("shift", 0.0)
    effect = v.get("effect", 0.0) + v.get("effect_slope", 0.0) * at.get("x", 0.0)
    log_sd = v["level"] + v.get("visit_form", 0.0)
    for name, covariate in (("trend", "practised"), ("warm_up", "warm_up"), ("counted", "counted")):
        if name in v:
            log_sd = log_sd + v[name] * at[covariate]
    return mean, log_sd + changed * effect


def terms_at(v: Mapping[str, Any], index: Mapping[str, Any]) -> dict[str, Any]:
    """Return the terms that apply to cells, given each cell's place along every dimension.

    Dimensions before those of the story, such as draws, stay.
    """
    return {
        name: v[name][(..., *(index[dim] for dim in TERMS[name]))] for name in TERMS if name in v
    }


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
    with pm.Model(coords=coords_of(design.size)) as model:
        add_component(design)
    return model


def coords_of(size: tuple[int, ...]) -> dict[str, np.ndarray]:
    """Return a model's coordinates, padding included."""
    names = ("player", "session", "length", "condition")
    return {name: np.arange(n) for name, n in zip(names, size, strict=True)}


def add_component(design: Design, prefix: str = "") -> dict[str, Any]:
    """Add one component's parameters and likelihood to the model in context."""
    vectors: Any = (pm.Data(prefix + name, value) for name, value in design.containers.items())
    places, numbers = vectors
    data = unpack(places, numbers, design.size)
    data["x"] = data["x"].diagonal()
    free = _Free(prefix, by_name(data["priors"]))
    v = _visits(free, data) | _changes(free)
    v |= _level(free, v, data) | _bias(free, v, data)
    ends = data["ends"].T
    pm.CustomDist(
        prefix + "readings", *expected_readings(v, data), data["noise"], data["count"], ends,
        logp=readings_logp, random=read_again, observed=ends, signature=SIGNATURE,
    )  # fmt: skip
    return v | {"x": data["x"]}


@dataclass(frozen=True)
class _Free:
    """Makes free variables in the model's context."""

    prefix: str
    prior: dict[str, Any]

    def normal(self, name: str, mean: Any, sd: Any) -> Any:
        return pm.Normal(self.prefix + name, mean, sd, dims=DIMS[name] or None)

    def scale(self, name: str) -> Any:
        key = name.removesuffix("_sd")
        median, log_sd = self.prior[key + "_median"], self.prior[key + "_log_sd"]
        return pm.LogNormal(self.prefix + name, pt.log(median), log_sd, dims=DIMS[name] or None)

    def partly_centred(self, name: str, mean: Any, sd: Any, centre: Any) -> Any:
        return uncentred(self.normal(name, centre * mean, sd**centre), mean, sd, centre)


def uncentred(u: Any, mean: Any, sd: Any, centre: Any) -> Any:
    """Return Normal(mean, sd) values of a variable that is centred by a given share."""
    return mean + (u - centre * mean) * sd ** (1 - centre)


# Level and bias are sampled with the player's mean visit form and bias in them, and freed of it
# afterwards: the readings place that sum well, and its two parts only together.


def _level(free: _Free, v: dict[str, Any], data: dict[str, Any]) -> dict[str, Any]:
    prior = free.prior
    base_mean = free.normal("base_mean", pt.log(prior["sd_median"]), prior["sd_log_sd"])
    between_sd = free.scale("between_sd")
    mean_form = data["visit_share"] @ v["visit_form"]
    base_u = free.normal("base_u", base_mean + mean_form, between_sd)
    slope = free.normal("slope", 0, prior["slope_sd"])
    sd = free.scale("spot_sd")
    straight = base_u[:, None] + slope[:, None] * data["x"][None, :]
    white = straight @ data["cholesky_inverse"].T
    white = free.partly_centred("level_u", white, sd, data["centre_level"])
    level = white @ data["cholesky"].T - mean_form[:, None]
    return {"level": level, "base": base_u - mean_form, "slope": slope}


def _bias(free: _Free, v: dict[str, Any], data: dict[str, Any]) -> dict[str, Any]:
    mean_bias = data["visit_share"] @ v["visit_bias"]
    bias_mean_u = free.normal("bias_mean_u", mean_bias, free.prior["bias_sd"])
    sd = free.scale("bias_spot_sd")
    flat = bias_mean_u[:, None] * pt.ones_like(data["x"])[None, :]
    white = flat @ data["cholesky_inverse"].T
    white = free.partly_centred("bias_u", white, sd, data["centre_bias"])
    bias = white @ data["cholesky"].T - mean_bias[:, None]
    return {"bias": bias, "bias_mean": bias_mean_u - mean_bias}


def _visits(free: _Free, data: dict[str, Any]) -> dict[str, Any]:
    bias_sd, form_sd = free.scale("visit_bias_sd"), free.scale("visit_form_sd")
    own_sd = bias_sd[data["session_player"]]
    bias = free.partly_centred("visit_bias_u", 0, own_sd, data["centre_visit_bias"])
    form = free.partly_centred("visit_form_u", 0, form_sd, data["centre_visit_form"])
    return {
        "visit_bias": bias, "visit_form": form, "visit_bias_sd": bias_sd, "visit_form_sd": form_sd,
    }  # fmt: skip


def _changes(free: _Free) -> dict[str, Any]:
    names = ("trend", "warm_up", "counted", "effect", "effect_slope", "shift")
    v = {name: free.normal(name, 0, free.prior[name + "_sd"]) for name in names}
    a, b = free.prior["mishit_a"], free.prior["mishit_b"]
    share = pm.Beta(free.prefix + "mishit_u", a, b, dims=DIMS["mishit_u"])
    return v | {"mishit_share": MISHIT_MOST * share}


def expected_readings(v: dict[str, Any], data: dict[str, Any]) -> tuple[Any, Any, Any]:
    """Return mean, spread and mishit share of every counted interval."""
    at = {"changed": pt.neq(data["condition"], 0), "x": data["x"][data["length"]]}
    mu, log_sd = cell_location(terms_at(v, data), data | at)
    row = data["row_cell"]
    return mu[row], pt.exp(log_sd)[row], v["mishit_share"][data["player"][row]]


# Readings as a distribution: mean, spread, mishit share, noise, count, and the ends of the interval
# that was observed, which say how finely a replicate is read.
SIGNATURE = "(),(),(),(),(),(e)->(e)"


def readings_logp(ends: Any, mu: Any, sd: Any, share: Any, noise: Any, count: Any, *_: Any) -> Any:
    """Return the log probability of every counted interval, of ends (..., 2)."""
    plain, wild = (
        interval_probability(ends[..., 0] - mu, ends[..., 1] - mu, pt.sqrt(width**2 + noise**2))
        for width in (sd, MISHIT_TIMES * sd)
    )
    # A reading beyond anything the model expects must not make it impossible.
    return count * pt.log((1 - share) * plain + share * wild + 1e-300)


def read_again(
    mu: Any, sd: Any, share: Any, noise: Any, count: Any, ends: Any, rng: Any, size: Any = None
) -> np.ndarray:
    """Return the ends of a reading that the model would give for each interval, read as finely."""
    wild = rng.random(np.shape(mu)) < share
    value = rng.normal(mu, np.hypot(np.where(wild, MISHIT_TIMES, 1) * sd, noise))[..., None]
    stopped = (np.abs(ends) >= FAR).any(axis=-1, keepdims=True)
    step = np.where(stopped, 1, ends[..., 1:] - ends[..., :1])
    steps = np.round((value - ends.mean(axis=-1, keepdims=True)) / step) * step
    inside = (ends[..., :1] < value) & (value < ends[..., 1:])
    # A limit holds all that lies beyond it; where the replicate does not, it is read exactly.
    return np.where(stopped, np.where(inside, ends, value), ends + steps)


def interval_probability(lo: Any, hi: Any, sd: Any) -> Any:
    """Return the normal probability of each interval, of ends less the mean."""
    from putlab.model.normal import NormalInterval  # loads PyTensor

    low, high = (pt.as_tensor(end / sd) for end in (lo, hi))
    chance: Any = NormalInterval()(low.ravel(), high.ravel(), return_list=True)
    return chance[0].reshape(low.shape)


def normal_interval(a: Any, b: Any) -> tuple[Any, Any, Any]:
    """Return the chance of a standard normal between two ends, and the densities at them."""
    # The nearer tail, where a probability keeps its digits.
    flip = np.where(a + b > 0, -1, 1)
    at_a, at_b = (np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi) for z in (a, b))
    return flip * (ndtr(flip * b) - ndtr(flip * a)), at_a, at_b


def chance_and_slopes(lo: Any, hi: Any, sd: Any, noise: Any, share: Any) -> np.ndarray:
    """Return the chance of each interval, of ends less the mean; its slopes by mean and log sd."""
    total: Any = 0.0
    for weight, own in ((1 - share, sd), (share, MISHIT_TIMES * sd)):
        whole = np.hypot(own, noise)
        a, b = lo / whole, hi / whole
        chance, at_a, at_b = normal_interval(a, b)
        by_log_sd = (a * at_a - b * at_b) * (own / whole) ** 2
        total = total + weight * np.stack([chance, (at_a - at_b) / whole, by_log_sd])
    return total


def named_quantities(raw: Mapping[Any, Any], design: Design, prefix: str = "") -> xr.Dataset:
    """Return the quantities of the model's story, without padding and centring."""
    v = {name: np.asarray(raw[prefix + name]) for name in DIMS}
    data = design.data | {"x": design.data["x"].diagonal()}
    own_sd, form_sd = v["visit_bias_sd"][..., data["session_player"]], v["visit_form_sd"][..., None]
    visit_bias = uncentred(v["visit_bias_u"], 0, own_sd, data["centre_visit_bias"])
    visit_form = uncentred(v["visit_form_u"], 0, form_sd, data["centre_visit_form"])
    mean_bias, mean_form = (part @ data["visit_share"].T for part in (visit_bias, visit_form))
    straight = v["base_u"][..., None] + v["slope"][..., None] * data["x"]
    flat = np.broadcast_to(v["bias_mean_u"][..., None], straight.shape)

    def over_lengths(name: str, middle: np.ndarray, sd: np.ndarray, shared: np.ndarray) -> Any:
        white = middle @ data["cholesky_inverse"].T
        white = uncentred(v[name + "_u"], white, sd[..., None, None], data["centre_" + name])
        return white @ data["cholesky"].T - shared[..., None]

    v |= {
        "base": v["base_u"] - mean_form,
        "level": over_lengths("level", straight, v["spot_sd"], mean_form),
        "bias_mean": v["bias_mean_u"] - mean_bias,
        "bias": over_lengths("bias", flat, v["bias_spot_sd"], mean_bias),
        "visit_bias": visit_bias, "visit_form": visit_form,
        "mishit_share": MISHIT_MOST * v["mishit_u"],
    }  # fmt: skip
    return _labelled(v, design)


def _labelled(v: dict[str, Any], design: Design) -> xr.Dataset:
    dims = {name: dims for name, dims in DIMS.items() if not name.endswith("_u")}
    dims |= TERMS | dict.fromkeys(("base", "bias_mean", "mishit_share"), _PLAYER)
    named = {name: (("chain", "draw", *of), v[name]) for name, of in dims.items()}
    # Slot 0 of the conditions is "none to tell apart"; other padding comes last.
    used = {"length": slice(len(design.lengths_ft)), "session": slice(len(design.sessions))}
    used |= {"condition": slice(1, 1 + len(design.conditions))}
    condition = [
        f"{own.player}: {own.condition or 'none'}" for own in design.conditions.itertuples()
    ]
    return xr.Dataset(named).isel(used).assign_coords(
        player=design.players, length=design.lengths_ft, condition=condition,
        session=np.arange(1, 1 + len(design.sessions)),
    )  # fmt: skip


def tree_of(posterior: xr.Dataset, **stats: Any) -> xr.DataTree:
    """Return draws and the sampler's figures, shape (chains, draws), as ArviZ keeps them."""
    sizes = posterior.sizes
    posterior = posterior.assign_coords(
        chain=np.arange(sizes["chain"]), draw=np.arange(sizes["draw"])
    )
    kept = xr.Dataset({name: (("chain", "draw"), np.asarray(at)) for name, at in stats.items()})
    return xr.DataTree.from_dict({"posterior": posterior, "sample_stats": kept})
