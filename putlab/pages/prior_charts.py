"""What the priors expect of a golfer before the first putt: the prior predictive spread."""

import numpy as np
import pandas as pd

from putlab.base.settings import INTERVAL, SEED, interval_probabilities
from putlab.base.words import interval
from putlab.model.design import REFERENCE_FT, bump_correlation
from putlab.model.priors import PRIORS
from putlab.model.spread import MISHIT_MOST, MISHIT_TIMES
from putlab.pages.chart import (
    COLOUR,
    GREY,
    INK,
    MARKER,
    Chart,
    distance_axis,
    drawing,
    legend_below,
)
from putlab.pages.skill_charts import COLUMN, SPREAD_TITLE
from putlab.posterior.player import summary

LENGTHS_FT = (3.0, 6.0, 10.0, 16.0, 24.0, 36.0)
DRAWS, BELIEFS_SHOWN = 2000, 30


def believed_spreads(prior, distance_ft, *, seed=SEED):
    """Draw golfers from the priors: their spread at each length, on an ordinary day.

    Parameters
    ----------
    prior : putlab.model.priors.SpreadPriors
        Priors of one component.
    distance_ft : array_like, shape (n,)
        Lengths in feet.
    seed : int
        Seed of the draws.

    Returns
    -------
    ndarray, shape (draws, n)
        Spreads in the component's unit, as `putlab.model.spread` builds them.
    """
    rng = np.random.default_rng(seed)
    x = np.log(np.asarray(distance_ft, dtype=float) / REFERENCE_FT)

    def normal(mean, sd, *shape):
        return mean + sd * rng.standard_normal((DRAWS, *shape))

    def scale(name):
        median, log_sd = getattr(prior, name + "_median"), getattr(prior, name + "_log_sd")
        return np.exp(normal(np.log(median), log_sd))

    base = normal(np.log(prior.sd_median), prior.sd_log_sd) + scale("between") * normal(0, 1)
    bump = normal(0, 1, x.size) @ np.linalg.cholesky(bump_correlation(x, x)).T
    slope = normal(0, prior.slope_sd)
    return np.exp(base[:, None] + slope[:, None] * x + scale("bump")[:, None] * bump)


def beliefs_chart(priors=PRIORS, distance_ft=LENGTHS_FT):
    """Draw golfers as the priors expect them, before any putt is seen.

    Parameters
    ----------
    priors : dict of str to putlab.model.priors.SpreadPriors
        Of ``line`` and ``pace``.
    distance_ft : sequence of float
        Lengths in feet.

    Returns
    -------
    Chart
        A panel a component; its table holds the median and interval at each length.
    """
    rows = []
    with drawing(2.6, columns=2) as (figure, axes):
        # A seed each: the same golfers must not seem to return as line and as pace.
        for i, (axis, component) in enumerate(zip(axes[0], COLUMN, strict=True)):
            spreads = believed_spreads(priors[component], distance_ft, seed=SEED + i)
            _beliefs_panel(axis, component, distance_ft, spreads)
            _, low, high = summary(spreads)
            table = {"distance_ft": distance_ft, "component": component}
            ends = {"median": np.median(spreads, axis=0), "lo": low, "hi": high}
            rows.append(pd.DataFrame(table | ends))
        legend_below(figure, axes[0, 0])
    table = pd.concat(rows, ignore_index=True)
    return Chart(
        name="beliefs",
        title="Golfers as the priors expect them",
        alt=_beliefs_alt(table),
        reading="A thin line is one golfer drawn from the priors; the band holds nine in ten.",
        figure=figure,
        table=table,
    )


def _beliefs_panel(axis, component, distance_ft, spreads):
    _, low, high = summary(spreads)
    axis.plot(distance_ft, spreads[:BELIEFS_SHOWN].T, color=GREY, linewidth=0.6, alpha=0.7)
    axis.fill_between(
        distance_ft, low, high, color=COLOUR[component], alpha=0.25, label="nine in ten"
    )
    axis.plot(
        distance_ft, np.median(spreads, axis=0), color=COLOUR[component], label="median golfer"
    )
    distance_axis(axis, distance_ft)
    axis.set_ylim(0, 1.3 * high.max())
    axis.set_xlabel("Length, feet")
    axis.set_title(SPREAD_TITLE[component])


def _beliefs_alt(table):
    middle = table[table["distance_ft"] == REFERENCE_FT]
    said = [
        f"{row.component} spread from {interval(row.lo, row.hi, COLUMN[row.component])}"
        for row in middle.itertuples()
    ]
    return f"Before any putt, nine golfers in ten at {REFERENCE_FT:g} ft: {'; '.join(said)}."


# What the priors expect readings to look like: the prior predictive of a first visit.


FIRST_VISIT_TITLE = {"line": "Line read, degrees", "pace": "Pace read, %"}

# Golfers drawn from the priors, and how many of them are shown, a row each.
GOLFERS, FIRST_VISIT_SHOWN = 2000, 12
PUTTS = 10

# A mishit of a wide golfer must not flatten the rest.
WIDEST_SHARE = 0.98


def believed_readings(prior, *, seed=SEED):
    """Draw golfers from the priors, and what a first visit at 10 ft would read of each.

    Parameters
    ----------
    prior : putlab.model.priors.SpreadPriors
        Priors of one component.
    seed : int
        Seed of the draws.

    Returns
    -------
    ndarray, shape (GOLFERS, PUTTS)
        Readings in the component's unit: direction from the target line, or roll-out over
        the target less one, as `putlab.model.spread` tells their story.
    """
    rng = np.random.default_rng(seed)

    def normal(sd, *shape):
        return sd * rng.standard_normal((GOLFERS, *shape))

    def scale(name):
        median, log_sd = getattr(prior, name + "_median"), getattr(prior, name + "_log_sd")
        return median * np.exp(normal(log_sd))

    base = np.log(prior.sd_median) + normal(prior.sd_log_sd) + scale("between") * normal(1)
    log_sd = base + scale("bump") * normal(1) + scale("form") * normal(1)
    middle = normal(prior.bias_sd) + scale("bias_bump") * normal(1) + scale("setup") * normal(1)
    share = MISHIT_MOST * rng.beta(prior.mishit_a, prior.mishit_b, GOLFERS)
    times = np.where(rng.random((GOLFERS, PUTTS)) < share[:, None], MISHIT_TIMES, 1.0)
    return middle[:, None] + np.exp(log_sd)[:, None] * times * normal(1, PUTTS)


def first_visit_chart(priors=PRIORS):
    """Draw ten putts by each of some golfers whom nobody has seen yet.

    Parameters
    ----------
    priors : dict of str to putlab.model.priors.SpreadPriors
        Of ``line`` and ``pace``.

    Returns
    -------
    Chart
        A panel a component, a row a golfer; its table holds the ends of all readings.
    """
    rows = []
    with drawing(2.6, columns=2, sharey=True) as (figure, axes):
        # A seed each: the same golfers must not seem to return as line and as pace.
        for i, (axis, component) in enumerate(zip(axes[0], FIRST_VISIT_TITLE, strict=True)):
            readings = believed_readings(priors[component], seed=SEED + i)
            _first_visit_panel(axis, component, readings)
            low, high = np.quantile(readings, interval_probabilities())
            rows.append({"component": component, "lo": low, "hi": high})
        axes[0, 0].set_ylabel("Golfers, a row each")
    table = pd.DataFrame(rows)
    return Chart(
        name="first-visit",
        title="First visits as the priors expect them",
        alt=_first_visit_alt(table),
        reading=f"Each row is one golfer drawn from the priors, each mark one of {PUTTS} putts "
        f"from {REFERENCE_FT:g} ft. The upright line is the target; a diamond lies beyond the "
        "scale.",
        figure=figure,
        table=table,
    )


def _first_visit_panel(axis, component, readings):
    shown = readings[:FIRST_VISIT_SHOWN]
    row = np.repeat(np.arange(1, FIRST_VISIT_SHOWN + 1), PUTTS)
    axis.plot(
        shown.ravel(), row, MARKER[component], color=COLOUR[component], alpha=0.6,
        markersize=3, markeredgewidth=0,
    )  # fmt: skip
    axis.axvline(0, color=INK, linewidth=0.8)
    reach = np.quantile(np.abs(readings), WIDEST_SHARE)
    beyond = np.abs(shown) > reach
    axis.plot(
        np.sign(shown[beyond]) * 0.97 * reach, row[beyond.ravel()], "D", color=GREY,
        markersize=3.5,
    )  # fmt: skip
    axis.set_xlim(-reach, reach)
    axis.set_yticks([])
    axis.set_xlabel("+ right" if component == "line" else "+ long")
    axis.set_title(FIRST_VISIT_TITLE[component])


def _first_visit_alt(table):
    row = table.set_index("component")
    line, pace = (np.abs(row.loc[name, ["lo", "hi"]]).max() for name in FIRST_VISIT_TITLE)
    return (
        f"Before any putt, {INTERVAL:.0%} of all readings at {REFERENCE_FT:g} ft are expected "
        f"within {line:.1f}° of the line and within {pace:.0f} % of the pace."
    )
