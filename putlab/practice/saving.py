"""What every distance costs in a round, and what another spread there would save.

Distances are nodes even in log distance. A putt from node i drops or stops near the others:
a chain, whose solution gives the putts still to come from every node (V) and the putts struck
from it in a round (visits). Changing how putts from node i are struck, and nothing else,
costs or saves visits[i] x (1 + mean V at the new leave - V[i]) strokes a round. Summed over
nodes that is exact to first order in the change, and it says where strokes come from.
"""

from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from putlab.base.cache import kept_or_made, result_key
from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.green import published
from putlab.green.flat import FlatScatter
from putlab.green.leaves import LeaveGrid, leaves
from putlab.green.skill import Skill
from putlab.model.design import length_correlation
from putlab.model.readings import COMPONENTS
from putlab.rounds.first_putts import RoundMix, shipped_mix
from putlab.rounds.reference import Reference, reference_skill

SPREAD_AND_BIAS = {
    "line": ("line_sd_deg", "line_bias_deg"),
    "pace": ("pace_sd_pct", "pace_bias_pct"),
}

# Factors on spread, and on bias, at which the cost of a putt is computed; between them a
# parabola, and the two effects added.
SPREAD_FACTORS = np.array([1.0, 0.8, 0.55])
BIAS_FACTORS = np.array([1.0, 0.5, 0.0])

# Lengths that practice and comparison concern: shorter putts drop, longer ones are rare.
CHANGED_FT = (1.5, 90.0)

# The chain ends here: a longer leave counts as this long.
LONGEST_FT = 120.0

# Putts solved at once: memory stays below 100 MB.
PUTTS_AT_ONCE = 4_000

# How far a golfer's own first putts may stray, in log at each length, from a mix that is an
# assumption about golfers at large (assumption: a third either way).
MIX_LOG_SD = 0.3

GREEN_SOURCE = f"{published.KARLSEN_NILSSON}; for line the same share, assumed"

# An option is tied with the choice while the chance that it is the better one is at least
# this: four to one against is not yet a difference to act on (convention of the kit).
TIE_CHANCE = 0.2

ALL = slice(None)

# Where time can go: distance in feet, and component.
Option = tuple[float, str]


@dataclass(frozen=True)
class RoundSetting:
    """The round and the green for which strokes are counted."""

    mix: RoundMix
    green: tuple[float, float]  # spread that a real green adds: line in degrees, pace in percent
    green_source: str
    green_estimated: bool  # from this golfer's own putts on a green
    reference: Skill  # one draw, on a green with its reading
    reference_name: str
    reference_source: str
    stimp_ft: float
    past_ft: float
    mix_log_sd: float  # how far the golfer's own mix may stray from the one given


def round_setting(
    *,
    reference: Reference | Skill | None = None,
    mix: RoundMix | None = None,
    stimp_ft: float = STIMP_FT,
    past_ft: float = PAST_FT,
    green: tuple[float, float] | None = None,
    green_source: str = "given",
    green_estimated: bool = False,
    mix_log_sd: float | None = None,
) -> RoundSetting:
    """The round and green, published or assumed where nothing is given (see `advise`)."""
    golfer, name, source = reference_skill(reference, stimp_ft=stimp_ft, past_ft=past_ft)
    if green is None:
        green, green_source = published.green_spread(), GREEN_SOURCE
    mix = shipped_mix() if mix is None else mix
    stray = mix_stray(mix) if mix_log_sd is None else mix_log_sd
    rolls = (float(stimp_ft), float(past_ft), float(stray))
    line_sd_deg, pace_sd_pct = green
    whence = (green_source, green_estimated)
    return RoundSetting(mix, (line_sd_deg, pace_sd_pct), *whence, golfer, name, source, *rolls)


def mix_stray(mix: RoundMix) -> float:
    """How far a golfer's own mix may stray, in log, from one that is given."""
    return MIX_LOG_SD if mix.assumed else 0.0


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
    # For line and pace: strokes that one putt costs more than with the reference's.
    lost: np.ndarray  # (2, draws, n)

    def saved(self, component: str, change: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
        """Strokes a round saved by node, (draws, n), of factors on a component's spread, bias."""
        spread, bias = self.saving[COMPONENTS.index(component)]
        total = _parabola(SPREAD_FACTORS, spread, change[0])
        return self.visits * (total + _parabola(BIAS_FACTORS, bias, change[1]))

    def saved_a_round(self, changes: Mapping[str, tuple[np.ndarray, np.ndarray]]) -> np.ndarray:
        """Strokes a round saved, (draws,): line and pace added, exact to first order."""
        saved = [self.saved(name, change).sum(axis=1) for name, change in changes.items()]
        return np.sum(saved, axis=0)

    def lost_a_round(self, component: str) -> np.ndarray:
        """Strokes a round lost to the reference by node, (draws, n); below 0 where better."""
        return self.visits * self.lost[COMPONENTS.index(component)]


def kept_strokes(skill: Skill, setting: RoundSetting) -> RoundStrokes:
    """`round_strokes`, kept on disk."""
    numbers = (setting.green, setting.stimp_ft, setting.past_ft, setting.mix_log_sd)
    mix = (setting.mix.distance_ft, setting.mix.first_putts)
    key = result_key("practice", "strokes", vars(skill), vars(setting.reference), mix, numbers)
    return RoundStrokes(**kept_or_made(key, lambda: vars(round_strokes(skill, setting))))


def round_strokes(skill: Skill, setting: RoundSetting) -> RoundStrokes:
    """Strokes at every distance, for all draws of the golfer's own skill on a new day at once."""
    mix = setting.mix
    grid = LeaveGrid(max(LONGEST_FT, 2 * mix.distance_ft.max()))
    nodes = grid.cells_ft[:: grid.LATER]
    given = mix.onto(nodes)
    first = uncertain_mix(given, nodes, skill.draws, setting.mix_log_sd)

    def solve(rows: slice) -> tuple[np.ndarray, ...]:
        mixes = np.stack([first[rows], np.broadcast_to(given, first[rows].shape)], axis=-1)
        return _solve(_picked(skill, rows).at(nodes), mixes, setting, grid)

    size = max(1, PUTTS_AT_ONCE // nodes.size)
    parts = [slice(start, start + size) for start in range(0, skill.draws, size)]
    # Two threads, as numpy lets go of the interpreter while it computes.
    with ThreadPoolExecutor(max_workers=2) as pool:
        columns = zip(*pool.map(solve, parts), strict=True)
        return RoundStrokes(nodes, *(np.concatenate(column, axis=-2) for column in columns))


def _solve(
    own: Skill, mixes: np.ndarray, setting: RoundSetting, grid: LeaveGrid
) -> tuple[np.ndarray, ...]:
    """The arrays of `RoundStrokes` for a few draws given at the nodes."""
    now, reference = own.wider(*setting.green), setting.reference.at(own.distance_ft)
    putts, visits = solve_chain(_leave_chances(now, grid, setting), mixes)
    low, high = CHANGED_FT
    part = np.flatnonzero((own.distance_ft >= low) & (own.distance_ft <= high))

    def less(struck: Skill) -> np.ndarray:
        """Putts saved by striking otherwise, 0 outside the lengths concerned."""
        saved = np.zeros_like(putts)
        onward = _leave_chances(_picked(struck, at=part), grid, setting) @ putts[..., None]
        saved[:, part] = putts[:, part] - 1 - onward[..., 0]
        return saved

    def scaled(name: str, factors: np.ndarray) -> list[np.ndarray]:
        changed = (replace(own, **{name: getattr(own, name) * f}) for f in factors[1:])
        return [0 * putts, *(less(struck.wider(*setting.green)) for struck in changed)]

    saving, lost = [], []
    for spread, bias in (SPREAD_AND_BIAS[component] for component in COMPONENTS):
        saving.append([scaled(spread, SPREAD_FACTORS), scaled(bias, BIAS_FACTORS)])
        lost.append(less(replace(now, **{n: getattr(reference, n) for n in (spread, bias)})))
    own_mix, given = np.moveaxis(visits, -1, 0)
    return own_mix, given, putts, np.array(saving), np.array(lost)


def uncertain_mix(first: np.ndarray, nodes_ft: np.ndarray, draws: int, log_sd: float) -> np.ndarray:
    """First putts by node, (draws, n), that stray smoothly from those given and add up alike."""
    # Near lengths stray together, as a golfer's weak spots do.
    x = np.log(nodes_ft)
    root = np.linalg.cholesky(length_correlation(x, x))
    # The same strayed mixes for every golfer and setting: differences are not noise.
    stray = np.random.default_rng(17).standard_normal((draws, x.size)) @ root.T
    strayed = first * np.exp(log_sd * stray)
    return strayed * first.sum() / strayed.sum(axis=1, keepdims=True)


def solve_chain(chain: np.ndarray, first: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean putts to hole out, (draws, n), and putts struck from each node, (draws, n, mixes)."""
    # Chain (draws, n, n): chance that a putt from one node misses and stops near another.
    left = np.eye(chain.shape[-1]) - chain
    putts = np.linalg.solve(left, np.ones((*chain.shape[:2], 1)))[..., 0]
    visits = np.linalg.solve(np.swapaxes(left, 1, 2), first)
    return putts, visits


def _leave_chances(skill: Skill, grid: LeaveGrid, setting: RoundSetting) -> np.ndarray:
    """Chances, shape (draws, n, nodes), of a miss that stops near each node."""
    found = leaves(FlatScatter.of(skill, setting.past_ft), setting.stimp_ft, grid)
    cells = found.cells.reshape(skill.draws, skill.distance_ft.size, grid.CELLS)
    return cells @ grid.fill(grid.LATER)


def _picked(skill: Skill, rows: slice = ALL, at: slice | np.ndarray = ALL) -> Skill:
    """Some draws of a skill, at some of its distances."""
    names = [name for pair in SPREAD_AND_BIAS.values() for name in pair]
    values = {name: getattr(skill, name)[rows][:, at] for name in names}
    return Skill(skill.distance_ft[at], **values)


def _parabola(known: np.ndarray, values: Sequence[np.ndarray], at: np.ndarray) -> np.ndarray:
    """The parabola through three known values (Lagrange)."""
    total = np.zeros_like(at)
    for i, value in enumerate(values):
        others = np.delete(known, i)
        total = total + value * np.prod([(at - f) / (known[i] - f) for f in others], axis=0)
    return total


@dataclass(frozen=True)
class Savings:
    """What each option saves and what is lost there, draw by draw, and the choice that follows."""

    options: list[Option]
    lost: np.ndarray  # (draws, options), strokes a round lost now against the reference
    saved: np.ndarray  # (more draws, options), saved a round where all of the time goes there

    @property
    def best(self) -> int:
        """Position of the option that saves most on average: no other has less regret."""
        return int(self.saved.mean(axis=0).argmax())

    @property
    def p_best(self) -> np.ndarray:
        """Chance that each option is the best, shape (options,)."""
        best = self.saved.argmax(axis=1)
        return np.bincount(best, minlength=len(self.options)) / len(best)

    @property
    def expected_regret(self) -> np.ndarray:
        """Strokes a round given away on average by choosing each option, shape (options,)."""
        return self.saved.max(axis=1).mean() - self.saved.mean(axis=0)

    @property
    def ties(self) -> list[int]:
        """Positions the data cannot separate from the best, itself first."""
        better = (self.saved > self.saved[:, [self.best]]).mean(axis=0)
        tied = [int(i) for i in np.argsort(-better) if better[i] >= TIE_CHANCE]
        return [self.best, *tied]


def options_of(lengths_ft: Iterable[float]) -> list[Option]:
    """Every length, line and pace."""
    return [(float(d), c) for d in lengths_ft for c in COMPONENTS]


def named(option: Option, *, start: bool = False) -> str:
    """An option in words, such as ``pace at 24 ft``; perhaps at the start of a sentence."""
    distance_ft, component = option
    words = f"{component} at {distance_ft:g} ft"
    return words[0].upper() + words[1:] if start else words


def time_words(minutes: float) -> str:
    """A time in words, such as ``hour`` or ``40 minutes``."""
    if minutes == 60:
        return "hour"
    return f"{minutes / 60:g} hours" if minutes % 60 == 0 else f"{minutes:g} minutes"


def at_least_shown(strokes: float) -> str:
    """Strokes to three places, never as none where there are some."""
    return f"{strokes:.3f}" if strokes >= 0.001 else "under 0.001"
