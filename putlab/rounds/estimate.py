"""The table of estimates: a row per player and distance, every number with its interval."""

from dataclasses import dataclass
from itertools import chain, combinations
from math import factorial

import numpy as np
import pandas as pd

from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.green.hole_out import STROKES, hole_out, kept_putts, thinned
from putlab.green.skill import Skill
from putlab.posterior.player import summary

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
    fit : putlab.posterior.player.SpreadFit
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
        _golfer_table(fit.golfer(player), stimp_ft, past_ft) for player in players or fit.players
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
    golfer : putlab.posterior.player.Golfer
        One player's posterior.
    counted : bool
        As when it counts, in a game.

    Returns
    -------
    putlab.green.skill.Skill
        At the practised lengths and at a few beyond them, where the answer widens.
    """
    practised = golfer.fit.designs["line"].lengths_ft
    beyond = [d for d in (2.0, 60.0) if not practised[0] * 0.9 < d < practised[-1] * 1.1]
    return golfer.skill(np.unique([*practised, *beyond]), new_day=True, counted=counted)


# What the strokes lost come from: line and pace, spread and bias, and reading the green.


CAUSES = ("line spread", "pace spread", "line bias", "pace bias", "reading the green")

# Each draw is solved 32 times, once for every set of causes; the mean of 100 draws is known
# to a tenth of the posterior's own spread.
DRAWS = 100

# A perfect golfer's spread, in degrees and percent: as good as none.
NO_SPREAD = 1e-6


@dataclass(frozen=True)
class Attribution:
    """Strokes lost on a reference golfer, and to what.

    Attributes
    ----------
    distance_ft : ndarray, shape (n,)
        Length of the first putt.
    strokes : dict of str to ndarray, shape (draws, n)
        Average putts lost to each of `CAUSES`; below 0 where the golfer is the better.
    average_putts, reference_putts : ndarray, shape (draws, n)
        Of the golfer and of the reference; their difference is what the causes add up to.
    """

    distance_ft: np.ndarray
    strokes: dict
    average_putts: np.ndarray
    reference_putts: np.ndarray

    @property
    def total(self):
        """Strokes lost in all, shape (draws, n)."""
        return self.average_putts - self.reference_putts

    def table(self):
        """Return the strokes lost to each cause with their intervals.

        Returns
        -------
        pandas.DataFrame
            A row a distance and cause, and ``total``: ``distance_ft, cause, strokes,
            strokes_lo, strokes_hi`` (mean and 90 % equal-tailed interval over draws).
        """
        import pandas as pd

        from putlab.base.settings import interval_probabilities

        rows = []
        for cause, strokes in [*self.strokes.items(), ("total", self.total)]:
            low, high = np.quantile(strokes, interval_probabilities(), axis=0)
            columns = {"strokes": strokes.mean(axis=0), "strokes_lo": low, "strokes_hi": high}
            rows.append(pd.DataFrame({"distance_ft": self.distance_ft, "cause": cause, **columns}))
        return pd.concat(rows).sort_values("distance_ft", kind="stable", ignore_index=True)


def attribute(
    skill,
    distance_ft,
    *,
    reading=(0.0, 0.0),
    reference=None,
    reference_reading=(0.0, 0.0),
    stimp_ft=STIMP_FT,
    past_ft=PAST_FT,
    draws=DRAWS,
):
    """Share the strokes lost among their causes.

    Parameters
    ----------
    skill : Skill
        The golfer in practice; at most `draws` of its draws are used, evenly taken.
    distance_ft : array_like, shape (n,)
        Lengths of the first putt in feet, rising.
    reading : tuple of float
        Spread that reading a real green adds: ``line_sd_deg, pace_sd_pct``
        (`putlab.green.published.green_spread`).
    reference : Skill, optional
        Golfer of one draw to be compared with; without one, a perfect golfer, who holes
        everything.
    reference_reading : tuple of float
        What reading adds to the reference's spread.
    stimp_ft : float
        Green speed in feet.
    past_ft : float
        How far past the hole the golfer aims to roll the ball.
    draws : int
        Draws to use.

    Returns
    -------
    Attribution
        Strokes by cause, for each draw and distance.
    """
    skill = thinned(skill, draws)
    if reference is None:
        reference = Skill.constant(NO_SPREAD, NO_SPREAD)
    known_ft = np.union1d(skill.distance_ft, reference.distance_ft)
    sides = (reference.at(known_ft), reference_reading), (skill.at(known_ft), reading)
    subsets = list(chain.from_iterable(combinations(CAUSES, k) for k in range(6)))
    mixed = _stacked([_mixture(*sides, subset) for subset in subsets], skill.draws)
    out = hole_out(mixed, distance_ft, stimp_ft=stimp_ft, past_ft=past_ft)
    putts = out.average_putts.reshape(len(subsets), skill.draws, -1)
    value = dict(zip(map(frozenset, subsets), putts, strict=True))
    strokes = {cause: shapley_value(value, cause) for cause in CAUSES}
    return Attribution(out.distance_ft, strokes, value[frozenset(CAUSES)], value[frozenset()])


def shapley_value(value, cause):
    """Return one cause's share.

    Parameters
    ----------
    value : dict of frozenset to array_like
        What each set of causes is worth, all sets given.
    cause : hashable
        One of the causes.

    Returns
    -------
    ndarray
        What the cause adds, averaged over all orders of adding the causes one by one.
    """
    count = len(max(value, key=len))
    return sum(
        factorial(len(others))
        * factorial(count - 1 - len(others))
        / factorial(count)
        * (value[others | {cause}] - value[others])
        for others in value
        if cause not in others
    )


def _mixture(reference, golfer, subset):
    """Return a skill that has some causes from the golfer, the rest from the reference."""

    def side(cause):
        return golfer if cause in subset else reference

    line_sd_deg, pace_sd_pct = side("reading the green")[1]
    mixed = Skill(
        golfer[0].distance_ft,
        side("line spread")[0].line_sd_deg,
        side("line bias")[0].line_bias_deg,
        side("pace spread")[0].pace_sd_pct,
        side("pace bias")[0].pace_bias_pct,
    )
    return mixed.wider(line_sd_deg, pace_sd_pct)


def _stacked(skills, draws):
    """Return several skills as one, draws after draws."""
    names = ("line_sd_deg", "line_bias_deg", "pace_sd_pct", "pace_bias_pct")
    distance_ft = skills[0].distance_ft
    shape = (draws, distance_ft.size)
    columns = (
        np.concatenate([np.broadcast_to(getattr(skill, name), shape) for skill in skills])
        for name in names
    )
    return Skill(distance_ft, *columns)
