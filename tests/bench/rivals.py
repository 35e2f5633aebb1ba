"""One way of fitting line spread, in a process of its own: `rivals.py KIND PUTTS|LOG [CHAINS]`.

Prints seconds to build and to sample, effective draws of the slowest quantity, as JSON.
All read the log that is named or, of so many putts, the same simulated log: two players, ten
visits, five lengths, whole degrees.
"""

import json
import resource
import sys
import time
from pathlib import Path

import numpy as np
from rival_models import (
    STAN,
    STORY,
    mixed_model,
    plain_in_bambi,
    plain_normal,
    same_story,
    stan_data,
)

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

LENGTHS_FT = [3.0, 6.0, 10.0, 15.0, 24.0]
CELLS = 2 * 10 * len(LENGTHS_FT)
SEED = 1

# What PyMC and Stan do unless told otherwise; all here sample on two cores.
CHAINS, DRAWS, WARM_UP = 4, 1000, 1000


def the_log(named):
    """Return the log that every way of fitting reads: of a file, or of so many putts."""
    if not named.isdecimal():
        from putlab.log.read import read_log

        return read_log(named)
    from made_logs import simulated_log
    from true_golfers import steady

    size = {"players": 2, "lengths": len(LENGTHS_FT)}
    line = steady(np.log(1.1), visit_bias_sd=0.2, visit_form_sd=0.05, **size)
    rng = np.random.default_rng(SEED)
    each = int(named) // CELLS
    return simulated_log(rng, line=line, players=2, lengths=LENGTHS_FT, each=each)


def our_design(log, rows):
    """Return the design of line from counted or uncounted rows."""
    from putlab.model.design import make_design, session_table
    from putlab.model.priors import PRIORS
    from putlab.model.readings import lengths_ft, practice_putts

    putts = practice_putts(log.putts)
    players = list(log.putts["player"].drop_duplicates())
    visits = session_table(log.putts)
    return make_design(rows, visits, lengths_ft(putts["distance_ft"]), players, PRIORS["line"])


def sampled_by_the_kit(design, chains):
    """Build and sample the kit's model; return seconds of each and the named quantities."""
    from putlab.model.spread import named_quantities
    from putlab.posterior.sampling import compiled_for, ready_to_sample, sample

    start = time.perf_counter()
    compiled_for(design)
    built = time.perf_counter()
    # The short run before a long log is sampling too.
    raw = sample(ready_to_sample(design, seed=SEED), seed=SEED, chains=chains, cores=2)
    return built - start, time.perf_counter() - built, named_quantities(raw.posterior, design)


def counted(log, chains):
    """The kit: counted intervals."""
    from putlab.model.readings import intervals

    return sampled_by_the_kit(our_design(log, intervals(log, "line")), chains)


def uncounted(log, chains):
    """The kit's own model with a row a putt."""
    from putlab.model.readings import line_intervals, practice_putts

    rows = line_intervals(practice_putts(log.putts), log.rules)
    return sampled_by_the_kit(our_design(log, rows.assign(count=1)), chains)


def by_pymc(build):
    """Return a way of fitting by PyMC's own sampler."""

    def fit(log, chains):
        import pymc as pm

        with build(log):
            start = time.perf_counter()
            tree = pm.sample(
                chains=chains, cores=2, draws=DRAWS, tune=WARM_UP, random_seed=SEED,
                progressbar=False, nuts_sampler="pymc", compute_convergence_checks=False,
            )  # fmt: skip
        whole = time.perf_counter() - start
        sampling = tree["sample_stats"].attrs.get("sampling_time", whole)
        return whole - sampling, sampling, tree["posterior"].dataset

    return fit


def by_nutpie(build):
    """Return a way of fitting by nutpie, as it comes."""

    def fit(log, chains):
        import nutpie

        start = time.perf_counter()
        compiled = nutpie.compile_pymc_model(build(log))
        built = time.perf_counter()
        tree = nutpie.sample(
            compiled, draws=DRAWS, tune=WARM_UP, chains=chains, cores=2, seed=SEED,
            progress_bar=False,
        )  # fmt: skip
        return built - start, time.perf_counter() - built, tree["posterior"].dataset

    return fit


def by_stan(log, chains):
    """The plain normal model in Stan, as its PyPI package builds it."""
    import stan
    import xarray as xr

    start = time.perf_counter()
    model = stan.build(STAN, data=stan_data(log), random_seed=SEED)
    built = time.perf_counter()
    fit = model.sample(num_chains=chains, num_samples=DRAWS, num_warmup=WARM_UP)
    sampling = time.perf_counter() - built
    named = {}
    for name in (
        "base",
        "level",
        "bias",
        "visit_bias_sd",
        "visit_bias",
        "visit_form_sd",
        "visit_form_u",
    ):
        values = np.moveaxis(fit[name], -1, 0).reshape(DRAWS, chains, -1).swapaxes(0, 1)
        named[name] = (("chain", "draw", name + "_at"), values)
    return built - start, sampling, xr.Dataset(named)


def by_bambi(log, chains):
    """The plain normal model by bambi, which samples by PyMC."""
    start = time.perf_counter()
    model = plain_in_bambi(log)
    model.build()
    built = time.perf_counter()
    tree = model.fit(
        chains=chains, cores=2, draws=DRAWS, tune=WARM_UP, random_seed=SEED, progressbar=False
    )
    posterior = tree["posterior"].dataset
    cells = posterior["sigma_cell"]
    player = [int(str(label).split()[0]) for label in cells["sigma_cell_dim"].values]
    base = cells.assign_coords(player=("sigma_cell_dim", player)).groupby("player").mean()
    return built - start, time.perf_counter() - built, posterior.assign(base=base)


def by_statsmodels(log, chains):
    """A linear mixed model a player, which draws nothing."""
    import xarray as xr

    start = time.perf_counter()
    base = mixed_model(log)
    found = xr.Dataset({"base": (("chain", "draw", "player"), base[None, None])})
    return 0.0, time.perf_counter() - start, found


KINDS = {
    "counted": counted,
    "uncounted": uncounted,
    "plain normal, PyMC": by_pymc(plain_normal),
    "plain normal, nutpie": by_nutpie(plain_normal),
    "plain normal, Stan": by_stan,
    "plain normal, bambi": by_bambi,
    "mixed model, statsmodels": by_statsmodels,
    "same story in plain PyMC": by_pymc(same_story),
    "same story in plain PyMC, nutpie": by_nutpie(same_story),
}


def _slowest(posterior):
    """Return what has the fewest effective draws, and how many; nothing of an only draw."""
    import arviz_stats as azs

    if posterior.sizes["draw"] == 1:
        return {"ess": None, "slowest": None}
    least = {
        name: float(values.min())
        for name, values in azs.ess(posterior).data_vars.items()
        if values.size
    }
    name = min(least, key=least.get)
    return {"ess": least[name], "slowest": name}


def main(kind, named, chains=CHAINS):
    """Fit in one way and print what it took."""
    log = the_log(named)
    build, sampling, posterior = KINDS[kind](log, int(chains))
    if "same story" in kind:
        posterior = posterior[STORY]
    posterior = posterior.assign_coords(
        chain=np.arange(posterior.sizes["chain"]), draw=np.arange(posterior.sizes["draw"])
    )
    used = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    cpu = sum(usage.ru_utime + usage.ru_stime for usage in used)
    found = {"build": build, "sampling": sampling, **_slowest(posterior)}
    # All have a player's log spread, at 10 ft or over the lengths; they should roughly agree.
    base = posterior["base"].mean(("chain", "draw")).values
    found |= {"cpu": cpu, "base": base.tolist()}
    print("\n" + json.dumps(found))


if __name__ == "__main__":
    main(*sys.argv[1:])
