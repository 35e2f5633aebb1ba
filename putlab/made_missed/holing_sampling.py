"""Sampling the joint model of readings and outcomes: compiled once, checked, kept on disk."""

import inspect

import numpy as np
import xarray as xr

from putlab import spread
from putlab.cache import content_key, load_arrays, save_arrays
from putlab.errors import FitError
from putlab.fitting import ACCEPTANCE, build_dims, convergence, versions
from putlab.golfer import named_quantities
from putlab.made_missed import chance, holing_model
from putlab.made_missed.holing_model import GREEN_PARAMETERS, JOINT_PARAMETERS, build_model
from putlab.settings import CHAINS, DRAWS, SEED, TUNE
from putlab.verdict import failures

# Compiled models of this process by size, as in `putlab.fitting`.
_compiled = {}


def sample(
    design, *, seed=SEED, draws=DRAWS, tune=TUNE, chains=CHAINS, cores=None, acceptance=0.9
):
    """Sample the joint posterior.

    Parameters
    ----------
    design : putlab.made_missed.holing_design.GreenDesign
        Arrays of the log.
    seed : int
        Seed; the same seed, data and versions give the same draws.
    draws, tune, chains : int
        Draws kept and spent on tuning in each chain; number of chains.
    cores : int, optional
        Chains at once; default: the machine's cores.
    acceptance : float
        Target acceptance rate of the sampler.

    Returns
    -------
    dict of str to ndarray
        `JOINT_PARAMETERS` and ``diverging``, each of shape (chains, draws, ...).
    """
    import nutpie

    if design.size not in _compiled:
        model = build_model(design)
        _compiled[design.size] = nutpie.compile_pymc_model(model, var_names=JOINT_PARAMETERS)
    raw = nutpie.sample(
        _compiled[design.size].with_data(**design.containers()),
        draws=draws,
        tune=tune,
        chains=chains,
        cores=cores,
        seed=seed,
        save_warmup=False,
        progress_bar=False,
        target_accept=acceptance,
        adaptation="low_rank",  # as for the spread model, which is part of this one
    )
    arrays = {name: raw.posterior[name].values for name in JOINT_PARAMETERS}
    return arrays | {"diverging": raw.sample_stats["diverging"].values}


def fit(design, *, seed=SEED, cache=True, **options):
    """Sample, check and keep the joint posterior.

    Parameters
    ----------
    design : putlab.made_missed.holing_design.GreenDesign
        Arrays of the log.
    seed : int
        Seed of the sampler.
    cache : bool
        Look for the fit on disk first, and keep it there.
    **options
        Passed to `sample`.

    Returns
    -------
    dict of str to xarray.DataTree
        ``line``, ``pace`` and ``green``, each with ``posterior`` and ``sample_stats``.

    Raises
    ------
    FitError
        The fit failed its diagnostics twice.
    """
    options = {"draws": DRAWS, "tune": TUNE, "chains": CHAINS} | options
    key = _fit_key(design, seed, options)
    kept = load_arrays(key) if cache else None
    if kept is not None:
        return trees_of(kept, design)
    for acceptance in ACCEPTANCE:
        arrays = sample(design, seed=seed, acceptance=acceptance, **options)
        trees = trees_of(arrays, design)
        failed = [found for tree in trees.values() for found in failures(convergence(tree))]
        if not failed:
            break
    else:
        raise FitError(
            f"the fit of made and missed putts did not converge: {failed[0].sentence} Nothing "
            "is reported from it. Look for a column in the wrong unit with `putlab check`, or "
            "try another --seed."
        )
    if cache:
        save_arrays(key, arrays)
    return trees


def _fit_key(design, seed, options):
    """Return the hash of all that a fit depends on, the model's own text included."""
    settings = {name: value for name, value in options.items() if name != "cores"}
    model = [inspect.getsource(module) for module in (spread, chance, holing_model)]
    return content_key(
        design.containers(), design.size, model, ACCEPTANCE, seed, settings, versions()
    )


def trees_of(arrays, design):
    """Return draws as named quantities.

    Parameters
    ----------
    arrays : dict of str to ndarray
        From `sample`.
    design : putlab.made_missed.holing_design.GreenDesign
        The design that was fitted.

    Returns
    -------
    dict of str to xarray.DataTree
        ``line`` and ``pace`` with the names of the spread model's story; ``green``.
    """
    dims = build_dims()
    named = {}
    for component, part in design.components.items():
        raw = {
            name: (("chain", "draw", *dims[name]), arrays[f"{component}_{name}"])
            for name in dims
        }
        named[component] = named_quantities(xr.Dataset(raw), part)
    players = design.components["line"].players
    green = {name: (("chain", "draw", "player"), arrays[name]) for name in GREEN_PARAMETERS}
    named["green"] = xr.Dataset(green, coords={"player": players})
    diverging = xr.Dataset({"diverging": (("chain", "draw"), arrays["diverging"])})
    return {
        name: xr.DataTree.from_dict({"posterior": _numbered(part), "sample_stats": diverging})
        for name, part in named.items()
    }


def _numbered(posterior):
    sizes = posterior.sizes
    return posterior.assign_coords(
        chain=np.arange(sizes["chain"]), draw=np.arange(sizes["draw"])
    )
