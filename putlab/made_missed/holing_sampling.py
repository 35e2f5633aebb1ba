"""Sampling the joint model of readings and outcomes: compiled once, checked, kept on disk."""

import xarray as xr

from putlab import quantities, spread
from putlab.fitting import kept_or_sampled, with_data_of
from putlab.made_missed import chance, holing_model
from putlab.made_missed.holing_model import GREEN_PARAMETERS, JOINT_PARAMETERS, build_model
from putlab.quantities import build_dims, named_quantities, tree_of
from putlab.settings import SEED


def compiled_for(design):
    """Return a compiled joint model holding this design's data.

    Parameters
    ----------
    design : putlab.made_missed.holing_design.GreenDesign
        Arrays of the log.

    Returns
    -------
    nutpie compiled model
        Ready to sample.
    """
    return with_data_of(design, build_model, JOINT_PARAMETERS)


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
        Passed to `putlab.fitting.sample`.

    Returns
    -------
    dict of str to xarray.DataTree
        ``line``, ``pace`` and ``green``, each with ``posterior`` and ``sample_stats``.

    Raises
    ------
    FitError
        The fit failed its diagnostics twice.
    """
    return kept_or_sampled(
        design, JOINT_PARAMETERS, compiled_for, lambda arrays: trees_of(arrays, design),
        what="made-and-missed", code=[spread, quantities, chance, holing_model], seed=seed,
        cache=cache, **options,
    )  # fmt: skip


def trees_of(arrays, design):
    """Return draws as named quantities.

    Parameters
    ----------
    arrays : dict of str to ndarray
        `JOINT_PARAMETERS` and ``diverging``, each of shape (chains, draws, ...).
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
    return {name: tree_of(part, arrays["diverging"]) for name, part in named.items()}
