"""Golfers of known truth: steady ones, and ones drawn from the priors."""

import numpy as np
from simulate import TrueComponent

from putlab.model.design import length_correlation, log_distance
from putlab.model.spread import MISHIT_MOST


def steady(level, bias=0.0, *, players=1, lengths=1, **changes):
    """Return a component with no session effects, trend or mishits, unless stated."""
    values = dict.fromkeys(
        ("visit_bias_sd", "visit_form_sd", "trend", "warm_up", "counted", "mishit_share"), 0.0
    )
    given = {k: changes.pop(k) for k in list(changes) if k in values}
    values = {k: np.broadcast_to(v, players) for k, v in (values | given).items()}
    shape = (players, lengths)
    return TrueComponent(
        np.broadcast_to(level, shape), np.broadcast_to(bias, shape), **values, **changes
    )


def draw_component(priors, rng, *, players, lengths_ft, conditions=()):
    """Draw one component's truth from its priors."""
    x = log_distance(lengths_ft)

    def lognormal(key, size=None):
        return getattr(priors, key + "_median") * np.exp(
            getattr(priors, key + "_log_sd") * rng.standard_normal(size)
        )

    def normal(key, size):
        return getattr(priors, key) * rng.standard_normal(size)

    correlation = length_correlation(x, x)

    def spots(size):
        return size * rng.multivariate_normal(np.zeros(x.size), correlation, size=players)

    base_mean = np.log(priors.sd_median) + priors.sd_log_sd * rng.standard_normal()
    between_sd, spot_sd = lognormal("between"), lognormal("spot")
    base = base_mean + between_sd * rng.standard_normal(players)
    slope = normal("slope_sd", players)
    level = base[:, None] + slope[:, None] * x + spots(spot_sd)
    bias_mean, bias_spot_sd = normal("bias_sd", players), lognormal("bias_spot")
    truth = TrueComponent(
        level=level,
        bias=bias_mean[:, None] + spots(bias_spot_sd),
        visit_bias_sd=lognormal("visit_bias", players),
        visit_form_sd=np.full(players, lognormal("visit_form")),
        trend=normal("trend_sd", players),
        warm_up=normal("warm_up_sd", players),
        counted=normal("counted_sd", players),
        mishit_share=MISHIT_MOST * rng.beta(priors.mishit_a, priors.mishit_b, players),
        effect={key: priors.effect_sd * rng.standard_normal() for key in conditions},
        shift={key: priors.shift_sd * rng.standard_normal() for key in conditions},
        effect_slope={key: priors.effect_slope_sd * rng.standard_normal() for key in conditions},
    )
    population = {
        "base_mean": base_mean, "between_sd": between_sd, "base": base, "slope": slope,
        "spot_sd": spot_sd, "bias_mean": bias_mean, "bias_spot_sd": bias_spot_sd,
    }  # fmt: skip
    return truth, population
