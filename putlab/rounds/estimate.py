"""What has been learned of each player at each length, and what it means for putts taken."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from putlab.base.result import Result
from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.base.words import length_words, quantity, with_interval
from putlab.green.hole_out import PUTT_OUTCOMES, cached_hole_out
from putlab.model.design import REFERENCE_FT
from putlab.posterior.fit import Fit
from putlab.posterior.player import Golfer, green_setting, own_curve, with_ends
from putlab.rounds.expected import new_day_skill

# Draws whose putts are solved: an interval's end is known to half of the last digit shown.
DRAWS = 500

OWN_CURVE = ["line_vs_own", "line_p_wider", "pace_vs_own", "pace_p_wider"]


@dataclass(frozen=True)
class Estimate(Result):
    """The table of estimates: a row per player and distance, every number with its interval.

    Attributes
    ----------
    table : pandas.DataFrame
        Columns of `putlab.posterior.player.Golfer`, then `PUTT_OUTCOMES`, the same on a real
        green (``green_...``) and `OWN_CURVE`; ``_lo`` and ``_hi`` end the kit's interval.
    """

    table: pd.DataFrame

    @property
    def sentence(self) -> str:
        """Each player at the length nearest to the middle one of the kit."""
        near = np.abs(np.log(self.table["distance_ft"] / REFERENCE_FT))
        rows = self.table.loc[near.groupby(self.table["player"], sort=False).idxmin()]
        return " ".join(_in_words(row) for _, row in rows.iterrows())


def _in_words(row: pd.Series) -> str:
    line, pace = (with_interval(row, name) for name in ("line_sd_deg", "pace_sd_pct"))
    return (
        f"{row['player']} from {length_words(row['distance_ft'])}: line scatters by {line}, "
        f"pace by {pace}; on the flat {quantity(row['one_putt'], 'one_putt')} drop, and "
        f"{quantity(row['average_putts'], 'average_putts')} putts are needed on average."
    )


def estimate(
    fit: Fit,
    players: list[str] | None = None,
    *,
    stimp_ft: float = STIMP_FT,
    past_ft: float = PAST_FT,
) -> Estimate:
    """Return what has been learned of each player at each practised distance.

    Spread is that within a visit, as on the player's last visit; chances and putts are for a
    new day, whose shared offset and form add to it and mishits with it, on a flat green without
    its reading and, under ``green_...``, on a real one. Each length's spread is held against the
    golfer's own at the other lengths (``line_vs_own``, a ratio, and the chance that it is wider).

    Parameters
    ----------
    fit : Fit
        Fitted log.
    players : list of str, optional
        Only these players.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims, for the putts.

    Returns
    -------
    Estimate
        Its table has a row per player and distance.
    """
    golfers = [fit.golfer(player) for player in players or fit.players]
    tables = [_golfer_table(golfer, stimp_ft, past_ft) for golfer in golfers]
    return Estimate(pd.concat(tables, ignore_index=True))


def _golfer_table(golfer: Golfer, stimp_ft: float, past_ft: float) -> pd.DataFrame:
    table, on_day = golfer.table, new_day_skill(golfer)
    # On a real green: the golfer's own where the log told of it.
    on_green = on_day.wider(*green_setting(golfer)["green"])
    for prefix, skill in (("", on_day), ("green_", on_green)):
        putts = cached_hole_out(
            skill.thinned(DRAWS),
            table["distance_ft"].to_numpy(),
            stimp_ft=stimp_ft,
            past_ft=past_ft,
        )
        outcomes = {prefix + name: getattr(putts, name) for name in PUTT_OUTCOMES}
        table = table.assign(**with_ends(outcomes))
    return table.join(own_curve(golfer).table.set_index("distance_ft")[OWN_CURVE], on="distance_ft")
