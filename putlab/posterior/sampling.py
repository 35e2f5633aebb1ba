"""Sampling: compile once and swap data, check convergence, keep on disk what passed."""

from collections.abc import Callable, Iterator
from functools import partial
from threading import Lock
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from putlab.base.cache import content_key, load_arrays, result_key, save_arrays
from putlab.base.errors import FitError
from putlab.base.settings import CHAINS, DRAWS, ESS_LIMIT, RHAT_LIMIT, SEED, TUNE
from putlab.model import green_model, spread
from putlab.model.design import Design
from putlab.model.green_putts import GreenDesign
from putlab.posterior.checks import FAIL, NOTE, PASS, Verdict, failures

# Chains that fail by so little go on to so many times the draws before anything is refused.
RHAT_NEAR, DIVERGENCES_NEAR, GO_ON = 1.03, 0.01, 3

# Target of the acceptance rate, times the usual tuning and draws: the first is quick, the third
# for a fit that diverged or mixed slowly, and either goes on where it fails by little.
ATTEMPTS = ((0.9, 1, 1), (0.9, 1, GO_ON), (0.98, 4, 1), (0.995, 4, GO_ON))

# No golfer's putts scatter so widely, degrees and percent.
WIDEST = {"line": 20.0, "pace": 80.0}

# A player's bias, a condition's shift and the visits' setups lie along one ridge, which a
# diagonal mass matrix crosses slowly (300 effective draws against 2,000). A firmer
# regularisation than the sampler's own halves its time at the same effective draws.
MASS_MATRIX = {"adaptation": "low_rank", "mass_matrix_gamma": 0.1}

# From so many readings on, chains start from a short run that counts them as so few.
MANY_PUTTS, FEW_PUTTS = 20_000, 10_000
SHORT_RUN: dict[str, Any] = {"chains": 2, "tune": 200, "draws": 50}

# A handful of divergences in thousands of draws is looked at; more is a failed fit.
DIVERGENCES_NOTED = 0.002

# Where a posterior holds how it converged, a row a quantity (in a group of its own, for what
# stands at the root is inherited by the draws).
CONVERGENCE = "convergence/measures"
CONVERGENCE_MEASURES = ("lowest_rhat", "highest_rhat", "lowest_ess_bulk", "highest_ess_bulk")

# What is kept of the sampler's own figures: ArviZ's names, and the sampler's.
STATS = {
    "diverging": "diverging", "energy": "energy", "lp": "logp", "n_steps": "n_steps",
    "step_size": "step_size", "tree_depth": "depth", "acceptance_rate": "mean_tree_accept",
}  # fmt: skip

LENGTH = {"draws": DRAWS, "tune": TUNE, "chains": CHAINS}

# Options that change how a fit is made but not what it is.
WITHOUT_EFFECT = ("cores", "progress_bar")

# Models of this process and what they were compiled to, by kind and size: compiling costs
# seconds, swapping data nothing.
_compiled: dict[tuple, tuple[Any, Callable]] = {}


def model_of(design: Design | GreenDesign) -> tuple[Callable, list[str]]:
    """Return how a design's model is built, and its free parameters."""
    if isinstance(design, GreenDesign):
        return green_model.build_model, green_model.JOINT_PARAMETERS
    return spread.build_model, spread.PARAMETERS


def compiled_for(design: Design | GreenDesign, start: Callable | None = None) -> Any:
    """Return a compiled model holding a design's data, compiling it if none is of its size.

    ``start`` gives the place, shape (parameters,), where the chain of a seed begins.
    """
    import pymc as pm

    build, parameters = model_of(design)
    kind = build, design.size
    if kind not in _compiled:
        model = build(design)
        _compiled[kind] = model, compile_model(model, parameters)
    model, sampled = _compiled[kind]
    # Where chains start is worked out from the model itself: without this it would depend on
    # the log that happened to be compiled first, and so would every draw.
    pm.set_data(design.containers, model=model)
    own = {} if start is None else {"make_initial_point_fn": start}
    return sampled(**own, shared_data={n: model[n].get_value() for n in design.containers})


def compile_model(model: Any, parameters: list[str]) -> Callable:
    """Return a maker of what nutpie samples; it takes the data as ``shared_data``.

    PyTensor keeps on disk what it compiled; nutpie's own way to wrap it is compiled anew by each
    process, ten seconds long. Sums stay in the order written (no fast math): otherwise code just
    compiled and the same read from disk differ in the last digit, and so in every draw.
    """
    from nutpie.compiled_pyfunc import from_pyfunc
    from pymc.pytensorf import gradient, join_nonshared_inputs, rewrite_pregrad

    free, point_of = model.value_vars, _points_of(model)
    log_density = rewrite_pregrad(model.logp())
    named = model.replace_rvs_by_values([model[name] for name in parameters])
    outputs, place = join_nonshared_inputs(
        point_of(0), [log_density, gradient(log_density, free), *named], free
    )
    density, expand = _by_numba(place, outputs[:2]), _by_numba(place, outputs[2:])

    def finite_density(at: np.ndarray, **data: np.ndarray) -> tuple[float, np.ndarray]:
        value, slope = density(at, **data)
        if not np.isfinite(slope).all():
            raise NoSlope
        return float(value), slope

    def parameters_at(at: np.ndarray, **data: np.ndarray) -> dict[str, np.ndarray]:
        return dict(zip(parameters, expand(at, **data), strict=True))

    start = _starts(point_of)
    at, data = start(0), {data.name: data.get_value() for data in model.data_vars}
    finite_density(at, **data)  # compiled here, not by each chain
    shapes = [np.shape(value) for value in parameters_at(at, **data).values()]
    return partial(
        from_pyfunc, at.size, lambda: finite_density, lambda *_: parameters_at,
        ["float64"] * len(parameters), shapes, parameters, make_initial_point_fn=start,
    )  # fmt: skip


def _points_of(model: Any) -> Callable[[int], dict[str, np.ndarray]]:
    """Return what draws free values of a seed, where a chain could start."""
    from pymc.initial_point import make_initial_point_fn

    free = set(model.free_RVs)
    return make_initial_point_fn(model=model, jitter_rvs=free, return_transformed=True)


def _starts(point_of: Callable[[int], dict[str, np.ndarray]]) -> Callable[[int], np.ndarray]:
    """Return the same as one vector; the chains ask at the same time, and wait for each other."""
    from pymc.blocking import DictToArrayBijection

    one_chain = Lock()

    def start(seed: int) -> np.ndarray:
        with one_chain:
            return DictToArrayBijection.map(point_of(seed)).data

    return start


def _by_numba(place: Any, outputs: list[Any]) -> Callable:
    """Return outputs at a place as a function, of the data by name, that lets go of Python."""
    import pymc as pm
    import pytensor
    from pytensor.link.numba.dispatch.basic import numba_njit

    with pytensor.config.change_flags(numba__fastmath=False):
        made = pm.compile([place], outputs, mode="NUMBA")
        # Chains run beside each other: each lets go of Python while it is in here.
        alone = numba_njit(made.vm.jit_fn.py_func, final_function=True, cache=True, nogil=True)
    names = [data.name for data in made.get_shared()]
    return lambda at, **data: alone(at, *(data[name] for name in names))


class NoSlope(ArithmeticError):
    """The density has no slope here: the chain turns back, and counts it as a divergence."""

    is_recoverable = True


def sample(compiled: Any, *, acceptance: float = 0.9, **options: Any) -> xr.DataTree:
    """Sample a compiled model: same seed, data and versions give the same draws.

    ``draws``, ``tune``, ``chains``, ``seed``, ``cores``, ``progress_bar`` as nutpie takes them.
    """
    import nutpie

    sampler = nutpie.sample(
        compiled, target_accept=acceptance, save_warmup=False, blocking=False,
        **MASS_MATRIX | LENGTH | {"seed": SEED, "progress_bar": False} | options,
    )  # fmt: skip
    try:
        return sampler.wait()
    except BaseException:
        # Waiting for it inside nutpie would make of Ctrl-C a posterior of fewer draws.
        sampler.cancel()
        raise


def ready_to_sample(
    design: Design | GreenDesign, *, seed: int = SEED, cores: int | None = None
) -> Any:
    """Return a compiled model holding a design's data, with chains to start near the answer.

    The more putts, the steeper the posterior: from an ordinary start a chain may be thrown so
    far that it never returns. Where putts are many, chains start from draws of a short run
    that counts each of them as a fraction.
    """
    if design.putts <= MANY_PUTTS:
        return compiled_for(design)
    few = compiled_for(design.counted_as(FEW_PUTTS))
    raw = sample(few, seed=seed, cores=cores, store_unconstrained=True, **SHORT_RUN)
    places = raw["sample_stats"]["unconstrained_draw"].stack(place=("chain", "draw")).values.T

    def start(seed: int) -> np.ndarray:
        return np.ascontiguousarray(np.random.default_rng(seed).choice(places))

    return compiled_for(design, start)


def fit_design(
    design: Design | GreenDesign, what: str, *, seed: int = SEED, cache: bool = True, **options: Any
) -> dict[str, xr.DataTree]:
    """Return posteriors that converged, from disk or sampled now; ``what`` is for messages.

    A design of one component has one, by the name of what is fitted; see `posteriors_of`.
    """
    options = LENGTH | options
    parameters = model_of(design)[1]
    settings = {name: value for name, value in options.items() if name not in WITHOUT_EFFECT}
    key = result_key("posterior", parameters, design.containers, design.size, seed, settings)
    kept = load_arrays(key) if cache else None
    if kept is not None:
        posteriors = posteriors_of(kept, design, what)
        for name, posterior in posteriors.items():
            measure_convergence(posterior, kept.get(f"{CONVERGENCE} {name}"))
        return posteriors
    # What was refused by other limits may be fit by these.
    refusal = content_key("refused", key, RHAT_LIMIT, ESS_LIMIT, DIVERGENCES_NOTED)
    refused = load_arrays(refusal) if cache else None
    if refused is not None:
        raise _unconverged(what, str(refused["why"]), design)
    ready = ready_to_sample(design, seed=seed, cores=options.get("cores"))
    near = False
    for acceptance, times, longer in ATTEMPTS:
        if longer > 1 and not near:
            continue
        more = {"tune": times * options["tune"], "draws": longer * options["draws"]}
        drawn = sample(ready, seed=seed, acceptance=acceptance, **options | more)
        arrays = arrays_of(drawn, parameters)
        posteriors = posteriors_of(arrays, design, what)
        failed = [found for one in posteriors.values() for found in failures(convergence(one))]
        if not failed:
            break
        near = all(map(nearly_converged, posteriors.values()))
    kept = {f"{CONVERGENCE} {n}": np.asarray(one[CONVERGENCE]) for n, one in posteriors.items()}
    if cache and not failed:
        save_arrays(key, arrays | kept)
    elif cache:
        # The same data and seed would take as long to fail again.
        save_arrays(refusal, {"why": np.array(failed[0].sentence)})
    if failed:
        raise _unconverged(what, failed[0].sentence, design)
    return posteriors


def _unconverged(what: str, why: str, design: Design | GreenDesign) -> FitError:
    causes = _causes(design, what) or ["Look for a column in the wrong unit, or try another seed."]
    return FitError(
        f"the {what} fit did not converge: {why} Nothing is reported from it. {' '.join(causes)}"
    )


def _causes(design: Design | GreenDesign, what: str) -> list[str]:
    if not isinstance(design, GreenDesign):
        return list(known_causes(design.rows, what))
    parts = design.components.items()
    causes = [cause for name, part in parts for cause in known_causes(part.rows, name)]
    return causes + _all_missed(design.outcomes)


def _all_missed(outcomes: pd.DataFrame) -> list[str]:
    """Say whose putts on a green were missed, every one, and nothing more is known of them."""
    struck = outcomes[outcomes["count"] > 0].groupby("player")
    return [
        f"Every putt of {player} on a green ({own['count'].sum():.0f}) was missed, and any spread "
        "wide enough misses them: log putts that dropped, too, and leave_ft after a miss."
        for player, own in struck
        if (own["kind"] == "missed").all()
    ]


def known_causes(rows: pd.DataFrame, component: str) -> Iterator[str]:
    """Say of each player's counted intervals what no golfer's would be."""
    for player, own in rows.groupby("player", sort=False):
        low, high = own["lo"].to_numpy(), own["hi"].to_numpy()
        middle = np.repeat((low + high) / 2, own["count"])
        different = own.groupby("length")["lo"].nunique()
        if np.isinf(low).all() or np.isinf(high).all():
            found = "lie at an end of what the display shows, which tells nothing of scatter"
        elif different.max() == 1 and middle.size > different.size:
            found = "are the same at each length, which no golfer's putts are"
        elif np.isfinite(middle).all() and middle.std() > WIDEST[component]:
            found = "scatter as no golfer's putts do"
        else:
            continue
        yield (
            f"All {component} readings of {player} {found}. Look whether the device measured, "
            "and leave its column blank where it did not."
        )


def arrays_of(raw: xr.DataTree, parameters: list[str]) -> dict[str, np.ndarray]:
    """Return a sample's parameters and `STATS`, each of shape (chains, draws, ...)."""
    arrays = {name: raw["posterior"].dataset[name].values for name in parameters}
    stats = raw["sample_stats"].dataset
    return arrays | {name: stats[of].values for name, of in STATS.items() if of in stats}


def posteriors_of(
    arrays: dict[str, np.ndarray], design: Design | GreenDesign, what: str = ""
) -> dict[str, xr.DataTree]:
    """Return draws under the names of the model's story, ready for ArviZ.

    ``line``, ``pace`` and ``green`` of a joint design, ``what`` of one component's.
    """
    if isinstance(design, GreenDesign):
        parts = design.components.items()
        named = {name: spread.named_quantities(arrays, part, f"{name}_") for name, part in parts}
        dims = ("chain", "draw", "player")
        added = {name: (dims, arrays[name]) for name in green_model.GREEN_PARAMETERS}
        named["green"] = xr.Dataset(added, coords={"player": design.components["line"].players})
    else:
        named = {what: spread.named_quantities(arrays, design)}
    stats = {name: arrays[name] for name in STATS if name in arrays}
    return {name: spread.tree_of(part, **stats) for name, part in named.items()}


# Convergence


def measure_convergence(posterior: xr.DataTree, kept: np.ndarray | None = None) -> None:
    """Put lowest and highest R-hat and effective draws beside the draws, unless kept ones."""
    draws = posterior["posterior"].dataset
    names = [name for name, values in draws.data_vars.items() if values.size]
    if kept is None:
        import arviz_stats as azs  # takes a second, which those who have a kept fit are spared

        sides = [measure(draws)[names] for measure in (azs.rhat, azs.ess)]
        ends = [end.to_array() for side in sides for end in (side.min(), side.max())]
        kept = np.stack(ends, axis=1)
    coords = {"quantity": names, "measure": list(CONVERGENCE_MEASURES)}
    posterior[CONVERGENCE] = xr.DataArray(kept, coords)


def convergence(posterior: xr.DataTree) -> list[Verdict]:
    """Check R-hat, effective draws and divergences of a posterior."""
    if "convergence" not in posterior.children:
        measure_convergence(posterior)
    table = posterior[CONVERGENCE].to_pandas()
    rhat, ess = table["highest_rhat"], table["lowest_ess_bulk"]
    agree, enough = rhat.max() < RHAT_LIMIT, ess.min() >= ESS_LIMIT
    chains = f"R-hat of {rhat.idxmax()} is {rhat.max():.3f}, limit {RHAT_LIMIT}."
    draws = f"{ess.idxmin()} has only {ess.min():.0f} effective draws, limit {ESS_LIMIT}."
    if agree:
        chains = f"The chains agree (largest R-hat {rhat.max():.3f}, limit {RHAT_LIMIT})."
    if enough:
        draws = f"Every quantity has at least {ess.min():.0f} effective draws (limit {ESS_LIMIT})."
    diverging = posterior["sample_stats"].dataset["diverging"].values
    few = NOTE if diverging.mean() <= DIVERGENCES_NOTED else FAIL
    diverged = f"{diverging.sum()} of {diverging.size} draws diverged."
    return [
        Verdict("R-hat", PASS if agree else FAIL, chains, table),
        Verdict("effective draws", PASS if enough else FAIL, draws, table),
        Verdict("divergences", few if diverging.any() else PASS, diverged),
    ]


def nearly_converged(posterior: xr.DataTree) -> bool:
    """Whether more draws are likely to pass where these do not."""
    table = posterior[CONVERGENCE].to_pandas()
    enough = table["lowest_ess_bulk"].min() * GO_ON >= ESS_LIMIT
    few = posterior["sample_stats"].dataset["diverging"].mean() <= DIVERGENCES_NEAR
    return bool(table["highest_rhat"].max() < RHAT_NEAR and enough and few)
