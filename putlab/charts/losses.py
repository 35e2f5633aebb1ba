"""Strokes lost by distance, and to which cause."""

import numpy as np

from putlab.charts.chart import (
    BLUE,
    INK,
    ORANGE,
    SKY,
    VERMILION,
    Chart,
    drawing,
    legend_below,
    length_axis,
)

# Colour and hatching: either alone tells the causes apart.
LOOK = {
    "line spread": {"color": BLUE, "hatch": ""},
    "line bias": {"color": SKY, "hatch": "//"},
    "pace spread": {"color": VERMILION, "hatch": "\\\\"},
    "pace bias": {"color": ORANGE, "hatch": "xx"},
    "reading the green": {"color": "#DDDDDD", "hatch": ".."},
}
TOTAL = "total"


def losses_chart(player, causes, reference):
    """Draw the strokes lost on a reference, by distance and cause.

    Parameters
    ----------
    player : str
        Label.
    causes : pandas.DataFrame
        From `putlab.attribution.Attribution.table`.
    reference : str
        Who the golfer is compared with, such as ``tour average``.

    Returns
    -------
    Chart
        A bar a distance, split by cause; its table is the causes.
    """
    wide = causes.pivot(index="distance_ft", columns="cause", values="strokes")
    total = causes[causes["cause"] == TOTAL].set_index("distance_ft")
    place = np.arange(len(wide))
    with drawing(2.7) as (figure, axes):
        axis = axes[0, 0]
        above, below = np.zeros(len(wide)), np.zeros(len(wide))
        for cause in shown_causes(wide):
            strokes = wide[cause].to_numpy()
            bottom = np.where(strokes >= 0, above, below)
            axis.bar(place, strokes, 0.7, bottom=bottom, edgecolor=INK, linewidth=0.5,
                     label=cause, **LOOK[cause])  # fmt: skip
            above, below = above + np.maximum(strokes, 0), below + np.minimum(strokes, 0)
        mean, low, high = (total[name].to_numpy() for name in _ends())
        axis.errorbar(place + 0.42, mean, [mean - low, high - mean], fmt="D", color=INK,
                      markersize=4, elinewidth=1.2, label="in all")  # fmt: skip
        axis.axhline(0, color=INK, linewidth=0.8)
        length_axis(axis, wide.index)
        axis.set_xlabel("Length of the first putt, feet")
        axis.set_title(f"Strokes a round lost, against the {reference}")
        legend_below(figure, axis)
    return Chart(
        name="losses",
        title="Strokes lost by distance and cause",
        alt=_alt(player, wide, total, reference),
        reading=f"Against the {reference}, on a real green: a bar for the first putts of each "
        "length in a round. Below nought the player is the better. The mark is the sum.",
        figure=figure,
        table=causes,
    )


def shown_causes(wide):
    """Return the causes that amount to anything; what is nought everywhere is not drawn.

    Parameters
    ----------
    wide : pandas.DataFrame
        Strokes with a column a cause.

    Returns
    -------
    list of str
        Causes of 0.0005 strokes or more at some distance.
    """
    return [cause for cause in LOOK if wide[cause].abs().max() >= 0.0005]


def _ends():
    return "strokes", "strokes_lo", "strokes_hi"


def _alt(player, wide, total, reference):
    worst = total["strokes"].idxmax()
    mean, low, high = total.loc[worst, list(_ends())]
    cause = wide.loc[worst, list(LOOK)].idxmax()
    return (
        f"Strokes lost by {player} against the {reference}, by distance: most a round on putts "
        f"from {worst:g} ft ({mean:.2f}, {low:.2f} to {high:.2f}), where the largest cause is "
        f"{cause} ({wide.loc[worst, cause]:.2f})."
    )
