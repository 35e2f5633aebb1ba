"""Where ten typical putts finish, seen from above, to scale with the hole."""

import numpy as np
import pandas as pd
from matplotlib.patches import Circle
from matplotlib.ticker import FixedLocator, MultipleLocator, NullLocator, StrMethodFormatter
from scipy.special import ndtri

from putlab.base.settings import PAST_FT, SEED, STIMP_FT
from putlab.green.hole_out import hole_out
from putlab.green.published import HOLE_RADIUS_FT, table
from putlab.green.strike import past_limit_ft, rim_ft
from putlab.pages.chart import (
    BLUE,
    COLOUR,
    GREY,
    INK,
    MARKER,
    VERMILION,
    Chart,
    drawing,
    legend_below,
)

TEN = 10

# A missed putt should rest within three feet of the hole (common practice).
CLOSE_FT = 3.0

# More marks than this on one side of a small panel would run into each other.
MOST_STEPS = 7

# Pairings of line with pace that are tried for one that holes as many as expected.
PAIRINGS = 400

FINISH_LOOK = {
    "short": {"marker": "v", "color": VERMILION, "label": "stopped short"},
    "past": {"marker": "^", "color": BLUE, "label": "went past"},
}


def ten_putts(skill, distance_ft, one_putt, *, stimp_ft=STIMP_FT, past_ft=PAST_FT, seed=SEED):
    """Return ten putts that stand for a golfer's whole spread at one length.

    Directions and paces lie evenly over the spread, at its 5, 15, ... 95 % points, paired at
    random; of many pairings one is kept that holes as many of ten as the golfer would.

    Parameters
    ----------
    skill : putlab.green.skill.Skill
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
    """Tell which balls drop (Holmes 1991, Penner 2002; see `putlab.green.strike`)."""
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
    golfer : putlab.posterior.player.Golfer
        One player's posterior.
    estimates : pandas.DataFrame
        The player's rows of `putlab.rounds.estimate.estimate_table`.
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
            _finish_panel(axis, table)
        across, along = _limits(every)
        axes[0, 0].set(xlim=across, ylim=along, ylabel="feet past the hole (− short)")
        for axis in (axes[0, 0].xaxis, axes[0, 0].yaxis):
            axis.set_major_locator(MultipleLocator(_step(*along)))
        axes[0, len(tables) // 2].set_xlabel("feet right of the hole (− left)")
        legend_below(figure, axes[0, 0], columns=2)
    return Chart(
        name="finish",
        title="Where ten typical putts finish",
        alt=_finish_alt(golfer.player, every),
        reading="Seen from above, the putt coming from below; the hole is drawn to scale. Ten "
        "putts that stand for the whole spread; those that drop are in the hole.",
        figure=figure,
        table=every,
    )


def _finish_panel(axis, table):
    axis.set_aspect("equal")
    turn = np.linspace(0, 2 * np.pi, 100)
    axis.plot(
        CLOSE_FT * np.cos(turn), CLOSE_FT * np.sin(turn), ":", color=GREY,
        label=f"{CLOSE_FT:g} ft from the hole",
    )  # fmt: skip
    axis.add_patch(Circle((0, 0), HOLE_RADIUS_FT, color=INK))
    axis.plot([], [], "o", color=INK, markersize=4, label="hole, to scale")
    for end, look in FINISH_LOOK.items():
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


def _finish_alt(player, every):
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


# The published record of the tour, and one golfer who putts as it says.


FIRST_FT, LAST_FT = 2.0, 60.0


def record_chart(golfer):
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
    made = table("putts_made_broadie_2018").frame
    average = table("tour_average_putts").frame
    lengths = np.geomspace(FIRST_FT, LAST_FT, 60)
    out = hole_out(golfer.skill, lengths, stimp_ft=golfer.stimp_ft, past_ft=golfer.past_ft)
    curves = pd.DataFrame(
        {
            "distance_ft": lengths,
            "one_putt": out.one_putt[0],
            "average_putts": out.average_putts[0],
        }
    )
    with drawing(2.6, columns=2) as (figure, axes):
        rate = made["made"] / made["tries"]
        _record_panel(axes[0, 0], made["distance_ft"], rate, curves, "one_putt", "Share holed")
        _record_panel(
            axes[0, 1], average["distance_ft"], average["average_putts"], curves,
            "average_putts", "Average putts",
        )  # fmt: skip
        legend_below(figure, axes[0, 0])
    worst = golfer.average_putts_off.abs()
    return Chart(
        name="record",
        title="The published record and one golfer",
        alt=f"One golfer of {golfer.line_sd_deg:.2f}° line and {golfer.pace_sd_pct:.1f} % pace "
        f"spread against the tour's record: average putts are off by at most {worst.max():.3f} "
        f"(at {worst.idxmax():g} ft).",
        reading="Dots: published. Line: computed for one golfer whose line and pace spread are "
        "the same at all lengths.",
        figure=figure,
        table=curves,
    )


def _record_panel(axis, distance_ft, published, curves, name, title):
    shown = distance_ft.between(FIRST_FT, LAST_FT)
    axis.plot(
        distance_ft[shown], published[shown], "o", color=VERMILION, markersize=3.5,
        fillstyle="none", label="published",
    )  # fmt: skip
    axis.plot(curves["distance_ft"], curves[name], "-", color=BLUE, label="computed")
    axis.set_xlabel("Length, feet")
    axis.set_title(title)


# The verdict on a change: ratios of spread, and the region too small to matter.


COMPONENTS = ("line", "pace")

# Ratios marked on the axis, those that fit.
TICKS = (0.25, 0.33, 0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.1, 1.25, 1.5, 2, 3, 4)

# With more lengths than this only the ratio over all of them is drawn; lengths are shown for
# the spread that the verdict is on.
MOST_LENGTHS = 10


def change_chart(found):
    """Draw by how much a change narrowed or widened the spread.

    Parameters
    ----------
    found : putlab.trial.compare.Comparison
        From `putlab.trial.compare.compare`.

    Returns
    -------
    Chart
        A row for all lengths together and one a length; its table holds the ratios.
    """
    table = ratio_table(found)
    with drawing(1.2 + 0.17 * len(table)) as (figure, axes):
        axis = axes[0, 0]
        small = 1 + np.array([-1, 1]) * found.region_pct / 100
        axis.axvspan(*small, facecolor="#E4E4E4", hatch="///", edgecolor=GREY, linewidth=0,
                     label=f"too small to matter (under {found.region_pct:g} %)")  # fmt: skip
        axis.axvline(1, color=INK, linewidth=0.8)
        place = np.arange(len(table))[::-1]
        for component in COMPONENTS:
            _marks(axis, place, table, component)
        axis.set_yticks(place, table["label"])
        axis.grid(False, axis="y")
        axis.set_xscale("log")
        axis.xaxis.set_major_locator(FixedLocator(TICKS))
        axis.xaxis.set_minor_locator(NullLocator())
        axis.xaxis.set_major_formatter(StrMethodFormatter("{x:g}"))
        axis.set_xlim(0.92 * table["lo"].min(), 1.08 * table["hi"].max())
        axis.set_xlabel("Ratio of spreads (under 1: narrower than before)")
        axis.set_title(f"Verdict: {found.verdict}")
        legend_below(figure, axis)
    return Chart(
        name="change", title="Did the change help?", alt=_change_alt(found, table), figure=figure,
        table=table, reading=_reading(found),
    )  # fmt: skip


def ratio_table(found):
    """Return the ratios of spread, over all lengths and at each.

    Parameters
    ----------
    found : putlab.trial.compare.Comparison
        The comparison.

    Returns
    -------
    pandas.DataFrame
        ``component, label, mean, lo, hi``.
    """
    rows = []
    for component in COMPONENTS:
        whole = getattr(found, f"{component}_sd_ratio")
        if whole is None:
            continue
        ends = {end: whole[end] for end in ("mean", "lo", "hi")}
        rows.append({"component": component, "label": f"{component}, all lengths"} | ends)
        if component != found.metric or len(found.by_distance) > MOST_LENGTHS:
            continue
        for length in found.by_distance.itertuples():
            ends = {e: getattr(length, f"{component}_sd_ratio_{e}") for e in ("mean", "lo", "hi")}
            if pd.notna(ends["mean"]):
                rows.append({"component": component, "label": f"{length.distance_ft:g} ft"} | ends)
    return pd.DataFrame(rows)


def _marks(axis, place, table, component):
    mine = (table["component"] == component).to_numpy()
    if not mine.any():
        return
    mean, low, high = (table.loc[mine, name].to_numpy(float) for name in ("mean", "lo", "hi"))
    whole = np.arange(mean.size) == 0
    for which, size, label in ((whole, 7, component), (~whole, 4, None)):
        axis.errorbar(
            mean[which], place[mine][which], xerr=[(mean - low)[which], (high - mean)[which]],
            linestyle="", color=COLOUR[component], marker=MARKER[component], markersize=size,
            elinewidth=2 if label else 1, label=label,
        )  # fmt: skip


def _reading(found):
    return (
        f"Spread with {found.arms.after or 'none'} as a ratio of that with "
        f"{found.arms.before or 'none'}, with 90 % intervals: under 1 is narrower. The verdict "
        f"is on {found.metric}; within the hatched band a change is too small to matter."
    )


def _change_alt(found, table):
    said = [
        f"{row.component} spread became {row.mean:.2f} times what it was ({row.lo:.2f} to "
        f"{row.hi:.2f})"
        for row in table[table["label"].str.endswith("all lengths")].itertuples()
    ]
    arms = found.arms
    return (
        f"{arms.after or 'none'} against {arms.before or 'none'}: {' and '.join(said)}; "
        f"verdict: {found.verdict}."
    )
