"""What the priors expect of a golfer before the first putt: the prior predictive spread."""

import numpy as np
import pandas as pd

from putlab.charts.chart import COLOUR, GREY, Chart, distance_axis, drawing, legend_below
from putlab.charts.spread import COLUMN, TITLE
from putlab.design import REFERENCE_FT, bump_correlation
from putlab.golfer import summary
from putlab.pages.wording import interval
from putlab.priors import PRIORS
from putlab.settings import SEED

LENGTHS_FT = (3.0, 6.0, 10.0, 16.0, 24.0, 36.0)
DRAWS, SHOWN = 2000, 30


def believed_spreads(prior, distance_ft, *, seed=SEED):
    """Draw golfers from the priors: their spread at each length, on an ordinary day.

    Parameters
    ----------
    prior : putlab.priors.SpreadPriors
        Priors of one component.
    distance_ft : array_like, shape (n,)
        Lengths in feet.
    seed : int
        Seed of the draws.

    Returns
    -------
    ndarray, shape (draws, n)
        Spreads in the component's unit, as `putlab.spread` builds them.
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
    priors : dict of str to putlab.priors.SpreadPriors
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
            _panel(axis, component, distance_ft, spreads)
            _, low, high = summary(spreads)
            table = {"distance_ft": distance_ft, "component": component}
            ends = {"median": np.median(spreads, axis=0), "lo": low, "hi": high}
            rows.append(pd.DataFrame(table | ends))
        legend_below(figure, axes[0, 0])
    table = pd.concat(rows, ignore_index=True)
    return Chart(
        name="beliefs",
        title="Golfers as the priors expect them",
        alt=_alt(table),
        reading="A thin line is one golfer drawn from the priors; the band holds nine in ten.",
        figure=figure,
        table=table,
    )


def _panel(axis, component, distance_ft, spreads):
    _, low, high = summary(spreads)
    axis.plot(distance_ft, spreads[:SHOWN].T, color=GREY, linewidth=0.6, alpha=0.7)
    axis.fill_between(
        distance_ft, low, high, color=COLOUR[component], alpha=0.25, label="nine in ten"
    )
    axis.plot(
        distance_ft, np.median(spreads, axis=0), color=COLOUR[component], label="median golfer"
    )
    distance_axis(axis, distance_ft)
    axis.set_ylim(0, 1.3 * high.max())
    axis.set_xlabel("Length, feet")
    axis.set_title(TITLE[component])


def _alt(table):
    middle = table[table["distance_ft"] == REFERENCE_FT]
    said = [
        f"{row.component} spread from {interval(row.lo, row.hi, COLUMN[row.component])}"
        for row in middle.itertuples()
    ]
    return f"Before any putt, nine golfers in ten at {REFERENCE_FT:g} ft: {'; '.join(said)}."
