"""Where ten typical putts finish, seen from above, to scale with the hole."""

import numpy as np
import pandas as pd
from matplotlib.patches import Circle
from matplotlib.ticker import MultipleLocator
from scipy.special import ndtri

from putlab.charts.chart import BLUE, GREY, INK, VERMILION, Chart, drawing, legend_below
from putlab.flat_green.flat import past_limit_ft, rim_ft
from putlab.published import HOLE_RADIUS_FT
from putlab.settings import PAST_FT, SEED, STIMP_FT

TEN = 10

# A missed putt should rest within three feet of the hole (common practice).
CLOSE_FT = 3.0

# More marks than this on one side of a small panel would run into each other.
MOST_STEPS = 7

# Pairings of line with pace that are tried for one that holes as many as expected.
PAIRINGS = 400

LOOK = {
    "short": {"marker": "v", "color": VERMILION, "label": "stopped short"},
    "past": {"marker": "^", "color": BLUE, "label": "went past"},
}


def ten_putts(skill, distance_ft, one_putt, *, stimp_ft=STIMP_FT, past_ft=PAST_FT, seed=SEED):
    """Return ten putts that stand for a golfer's whole spread at one length.

    Directions and paces lie evenly over the spread, at its 5, 15, ... 95 % points, paired at
    random; of many pairings one is kept that holes as many of ten as the golfer would.

    Parameters
    ----------
    skill : putlab.skill.Skill
        Spread and bias; the mean over draws is used.
    distance_ft : float
        Length of the putt in feet.
    one_putt : float
        The golfer's chance of holing it.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims, in feet.
    seed : int
        Seed of the pairings.

    Returns
    -------
    pandas.DataFrame
        ``right_ft, past_ft, end``: where each ball stops, from the hole's centre, and
        whether that is ``holed``, ``short`` or ``past``. A holed ball is in the hole.
    """
    here = skill.at([distance_ft])
    z = ndtri((np.arange(TEN) + 0.5) / TEN)
    line = np.radians(here.line_bias_deg.mean() + here.line_sd_deg.mean() * z)
    pace = 1 + (here.pace_bias_pct.mean() + here.pace_sd_pct.mean() * z) / 100
    roll = np.maximum((distance_ft + past_ft) * pace, 0)
    rng = np.random.default_rng([seed, round(100 * distance_ft)])
    orders = rng.permuted(np.tile(np.arange(TEN), (PAIRINGS, 1)), axis=1)
    drops = _drops(distance_ft, line, roll[orders], stimp_ft)
    # Among pairings that hole as many as expected: the least connection of line and pace.
    lean = np.abs(z[orders] @ z)
    best = np.lexsort((lean, np.abs(drops.sum(axis=1) - TEN * one_putt).round()))[0]
    holed, roll = drops[best], roll[orders[best]]
    right, past = roll * np.sin(line), roll * np.cos(line) - distance_ft
    end = np.where(holed, "holed", np.where(past < 0, "short", "past"))
    places = {"right_ft": np.where(holed, 0, right), "past_ft": np.where(holed, 0, past)}
    return pd.DataFrame(places | {"end": end})


def _drops(distance_ft, line_rad, roll_ft, stimp_ft):
    """Tell which balls drop (Holmes 1991, Penner 2002; see `putlab.flat_green.flat`)."""
    offset = np.abs(distance_ft * np.sin(line_rad))
    along = distance_ft * np.cos(line_rad)
    inside = (offset < HOLE_RADIUS_FT) & (along > 0)
    at = np.minimum(offset, HOLE_RADIUS_FT)
    beyond = roll_ft - along
    return inside & (beyond >= -rim_ft(at)) & (beyond <= past_limit_ft(at, stimp_ft))


def finish_chart(golfer, estimates, distances_ft, *, stimp_ft=STIMP_FT, past_ft=PAST_FT):
    """Draw where ten typical putts finish, from each of a few lengths.

    Parameters
    ----------
    golfer : putlab.golfer.Golfer
        One player's posterior.
    estimates : pandas.DataFrame
        The player's rows of `putlab.estimate.estimate_table`.
    distances_ft : list of float
        Lengths to show, each a row of the estimates.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims, in feet.

    Returns
    -------
    Chart
        A panel a length, on one scale; its table holds every ball.
    """
    one_putt = estimates.set_index("distance_ft")["one_putt"]
    skill = golfer.skill(estimates["distance_ft"].to_numpy(), new_day=True)
    tables = []
    for distance in distances_ft:
        ten = ten_putts(skill, distance, one_putt[distance], stimp_ft=stimp_ft, past_ft=past_ft)
        tables.append(ten.assign(distance_ft=distance))
    every = pd.concat(tables, ignore_index=True)
    with drawing(2.85, columns=len(tables), sharex=True, sharey=True) as (figure, axes):
        for axis, table in zip(axes[0], tables, strict=True):
            _panel(axis, table)
        across, along = _limits(every)
        axes[0, 0].set(xlim=across, ylim=along, ylabel="feet past the hole (− short)")
        for axis in (axes[0, 0].xaxis, axes[0, 0].yaxis):
            axis.set_major_locator(MultipleLocator(_step(*along)))
        axes[0, len(tables) // 2].set_xlabel("feet right of the hole (− left)")
        legend_below(figure, axes[0, 0], columns=2)
    return Chart(
        name="finish",
        title="Where ten typical putts finish",
        alt=_alt(golfer.player, every),
        reading="Seen from above, the putt coming from below; the hole is drawn to scale. Ten "
        "putts that stand for the whole spread; those that drop are in the hole.",
        figure=figure,
        table=every,
    )


def _panel(axis, table):
    axis.set_aspect("equal")
    turn = np.linspace(0, 2 * np.pi, 100)
    axis.plot(
        CLOSE_FT * np.cos(turn), CLOSE_FT * np.sin(turn), ":", color=GREY,
        label=f"{CLOSE_FT:g} ft from the hole",
    )  # fmt: skip
    axis.add_patch(Circle((0, 0), HOLE_RADIUS_FT, color=INK))
    axis.plot([], [], "o", color=INK, markersize=4, label="hole, to scale")
    for end, look in LOOK.items():
        balls = table[table["end"] == end]
        axis.plot(balls["right_ft"], balls["past_ft"], linestyle="", markersize=4.5, **look)
    holed = int((table["end"] == "holed").sum())
    title = f"{table['distance_ft'].iloc[0]:g} ft\n{holed} of {TEN} in"
    axis.set_title(title, fontsize=8.5, loc="center")


def _limits(every):
    """Return half the width and the two ends of the height that show every ball."""
    wide = max(CLOSE_FT, np.abs(every["right_ft"]).max()) + 0.4
    return (
        (-wide, wide),
        (
            min(-CLOSE_FT, every["past_ft"].min()) - 0.4,
            max(CLOSE_FT, every["past_ft"].max()) + 0.4,
        ),
    )


def _step(low, high):
    """Return the feet between marks: as far as the circle reaches, or a multiple of it."""
    return CLOSE_FT * max(1, np.ceil((high - low) / (MOST_STEPS * CLOSE_FT)))


def _alt(player, every):
    said = []
    for distance, table in every.groupby("distance_ft"):
        count = table["end"].value_counts()
        missed = table[table["end"] != "holed"]
        near = int((np.hypot(missed["right_ft"], missed["past_ft"]) <= CLOSE_FT).sum())
        said.append(
            f"from {distance:g} ft {count.get('holed', 0)} drop, {count.get('short', 0)} stop "
            f"short, {count.get('past', 0)} run past"
        )
        if len(missed):
            said[-1] += f"; of the {len(missed)} that miss {near} within {CLOSE_FT:g} ft"
    return (
        f"Ten typical putts of {player} seen from above, to scale with the hole: "
        + ". ".join(said)
        + "."
    )
