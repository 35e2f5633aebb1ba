"""All that ArviZ can use of a fit, in one tree: draws, priors, readings and their probabilities.

Names are those of the model's story after ``line_`` and ``pace_``, under the golfers' labels.
Line and pace sampled apart stand side by side as what they are: independent draws.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pymc as pm
import pytensor
import pytensor.tensor as pt
import xarray as xr

from putlab.base.settings import FAR
from putlab.model.design import Design, log_distance, middles
from putlab.model.green_model import GREEN_PARAMETERS, event_chances, outcome_chances, outcomes_logp
from putlab.model.green_putts import ALIKE, GreenDesign, dropping, event_data, green_putts
from putlab.model.priors import SpreadPriors, by_name
from putlab.model.readings import COMPONENTS
from putlab.model.spread import MISHIT_MOST, read_again, readings_logp
from putlab.posterior.checks import located
from putlab.posterior.sampling import model_of, posteriors_of

if TYPE_CHECKING:
    from putlab.posterior.fit import Fit

# Few and large arrays: numpy has computed them before anything would be compiled.
PLAIN = pytensor.compile.mode.Mode(linker="py", optimizer="fast_compile")

# Draws of the priors, and replicates a chain: enough for a picture.
PRIOR_DRAWS, REPLICATES = 1000, 250

# Draws times readings that are kept: of a very long log only some draws.
MOST_VALUES = 5e7

DRAWS = ["chain", "draw"]
Groups = dict[str, list[xr.Dataset]]
Draws = dict[str, xr.Dataset]  # by line, pace and green


def full_tree(fit: Fit) -> xr.DataTree:
    """Return posterior, prior, predictions, readings and log densities under golfers' labels."""
    groups: Groups = defaultdict(list)
    rng = np.random.default_rng(fit.seed)
    posterior, prior, stats = {}, {}, {}
    parts: dict[str, Any] = {"joint": fit.joint} if fit.joint else dict(fit.designs)
    for what, design in parts.items():
        build, parameters = model_of(design)
        model = build(design)
        free = [model[name] for name in parameters]
        drawn = pm.draw(free, PRIOR_DRAWS, random_seed=fit.seed, mode=PLAIN)
        before = {name: values[None] for name, values in zip(parameters, drawn, strict=True)}
        for name, tree in posteriors_of(before, design, what).items():
            prior[name] = tree["posterior"].to_dataset()
            posterior[name] = _thinned(fit.posteriors[name]["posterior"].to_dataset(), fit)
            prefix = f"{name}_" if fit.joint and name in COMPONENTS else ""
            own = {"posterior": posterior[name], "prior": prior[name]}
            own["log_prior"] = _log_prior(posterior[name], model, prefix, design)
            for group, values in own.items():
                groups[group].append(_labelled(values, name, fit))
            stats[what] = _thinned(fit.posteriors[name]["sample_stats"].to_dataset(), fit)
    for name in COMPONENTS:
        _add_readings(groups, name, fit.designs[name], posterior[name], prior[name], rng)
    if fit.joint:
        _add_outcomes(groups, fit.joint, green_putts(fit.log.putts), posterior, prior, rng)
    found = {name: xr.merge(group, compat="no_conflicts") for name, group in groups.items()}
    found["sample_stats"] = _stats(stats).assign_coords(posterior["line"][DRAWS].coords)
    return xr.DataTree.from_dict(found)


def _thinned(values: xr.Dataset, fit: Fit) -> xr.Dataset:
    """Return as many draws as every part has, numbered alike."""
    readings = max(design.putts for design in fit.designs.values())
    least = min(one["posterior"].sizes["draw"] for one in fit.posteriors.values())
    kept = _some(values, min(least, MOST_VALUES / values.sizes["chain"] / max(readings, 1)))
    return kept.assign_coords(draw=np.arange(kept.sizes["draw"]))


def _some(values: xr.Dataset, draws: float = REPLICATES) -> xr.Dataset:
    """Return at most so many draws a chain."""
    size = values.sizes["draw"]
    return values.isel(draw=np.linspace(0, size - 1, min(size, int(draws))).astype(int))


def _log_prior(q: xr.Dataset, model: pm.Model, prefix: str, design: Any) -> xr.Dataset:
    """Return the log density of what has a prior of its own, not of what another one governs."""
    own = {str(of): (model[f"{prefix}{of}"], 1.0) for of in q if f"{prefix}{of}" in model}
    if "mishit_share" in q:
        # The model has the one with what visits share in it, the other as a part of the most.
        part = design.components[prefix[:-1]] if prefix else design
        own["bias_mean"] = pm.Normal.dist(0, by_name(part.data["priors"])["bias_sd"]), 1.0
        own["mishit_share"] = model[f"{prefix}mishit_u"], MISHIT_MOST
    value = {of: pt.tensor(of, shape=(None,) * q[of].ndim) for of in own}
    densities = [pm.logp(rv, value[of] / unit) for of, (rv, unit) in own.items()]
    function = pytensor.function([*value.values()], densities, mode=PLAIN)
    found = zip(own, function(*(q[of].values for of in own)), strict=True)
    return xr.Dataset({of: (q[of].dims, density) for of, density in found}, coords=q.coords)


def _add_readings(
    groups: Groups, name: str, design: Design, q: xr.Dataset, prior: xr.Dataset, rng: Any
) -> None:
    """Add every reading, its log probability, and what would be read again."""
    rows = design.rows.loc[design.rows.index.repeat(design.rows["count"])]
    ends = rows[["lo", "hi"]].clip(-FAR, FAR).to_numpy(float)
    noise, dim = rows["noise"].to_numpy(float), f"{name}_reading"
    # A chain at a time, for the sake of memory.
    terms = (located(rows, q.isel(chain=chain), design) for chain in range(q.sizes["chain"]))
    logp = [readings_logp(ends, *of, noise, 1).eval(mode=PLAIN) for of in terms]
    groups["log_likelihood"].append(_over_draws(name, np.stack(logp), dim, q))
    for group, some in (("posterior", _some(q)), ("prior", _some(prior))):
        mu, sd, share = located(rows, some, design)
        again = _shown(read_again(mu, sd, share, noise, 1, ends, rng), rows)
        groups[f"{group}_predictive"].append(_over_draws(name, again, dim, some))
    groups["observed_data"].append(xr.Dataset({name: (dim, _shown(ends, rows))}))
    known = rows.drop(columns=["length", "count"]).rename(columns={"session": "visit"})
    constant = {f"{name}_{of}": (dim, _plain(known[of])) for of in known}
    constant[f"{name}_priors"] = "prior", design.data["priors"]
    labels = {"prior": [field.name for field in fields(SpreadPriors)]}
    groups["constant_data"].append(xr.Dataset(constant, coords=labels))


def _over_draws(name: str, values: np.ndarray, dim: str, q: xr.Dataset) -> xr.Dataset:
    return xr.Dataset({name: ((*DRAWS, dim), values)}, coords=q[DRAWS].coords)


def _plain(column: pd.Series) -> np.ndarray:
    """Return a column's values as a netCDF file takes them."""
    return column.to_numpy(column.dtype if isinstance(column.dtype, np.dtype) else object)


def _shown(ends: np.ndarray, rows: pd.DataFrame) -> np.ndarray:
    """Return what a display shows of intervals: the middle, or the limit at that length."""
    lowest = rows["hi"].where(np.isneginf(rows["lo"])).groupby(rows["length"]).transform("max")
    highest = rows["lo"].where(np.isposinf(rows["hi"])).groupby(rows["length"]).transform("min")
    limits = lowest.fillna(-np.inf).to_numpy(), highest.fillna(np.inf).to_numpy()
    return np.clip(middles(ends[..., 0], ends[..., 1]), *limits)


def _add_outcomes(
    groups: Groups, design: GreenDesign, green: pd.DataFrame, q: Draws, prior: Draws, rng: Any
) -> None:
    """Add every outcome on a green, its log probability, and shares holed of putts alike."""
    alike = green.groupby(ALIKE)["made"].agg(["mean", "size"]).reset_index()
    putts, known = alike["size"].to_numpy(), len(design.events)
    data = event_data(pd.concat([design.events, dropping(alike)]), design.components["line"])
    for group, draws in (("prior", {n: _some(one) for n, one in prior.items()}), ("posterior", q)):
        chance = _chances(design, data, draws)
        holed = rng.binomial(putts, np.clip(chance[..., known:], 0, 1)) / putts
        holed = _over_draws("holed", holed, "alike", draws["green"])
        groups[f"{group}_predictive"].append(_some(holed))
    outcomes = outcome_chances(pt.as_tensor(chance[..., :known]), design.data)
    each = np.repeat(np.arange(len(design.outcomes)), design.outcomes["count"])
    logp = outcomes_logp(1, outcomes[..., each]).eval(mode=PLAIN)
    groups["log_likelihood"].append(_over_draws("green", logp, "outcome", q["green"]))
    groups["observed_data"].append(xr.Dataset({"holed": ("alike", alike["mean"])}))
    constant = {f"holed_{of}": ("alike", _plain(alike[of])) for of in [*ALIKE, "size"]}
    constant["green_outcome"] = "outcome", _plain(design.outcomes["kind"])[each]
    groups["constant_data"].append(xr.Dataset(constant))


def _chances(design: GreenDesign, data: dict[str, np.ndarray], draws: Draws) -> np.ndarray:
    """Return the chance of every event, shape (chain, draw, events)."""
    x = log_distance(design.components["line"].lengths_ft)
    weights = data["positions"]
    data = data | {"positions": np.concatenate([weights[: x.size], weights[-1:]])}
    values = {(of, str(name)): one[name].values for of, one in draws.items() for name in one}
    for of in COMPONENTS:
        for name in ("effect", "effect_slope", "shift"):  # slot 0: nothing changed
            nothing = np.zeros((*values[of, name].shape[:2], 1))
            values[of, name] = np.concatenate([nothing, values[of, name]], axis=-1)
    inputs = {key: pt.tensor(shape=(None,) * (at.ndim - 2)) for key, at in values.items()}
    golfer = {of: {name: v for (part, name), v in inputs.items() if part == of} for of in draws}
    story = {of: golfer[of] | {"x": x} for of in COMPONENTS}
    chance = event_chances(story, [golfer["green"][name] for name in GREEN_PARAMETERS], data)
    function = pytensor.function([*inputs.values()], chance, on_unused_input="ignore")
    shape = draws["green"].sizes["chain"], draws["green"].sizes["draw"]
    found = [function(*(at[place] for at in values.values())) for place in np.ndindex(shape)]
    return np.reshape(found, (*shape, -1))


def _labelled(values: xr.Dataset, name: str, fit: Fit) -> xr.Dataset:
    """Return a component's variables under the golfers' labels, without those that are empty."""
    values = values.drop_vars([of for of, at in values.items() if not at.size])
    if name not in COMPONENTS:
        return values
    visits = fit.designs[name].sessions
    label = visits["session"].astype(str)
    if len(fit.players) > 1:
        label = visits["player"] + ": " + label
    values = values.assign_coords(session=label.to_numpy(object))
    values = values.rename(session="visit", length="length_ft")
    tables = [design.conditions for design in fit.designs.values()]
    if not tables[0].equals(tables[1]):
        values = values.rename(condition=f"{name}_condition")
    values = values.rename({of: f"{name}_{of}" for of in values.data_vars})
    return values.drop_dims([dim for dim, size in values.sizes.items() if not size])


def _stats(parts: dict[str, xr.Dataset]) -> xr.Dataset:
    """Return the sampler's figures; of parts sampled apart, energies and densities add up."""
    whole, *others = parts.values()
    for other in others:
        whole = whole[["diverging", "energy", "lp"]] + other
    each = [part.rename({of: f"{name}_{of}" for of in part}) for name, part in parts.items()]
    whole = whole.assign(diverging=whole["diverging"] > 0)
    return xr.merge([whole, *each]) if others else whole
