"""Other models of the same readings, a row a putt, as a person writes them straight down."""

import numpy as np
import pandas as pd


def lengths_ft(log):
    """Return the lengths of a log, ascending: (lengths,)."""
    return np.unique(log.putts["distance_ft"])


def indices(log):
    """Return player, length and visit of every putt, and the readings."""
    putts = log.putts
    player = putts["player"].astype("category").cat.codes.to_numpy()
    length = np.searchsorted(lengths_ft(log), putts["distance_ft"])
    visit = putts.groupby(["player", "session"], sort=False).ngroup().to_numpy()
    return player, length, visit, putts["line_deg"].to_numpy()


def plain_normal(log):
    """Readings as exact and normal: spread and bias by player and length, visits.

    An easier question than the kit's: no intervals, no mishits, no trend.
    """
    import pymc as pm

    player, length, visit, line_deg = indices(log)
    shape = (int(player.max()) + 1, int(length.max()) + 1)
    with pm.Model() as model:
        base = pm.Normal("base", 0, 0.5, shape=shape[0])
        level = pm.Normal("level", base[:, None], 0.2, shape=shape)
        bias = pm.Normal("bias", 0, 0.7, shape=shape)
        visit_bias_sd = pm.LogNormal("visit_bias_sd", np.log(0.25), 0.7)
        visit_bias = pm.Normal("visit_bias", 0, visit_bias_sd, shape=int(visit.max()) + 1)
        visit_form_sd = pm.LogNormal("visit_form_sd", np.log(0.07), 0.7)
        visit_form = visit_form_sd * pm.Normal("visit_form_u", 0, 1, shape=int(visit.max()) + 1)
        mu = bias[player, length] + visit_bias[visit]
        sd = pm.math.exp(level[player, length] + visit_form[visit])
        pm.Normal("line_deg", mu, sd, observed=line_deg)
    return model


# What the kit names too: effective draws are counted of these.
STORY = [
    "base_mean", "between_sd", "base", "slope", "spot_sd", "level", "bias_mean",
    "bias_spot_sd", "bias", "visit_bias_sd", "visit_bias", "visit_form_sd", "visit_form",
    "trend", "warm_up", "mishit_share",
]  # fmt: skip


def same_story(log):
    """The kit's own story and priors with PyMC's parts: non-centred, log of the cdf."""
    import pymc as pm

    from putlab.model.design import session_table
    from putlab.model.readings import practice_putts

    player, length, visit, line_deg = indices(log)
    visits = session_table(log.putts)
    warm_up = practice_putts(log.putts)["warm_up"].to_numpy(float)
    of_visit, players = player[np.unique(visit, return_index=True)[1]], int(player.max()) + 1
    with pm.Model() as model:
        level, bias = _over_lengths(pm, players, lengths_ft(log))
        visit_bias, visit_form = _over_visits(pm, players, of_visit)
        trend = pm.Normal("trend", 0, 0.1, shape=players)
        warming = pm.Normal("warm_up", 0, 0.1, shape=players)
        share = 0.2 * pm.Beta("mishit_u", 1.5, 8.5, shape=players)
        share = pm.Deterministic("mishit_share", share)
        mu = bias[player, length] + visit_bias[visit]
        practised = visits["practised"].to_numpy()[visit]
        log_sd = level[player, length] + visit_form[visit] + trend[player] * practised
        sd = pm.math.exp(log_sd + warming[player] * warm_up)
        good, poor = (_log_interval(pm, line_deg, mu, scale * sd) for scale in (1, 4))
        chance = pm.math.logaddexp(
            pm.math.log1p(-share[player]) + good, pm.math.log(share[player]) + poor
        )
        pm.Potential("line_deg", chance.sum())
    return model


def _over_lengths(pm, players, lengths_ft):
    """Spread straight in log length with bumps; bias with bumps."""
    x = np.log(lengths_ft / 10)
    colour = np.linalg.cholesky(np.exp(-np.abs(x[:, None] - x[None, :]) / 0.35))
    base_mean = pm.Normal("base_mean", 0, 0.5)
    between_sd = pm.LogNormal("between_sd", np.log(0.3), 0.4)
    apart = pm.Normal("base_u", 0, 1, shape=players)
    base = pm.Deterministic("base", base_mean + between_sd * apart)
    slope = pm.Normal("slope", 0, 0.15, shape=players)
    spot_sd = pm.LogNormal("spot_sd", np.log(0.1), 0.7)
    bump = spot_sd * pm.Normal("bump_u", 0, 1, shape=(players, x.size)) @ colour.T
    straight = base[:, None] + slope[:, None] * x
    bias_mean = pm.Normal("bias_mean", 0, 0.7, shape=players)
    bias_spot_sd = pm.LogNormal("bias_spot_sd", np.log(0.12), 0.7)
    bias_bump = bias_spot_sd * pm.Normal("bias_u", 0, 1, shape=(players, x.size)) @ colour.T
    return (
        pm.Deterministic("level", straight + bump),
        pm.Deterministic("bias", bias_mean[:, None] + bias_bump),
    )


def _over_visits(pm, players, player):
    """Offset and form of every visit."""
    visit_bias_sd = pm.LogNormal("visit_bias_sd", np.log(0.25), 0.7, shape=players)
    visit_form_sd = pm.LogNormal("visit_form_sd", np.log(0.07), 0.7)
    visit_bias = visit_bias_sd[player] * pm.Normal("visit_bias_u", 0, 1, shape=player.size)
    visit_form = visit_form_sd * pm.Normal("visit_form_u", 0, 1, shape=player.size)
    return pm.Deterministic("visit_bias", visit_bias), pm.Deterministic("visit_form", visit_form)


def _log_interval(pm, line_deg, mu, sd):
    """Log chance of a whole degree; turned to the left, where the log cdf keeps its digits."""
    side = np.where(line_deg > 0, -1.0, 1.0)
    normal = pm.Normal.dist(side * mu, sd)
    upper = pm.logcdf(normal, side * line_deg + 0.5)
    return pm.math.logdiffexp(upper, pm.logcdf(normal, side * line_deg - 0.5))


# The plain normal model once more.
STAN = """
data {
  int n; int players; int lengths; int visits;
  array[n] int player; array[n] int length_no; array[n] int visit; vector[n] line_deg;
}
parameters {
  vector[players] base; matrix[players, lengths] level; matrix[players, lengths] bias;
  real<lower=0> visit_bias_sd; vector[visits] visit_bias;
  real<lower=0> visit_form_sd; vector[visits] visit_form_u;
}
model {
  vector[n] mu; vector[n] sd;
  base ~ normal(0, 0.5);
  for (p in 1:players) { level[p] ~ normal(base[p], 0.2); bias[p] ~ normal(0, 0.7); }
  visit_bias_sd ~ lognormal(log(0.25), 0.7); visit_bias ~ normal(0, visit_bias_sd);
  visit_form_sd ~ lognormal(log(0.07), 0.7); visit_form_u ~ normal(0, 1);
  for (i in 1:n) {
    mu[i] = bias[player[i], length_no[i]] + visit_bias[visit[i]];
    sd[i] = exp(level[player[i], length_no[i]] + visit_form_sd * visit_form_u[visit[i]]);
  }
  line_deg ~ normal(mu, sd);
}
"""


def stan_data(log):
    """Return the readings as the Stan model takes them."""
    player, length, visit, line_deg = indices(log)
    return {
        "n": len(line_deg),
        "players": int(player.max()) + 1,
        "lengths": int(length.max()) + 1,
        "visits": int(visit.max()) + 1,
        "player": (player + 1).tolist(),
        "length_no": (length + 1).tolist(),
        "visit": (visit + 1).tolist(),
        "line_deg": line_deg.tolist(),
    }


def plain_in_bambi(log):
    """The plain normal model as bambi's formulas say it, with bambi's own priors."""
    import bambi

    mean, spread = "line_deg ~ 0 + cell + (1 | visit)", "sigma ~ 0 + cell + (1 | visit)"
    return bambi.Model(bambi.Formula(mean, spread), _frame(log))


def mixed_model(log):
    """Fit each player by statsmodels: a mean for each length, visits, and one spread for all.

    All that a linear mixed model can say here; its spread does not depend on length.
    Returns log spread by player: (players,).
    """
    import statsmodels.formula.api as smf

    def log_spread(putts):
        model = smf.mixedlm("line_deg ~ C(distance_ft)", putts, groups=putts["visit"])
        return np.log(model.fit().scale) / 2

    return np.array([log_spread(putts) for _, putts in _frame(log).groupby("player")])


def _frame(log):
    """Return the readings with labels of their player and length, and of their visit."""
    player, length, visit, line_deg = indices(log)
    cell = [f"{p} {n}" for p, n in zip(player, length, strict=True)]
    frame = {"line_deg": line_deg, "cell": cell, "visit": visit.astype(str), "player": player}
    return pd.DataFrame(frame | {"distance_ft": log.putts["distance_ft"].to_numpy()})
