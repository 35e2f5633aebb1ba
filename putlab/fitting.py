"""Sampling: compile once and swap data, check convergence, keep fits on disk."""

import inspect
import platform
from importlib.metadata import version

import numpy as np
import pandas as pd
import xarray as xr

from putlab import spread
from putlab.cache import content_key, load_arrays, save_arrays
from putlab.errors import FitError
from putlab.settings import CHAINS, DRAWS, ESS_LIMIT, RHAT_LIMIT, SEED, TUNE
from putlab.spread import PARAMETERS, build_model
from putlab.verdict import FAIL, NOTE, PASS, Verdict, failures

# Targets of the acceptance rate: the first is quick, the second is for a fit whose first
# try diverged or mixed slowly.
ACCEPTANCE = (0.9, 0.97)

# A handful of divergences in thousands of draws is looked at; more is a failed fit.
DIVERGENCES_NOTED = 0.002

VERSIONS_OF = ("putlab", "pymc", "nutpie", "numpy", "pandas", "arviz", "scipy")


def versions():
    """Return the versions of what a result depends on.

    Returns
    -------
    dict of str to str
        Python and the packages named in `VERSIONS_OF`.
    """
    return {"python": platform.python_version()} | {name: version(name) for name in VERSIONS_OF}


# Compiled models of this process by size: compiling costs seconds, swapping data nothing.
_compiled = {}


def compiled_for(design):
    """Return a compiled model holding this design's data.

    Logs of like size (players, padded sessions, lengths and conditions) share one
    compilation; line and pace always do.

    Parameters
    ----------
    design : putlab.design.Design
        Arrays of one component.

    Returns
    -------
    nutpie compiled model
        Ready to sample.
    """
    import nutpie

    if design.size not in _compiled:
        model = build_model(design)
        _compiled[design.size] = nutpie.compile_pymc_model(model, var_names=PARAMETERS)
    return _compiled[design.size].with_data(**design.data)


def sample(
    design, *, seed=SEED, draws=DRAWS, tune=TUNE, chains=CHAINS, cores=None, acceptance=0.9
):
    """Sample one component's posterior.

    Parameters
    ----------
    design : putlab.design.Design
        Arrays of the component.
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
    xarray.DataTree
        ``posterior`` and ``sample_stats``, as sampled.
    """
    import nutpie

    return nutpie.sample(
        compiled_for(design),
        draws=draws,
        tune=tune,
        chains=chains,
        cores=cores,
        seed=seed,
        save_warmup=False,
        progress_bar=False,
        target_accept=acceptance,
        # A player's bias, a condition's shift and the visits' setups lie along one ridge,
        # which a diagonal mass matrix crosses slowly (300 effective draws against 2,000).
        adaptation="low_rank",
    )


def fit(design, name, finish, *, seed=SEED, cache=True, **options):
    """Sample, check and keep one component's posterior.

    Parameters
    ----------
    design : putlab.design.Design
        Arrays of the component.
    name : str
        What is fitted, for messages.
    finish : callable
        ``finish(draws) -> xarray.Dataset``: raw draws to the named quantities of the
        model's story.
    seed : int
        Seed of the sampler.
    cache : bool
        Look for the fit on disk first, and keep it there.
    **options
        Passed to `sample`.

    Returns
    -------
    xarray.DataTree
        ``posterior`` with the named quantities, ``sample_stats`` with ``diverging``.

    Raises
    ------
    FitError
        The fit failed its diagnostics twice.
    """
    options = {"draws": DRAWS, "tune": TUNE, "chains": CHAINS} | options
    key = _fit_key(design, seed, options)
    kept = load_arrays(key) if cache else None
    if kept is not None:
        return _tree(finish(_dataset(kept, design)), kept["diverging"])
    for acceptance in ACCEPTANCE:
        raw = sample(design, seed=seed, acceptance=acceptance, **options)
        tree = _tree(finish(raw.posterior.dataset), raw.sample_stats["diverging"].values)
        failed = failures(convergence(tree))
        if not failed:
            break
    else:
        raise FitError(
            f"the {name} fit did not converge: {failed[0].sentence} Nothing is reported "
            "from it. Look for a column in the wrong unit with `putlab check`, or try "
            "another --seed."
        )
    if cache:
        arrays = {p: raw.posterior[p].values for p in PARAMETERS}
        save_arrays(key, arrays | {"diverging": raw.sample_stats["diverging"].values})
    return tree


def _fit_key(design, seed, options):
    """Return the hash of all that a fit depends on, the model's own text included."""
    settings = {name: value for name, value in options.items() if name != "cores"}
    model = inspect.getsource(spread)
    return content_key(design.data, design.size, model, ACCEPTANCE, seed, settings, versions())


def _dataset(arrays, design):
    """Give kept arrays back their dimension names."""
    dims = dict(build_dims())
    return xr.Dataset(
        {name: (("chain", "draw", *dims[name]), arrays[name]) for name in PARAMETERS}
    )


def build_dims():
    """Return the dimensions of every free parameter.

    Returns
    -------
    dict of str to tuple of str
        Without chain and draw.
    """
    player = ["base_u", "slope", "bias_mean_u", "setup_sd", "trend", "early", "counted"]
    player += ["mishit_u"]
    dims = dict.fromkeys(PARAMETERS, ()) | dict.fromkeys(player, ("player",))
    dims |= dict.fromkeys(["level_u", "bias_u"], ("player", "length"))
    dims |= dict.fromkeys(["setup_u", "form_u"], ("session",))
    return dims | dict.fromkeys(["effect", "effect_slope", "shift"], ("condition",))


def _tree(posterior, diverging):
    posterior = posterior.assign_coords(
        chain=np.arange(posterior.sizes["chain"]), draw=np.arange(posterior.sizes["draw"])
    )
    stats = xr.Dataset({"diverging": (("chain", "draw"), np.asarray(diverging))})
    return xr.DataTree.from_dict({"posterior": posterior, "sample_stats": stats})


def convergence(tree):
    """Check that a posterior can be believed.

    Parameters
    ----------
    tree : xarray.DataTree
        From `fit`.

    Returns
    -------
    list of Verdict
        R-hat, effective sample size, divergences.
    """
    import arviz_stats as azs

    posterior = tree["posterior"].dataset
    rhat, ess = (
        _by_quantity(measure(posterior), name)
        for measure, name in ((azs.rhat, "rhat"), (azs.ess, "ess_bulk"))
    )
    return [_rhat_verdict(rhat), _ess_verdict(ess), _divergence_verdict(tree)]


def _by_quantity(dataset, name):
    rows = [
        {"quantity": quantity, "lowest": float(values.min()), "highest": float(values.max())}
        for quantity, values in dataset.data_vars.items()
        if values.size
    ]
    return pd.DataFrame(rows).set_index("quantity").add_suffix(f"_{name}")


def _rhat_verdict(table):
    worst = table["highest_rhat"].idxmax()
    value = table.loc[worst, "highest_rhat"]
    good = value < RHAT_LIMIT
    said = (
        f"The chains agree (largest R-hat {value:.3f}, limit {RHAT_LIMIT})."
        if good
        else f"The chains disagree: R-hat of {worst} is {value:.3f}, limit {RHAT_LIMIT}."
    )
    return Verdict("R-hat", PASS if good else FAIL, said, table)


def _ess_verdict(table):
    worst = table["lowest_ess_bulk"].idxmin()
    value = table.loc[worst, "lowest_ess_bulk"]
    good = value >= ESS_LIMIT
    said = (
        f"Every quantity has at least {value:.0f} effective draws (limit {ESS_LIMIT})."
        if good
        else f"{worst} has only {value:.0f} effective draws, limit {ESS_LIMIT}."
    )
    return Verdict("effective draws", PASS if good else FAIL, said, table)


def _divergence_verdict(tree):
    diverging = tree["sample_stats"]["diverging"].values
    count, share = int(diverging.sum()), diverging.mean()
    result = PASS if count == 0 else NOTE if share <= DIVERGENCES_NOTED else FAIL
    said = f"{count} of {diverging.size} draws diverged."
    table = pd.DataFrame({"draws": [diverging.size], "diverged": [count]})
    return Verdict("divergences", result, said, table)
