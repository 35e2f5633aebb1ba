"""What has been learned of each player at each length, and what the strokes lost come from."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import chain, combinations
from math import factorial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from putlab.base.cache import kept_or_made, result_key
from putlab.base.result import Result
from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.base.words import feet, interval, quantity
from putlab.green.hole_out import PUTT_OUTCOMES, cached_hole_out, hole_out
from putlab.green.published import green_spread
from putlab.green.skill import SKILL_QUANTITIES, Skill
from putlab.model.design import REFERENCE_FT
from putlab.posterior.player import green_setting, summary
from putlab.rounds.expected import new_day_skill, stacked
from putlab.rounds.first_putts import RoundMix, shipped_mix
from putlab.rounds.reference import tour_skill

if TYPE_CHECKING:
    from putlab.posterior.fit import Fit
    from putlab.posterior.player import Golfer

COLUMNS = ["player", "distance_ft", "putts", "sessions"] + [
    *(name + end for name in (*SKILL_QUANTITIES, *PUTT_OUTCOMES) for end in ("", "_lo", "_hi"))
]


@dataclass(frozen=True)
class Estimate(Result):
    """The table of estimates: a row per player and distance, every number with its interval.

    Attributes
    ----------
    estimates : pandas.DataFrame
        Columns `COLUMNS`; ``_lo`` and ``_hi`` end the kit's interval.
    """

    estimates: pd.DataFrame

    @property
    def table(self) -> pd.DataFrame:
        """The estimates."""
        return self.estimates

    @property
    def sentence(self) -> str:
        """Each player at the length nearest to the middle one of the kit."""
        near = np.abs(np.log(self.estimates["distance_ft"] / REFERENCE_FT))
        rows = self.estimates.loc[near.groupby(self.estimates["player"], sort=False).idxmin()]
        return " ".join(_in_words(row) for _, row in rows.iterrows())


def _in_words(row: pd.Series) -> str:
    line, pace = (
        f"{quantity(row[name], name)} ({interval(row[name + '_lo'], row[name + '_hi'], name)})"
        for name in ("line_sd_deg", "pace_sd_pct")
    )
    return (
        f"{row['player']} from {feet(row['distance_ft'])}: line scatters by {line}, pace by "
        f"{pace}; on the flat {quantity(row['one_putt'], 'one_putt')} drop, and "
        f"{quantity(row['average_putts'], 'average_putts')} putts are needed on average."
    )


def estimate(
    fit: "Fit",
    players: list[str] | None = None,
    *,
    stimp_ft: float = STIMP_FT,
    past_ft: float = PAST_FT,
) -> Estimate:
    """Return what has been learned of each player at each practised distance.

    Spread is that within a visit, as on the player's last visit; chances and putts are for a
    new day, whose shared offset and form add to it, on a flat green without its reading.

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
    return Estimate(pd.concat(tables, ignore_index=True)[COLUMNS])


def _golfer_table(golfer: "Golfer", stimp_ft: float, past_ft: float) -> pd.DataFrame:
    table = golfer.practised
    distance = table["distance_ft"].to_numpy()
    within = golfer.skill(distance, new_day=False)
    putts = cached_hole_out(new_day_skill(golfer), distance, stimp_ft=stimp_ft, past_ft=past_ft)
    values = {name: getattr(within, name) for name in SKILL_QUANTITIES}
    values |= {name: getattr(putts, name) for name in PUTT_OUTCOMES}
    ends = {}
    for name, draws in values.items():
        ends[name], ends[name + "_lo"], ends[name + "_hi"] = summary(draws)
    return pd.concat([table, pd.DataFrame(ends)], axis=1).assign(player=golfer.player)


# What the strokes lost come from: line and pace, spread and bias, and reading the green.

OF_SKILL = {
    "line spread": "line_sd_deg",
    "pace spread": "pace_sd_pct",
    "line bias": "line_bias_deg",
    "pace bias": "pace_bias_pct",
}
CAUSES = (*OF_SKILL, "reading the green")

# Each draw is solved 32 times, once for every set of causes; the mean of so many draws is
# steady to a hundredth of a stroke a round.
CAUSE_DRAWS = 60

# A golfer of some skill in practice, and what reading a real green adds to line and pace spread.
type OnGreen = tuple[Skill, tuple[float, float]]


@dataclass(frozen=True)
class Attribution(Result):
    """Strokes a round lost on a reference golfer, and to what.

    Attributes
    ----------
    player, reference : str
        Who loses them, and to whom.
    distance_ft : ndarray, shape (n,)
        Length of the first putt.
    strokes : dict of str to ndarray, shape (draws, n)
        Strokes lost to each of `CAUSES`; below 0 where the golfer is the better.
    total : ndarray, shape (draws, n)
        Strokes lost in all, which is what the causes add up to.
    """

    player: str
    reference: str
    distance_ft: np.ndarray
    strokes: dict[str, np.ndarray]
    total: np.ndarray

    @property
    def table(self) -> pd.DataFrame:
        """``distance_ft, cause, strokes, strokes_lo, strokes_hi``; the last cause is the total."""
        rows = []
        for cause, draws in [*self.strokes.items(), ("total", self.total)]:
            mean, low, high = summary(draws)
            ends = {"strokes": mean, "strokes_lo": low, "strokes_hi": high}
            rows.append(pd.DataFrame({"distance_ft": self.distance_ft, "cause": cause, **ends}))
        return pd.concat(rows).sort_values("distance_ft", kind="stable", ignore_index=True)

    @property
    def sentence(self) -> str:
        """The total, and the largest cause."""
        total, low, high = (float(end) for end in summary(self.total.sum(axis=1)))
        by_cause = {cause: draws.mean(axis=0).sum() for cause, draws in self.strokes.items()}
        largest = max(by_cause, key=lambda cause: by_cause[cause])
        return (
            f"In a round {self.player} loses {quantity(total, 'strokes_lost')} strokes "
            f"({interval(low, high, 'strokes_lost')}) to the {self.reference} with the putter; the "
            f"largest cause is {largest} ({quantity(by_cause[largest], 'strokes_lost')})."
        )


def strokes_lost(
    golfer: "Golfer",
    distance_ft: ArrayLike | None = None,
    *,
    mix: RoundMix | None = None,
    stimp_ft: float = STIMP_FT,
    past_ft: float = PAST_FT,
) -> Attribution:
    """Share the strokes a round lost to the tour among their causes.

    Parameters
    ----------
    golfer : Golfer
        One player's posterior.
    distance_ft : array_like, shape (n,), optional
        Lengths of the first putt in feet, rising; default: those practised.
    mix : RoundMix, optional
        First putts of a round, shared among the lengths; default: the shipped mix.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims.

    Returns
    -------
    Attribution
        Strokes by length and cause, on a real green: this golfer's own where the log told of it.
    """
    if distance_ft is None:
        distance_ft = golfer.practised["distance_ft"]
    distance_ft = np.atleast_1d(np.asarray(distance_ft, dtype=float))
    skill, published = new_day_skill(golfer), green_spread()
    green = green_setting(golfer).get("green", published)
    roll = {"stimp_ft": stimp_ft, "past_ft": past_ft}
    key = result_key("rounds", "causes", vars(skill), distance_ft, (green, published), roll)
    mine, tour = (skill.thinned(CAUSE_DRAWS), green), (tour_skill(technique_only=True), published)
    putts = kept_or_made(key, lambda: putts_by_cause(mine, tour, distance_ft, **roll))
    first_putts = (mix or shipped_mix()).onto(distance_ft)
    a_round = {name: values * first_putts for name, values in putts.items()}
    strokes = {cause: a_round[cause] for cause in CAUSES}
    total = a_round["golfer"] - a_round["reference"]
    return Attribution(golfer.player, "tour average", distance_ft, strokes, total)


def putts_by_cause(
    golfer: OnGreen, reference: OnGreen, distance_ft: ArrayLike, *, stimp_ft: float, past_ft: float
) -> dict[str, np.ndarray]:
    """Return putts (draws, n) lost to each cause, and those of golfer and one-draw reference."""
    known_ft = np.union1d(golfer[0].distance_ft, reference[0].distance_ft)
    mine, theirs = ((skill.at(known_ft), reading) for skill, reading in (golfer, reference))
    subsets = list(chain.from_iterable(combinations(CAUSES, k) for k in range(len(CAUSES) + 1)))
    mixed = stacked([_mixture(mine, theirs, subset) for subset in subsets])
    out = hole_out(mixed, distance_ft, stimp_ft=stimp_ft, past_ft=past_ft)
    putts = out.average_putts.reshape(len(subsets), golfer[0].draws, -1)
    value = dict(zip(map(frozenset, subsets), putts, strict=True))
    shares = {cause: shapley_value(value, cause) for cause in CAUSES}
    return shares | {"golfer": value[frozenset(CAUSES)], "reference": value[frozenset()]}


def shapley_value(value: Mapping[frozenset[str], Any], cause: str) -> Any:
    """Return what a cause adds to a set's value, averaged over all orders of adding causes."""
    count = len(max(value, key=len))
    orders = [factorial(k) * factorial(count - 1 - k) / factorial(count) for k in range(count)]
    without = [others for others in value if cause not in others]
    return sum(orders[len(s)] * (value[s | {cause}] - value[s]) for s in without)


def _mixture(golfer: OnGreen, reference: OnGreen, causes: tuple[str, ...]) -> Skill:
    # Some causes from the golfer, the rest from the reference.
    def side(cause: str) -> OnGreen:
        return golfer if cause in causes else reference

    shape = golfer[0].line_sd_deg.shape
    columns = {
        name: np.broadcast_to(getattr(side(cause)[0], name), shape)
        for cause, name in OF_SKILL.items()
    }
    return Skill(golfer[0].distance_ft, **columns).wider(*side("reading the green")[1])
