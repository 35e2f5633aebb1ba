"""What the model believes and how it holds: its priors, a backtest, the published record."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from scipy.special import ndtri

from putlab.base.settings import INTERVAL, SEED, interval_probabilities
from putlab.base.words import interval, length_words
from putlab.green import published
from putlab.green.hole_out import hole_out
from putlab.model.design import REFERENCE_FT, length_correlation, log_distance
from putlab.model.priors import PRIORS, SpreadPriors
from putlab.model.readings import COMPONENTS
from putlab.pages import chart
from putlab.pages.chart import Chart, chart_of
from putlab.pages.skill_charts import SPREAD_TITLE
from putlab.posterior.backtest import Backtest
from putlab.rounds.reference import TourGolfer

LENGTHS_FT = (3.0, 6.0, 10.0, 16.0, 24.0, 36.0)

# Golfers drawn from the priors, and how many are shown.
GOLFERS, CURVES_SHOWN = 2000, 30


def prior_spreads(prior: SpreadPriors, seed: int) -> np.ndarray:
    """Draw golfers' spreads at `LENGTHS_FT` on an ordinary day, as `putlab.model.spread`."""
    rng = np.random.default_rng(seed)

    def normal(sd: float, n: int = 1) -> np.ndarray:
        return sd * rng.standard_normal((GOLFERS, n))

    def scale(name: str) -> np.ndarray:
        median, log_sd = getattr(prior, name + "_median"), getattr(prior, name + "_log_sd")
        return median * np.exp(normal(log_sd))

    x = log_distance(LENGTHS_FT)
    base = np.log(prior.sd_median) + normal(prior.sd_log_sd) + scale("between") * normal(1)
    bump = normal(1, x.size) @ np.linalg.cholesky(length_correlation(x, x)).T
    return np.exp(base + normal(prior.slope_sd) * x + scale("spot") * bump)


def prior_chart(priors: Mapping[str, SpreadPriors] = PRIORS) -> Chart:
    """Draw golfers as the priors expect them, before any putt is seen.

    Parameters
    ----------
    priors : dict of str to putlab.model.priors.SpreadPriors
        Of ``line`` and ``pace``.

    Returns
    -------
    Chart
        A panel a component; its table holds the median and interval at each length.
    """
    rows = []
    with chart.line_and_pace(2.6, SPREAD_TITLE) as (figure, panels):
        # A seed each: the same golfers must not seem to return as line and as pace.
        for i, (component, axis) in enumerate(panels.items()):
            spreads = prior_spreads(priors[component], SEED + i)
            low, high = np.quantile(spreads, interval_probabilities(), axis=0)
            ends = {"median": np.median(spreads, axis=0), "lo": low, "hi": high}
            rows.append(pd.DataFrame({"distance_ft": LENGTHS_FT, "component": component} | ends))
            colour = chart.LOOK[component]["color"]
            axis.plot(LENGTHS_FT, spreads[:CURVES_SHOWN].T, color=chart.GREY, lw=0.6, alpha=0.7)
            axis.fill_between(LENGTHS_FT, low, high, color=colour, alpha=0.25, label="nine in ten")
            axis.plot(LENGTHS_FT, ends["median"], color=colour, label="median golfer")
            chart.distance_axis(axis, LENGTHS_FT)
            axis.set_ylim(0, 1.3 * high.max())
    table = pd.concat(rows, ignore_index=True)
    said = [
        f"{row.component} spread from "
        f"{interval(row.lo, row.hi, chart.SPREAD_COLUMN[row.component])}"
        for row in table[table["distance_ft"] == REFERENCE_FT].itertuples()
    ]
    at = length_words(REFERENCE_FT)
    alt = f"Before any putt, nine golfers in ten at {at}: {'; '.join(said)}."
    reading = "A thin line is one golfer drawn from the priors; the band holds nine in ten."
    return Chart("priors", "Golfers as the priors expect them", alt, reading, figure, table)


@chart_of.register
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
    table = found.readings[["session", "component"]].assign(place=place)
    visits = list(table["session"].unique())
    titles = {c: f"{c.capitalize()} readings" for c in COMPONENTS}
    with chart.line_and_pace(2.6, titles, sharey=True, legend=0) as (figure, panels):
        for component, axis in panels.items():
            mine = table[table["component"] == component]
            at = pd.Categorical(mine["session"], visits).codes
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


# Lengths at which the published record is shown.
FIRST_FT, LAST_FT = 2.0, 60.0


@chart_of.register
def published_record_chart(golfer: TourGolfer) -> Chart:
    """Draw the tour's made rates and average putts, published and computed.

    Parameters
    ----------
    golfer : putlab.rounds.reference.TourGolfer
        From `putlab.rounds.reference.tour_golfer`.

    Returns
    -------
    Chart
        Two panels; its table is the computed curves.
    """
    made = published.table("putts_made_broadie_2018").frame
    shown = {
        "one_putt": ("Share holed", made.assign(one_putt=made["made"] / made["tries"])),
        "average_putts": ("Average putts", published.table("tour_average_putts").frame),
    }
    lengths = np.geomspace(FIRST_FT, LAST_FT, 60)
    out = hole_out(golfer.skill, lengths, stimp_ft=golfer.stimp_ft, past_ft=golfer.past_ft)
    curves = pd.DataFrame({"distance_ft": lengths} | {n: getattr(out, n)[0] for n in shown})
    with chart.drawing(2.6, columns=2) as (figure, axes):
        for axis, (name, (title, record)) in zip(axes, shown.items(), strict=True):
            record = record[record["distance_ft"].between(FIRST_FT, LAST_FT)]
            axis.plot(
                record["distance_ft"], record[name], "o", color=chart.VERMILION, markersize=3.5,
                fillstyle="none", label="published",
            )  # fmt: skip
            axis.plot(lengths, curves[name], "-", color=chart.BLUE, label="computed")
            axis.set(xlabel="Length, feet", title=title)
    worst = golfer.average_putts_off.abs()
    alt = (
        f"One golfer of {golfer.line_sd_deg:.2f}° line and {golfer.pace_sd_pct:.1f} % pace spread "
        f"against the tour's record: average putts are off by at most {worst.max():.3f} (at "
        f"{worst.idxmax():g} ft)."
    )
    reading = (
        "Dots: published. Line: computed for one golfer whose line and pace spread are the same "
        "at all lengths."
    )
    title = "The published record and one golfer"
    return Chart("published-record", title, alt, reading, figure, curves)
