"""Designs made from a log's putts, and a quick way to compile what is tried a few times."""

import pytensor

from putlab.model.design import make_design, session_table
from putlab.model.green_putts import green_putts, make_green_design
from putlab.model.priors import LINE_PRIORS, PRIORS
from putlab.model.readings import COMPONENTS, intervals, lengths_ft, practice_putts

PLAIN = pytensor.compile.mode.Mode(linker="py", optimizer="fast_compile")


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
