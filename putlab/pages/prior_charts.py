"""What is expected beforehand: of golfers and a first visit by priors, of others by the log."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from scipy.special import ndtri

from putlab.base.settings import INTERVAL, SEED, interval_probabilities
from putlab.base.words import interval
from putlab.model.design import REFERENCE_FT, length_correlation, log_distance
from putlab.model.priors import PRIORS, SpreadPriors
from putlab.model.readings import COMPONENTS
from putlab.model.spread import MISHIT_MOST, MISHIT_TIMES
from putlab.pages import chart
from putlab.pages.chart import Chart
from putlab.pages.skill_charts import SPREAD_TITLE
from putlab.posterior.backtest import Backtest

LENGTHS_FT = (3.0, 6.0, 10.0, 16.0, 24.0, 36.0)

# Golfers drawn from the priors, and how many are shown: as curves, and as a row each.
GOLFERS, CURVES_SHOWN, ROWS_SHOWN = 2000, 30, 12


def _golfers(
    prior: SpreadPriors, seed: int
) -> tuple[np.random.Generator, Callable[..., np.ndarray], Callable[[str], np.ndarray]]:
    # How to draw, for each golfer, normals of a given sd and the scales of the priors.
    rng = np.random.default_rng(seed)

    def normal(sd: float, *shape: int) -> np.ndarray:
        return sd * rng.standard_normal((GOLFERS, *shape))

    def scale(name: str) -> np.ndarray:
        median, log_sd = getattr(prior, name + "_median"), getattr(prior, name + "_log_sd")
        return median * np.exp(normal(log_sd))

    return rng, normal, scale


def prior_spreads(
    prior: SpreadPriors, distance_ft: Sequence[float], *, seed: int = SEED
) -> np.ndarray:
    """Draw golfers' spreads on an ordinary day, shape (GOLFERS, n), as `putlab.model.spread`."""
    _, normal, scale = _golfers(prior, seed)
    x = log_distance(distance_ft)
    base = np.log(prior.sd_median) + normal(prior.sd_log_sd) + scale("between") * normal(1)
    bump = normal(1, x.size) @ np.linalg.cholesky(length_correlation(x, x)).T
    slope = normal(prior.slope_sd)
    return np.exp(base[:, None] + slope[:, None] * x + scale("spot")[:, None] * bump)


def prior_chart(
    priors: Mapping[str, SpreadPriors] = PRIORS, distance_ft: Sequence[float] = LENGTHS_FT
) -> Chart:
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
    with chart.line_and_pace(2.6, SPREAD_TITLE) as (figure, panels):
        # A seed each: the same golfers must not seem to return as line and as pace.
        for i, (component, axis) in enumerate(panels.items()):
            spreads = prior_spreads(priors[component], distance_ft, seed=SEED + i)
            low, high = np.quantile(spreads, interval_probabilities(), axis=0)
            ends = {"median": np.median(spreads, axis=0), "lo": low, "hi": high}
            rows.append(pd.DataFrame({"distance_ft": distance_ft, "component": component} | ends))
            _prior_panel(axis, component, spreads, rows[-1])
    table = pd.concat(rows, ignore_index=True)
    said = [
        f"{row.component} spread from "
        f"{interval(row.lo, row.hi, chart.SPREAD_COLUMN[row.component])}"
        for row in table[table["distance_ft"] == REFERENCE_FT].itertuples()
    ]
    alt = f"Before any putt, nine golfers in ten at {REFERENCE_FT:g} ft: {'; '.join(said)}."
    reading = "A thin line is one golfer drawn from the priors; the band holds nine in ten."
    return Chart("priors", "Golfers as the priors expect them", alt, reading, figure, table)


def _prior_panel(axis: Axes, component: str, spreads: np.ndarray, table: pd.DataFrame) -> None:
    distance_ft, colour = table["distance_ft"], chart.LOOK[component]["color"]
    axis.plot(distance_ft, spreads[:CURVES_SHOWN].T, color=chart.GREY, linewidth=0.6, alpha=0.7)
    axis.fill_between(
        distance_ft, table["lo"], table["hi"], color=colour, alpha=0.25, label="nine in ten"
    )
    axis.plot(distance_ft, table["median"], color=colour, label="median golfer")
    chart.distance_axis(axis, distance_ft)
    axis.set_ylim(0, 1.3 * table["hi"].max())


# What the priors expect readings to look like: the prior predictive of a first visit.


PUTTS = 10

# A mishit of a wide golfer must not flatten the rest.
WIDEST_SHARE = 0.98


def prior_readings(prior: SpreadPriors, *, seed: int = SEED) -> np.ndarray:
    """Draw golfers' readings of a first visit at 10 ft, shape (GOLFERS, PUTTS).

    Direction from the target line, or roll-out over the target less one, in the component's
    unit, as `putlab.model.spread` tells their story.
    """
    rng, normal, scale = _golfers(prior, seed)
    base = np.log(prior.sd_median) + normal(prior.sd_log_sd) + scale("between") * normal(1)
    log_sd = base + scale("spot") * normal(1) + scale("visit_form") * normal(1)
    middle = normal(prior.bias_sd) + scale("bias_spot") * normal(1)
    middle = middle + scale("visit_bias") * normal(1)
    share = MISHIT_MOST * rng.beta(prior.mishit_a, prior.mishit_b, GOLFERS)
    times = np.where(rng.random((GOLFERS, PUTTS)) < share[:, None], MISHIT_TIMES, 1.0)
    return middle[:, None] + np.exp(log_sd)[:, None] * times * normal(1, PUTTS)


def first_visit_chart(priors: Mapping[str, SpreadPriors] = PRIORS) -> Chart:
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
    titles = {"line": "Line read, degrees", "pace": "Pace read, %"}
    with chart.line_and_pace(2.6, titles, sharey=True) as (figure, panels):
        # A seed each: the same golfers must not seem to return as line and as pace.
        for i, (component, axis) in enumerate(panels.items()):
            readings = prior_readings(priors[component], seed=SEED + i)
            _first_visit_panel(axis, component, readings)
            low, high = np.quantile(readings, interval_probabilities())
            rows.append({"component": component, "lo": low, "hi": high})
        panels["line"].set_ylabel("Golfers, a row each")
    table = pd.DataFrame(rows)
    line, pace = table[["lo", "hi"]].abs().max(axis=1)
    alt = (
        f"Before any putt, {INTERVAL:.0%} of all readings at {REFERENCE_FT:g} ft are expected "
        f"within {line:.1f}° of the line and within {pace:.0f} % of the pace."
    )
    reading = (
        f"Each row is one golfer drawn from the priors, each mark one of {PUTTS} putts from "
        f"{REFERENCE_FT:g} ft. The upright line is the target; a diamond lies beyond the scale."
    )
    title = "First visits as the priors expect them"
    return Chart("first-visit", title, alt, reading, figure, table)


def _first_visit_panel(axis: Axes, component: str, readings: np.ndarray) -> None:
    shown = readings[:ROWS_SHOWN]
    row = np.repeat(np.arange(1, ROWS_SHOWN + 1), PUTTS)
    axis.plot(
        shown.ravel(), row, linestyle="", alpha=0.6, markersize=3, markeredgewidth=0,
        **chart.LOOK[component],
    )  # fmt: skip
    axis.axvline(0, color=chart.INK, linewidth=0.8)
    reach = np.quantile(np.abs(readings), WIDEST_SHARE)
    beyond = np.abs(shown) > reach
    axis.plot(
        np.sign(shown[beyond]) * 0.97 * reach, row[beyond.ravel()], "D", color=chart.GREY,
        markersize=3.5,
    )  # fmt: skip
    side = "+ right" if component == "line" else "+ long"
    axis.set(xlim=(-reach, reach), yticks=[], xlabel=side)


def backtest_chart(found: Backtest) -> Chart:
    """Draw the readings of the last visits in the ranges predicted from those before.

    Parameters
    ----------
    found : putlab.posterior.backtest.Backtest
        Of one player or several, whose readings are drawn together.

    Returns
    -------
    Chart
        A point a reading; its height is its place in what was predicted, in spreads.
    """
    middle = (found.readings["low"] + found.readings["high"]) / 2
    place = ndtri(middle.clip(lower=1e-4, upper=1 - 1e-4))
    table = found.readings.assign(place=place)
    visits = list(table["session"].unique())
    titles = {c: f"{c.capitalize()} readings" for c in COMPONENTS}
    with chart.line_and_pace(2.6, titles, sharey=True, legend=0) as (figure, panels):
        for component, axis in panels.items():
            mine = table[table["component"] == component]
            at = mine["session"].map(visits.index)
            aside = np.random.default_rng(SEED).uniform(-0.3, 0.3, len(mine))
            for level, shade in ((INTERVAL, 0.35), (0.5, 0.6)):
                end = ndtri((1 + level) / 2)
                axis.axhspan(-end, end, color=chart.SKY, alpha=shade, linewidth=0)
            axis.scatter(at + aside, mine["place"], s=4, color=chart.LOOK[component]["color"])
            axis.set_xticks(range(len(visits)), [chart.label_of(v) for v in visits], rotation=30)
        panels["line"].set(ylabel="Place in the prediction, spreads", ylim=(-4, 4))
    reading = (
        "Each point is a reading; the dark band is where half of them, the light one where "
        f"{INTERVAL:.0%} were expected before the visit. Points above lie right or long."
    )
    return Chart("backtest", "Visits as predicted", found.sentence, reading, figure, table)
