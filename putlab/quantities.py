"""From the free parameters that were sampled to the named quantities of the model's story."""

import numpy as np
import xarray as xr

from putlab.spread import MISHIT_MOST, PARAMETERS


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


def named_quantities(raw, design):
    """Return the quantities of the model's story, without padding and centring.

    Parameters
    ----------
    raw : xarray.Dataset
        Draws of `putlab.spread.PARAMETERS`.
    design : putlab.design.Design
        The design that was fitted.

    Returns
    -------
    xarray.Dataset
        With dims ``player, session, length, condition`` labelled as in the log; visits are
        numbered, for two players may share a label.
    """
    v = {name: raw[name].values for name in raw.data_vars}
    x, colour, whiten = design.data["over_lengths"]
    setup_sd = v["setup_sd"][..., design.data["session_player"]]
    centre = design.data["centre_session"]
    setup = v["setup_u"] * setup_sd ** (1 - centre[0])
    form = v["form_u"] * v["form_sd"][..., None] ** (1 - centre[1])
    mean_setup, mean_form = (
        setup @ design.data["visit_share"].T,
        form @ design.data["visit_share"].T,
    )
    straight = v["base_u"][..., None] + v["slope"][..., None] * np.diag(x)
    flat = np.broadcast_to(v["bias_mean_u"][..., None], straight.shape)
    centre = design.data["centre_length"]
    level = _uncentre(v["level_u"], straight @ whiten.T, v["bump_sd"], centre[0]) @ colour.T
    bias = _uncentre(v["bias_u"], flat @ whiten.T, v["bias_bump_sd"], centre[1]) @ colour.T
    lengths, visits = len(design.lengths_ft), len(design.sessions)
    conditions = slice(1, 1 + len(design.conditions))
    named = {
        "base_mean": ((), v["base_mean"]),
        "between_sd": ((), v["between_sd"]),
        "bump_sd": ((), v["bump_sd"]),
        "bias_bump_sd": ((), v["bias_bump_sd"]),
        "form_sd": ((), v["form_sd"]),
        "base": (("player",), v["base_u"] - mean_form),
        "bias_mean": (("player",), v["bias_mean_u"] - mean_setup),
        "level": (("player", "length"), level[..., :lengths] - mean_form[..., None]),
        "bias": (("player", "length"), bias[..., :lengths] - mean_setup[..., None]),
        "setup": (("session",), setup[..., :visits]),
        "form": (("session",), form[..., :visits]),
        "mishit_share": (("player",), MISHIT_MOST * v["mishit_u"]),
    }
    for name in ("slope", "setup_sd", "trend", "early", "counted"):
        named[name] = (("player",), v[name])
    for name in ("effect", "effect_slope", "shift"):
        named[name] = (("condition",), v[name][..., conditions])
    coords = {
        "player": design.players,
        "length": design.lengths_ft,
        "session": np.arange(1, visits + 1),
        "condition": _condition_labels(design.conditions),
    }
    return xr.Dataset(
        {name: (("chain", "draw", *dims), value) for name, (dims, value) in named.items()},
        coords=coords,
    )


def _condition_labels(conditions):
    return [f"{row.player}: {row.condition or 'none'}" for row in conditions.itertuples()]


def _uncentre(u, mean, sd, centre):
    sd = sd[..., None, None]
    return mean + (u - centre * mean) * sd ** (1 - centre)


def tree_of(posterior, diverging):
    """Return draws as ArviZ keeps them.

    Parameters
    ----------
    posterior : xarray.Dataset
        Quantities with dims ``chain, draw, ...``.
    diverging : array_like of bool, shape (chains, draws)
        Whether each draw diverged.

    Returns
    -------
    xarray.DataTree
        ``posterior`` and ``sample_stats``.
    """
    sizes = posterior.sizes
    posterior = posterior.assign_coords(
        chain=np.arange(sizes["chain"]), draw=np.arange(sizes["draw"])
    )
    stats = xr.Dataset({"diverging": (("chain", "draw"), np.asarray(diverging))})
    return xr.DataTree.from_dict({"posterior": posterior, "sample_stats": stats})
