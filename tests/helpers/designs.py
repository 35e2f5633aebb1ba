"""Designs made from a log's putts."""

import numpy as np

from putlab.model.design import make_design, session_table
from putlab.model.green_putts import green_putts, make_green_design
from putlab.model.priors import LINE_PRIORS, PRIORS
from putlab.model.readings import COMPONENTS, intervals, lengths_ft, practice_putts


def spread_design(log):
    players = list(log.putts["player"].unique())
    lengths = lengths_ft(log.putts["distance_ft"])
    return make_design(
        intervals(log, "line"), session_table(log.putts), lengths, players, LINE_PRIORS
    )


def green_design(log):
    green, visits = green_putts(log.putts), session_table(log.putts)
    lengths = lengths_ft(practice_putts(log.putts)["distance_ft"])
    players = list(log.putts["player"].unique())
    readings = {name: intervals(log, name) for name in COMPONENTS}
    return make_green_design(readings, green, visits, lengths, players, PRIORS)


def values_of(model, point):
    """Return the value variables' values, transformed as the model wants them."""
    values = {}
    for rv in model.free_RVs:
        transform = model.rvs_to_transforms[rv]
        raw = np.asarray(point[rv.name], dtype=float)
        if transform is not None:
            raw = transform.forward(raw, *rv.owner.inputs).eval(mode="FAST_COMPILE")
        values[model.rvs_to_values[rv]] = raw
    return values
