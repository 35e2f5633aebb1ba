"""Sampling: compile once and swap data, check convergence, keep fits on disk."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import xarray as xr

from putlab.base.cache import content_key, load_arrays, result_key, save_arrays
from putlab.base.errors import FitError
from putlab.base.settings import CHAINS, DRAWS, ESS_LIMIT, RHAT_LIMIT, SEED, TUNE
from putlab.model.spread import PARAMETERS, build_dims, build_model, named_quantities, tree_of
from putlab.posterior.checks import FAIL, NOTE, PASS, Verdict, failures

if TYPE_CHECKING:
    from putlab.model.design import Design
    from putlab.model.green_putts import GreenDesign

# Target of the acceptance rate and times the usual tuning: the first is quick, the second is
# for a fit whose first try diverged or mixed slowly.
TRIES = ((0.9, 1), (0.98, 4))

# A player's bias, a condition's shift and the visits' setups lie along one ridge, which a
# diagonal mass matrix crosses slowly (300 effective draws against 2,000). A firmer
# regularisation than the sampler's own halves its time at the same effective draws.
MASS_MATRIX = {"adaptation": "low_rank", "mass_matrix_gamma": 0.1}

# From so many readings on, chains start from a short run that counts them as so few.
MANY_PUTTS, FEW_PUTTS = 20_000, 10_000
SHORT_RUN = {"chains": 2, "tune": 200, "draws": 50}

# Options that change how a fit is made but not what it is.
NO_MATTER = ("cores", "progress_bar")

# A handful of divergences in thousands of draws is looked at; more is a failed fit.
DIVERGENCES_NOTED = 0.002

# Where a posterior holds the measures of its convergence (in a group of their own, for what
# stands at the root is inherited by the draws), and which they are.
MEASURED = "convergence/measures"
MEASURES = ("lowest_rhat", "highest_rhat", "lowest_ess_bulk", "highest_ess_bulk")

# Models of this process and what they were compiled to, by kind and size: compiling costs
# seconds, swapping data nothing.
_compiled: dict[Any, Any] = {}


def compiled_for(design: Design) -> Any:
    """Return a compiled model holding this design's data."""
    return with_data_of(design, build_model, PARAMETERS)


def with_data_of(design: Design | GreenDesign, build: Callable, parameters: list[str]) -> Any:
    """Return a compiled model holding a design's data, compiling it if none is of its size."""
    import nutpie
    import pymc as pm

    kind = build, design.size
    if kind not in _compiled:
        model = build(design)
        _compiled[kind] = model, nutpie.compile_pymc_model(model, var_names=parameters)
    model, ready = _compiled[kind]
    # Where chains start is worked out from the model itself: without this it would depend on
    # the log that happened to be compiled first, and so would every draw.
    pm.set_data(design.containers, model=model)
    return ready.with_data(**design.containers)


def sample(
    compiled: Any,
    *,
    seed: int = SEED,
    draws: int = DRAWS,
    tune: int = TUNE,
    chains: int = CHAINS,
    cores: int | None = None,
    acceptance: float = 0.9,
    progress_bar: bool = False,
    **options: Any,
) -> Any:
    """Sample a compiled model's posterior."""
    import nutpie

    sampler = nutpie.sample(
        compiled,
        draws=draws,
        tune=tune,
        chains=chains,
        cores=cores,
        seed=seed,
        save_warmup=False,
        progress_bar=progress_bar,
        target_accept=acceptance,
        blocking=False,
        **MASS_MATRIX,
        **options,
    )
    try:
        return sampler.wait()
    except BaseException:
        # Waiting for it inside nutpie would make of Ctrl-C a posterior of fewer draws.
        sampler.cancel()
        raise


def started_for(
    design: Design | GreenDesign,
    compiled: Callable = compiled_for,
    *,
    seed: int = SEED,
    cores: int | None = None,
) -> Any:
    """Return a compiled model holding this design's data, with chains to start near the answer."""
    if design.putts <= MANY_PUTTS:
        return compiled(design)
    few = compiled(design.counted_as(FEW_PUTTS))
    raw = sample(few, seed=seed, cores=cores, store_unconstrained=True, **SHORT_RUN)
    places = raw["sample_stats"]["unconstrained_draw"].stack(place=("chain", "draw")).values.T

    def start(seed: int) -> Any:
        return np.ascontiguousarray(np.random.default_rng(seed).choice(places))

    return replace(compiled(design), initial_point_func=start)


def fit(design: Design, name: str, *, seed: int = SEED, cache: bool = True, **options: Any) -> Any:
    """Sample, check and keep one component's posterior."""

    def trees_of(arrays: Any) -> dict:
        named = named_quantities(_dataset(arrays), design)
        return {name: tree_of(named, arrays["diverging"])}

    trees = kept_or_sampled(
        design, PARAMETERS, compiled_for, trees_of, what=name,
        seed=seed, cache=cache, **options,
    )  # fmt: skip
    return trees[name]


def _dataset(arrays: Any) -> Any:
    """Give kept arrays back their dimension names."""
    return xr.Dataset(
        {name: (("chain", "draw", *dims), arrays[name]) for name, dims in build_dims().items()}
    )


def kept_or_sampled(
    design: Design | GreenDesign,
    parameters: list[str],
    compiled: Callable,
    trees_of: Callable,
    *,
    what: str,
    seed: int = SEED,
    cache: bool = True,
    **options: Any,
) -> Any:
    """Return a posterior that can be believed, from disk or sampled now."""
    options = {"draws": DRAWS, "tune": TUNE, "chains": CHAINS} | options
    key = _fit_key(design, parameters, seed, options)
    kept = load_arrays(key) if cache else None
    if kept is not None:
        return with_measures(trees_of(kept), kept)
    # What was refused by other limits may be fit by these.
    refusal = content_key("refused", key, RHAT_LIMIT, ESS_LIMIT, DIVERGENCES_NOTED)
    refused = load_arrays(refusal) if cache else None
    if refused is not None:
        raise _not_believed(what, str(refused["why"]))
    ready = started_for(design, compiled, seed=seed, cores=options.get("cores"))
    for acceptance, times in TRIES:
        tuned = options | {"tune": times * options["tune"]}
        raw = sample(ready, seed=seed, acceptance=acceptance, **tuned)
        arrays = arrays_of(raw, parameters)
        trees = with_measures(trees_of(arrays), {})
        failed = [found for tree in trees.values() for found in failures(convergence(tree))]
        if not failed:
            break
    else:
        # The same data and seed would take as long to fail again.
        if cache:
            save_arrays(refusal, {"why": np.array(failed[0].sentence)})
        raise _not_believed(what, failed[0].sentence)
    if cache:
        measures = {f"{MEASURED} {name}": tree[MEASURED].values for name, tree in trees.items()}
        save_arrays(key, arrays | measures)
    return trees


def _not_believed(what: Any, why: Any) -> FitError:
    return FitError(
        f"the {what} fit did not converge: {why} Nothing is reported from it. Look for a "
        "column in the wrong unit with `putlab check`, or try another --seed."
    )


def arrays_of(raw: Any, parameters: list[str]) -> Any:
    """Return what is kept of a sampled posterior."""
    arrays = {name: raw["posterior"][name].values for name in parameters}
    return arrays | {"diverging": raw["sample_stats"]["diverging"].values}


def _fit_key(design: Any, parameters: Any, seed: int, options: Any) -> Any:
    """Return the hash of all that a fit depends on, the model's own text included."""
    settings = {name: value for name, value in options.items() if name not in NO_MATTER}
    return result_key("posterior", parameters, design.containers, design.size, seed, settings)


def with_measures(trees: dict, kept: dict) -> Any:
    """Return posteriors with the measures of their convergence beside the draws."""
    for name, tree in trees.items():
        _add_measures(tree, kept.get(f"{MEASURED} {name}"))
    return trees


def _add_measures(tree: Any, values: Any = None) -> None:
    posterior = tree["posterior"].dataset
    coords = {"quantity": _quantities(posterior), "measure": list(MEASURES)}
    tree[MEASURED] = xr.DataArray(_measures(posterior) if values is None else values, coords)


def _quantities(posterior: Any) -> list:
    return [name for name, values in posterior.data_vars.items() if values.size]


def _measures(posterior: Any) -> np.ndarray:
    """Return the lowest and highest of R-hat and of effective draws, a row a quantity."""
    import arviz_stats as azs  # takes a second, which those who have a kept fit are spared

    sides = [measure(posterior)[_quantities(posterior)] for measure in (azs.rhat, azs.ess)]
    ends = [end.to_array() for side in sides for end in (side.min(), side.max())]
    return np.stack(ends, axis=1)


def convergence(tree: Any) -> Any:
    """Check that a posterior can be believed."""
    if "convergence" not in tree.children:
        _add_measures(tree)
    table = tree[MEASURED].to_pandas()
    rhat, ess = table.filter(like="rhat"), table.filter(like="ess")
    return [_rhat_verdict(rhat), _ess_verdict(ess), _divergence_verdict(tree)]


def _rhat_verdict(table: Any) -> Verdict:
    worst = table["highest_rhat"].idxmax()
    value = table.loc[worst, "highest_rhat"]
    good = value < RHAT_LIMIT
    said = (
        f"The chains agree (largest R-hat {value:.3f}, limit {RHAT_LIMIT})."
        if good
        else f"The chains disagree: R-hat of {worst} is {value:.3f}, limit {RHAT_LIMIT}."
    )
    return Verdict("R-hat", PASS if good else FAIL, said, table)


def _ess_verdict(table: Any) -> Verdict:
    worst = table["lowest_ess_bulk"].idxmin()
    value = table.loc[worst, "lowest_ess_bulk"]
    good = value >= ESS_LIMIT
    said = (
        f"Every quantity has at least {value:.0f} effective draws (limit {ESS_LIMIT})."
        if good
        else f"{worst} has only {value:.0f} effective draws, limit {ESS_LIMIT}."
    )
    return Verdict("effective draws", PASS if good else FAIL, said, table)


def _divergence_verdict(tree: Any) -> Verdict:
    diverging = tree["sample_stats"]["diverging"].values
    count, share = int(diverging.sum()), diverging.mean()
    result = PASS if count == 0 else NOTE if share <= DIVERGENCES_NOTED else FAIL
    said = f"{count} of {diverging.size} draws diverged."
    table = pd.DataFrame({"draws": [diverging.size], "diverged": [count]})
    return Verdict("divergences", result, said, table)
