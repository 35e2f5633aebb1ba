"""What a round costs a golfer beside a reference, by where putts are struck and by cause.

Distances are nodes even in log distance. A putt from node i drops or stops near the others: a
chain, whose solution gives the putts still to come from every node, V, and the putts struck
from it in a round, the visits. With V of the reference, a golfer whose putts from i leave V
there loses 1 + mean V at the leave - V[i] by one of them; visits x that, summed over nodes, is
exactly what the golfer's round costs more than the reference's, wherever the putts are struck.

What a putt loses is shared among its causes along the straight way from the reference to the
golfer, in bias and variance: each gets what its own part of every step costs (R. J. Aumann and
L. S. Shapley, Values of Non-Atomic Games, 1974: Shapley's value for small steps).
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.polynomial.legendre import leggauss

from putlab.base.cache import kept_or_made, result_key
from putlab.base.result import Result
from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.base.words import interval, length_number, length_words, quantity
from putlab.green import published
from putlab.green.leaves import LeaveGrid, leaves_of
from putlab.green.skill import NEVER_WILD, SKILL_QUANTITIES, SPREAD_AND_BIAS, Skill, evenly
from putlab.model.readings import COMPONENTS
from putlab.posterior.player import Golfer, green_setting, summary, with_ends
from putlab.rounds.first_putts import RoundMix, shipped_mix
from putlab.rounds.reference import Reference, ReferenceGolfer, reference_golfer

# The chain ends here: a longer leave counts as this long.
LONGEST_FT = 120.0

# Where a golfer's skill is asked for, whichever lengths are in the log.
KNOTS_FT = np.array([2.0, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 33, 45, 60])

# Stretches of distance in which strokes are told, ft (convention of the kit).
EDGES_FT = np.array([0.0, 4.0, 8.0, 15.0, 25.0, np.inf])
STRETCHES = tuple(zip(EDGES_FT[:-1], EDGES_FT[1:], strict=True))

# What strokes are lost to. Bias and scatter are the golfer's within a visit; what changes from
# day to day and mishits add to them, and a green must be read.
DAY, WILD, READING = "day to day", "wild putts", "reading the green"
BIAS = {"line": "aim", "pace": "pace long or short"}
SCATTER = {"line": "line scatter", "pace": "pace scatter"}
CAUSES = (BIAS["line"], SCATTER["line"], BIAS["pace"], SCATTER["pace"], DAY, WILD, READING)
PARTS = [(c, cause) for c in COMPONENTS for cause in (BIAS[c], SCATTER[c], DAY, WILD, READING)]

# Draws of the golfer: each costs two dozen solutions of a putt from everywhere.
DRAWS = 60

# Points of the way from reference to golfer, and steps of the slopes there, in parts of the
# spread: half of one to each side.
WAY_POINTS, STEP = 2, 0.1

# How far a golfer's own first putts may stray, in log at each length, from a mix that is an
# assumption about golfers at large (assumption: a third either way).
MIX_LOG_SD = 0.3


@dataclass(frozen=True)
class RoundSetting:
    """The round and the green for which strokes are counted."""

    mix: RoundMix
    reference: ReferenceGolfer
    stimp_ft: float
    past_ft: float
    # Spread that a real green adds, line in degrees and pace in percent: two numbers, or draws
    # of them, (draws, 1), beside those of the golfer's skill.
    green: tuple[Any, ...]
    green_source: str = "given"
    mixed: bool = True  # practice that mixed lengths holds the judging of a new one
    green_estimated: bool = False  # from this golfer's own putts on a green

    @property
    def mix_log_sd(self) -> float:
        """How far the golfer's own mix may stray, in log, from the one given."""
        return MIX_LOG_SD if self.mix.assumed else 0.0

    def of(self, rows: slice | np.ndarray) -> "RoundSetting":
        """The same for some of the golfer's draws."""
        return replace(self, green=tuple(g[rows] if np.ndim(g) else g for g in self.green))

    def thinned(self, draws: int) -> "RoundSetting":
        """The same for as many draws as `Skill.thinned` leaves."""
        return self.of(evenly(max(map(np.size, self.green)), draws))

    @property
    def grid(self) -> LeaveGrid:
        """The distances of the chain."""
        return LeaveGrid(max(LONGEST_FT, 2 * self.mix.distance_ft.max()))

    @property
    def nodes_ft(self) -> np.ndarray:
        """Where putts are struck from, shape (n,)."""
        return self.grid.cells_ft[:: LeaveGrid.NODES]


def round_setting(
    *,
    reference: Reference | Skill | ReferenceGolfer | str | None = None,
    mix: RoundMix | None = None,
    stimp_ft: float = STIMP_FT,
    past_ft: float = PAST_FT,
    **green: Any,
) -> RoundSetting:
    """The round, and the green as `green_setting` has it; published or assumed if not given."""
    if green.get("green") is None:
        spread = published.green_spread(mixed=green.get("mixed", True))
        green |= {"green": spread, "green_source": published.GREEN_SOURCE}
    who = reference_golfer(reference, stimp_ft=stimp_ft, past_ft=past_ft)
    return RoundSetting(mix or shipped_mix(), who, float(stimp_ft), float(past_ft), **green)


def solve_chain(chain: np.ndarray, first: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean putts to hole out, (draws, n), and putts struck from each node, (draws, n, mixes)."""
    # Chain (draws, n, n): chance that a putt from one node misses and stops near another.
    left = np.eye(chain.shape[-1]) - chain
    putts = np.linalg.solve(left, np.ones((*chain.shape[:2], 1)))[..., 0]
    visits = np.linalg.solve(np.swapaxes(left, 1, 2), first)
    return putts, visits


def leave_chances(skill: Skill, setting: RoundSetting) -> np.ndarray:
    """Chances, shape (draws, n, nodes), of a miss that stops near each node."""
    cells = leaves_of(skill, setting.past_ft, setting.stimp_ft, setting.grid).cells
    return cells @ setting.grid.fill(LeaveGrid.NODES)


def stretch_shares(nodes_ft: np.ndarray) -> np.ndarray:
    """Share of each node in each stretch, (n, stretches): of its part of log distance."""
    x = np.log(nodes_ft)
    edges = np.concatenate([[-np.inf], (x[:-1] + x[1:]) / 2, [np.inf]])
    # The end nodes reach as far outward as inward.
    edges[[0, -1]] = 2 * x[0] - edges[1], 2 * x[-1] - edges[-2]
    with np.errstate(divide="ignore"):
        cuts = np.clip(np.log(EDGES_FT), edges[0], edges[-1])
    low = np.maximum(edges[:-1, None], cuts[:-1])
    high = np.minimum(edges[1:, None], cuts[1:])
    return np.maximum(high - low, 0.0) / np.diff(edges)[:, None]


def stretch_words(from_ft: float, to_ft: float) -> str:
    """A stretch in words: ``4 to 8 ft``."""
    if from_ft == 0:
        return "every length" if np.isinf(to_ft) else f"inside {length_words(to_ft)}"
    if np.isinf(to_ft):
        return f"beyond {length_words(from_ft)}"
    return f"{length_number(from_ft)} to {length_words(to_ft)}"


def place_words(from_ft: float, to_ft: float) -> str:
    """Where a stretch is, in words: ``from 4 to 8 ft``."""
    words = stretch_words(from_ft, to_ft)
    if from_ft == 0 and np.isinf(to_ft):
        return f"at {words}"
    return words if from_ft == 0 or np.isinf(to_ft) else f"from {words}"


@dataclass(frozen=True)
class StrokesLost(Result):
    """Strokes a round that a golfer takes more than a reference, by stretch and cause.

    Attributes
    ----------
    player, reference : str
        Who loses them, and to whom.
    parts : dict of (str, str) to ndarray, shape (draws, stretches)
        Strokes lost to each cause in line and in pace by putts struck from each of
        `STRETCHES`, first putts and later ones; below 0 where the golfer is the better.
    putts, three_putts : ndarray, shape (draws,)
        Putts, and three-putts or worse, a round of 18 holes on a real green: means over days.
    putts_one_day : ndarray, shape (draws,)
        Putts a round on one day drawn for each, the luck of single putts apart.
    reference_putts, reference_three_putts : float
        The same of the reference.
    """

    player: str
    reference: str
    parts: dict[tuple[str, str], np.ndarray]
    putts: np.ndarray
    three_putts: np.ndarray
    putts_one_day: np.ndarray
    reference_putts: float
    reference_three_putts: float

    @property
    def strokes(self) -> dict[str, np.ndarray]:
        """Strokes lost by cause, line and pace together; each (draws, stretches)."""
        return {cause: self._sum(1, cause) for cause in CAUSES}

    @property
    def total(self) -> np.ndarray:
        """Strokes lost by stretch, shape (draws, stretches): what the causes add up to."""
        return np.sum(list(self.parts.values()), axis=0)

    def by_practice(self, component: str) -> np.ndarray:
        """Strokes lost by line or pace, the reading of a green apart; (draws, stretches)."""
        return self._sum(0, component) - self.parts[component, READING]

    def _sum(self, place: int, name: str) -> np.ndarray:
        return np.sum([values for key, values in self.parts.items() if key[place] == name], axis=0)

    @property
    def table(self) -> pd.DataFrame:
        """``stretch, from_ft, to_ft, cause, strokes, strokes_lo, strokes_hi``.

        A row a stretch and cause; the last cause is the total, the last stretch the round.
        """
        places = [(stretch_words(*ends), *ends) for ends in STRETCHES]
        places.append(("the round", 0.0, np.inf))
        tables = [
            pd.DataFrame(places, columns=["stretch", "from_ft", "to_ft"]).assign(
                cause=cause, **with_ends({"strokes": np.c_[draws, draws.sum(axis=1)]})
            )
            for cause, draws in (self.strokes | {"total": self.total}).items()
        ]
        return pd.concat(tables, ignore_index=True)

    @property
    def sentence(self) -> str:
        """The total, putts and three-putts, and the largest cause and stretch of a loss."""
        lost = self.total.sum(axis=1)
        verb, on, sign = ("loses", "to", 1) if lost.mean() >= 0 else ("gains", "on", -1)
        total, low, high = (float(end) for end in summary(sign * lost))
        by_cause = {cause: draws.sum(axis=1).mean() for cause, draws in self.strokes.items()}
        largest = max(by_cause, key=lambda cause: by_cause[cause])
        by_stretch, today = self.total.mean(axis=0), summary(self.putts_one_day)
        where = stretch_words(*STRETCHES[int(by_stretch.argmax())])
        said = (
            f"{self.player} {verb} {quantity(total, 'strokes_lost')} strokes a round "
            f"({interval(low, high, 'strokes_lost')}) {on} the {self.reference} with the putter: "
            f"{self.putts.mean():.1f} putts and {self.three_putts.mean():.1f} three-putts against "
            f"{self.reference_putts:.1f} and {self.reference_three_putts:.1f}. That is the mean of "
            f"days: on one, luck apart, {today[1]:.1f} to {today[2]:.1f} putts."
        )
        if sign < 0 or by_cause[largest] <= 0:
            return said
        return (
            f"{said} The largest cause is {largest} "
            f"({quantity(by_cause[largest], 'strokes_lost')}), and most is lost from {where} "
            f"({quantity(by_stretch.max(), 'strokes_lost')})."
        )


def strokes_lost(
    golfer: Golfer,
    *,
    reference: Reference | Skill | ReferenceGolfer | str | None = None,
    mix: RoundMix | None = None,
    stimp_ft: float = STIMP_FT,
    past_ft: float = PAST_FT,
) -> StrokesLost:
    """Share the strokes a round lost to a reference among stretches of distance and causes.

    Parameters
    ----------
    golfer : Golfer
        One player's posterior.
    reference : str, Reference or Skill, optional
        A level of play ("tour", "scratch", "5" ... "25"), a file or average putts, or spreads
        on a green; default: the golfer fitted to the tour's published record.
    mix : RoundMix, optional
        First putts of a round; default: the shipped mix.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims.

    Returns
    -------
    StrokesLost
        On a real green: this golfer's own where the log told of it. What changes from day to
        day is not known of the reference: it counts as the reference's scatter.

    Raises
    ------
    UsageError
        No such level, or a reference whose average putts can't be read.
    """
    setting = round_setting(
        reference=reference, mix=mix, stimp_ft=stimp_ft, past_ft=past_ft, **green_setting(golfer)
    )
    return lost_to(golfer.player, *within_and_on_day(golfer), setting)


def within_and_on_day(golfer: Golfer) -> tuple[Skill, Skill]:
    """A golfer's skill within a visit and on a new day, whichever lengths were practised."""
    return golfer.skill(KNOTS_FT, new_day=False), golfer.skill(KNOTS_FT)


def lost_to(player: str, within: Skill, on_day: Skill, setting: RoundSetting) -> StrokesLost:
    """`strokes_lost` of a skill within a visit and on a new day, kept on disk."""
    within, on_day, who = within.thinned(DRAWS), on_day.thinned(DRAWS), setting.reference
    setting = setting.thinned(DRAWS)
    inputs = (vars(within), vars(on_day), setting.green, vars(who.skill), who.green(setting.mixed))
    mix = (setting.mix.distance_ft, setting.mix.first_putts)
    key = result_key("rounds", "lost", *inputs, mix, (setting.stimp_ft, setting.past_ft))
    found = kept_or_made(key, lambda: lost_by_cause(within, on_day, setting))
    parts = dict(zip(PARTS, found["parts"], strict=True))
    putts, three, today = (found[name] for name in ("putts", "three_putts", "putts_one_day"))
    return StrokesLost(player, who.name, parts, putts, three, today, *map(float, found["theirs"]))


def lost_by_cause(within: Skill, on_day: Skill, setting: RoundSetting) -> dict[str, np.ndarray]:
    """Strokes lost by `PARTS`, (parts, draws, stretches), and putts and three-putts."""
    nodes = setting.nodes_ft
    within, on_day = within.at(nodes), on_day.at(nodes)
    reference, first = setting.reference.skill.at(nodes), setting.mix.onto(nodes)
    golfer = on_day.wider(*setting.green)
    theirs, mine = (leave_chances(skill, setting) for skill in (reference, golfer))
    to_come = solve_chain(theirs, first[:, None])[0][0]
    putts, visits = solve_chain(mine, first[:, None])
    lost = _ordinary(within, on_day, setting, to_come)
    steady = [replace(golfer, pace_wild=NEVER_WILD["pace_wild"]), replace(golfer, **NEVER_WILD)]
    today = leave_chances(_one_day(within, on_day).wider(*setting.green), setting)
    after = [mine @ to_come, *(leave_chances(skill, setting) @ to_come for skill in steady)]
    lost["pace", WILD], lost["line", WILD] = after[0] - after[1], after[1] - after[2]
    _settle(lost, after[0] - theirs[0] @ to_come)
    by_stretch, ones = stretch_shares(nodes), np.ones(nodes.size)
    return {
        "parts": np.array([(visits[..., 0] * lost[key]) @ by_stretch for key in PARTS]),
        "putts": putts @ first,
        "putts_one_day": solve_chain(today, first[:, None])[0] @ first,
        "three_putts": (mine @ (mine @ ones)[..., None])[..., 0] @ first,
        "theirs": np.array([to_come @ first, theirs[0] @ (theirs[0] @ ones) @ first]),
    }


def _one_day(within: Skill, on_day: Skill) -> Skill:
    """The golfer on one day, drawn for each draw: all that days differ by taken as an offset."""
    z, moved = np.random.default_rng(29).standard_normal((2, within.draws, 1)), {}
    for (sd, bias), score in zip(SPREAD_AND_BIAS.values(), z, strict=True):
        days = np.sqrt(np.maximum(getattr(on_day, sd) ** 2 - getattr(within, sd) ** 2, 0))
        moved[bias] = getattr(within, bias) + days * score
    return replace(within, **moved)


# Strokes by component and cause.
type Parts = dict[tuple[str, str], np.ndarray]


def _ordinary(within: Skill, on_day: Skill, setting: RoundSetting, to_come: np.ndarray) -> Parts:
    """What an ordinary putt from each node loses to each cause, (draws, n)."""
    who = setting.reference
    reference, lost = who.skill.at(setting.nodes_ft), {}
    on_green = on_day.wider(*setting.green)
    for component, theirs in zip(SPREAD_AND_BIAS, who.green(setting.mixed), strict=True):
        sd, bias = SPREAD_AND_BIAS[component]
        mine = getattr(on_green, sd) ** 2
        inside, day, total = (getattr(of, sd) ** 2 for of in (within, on_day, reference))
        by_variance, by_bias = _slopes(on_day, setting, to_come, sd, bias)
        # What the golfer has more of than the reference, whose days count as its scatter.
        lost[component, SCATTER[component]] = by_variance * (inside - (total - theirs**2))
        lost[component, DAY] = by_variance * (day - inside)
        lost[component, READING] = by_variance * (mine - day - theirs**2)
        lost[component, BIAS[component]] = by_bias * (
            getattr(on_day, bias) - getattr(reference, bias)
        )
    return lost


def _slopes(
    on_day: Skill, setting: RoundSetting, to_come: np.ndarray, sd: str, bias: str
) -> tuple[np.ndarray, np.ndarray]:
    """Mean slopes of putts to come over the way, by a component's variance and by its bias."""
    by_variance = by_bias = np.zeros_like(on_day.line_sd_deg)
    for place, weight in zip(*leggauss(WAY_POINTS), strict=True):
        there = _on_the_way(on_day, setting, (1 + place) / 2)
        width, middle = getattr(there, sd), getattr(there, bias)
        sides = np.array([1, -1]) * STEP / 2
        wide = [replace(there, **{sd: width * (1 + step)}) for step in sides]
        aside = [replace(there, **{bias: middle + width * step}) for step in sides]
        up, down, right, left = (leave_chances(s, setting) @ to_come for s in (*wide, *aside))
        # (1 + h)^2 - (1 - h)^2 = 4 h
        by_variance = by_variance + weight / 2 * (up - down) / (2 * STEP * width**2)
        by_bias = by_bias + weight / 2 * (right - left) / (STEP * width)
    return by_variance, by_bias


def _on_the_way(on_day: Skill, setting: RoundSetting, share: float) -> Skill:
    """A golfer so far on the straight way from reference to golfer, in bias and variance."""
    golfer = replace(on_day.wider(*setting.green), **NEVER_WILD)
    reference = setting.reference.skill.at(on_day.distance_ft)

    def between(name: str) -> np.ndarray:
        power = 2 if "_sd_" in name else 1
        mine, theirs = getattr(golfer, name) ** power, getattr(reference, name) ** power
        return (share * mine + (1 - share) * theirs) ** (1 / power)

    return replace(golfer, **{name: between(name) for name in SKILL_QUANTITIES})


def _settle(lost: Parts, total: np.ndarray) -> None:
    """Share what a few points leave over in proportion, so that the causes add up exactly."""
    size = np.sum([np.abs(values) for values in lost.values()], axis=0)
    left = total - np.sum(list(lost.values()), axis=0)
    for key, values in lost.items():
        lost[key] = values + left * np.abs(values) / np.maximum(size, 1e-12)
