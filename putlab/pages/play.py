"""Pictures to play with: drag a number and watch what it does. Each is drawn in a blink."""

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.figure import Figure
from scipy.special import ndtr, ndtri

from putlab.base.settings import PAST_FT, SEED, STIMP_FT, interval_probabilities
from putlab.green.hole_out import hole_out
from putlab.green.published import green_spread
from putlab.green.skill import SPREAD_AND_BIAS, Skill
from putlab.pages import chart
from putlab.pages.chart import Chart
from putlab.practice.learning import Learning

LENGTHS_FT = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50)
PASTS_FT = (0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0)
SPREADS_DEG = np.geomspace(0.1, 6.0, 120)
MIDDLES_DEG = np.linspace(-2.0, 2.0, 41)


def make_rates(line_sd_deg: float = 1.3, pace_sd_pct: float = 9.0) -> Chart:
    """Draw the chance of one putt and of three by distance, on the flat.

    Parameters
    ----------
    line_sd_deg, pace_sd_pct : float
        Spread of line in degrees and of pace in percent, the same at every length.

    Returns
    -------
    Chart
        Its table: `putlab.hole_out` at fourteen lengths.
    """
    table = hole_out(Skill.constant(line_sd_deg, pace_sd_pct), LENGTHS_FT).table
    lines = {"one putt": 100 * table["one_putt"], "three or more": 100 * table["three_putt"]}
    at = table.set_index("distance_ft")["one_putt"]
    said = f"{at[5]:.0%} of putts drop from 5 ft, {at[10]:.0%} from 10 ft."
    reading = "Widen line and the short putts go; widen pace and the three-putts come."
    figure = _curves(table["distance_ft"], lines, "distance, ft", "% of putts")
    return Chart("make_rates", "What spread does to putts", said, reading, figure, table)


def aim_past(
    past_ft: float = PAST_FT,
    stimp_ft: float = STIMP_FT,
    distance_ft: float = 10.0,
    line_sd_deg: float = 1.3,
    pace_sd_pct: float = 9.0,
) -> Chart:
    """Draw putts needed by how far past the hole the ball is aimed to roll.

    Parameters
    ----------
    past_ft : float
        The aim that is marked, in feet.
    stimp_ft, distance_ft : float
        Green speed and length of the putt, in feet.
    line_sd_deg, pace_sd_pct : float
        Spread of line in degrees and of pace in percent.

    Returns
    -------
    Chart
        Its table: ``past_ft, one_putt, average_putts``.
    """
    skill, rows = Skill.constant(line_sd_deg, pace_sd_pct), []
    for past in sorted({*PASTS_FT, past_ft}):
        out = hole_out(skill, [distance_ft], past_ft=past, stimp_ft=stimp_ft)
        rows.append((past, out.one_putt.item(), out.average_putts.item()))
    table = pd.DataFrame(rows, columns=["past_ft", "one_putt", "average_putts"])
    own = table[table["past_ft"] == past_ft].iloc[0]
    said = f"{own['one_putt']:.0%} drop, {own['average_putts']:.2f} putts on average."
    lines = {"average putts": table["average_putts"]}
    figure = _curves(table["past_ft"], lines, "aimed past the hole, ft", "putts", mark=past_ft)
    reading = "The dashed line is the aim chosen."
    return Chart("aim_past", "How far past to aim", said, reading, figure, table)


def display_step(step_deg: float = 1.0, true_sd_deg: float = 0.8, putts: int = 60) -> Chart:
    """Draw one golfer's putts as a display shows them, with what is made of their spread.

    Parameters
    ----------
    step_deg : float
        Step of the display, in degrees.
    true_sd_deg : float
        Spread that is true of the golfer, in degrees.
    putts : int
        Number of putts struck.

    Returns
    -------
    Chart
        Its table: ``what, sd_deg, lo, hi``: truth, plain standard deviation, estimate.
    """
    # Evenly spaced quantiles: what is seen is the display's doing, not luck.
    true = 0.2 + true_sd_deg * ndtri((np.arange(int(putts)) + 0.5) / int(putts))
    shown = np.round(true / step_deg) * step_deg
    total = np.cumsum(_likelihood(shown - step_deg / 2, shown + step_deg / 2))
    places = (0.5, *interval_probabilities())
    median, low, high = np.interp(places, total / total[-1], SPREADS_DEG)
    plain = shown.std(ddof=1)
    table = pd.DataFrame({"what": ["true", "plain", "estimated"]})
    table["sd_deg"] = [true_sd_deg, plain, median]
    table["lo"], table["hi"] = [np.nan, np.nan, low], [np.nan, np.nan, high]
    with chart.drawing(3.0) as (figure, (axis,)):
        values, counts = np.unique(np.round(shown, 6), return_counts=True)
        axis.bar(values, counts, width=0.8 * step_deg, color=chart.LOOK["line"]["color"])
        axis.set(xlabel="start direction as shown, degrees", ylabel="putts")
    said = (
        f"True spread {true_sd_deg:.2f}°, plain standard deviation {plain:.2f}°, estimated "
        f"{median:.2f}° ({low:.2f} to {high:.2f})."
    )
    reading = "Coarser steps swell the plain figure; the estimate knows that a reading is a range."
    return Chart("display_step", "What a coarse display does", said, reading, figure, table)


def prior_strength(prior_log_sd: float = 0.5, putts: int = 10, prior_sd_deg: float = 1.0) -> Chart:
    """Draw what few readings and a belief make of a spread, by the strength of the belief.

    Parameters
    ----------
    prior_log_sd : float
        Width of the belief, as sd of log spread: small is strong.
    putts : int
        Readings of a golfer of true spread 1.6 degrees, in tenths of a degree.
    prior_sd_deg : float
        Middle of the belief, in degrees.

    Returns
    -------
    Chart
        Its table: ``sd_deg, belief, readings, both``: densities, each adding to one.
    """
    shown = np.round(1.6 * np.random.default_rng(SEED).standard_normal(int(putts)), 1)
    belief = np.exp(-((np.log(SPREADS_DEG / prior_sd_deg) / prior_log_sd) ** 2) / 2)
    likely = _likelihood(shown - 0.05, shown + 0.05)
    lines = {"belief": belief, "readings": likely, "both": belief * likely}
    lines = {name: values / values.sum() for name, values in lines.items()}
    table = pd.DataFrame({"sd_deg": SPREADS_DEG} | lines)
    middle = np.interp(0.5, np.cumsum(lines["both"]), SPREADS_DEG)
    said = f"{int(putts)} putts and the belief together say {middle:.2f}°; the truth is 1.60°."
    reading = "A strong belief holds few readings back; many readings overrule it."
    figure = _curves(table["sd_deg"], lines, "line spread, degrees", "how likely")
    return Chart("prior_strength", "A belief and a few putts", said, reading, figure, table)


def practice(
    minutes: float = 60.0,
    experience: float = 2000.0,
    line_bias_deg: float = 0.5,
    pace_bias_pct: float = 4.0,
    line_bias_putts: float = 90.0,
    pace_bias_putts: float = 20.0,
    distance_ft: float = 10.0,
) -> Chart:
    """Draw what time at one length saves, spent on line or on pace, on a real green.

    Parameters
    ----------
    minutes : float
        Time, all at this length.
    experience : float
        Putts struck there before.
    line_bias_deg, pace_bias_pct : float
        Where the middle of the putts lies now; spreads are 1.3 degrees and 9 percent.
    line_bias_putts, pace_bias_putts : float
        Putts that halve each bias.
    distance_ft : float
        Length of the putt, in feet.

    Returns
    -------
    Chart
        Its table: ``practised, putts, saved_by_middle, saved_by_scatter``, strokes a hundred
        putts, medians of the assumptions only, without carry-over.
    """
    learning = Learning()
    struck = float(minutes * learning.putts_a_minute([distance_ft])[0])
    growth = float(np.log1p(struck / experience))
    now = {"line_sd_deg": 1.3, "line_bias_deg": line_bias_deg}
    now |= {"pace_sd_pct": 9.0, "pace_bias_pct": pace_bias_pct}

    def putts(golfer: dict[str, Any]) -> float:
        skill = Skill.constant(**golfer).wider(*green_spread())
        return 100 * hole_out(skill, [distance_ft]).average_putts.item()

    rows = []
    halves = {"line": line_bias_putts, "pace": pace_bias_putts}
    for component, (sd, bias) in SPREAD_AND_BIAS.items():
        straight = now | {bias: now[bias] * 0.5 ** (struck / halves[component])}
        rate = getattr(learning, f"{component}_rate")
        tight = straight | {sd: now[sd] * float(np.exp(-rate * growth))}
        before, middle, after = map(putts, (now, straight, tight))
        rows.append((component, struck, before - middle, middle - after))
    columns = ["practised", "putts", "saved_by_middle", "saved_by_scatter"]
    table = pd.DataFrame(rows, columns=columns)
    whole = table["saved_by_middle"] + table["saved_by_scatter"]
    best = table["practised"][whole.idxmax()]
    said = f"{struck:.0f} putts; {best} saves more: {whole.max():.1f} strokes in 100 such putts."
    with chart.drawing(2.2) as (figure, (axis,)):
        axis.barh(table["practised"], table["saved_by_middle"], label="correcting the middle")
        axis.barh(
            table["practised"], table["saved_by_scatter"], left=table["saved_by_middle"],
            hatch="//", edgecolor="white", label="narrowing the scatter",
        )  # fmt: skip
        axis.set(xlabel="strokes saved in 100 such putts")
    reading = "Soon it is the middle that pays; scatter takes thousands of putts to narrow."
    return Chart("practice", "Line or pace?", said, reading, figure, table)


def _likelihood(lo: np.ndarray, hi: np.ndarray) -> np.ndarray:
    """Likelihood of each spread of the grid, the middle of the putts being anywhere."""
    sd, middle = SPREADS_DEG[:, None, None], MIDDLES_DEG[:, None]
    mass = ndtr((hi - middle) / sd) - ndtr((lo - middle) / sd)
    log = np.log(np.maximum(mass, 1e-300)).sum(axis=-1)
    return np.exp(log - log.max()).sum(axis=1)


def _curves(
    x: pd.Series, lines: dict, xlabel: str, ylabel: str, mark: float | None = None
) -> Figure:
    with chart.drawing(3.0) as (figure, (axis,)):
        for (name, values), style in zip(lines.items(), ("-", "--", "-."), strict=False):
            axis.plot(x, values, style, label=name)
        if mark is not None:
            axis.axvline(mark, color=chart.INK, linestyle="--", linewidth=0.8)
        axis.set(xlabel=xlabel, ylabel=ylabel)
    return figure
