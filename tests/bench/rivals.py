"""One way of fitting line spread, in a process of its own: `rivals.py KIND PUTTS`.

Prints seconds to build and to sample, effective draws of the slowest quantity, as JSON.
All read the same simulated log: two players, ten visits, five lengths, whole degrees.
"""

import json
import resource
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

LENGTHS_FT = [3.0, 6.0, 10.0, 15.0, 24.0]
CELLS = 2 * 10 * len(LENGTHS_FT)
SEED = 1


def the_log(putts):
    """Return the log that every way of fitting reads."""
    from made_logs import simulated_log

    from putlab.simulate import steady

    size = {"players": 2, "lengths": len(LENGTHS_FT)}
    line = steady(np.log(1.1), setup_sd=0.2, form_sd=0.05, **size)
    rng = np.random.default_rng(SEED)
    each = putts // CELLS
    return simulated_log(rng, line=line, players=2, lengths=LENGTHS_FT, each=each)


def our_design(log, rows):
    """Return the design of line from counted or uncounted rows."""
    from putlab.design import make_design, session_table
    from putlab.priors import PRIORS
    from putlab.readings import lengths_ft, practice_putts

    putts = practice_putts(log.putts)
    players = list(log.putts["player"].drop_duplicates())
    visits = session_table(log.putts)
    return make_design(rows, visits, lengths_ft(putts["distance_ft"]), players, PRIORS["line"])


def sampled_by_the_kit(design):
    """Build and sample the kit's model; return seconds of each and the named quantities."""
    from putlab.fitting import compiled_for, sample
    from putlab.quantities import named_quantities

    start = time.perf_counter()
    compiled = compiled_for(design)
    built = time.perf_counter()
    raw = sample(compiled, seed=SEED)
    return built - start, time.perf_counter() - built, named_quantities(raw.posterior, design)


def counted(log):
    """The kit: counted intervals."""
    from putlab.readings import cells

    return sampled_by_the_kit(our_design(log, cells(log, "line")))


def uncounted(log):
    """The kit's own model with a row a putt."""
    from putlab.readings import line_intervals, practice_putts

    rows = line_intervals(practice_putts(log.putts), log.rules)
    return sampled_by_the_kit(our_design(log, rows.assign(count=1)))


def indices(log):
    """Return player, length and visit of every putt, and the readings."""
    putts = log.putts
    player = putts["player"].astype("category").cat.codes.to_numpy()
    length = np.searchsorted(LENGTHS_FT, putts["distance_ft"])
    visit = putts.groupby(["player", "session"], sort=False).ngroup().to_numpy()
    return player, length, visit, putts["line_deg"].to_numpy()


def plain_model(log):
    """The plain model a row a putt: a normal with spread and bias by player and length."""
    import pymc as pm

    player, length, visit, line_deg = indices(log)
    shape = (2, len(LENGTHS_FT))
    with pm.Model() as model:
        base = pm.Normal("base", 0, 0.5, shape=2)
        level = pm.Normal("level", base[:, None], 0.2, shape=shape)
        bias = pm.Normal("bias", 0, 0.7, shape=shape)
        setup_sd = pm.LogNormal("setup_sd", np.log(0.25), 0.7)
        setup = pm.Normal("setup", 0, setup_sd, shape=int(visit.max()) + 1)
        form_sd = pm.LogNormal("form_sd", np.log(0.07), 0.7)
        form = form_sd * pm.Normal("form_u", 0, 1, shape=int(visit.max()) + 1)
        mu = bias[player, length] + setup[visit]
        sd = pm.math.exp(level[player, length] + form[visit])
        pm.Normal("line_deg", mu, sd, observed=line_deg)
    return model


def plain_default(log):
    """The plain model, PyMC's own sampler."""
    import pymc as pm

    with plain_model(log):
        start = time.perf_counter()
        tree = pm.sample(
            chains=4, cores=2, random_seed=SEED, progressbar=False, nuts_sampler="pymc",
            compute_convergence_checks=False,
        )  # fmt: skip
    whole = time.perf_counter() - start
    sampling = tree["sample_stats"].attrs.get("sampling_time", whole)
    return whole - sampling, sampling, tree["posterior"].dataset


def plain_nutpie(log):
    """The plain model, nutpie's sampler."""
    import nutpie

    start = time.perf_counter()
    compiled = nutpie.compile_pymc_model(plain_model(log))
    built = time.perf_counter()
    tree = nutpie.sample(
        compiled, draws=1000, tune=1000, chains=4, cores=2, seed=SEED, progress_bar=False
    )
    return built - start, time.perf_counter() - built, tree["posterior"].dataset


STAN = """
data {
  int n; int lengths; int visits;
  array[n] int player; array[n] int length_no; array[n] int visit; vector[n] line_deg;
}
parameters {
  vector[2] base; matrix[2, lengths] level; matrix[2, lengths] bias;
  real<lower=0> setup_sd; vector[visits] setup;
  real<lower=0> form_sd; vector[visits] form_u;
}
model {
  vector[n] mu; vector[n] sd;
  base ~ normal(0, 0.5);
  for (p in 1:2) { level[p] ~ normal(base[p], 0.2); bias[p] ~ normal(0, 0.7); }
  setup_sd ~ lognormal(log(0.25), 0.7); setup ~ normal(0, setup_sd);
  form_sd ~ lognormal(log(0.07), 0.7); form_u ~ normal(0, 1);
  for (i in 1:n) {
    mu[i] = bias[player[i], length_no[i]] + setup[visit[i]];
    sd[i] = exp(level[player[i], length_no[i]] + form_sd * form_u[visit[i]]);
  }
  line_deg ~ normal(mu, sd);
}
"""


def plain_stan(log):
    """The plain model in Stan, as its PyPI package builds it."""
    import stan
    import xarray as xr

    player, length, visit, line_deg = indices(log)
    data = {
        "n": len(line_deg),
        "lengths": len(LENGTHS_FT),
        "visits": int(visit.max()) + 1,
        "player": (player + 1).tolist(),
        "length_no": (length + 1).tolist(),
        "visit": (visit + 1).tolist(),
        "line_deg": line_deg.tolist(),
    }
    start = time.perf_counter()
    model = stan.build(STAN, data=data, random_seed=SEED)
    built = time.perf_counter()
    fit = model.sample(num_chains=4, num_samples=1000, num_warmup=1000)
    sampling = time.perf_counter() - built
    named = {}
    for name in ("base", "level", "bias", "setup_sd", "setup", "form_sd", "form_u"):
        values = np.moveaxis(fit[name], -1, 0).reshape(1000, 4, -1).swapaxes(0, 1)
        named[name] = (("chain", "draw", name + "_at"), values)
    return built - start, sampling, xr.Dataset(named)


KINDS = {
    "counted": counted,
    "uncounted": uncounted,
    "plain, PyMC's sampler": plain_default,
    "plain, nutpie": plain_nutpie,
    "plain, Stan": plain_stan,
}


def main(kind, putts):
    """Fit in one way and print what it took."""
    import arviz_stats as azs

    log = the_log(int(putts))
    build, sampling, posterior = KINDS[kind](log)
    posterior = posterior.assign_coords(
        chain=np.arange(posterior.sizes["chain"]), draw=np.arange(posterior.sizes["draw"])
    )
    slowest = {
        name: float(values.min())
        for name, values in azs.ess(posterior).data_vars.items()
        if values.size
    }
    name = min(slowest, key=slowest.get)
    used = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    cpu = sum(usage.ru_utime + usage.ru_stime for usage in used)
    found = {"build": build, "sampling": sampling, "ess": slowest[name], "slowest": name}
    found |= {"cpu": cpu}
    print("\n" + json.dumps(found))


if __name__ == "__main__":
    main(*sys.argv[1:])
