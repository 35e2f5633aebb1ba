"""A fast approximate fit to screen long calibrations: a normal around the posterior's mode.

A trial is sampled in seconds, and calibration asks for thousands, most of them far from any
verdict. The mode puts scales such as that of a visit's offset too low, which moves an estimate
by some tenths of its standard error: ``trials.py`` therefore samples every check that comes
near the bar, and ``trials.py screen`` measures how far apart the two are. A verdict shown to a
person never comes from here.
"""

import numpy as np
import pymc as pm
import xarray as xr
from pymc.blocking import DictToArrayBijection, RaveledVars
from scipy.optimize import minimize
from scipy.special import expit

from putlab.model.spread import DIMS, PARAMETERS, build_model

HESSIAN_STEP = 1e-4

# How the model's free parameters are made of the unbounded ones that it works with.
BACK = {"_log__": np.exp, "_logodds__": expit}

_compiled = {}


def laplace(design, *, seed, draws=4000):
    """Return draws of the free parameters, as `putlab.posterior.sampling.sample` names them."""
    at, slope = _functions(design)
    found = minimize(slope, at.data, jac=True, method="L-BFGS-B", options={"maxiter": 2000})
    mode, covariance = _newton(found.x, slope)
    noise = np.random.default_rng(seed).standard_normal((draws, mode.size))
    around = mode + noise @ np.linalg.cholesky(covariance).T
    return _dataset(around, at.point_map_info)


def _functions(design):
    """Return the starting point, and minus the log posterior with its gradient."""
    if design.size not in _compiled:
        model = build_model(design)
        value = model.logp_dlogp_function(ravel_inputs=True)
        value.set_extra_values({})
        start = DictToArrayBijection.map(model.initial_point())
        _compiled[design.size] = model, value, start
    model, value, start = _compiled[design.size]
    pm.set_data(design.containers, model=model)

    def slope(x):
        logp, gradient = value(RaveledVars(x, start.point_map_info))
        return -float(logp), -np.asarray(gradient)

    return start, slope


def _newton(x, slope, steps=4):
    """Polish the mode and return it with the inverse of the curvature there."""
    for _ in range(steps):
        value, gradient = slope(x)
        curvature = _curvature(x, slope)
        step = np.linalg.solve(curvature, gradient)
        if slope(x - step)[0] > value:
            break
        x = x - step
        if np.abs(step).max() < 1e-5:
            break
    return x, np.linalg.inv(_curvature(x, slope))


def _curvature(x, slope):
    columns = [
        (slope(x + e)[1] - slope(x - e)[1]) / (2 * HESSIAN_STEP)
        for e in HESSIAN_STEP * np.eye(x.size)
    ]
    half = np.array(columns)
    values, vectors = np.linalg.eigh((half + half.T) / 2)
    # A direction that the mode leaves flat or bent the wrong way has its prior's width.
    return vectors * np.maximum(values, 0.05) @ vectors.T


def _dataset(around, layout):
    """Return unbounded draws as a dataset of the model's own parameters."""
    values, start = {}, 0
    for name, shape, size, _ in layout:
        part = around[:, start : start + size].reshape(len(around), *shape)
        start += size
        for ending, back in BACK.items():
            if name.endswith(ending):
                name, part = name.removesuffix(ending), back(part)
        values[name.rstrip("_")] = part
    return xr.Dataset(
        {name: (("chain", "draw", *DIMS[name]), values[name][None]) for name in PARAMETERS}
    )
