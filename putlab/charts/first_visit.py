"""What the priors expect readings to look like: the prior predictive of a first visit."""

import numpy as np
import pandas as pd

from putlab.charts.chart import COLOUR, GREY, INK, MARKER, Chart, drawing
from putlab.design import REFERENCE_FT
from putlab.priors import PRIORS
from putlab.settings import INTERVAL, SEED, interval_probabilities
from putlab.spread import MISHIT_MOST, MISHIT_TIMES

TITLE = {"line": "Line read, degrees", "pace": "Pace read, %"}

# Golfers drawn from the priors, and how many of them are shown, a row each.
GOLFERS, SHOWN = 2000, 12
PUTTS = 10

# A mishit of a wide golfer must not flatten the rest.
WIDEST_SHARE = 0.98


def believed_readings(prior, *, seed=SEED):
    """Draw golfers from the priors, and what a first visit at 10 ft would read of each.

    Parameters
    ----------
    prior : putlab.priors.SpreadPriors
        Priors of one component.
    seed : int
        Seed of the draws.

    Returns
    -------
    ndarray, shape (GOLFERS, PUTTS)
        Readings in the component's unit: direction from the target line, or roll-out over
        the target less one, as `putlab.spread` tells their story.
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
    priors : dict of str to putlab.priors.SpreadPriors
        Of ``line`` and ``pace``.

    Returns
    -------
    Chart
        A panel a component, a row a golfer; its table holds the ends of all readings.
    """
    rows = []
    with drawing(2.6, columns=2, sharey=True) as (figure, axes):
        # A seed each: the same golfers must not seem to return as line and as pace.
        for i, (axis, component) in enumerate(zip(axes[0], TITLE, strict=True)):
            readings = believed_readings(priors[component], seed=SEED + i)
            _panel(axis, component, readings)
            low, high = np.quantile(readings, interval_probabilities())
            rows.append({"component": component, "lo": low, "hi": high})
        axes[0, 0].set_ylabel("Golfers, a row each")
    table = pd.DataFrame(rows)
    return Chart(
        name="first-visit",
        title="First visits as the priors expect them",
        alt=_alt(table),
        reading=f"Each row is one golfer drawn from the priors, each mark one of {PUTTS} putts "
        f"from {REFERENCE_FT:g} ft. The upright line is the target; a diamond lies beyond the "
        "scale.",
        figure=figure,
        table=table,
    )


def _panel(axis, component, readings):
    shown = readings[:SHOWN]
    row = np.repeat(np.arange(1, SHOWN + 1), PUTTS)
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
    axis.set_title(TITLE[component])


def _alt(table):
    row = table.set_index("component")
    line, pace = (np.abs(row.loc[name, ["lo", "hi"]]).max() for name in TITLE)
    return (
        f"Before any putt, {INTERVAL:.0%} of all readings at {REFERENCE_FT:g} ft are expected "
        f"within {line:.1f}° of the line and within {pace:.0f} % of the pace."
    )
