"""What every distance costs in a round, and what another spread there would save.

Distances are nodes even in log distance. A putt from node i drops or stops near the others:
a chain, whose solution gives the putts still to come from every node (V) and the putts struck
from it in a round (visits). Changing how putts from node i are struck, and nothing else,
costs or saves visits[i] x (1 + mean V at the new leave - V[i]) strokes a round. Summed over
nodes that is exact to first order in the change, and it says where strokes come from.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from putlab.base.cache import kept_or_made, result_key
from putlab.base.words import interval, quantity
from putlab.green.hole_out import by_parts
from putlab.green.skill import SPREAD_AND_BIAS, Skill
from putlab.model.design import length_correlation
from putlab.model.readings import COMPONENTS
from putlab.posterior.player import summary
from putlab.practice.learning import Learning
from putlab.rounds.strokes import STRETCHES, RoundSetting, leave_chances, place_words, solve_chain

# Factors on spread, and on bias, at which the cost of a putt is computed; between them a
# parabola, and the two effects added.
SPREAD_FACTORS = np.array([1.0, 0.8, 0.55])
BIAS_FACTORS = np.array([1.0, 0.5, 0.0])

# Lengths that practice and comparison concern: shorter putts drop, longer ones are rare.
CHANGED_FT = (1.5, 90.0)

# Putts solved at once: memory stays below 100 MB.
PUTTS_AT_ONCE = 4_000

SAVED = "saved_next_hour"

# Strokes a round that make no difference to act on: the last place that is shown.
ALIKE = 0.01

# An option is tied with the choice while the chance that it is better by more than that is at
# least this: four to one against is not yet a difference to act on (convention of the kit).
TIE_CHANCE = 0.2

# Where time can go: a stretch of distance (its place among `STRETCHES`), and component.
Option = tuple[int, str]
OPTIONS: list[Option] = [(i, name) for i in range(len(STRETCHES)) for name in COMPONENTS]

# Lengths a stretch is practised at where nobody chooses others: two that span it.
LENGTHS_FT = ((2.0, 3.0), (5.0, 7.0), (9.0, 13.0), (17.0, 22.0), (30.0, 40.0))
PRACTICE_FT = np.concatenate(LENGTHS_FT)


def putts_of(option: Option, minutes: float, learning: Learning) -> dict[str, np.ndarray]:
    """Putts at `PRACTICE_FT` of minutes that go to one option, by component."""
    stretch, component = option
    putts = {name: np.zeros(PRACTICE_FT.size) for name in COMPONENTS}
    here = np.isin(PRACTICE_FT, LENGTHS_FT[stretch])
    putts[component][here] = minutes * learning.putts_a_minute(PRACTICE_FT[here]) / here.sum()
    return putts


@dataclass(frozen=True)
class RoundStrokes:
    """Strokes of a round by the distance they are struck from."""

    distance_ft: np.ndarray  # (n,), even in log distance
    visits: np.ndarray  # (draws, n), putts a round struck from near there, by the golfer's own mix
    visits_given: np.ndarray  # (draws, n), by the mix as given, from which the own may stray
    putts: np.ndarray  # (draws, n), mean putts to hole out from there
    # For line and pace: strokes that one putt from there saves where the golfer's spread is
    # multiplied by `SPREAD_FACTORS`, and where the bias is by `BIAS_FACTORS`.
    saving: np.ndarray  # (2, 2, 3, draws, n)

    @property
    def mean(self) -> "RoundStrokes":
        """Strokes of one draw that stands for the mean of all in what is saved."""
        saving = (self.visits * self.saving).mean(axis=-2, keepdims=True)
        return replace(self, visits=np.ones((1, self.distance_ft.size)), saving=saving)

    def saved_parts(self, changes: Mapping[str, Any]) -> np.ndarray:
        """Strokes a round saved by correcting the middle and by tightening the scatter.

        Of factors on spread and on bias, (draws, n) by component; shape (2, draws). Line and
        pace are added, exact to first order.
        """
        middle, scatter = np.zeros((2, 1))
        for name, (narrower, left) in changes.items():
            spread, bias = self.saving[COMPONENTS.index(name)]
            scatter = scatter + np.sum(
                self.visits * _parabola(SPREAD_FACTORS, spread, narrower), axis=1
            )
            middle = middle + np.sum(self.visits * _parabola(BIAS_FACTORS, bias, left), axis=1)
        return np.stack([middle, scatter])

    def saved_a_round(self, changes: Mapping[str, Any]) -> np.ndarray:
        """Strokes a round saved in all, shape (draws,)."""
        return self.saved_parts(changes).sum(axis=0)


def kept_strokes(skill: Skill, setting: RoundSetting, draws: int) -> RoundStrokes:
    """`round_strokes` of at most so many draws, kept on disk."""
    skill, setting = skill.thinned(draws), setting.thinned(draws)
    numbers = (setting.green, setting.stimp_ft, setting.past_ft, setting.mix_log_sd)
    mix = (setting.mix.distance_ft, setting.mix.first_putts)
    key = result_key(
        "practice", "strokes", vars(skill), vars(setting.reference.skill), mix, numbers
    )
    return RoundStrokes(**kept_or_made(key, lambda: vars(round_strokes(skill, setting))))


def round_strokes(skill: Skill, setting: RoundSetting) -> RoundStrokes:
    """Strokes at every distance, for all draws of the golfer's own skill on a new day at once."""
    mix = setting.mix
    nodes = setting.nodes_ft
    given = mix.onto(nodes)
    first = uncertain_mix(given, nodes, skill.draws, setting.mix_log_sd)

    def solve(rows: slice) -> tuple[np.ndarray, ...]:
        mixes = np.stack([first[rows], np.broadcast_to(given, first[rows].shape)], axis=-1)
        return _solve(skill[rows].at(nodes), mixes, setting.of(rows))

    return RoundStrokes(nodes, *by_parts(solve, skill.draws, max(1, PUTTS_AT_ONCE // nodes.size)))


def _solve(own: Skill, mixes: np.ndarray, setting: RoundSetting) -> tuple[np.ndarray, ...]:
    """The arrays of `RoundStrokes` for a few draws given at the nodes."""
    now = own.wider(*setting.green)
    putts, visits = solve_chain(leave_chances(now, setting), mixes)
    low, high = CHANGED_FT
    part = np.flatnonzero((own.distance_ft >= low) & (own.distance_ft <= high))

    def less(struck: Skill) -> np.ndarray:
        """Putts saved by striking otherwise, 0 outside the lengths concerned."""
        saved = np.zeros_like(putts)
        onward = leave_chances(struck.at(struck.distance_ft[part]), setting) @ putts[..., None]
        saved[:, part] = putts[:, part] - 1 - onward[..., 0]
        return saved

    def scaled(name: str, factors: np.ndarray) -> list[np.ndarray]:
        changed = (replace(own, **{name: getattr(own, name) * f}) for f in factors[1:])
        return [0 * putts, *(less(struck.wider(*setting.green)) for struck in changed)]

    saving = []
    for spread, bias in (SPREAD_AND_BIAS[component] for component in COMPONENTS):
        saving.append([scaled(spread, SPREAD_FACTORS), scaled(bias, BIAS_FACTORS)])
    own_mix, given = np.moveaxis(visits, -1, 0)
    return own_mix, given, putts, np.array(saving)


def uncertain_mix(first: np.ndarray, nodes_ft: np.ndarray, draws: int, log_sd: float) -> np.ndarray:
    """First putts by node, (draws, n), that stray smoothly from those given and add up alike."""
    # Near lengths stray together, as a golfer's weak spots do.
    x = np.log(nodes_ft)
    root = np.linalg.cholesky(length_correlation(x, x))
    # The same strayed mixes for every golfer and setting: differences are not noise.
    stray = np.random.default_rng(17).standard_normal((draws, x.size)) @ root.T
    strayed = first * np.exp(log_sd * stray)
    return strayed * first.sum() / strayed.sum(axis=1, keepdims=True)


def _parabola(known: np.ndarray, values: Sequence[np.ndarray], at: np.ndarray) -> np.ndarray:
    """The parabola through three known values (Lagrange)."""
    total = np.zeros_like(at)
    for i, value in enumerate(values):
        others = np.delete(known, i)
        total = total + value * np.prod([(at - f) / (known[i] - f) for f in others], axis=0)
    return total


@dataclass(frozen=True)
class Savings:
    """What each of `OPTIONS` saves a round where all of the time goes there, draw by draw."""

    middle: np.ndarray  # (draws, options), by correcting the bias
    scatter: np.ndarray  # (draws, options), by narrowing the spread

    @cached_property
    def saved(self) -> np.ndarray:
        """Strokes saved in all, (draws, options)."""
        return self.middle + self.scatter

    @property
    def best(self) -> int:
        """Position of the option that saves most on average: no other has less regret."""
        return int(self.saved.mean(axis=0).argmax())

    @property
    def words(self) -> str:
        """What the best saves, and by what."""
        middle, scatter = (part.mean(axis=0)[self.best] for part in (self.middle, self.scatter))
        by = "correcting the middle" if middle > scatter else "tightening the scatter"
        return f"{saved_words(self.saved[:, self.best])}, mostly by {by}"

    @property
    def p_best(self) -> np.ndarray:
        """Chance that each option is the best, shape (options,)."""
        counts = np.bincount(self.saved.argmax(axis=1), minlength=self.saved.shape[1])
        return counts / len(self.saved)

    @property
    def expected_regret(self) -> np.ndarray:
        """Strokes a round given away on average by choosing each option, shape (options,)."""
        return self.saved.max(axis=1).mean() - self.saved.mean(axis=0)

    @property
    def ties(self) -> list[int]:
        """Positions that can't be told from the best, itself first."""
        better = (self.saved > self.saved[:, [self.best]] + ALIKE).mean(axis=0)
        tied = [int(i) for i in np.argsort(-better) if better[i] >= TIE_CHANCE]
        return [self.best, *tied]

    @property
    def together(self) -> list[int]:
        """The best and those tied with it next to it, one stretch: positions, by distance."""
        ties, found = set(self.ties), {self.best}
        for step in (-2, 2):  # the next stretch of the same component
            place = self.best + step
            while place in ties:
                found.add(place)
                place += step
        return sorted(found)


def chance_among(saved: np.ndarray, places: Sequence[int]) -> float:
    """Chance that one of some options saves most, or as good as most, of (draws, options)."""
    return float((saved[:, places].max(axis=1) >= saved.max(axis=1) - ALIKE).mean())


def named(options: Option | list[Option], *, start: bool = False) -> str:
    """One option, or neighbours as one, in words: ``pace from 15 to 25 ft``."""
    several = options if isinstance(options, list) else [options]
    component = several[0][1]
    from_ft, to_ft = STRETCHES[several[0][0]][0], STRETCHES[several[-1][0]][1]
    words = f"{component} {place_words(from_ft, to_ft)}"
    return words[0].upper() + words[1:] if start else words


def saved_words(saved: np.ndarray) -> str:
    """Strokes saved, (draws,), in words: ``about 0.12 strokes a round (0.05 to 0.20)``."""
    mean, low, high = map(float, summary(saved))
    return f"about {quantity(mean, SAVED)} strokes a round ({interval(low, high, SAVED)})"


def time_words(minutes: float) -> str:
    """A time in words, such as ``hour`` or ``40 minutes``."""
    if minutes == 60:
        return "hour"
    return f"{minutes / 60:g} hours" if minutes % 60 == 0 else f"{minutes:g} minutes"


def at_least_shown(strokes: float) -> str:
    """Strokes to two places, never as none where there are some."""
    return f"{strokes:.2f}" if strokes >= 0.005 else "under 0.01"
