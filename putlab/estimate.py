"""The table of estimates: a row per player and distance, every number with its interval."""

import numpy as np
import pandas as pd

from putlab.golfer import summary
from putlab.kept_putts import STROKES, kept_putts
from putlab.settings import PAST_FT, STIMP_FT

SPREADS = ("line_sd_deg", "line_bias_deg", "pace_sd_pct", "pace_bias_pct")
COLUMNS = [
    "player",
    "distance_ft",
    "putts",
    "sessions",
    *(name + end for name in (*SPREADS, *STROKES) for end in ("", "_lo", "_hi")),
]


def estimate_table(fit, players=None, *, stimp_ft=STIMP_FT, past_ft=PAST_FT):
    """Return what has been learned of each player at each practised distance.

    Spread is that within a visit, as on the player's last visit; chances and putts are for a
    new day, whose shared offset and form add to it, on a flat green without its reading.

    Parameters
    ----------
    fit : putlab.golfer.SpreadFit
        Fitted log.
    players : list of str, optional
        Only these players.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims, for the putts.

    Returns
    -------
    pandas.DataFrame
        Columns `COLUMNS`; ``_lo`` and ``_hi`` end the kit's interval.
    """
    tables = [
        _golfer_table(fit.golfer(player), stimp_ft, past_ft)
        for player in players or fit.players
    ]
    return pd.concat(tables, ignore_index=True)[COLUMNS]


def _golfer_table(golfer, stimp_ft, past_ft):
    table = golfer.practised
    distance = table["distance_ft"].to_numpy()
    within = golfer.skill(distance, new_day=False)
    putts = kept_putts(strokes_skill(golfer), distance, stimp_ft=stimp_ft, past_ft=past_ft)
    values = {name: getattr(within, name) for name in SPREADS}
    values |= {name: getattr(putts, name) for name in STROKES}
    ends = {}
    for name, draws in values.items():
        ends[name], ends[name + "_lo"], ends[name + "_hi"] = summary(draws)
    return pd.concat([table, pd.DataFrame(ends)], axis=1).assign(player=golfer.player)


def strokes_skill(golfer, *, counted=False):
    """Return a player's new-day skill on the lengths that hole-out needs.

    Parameters
    ----------
    golfer : putlab.golfer.Golfer
        One player's posterior.
    counted : bool
        As when it counts, in a game.

    Returns
    -------
    putlab.skill.Skill
        At the practised lengths and at a few beyond them, where the answer widens.
    """
    practised = golfer.fit.designs["line"].lengths_ft
    beyond = [d for d in (2.0, 60.0) if not practised[0] * 0.9 < d < practised[-1] * 1.1]
    return golfer.skill(np.unique([*practised, *beyond]), new_day=True, counted=counted)
