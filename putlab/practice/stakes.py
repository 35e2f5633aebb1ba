"""What is at stake at each distance: putts struck from there in a round, and what they cost.

Distances are nodes even in log distance. A putt from node i drops or stops near the others:
a chain, whose solution gives the putts still to come from every node (V) and the putts struck
from it in a round (visits). Changing how putts from node i are struck, and nothing else,
costs or saves visits[i] x (1 + mean V at the new leave - V[i]) strokes a round. Summed over
nodes that is exact to first order in the change, and it says where strokes come from.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from putlab.green.leaves import LeaveGrid, leaves
from putlab.green.skill import Skill
from putlab.green.strike import Strikes
from putlab.model.design import bump_correlation

COMPONENTS = ("line", "pace")
NAMES = {"line": ("line_sd_deg", "line_bias_deg"), "pace": ("pace_sd_pct", "pace_bias_pct")}

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


@dataclass(frozen=True)
class Stakes:
    """Strokes at stake at each distance.

    Attributes
    ----------
    distance_ft : ndarray, shape (n,)
        Nodes, even in log distance.
    visits : ndarray, shape (draws, n)
        Putts a round struck from near each node, by the golfer's own mix of first putts.
    visits_given : ndarray, shape (draws, n)
        The same by the mix as given, which the golfer's own may stray from.
    putts : ndarray, shape (draws, n)
        Mean putts to hole out from there.
    saving : ndarray, shape (2, 2, 3, draws, n)
        For line and pace: strokes that one putt from there saves where the golfer's spread is
        multiplied by `SPREAD_FACTORS`, and where the bias is by `BIAS_FACTORS`.
    lost : ndarray, shape (2, draws, n)
        For line and pace: strokes that one putt costs more than with the reference's.
    """

    distance_ft: np.ndarray
    visits: np.ndarray
    visits_given: np.ndarray
    putts: np.ndarray
    saving: np.ndarray
    lost: np.ndarray

    @property
    def strokes(self):
        """Mean putts of a round, shape (draws,)."""
        return self.visits.sum(axis=1)

    def saved(self, component, change):
        """Return strokes a round saved where spread and bias change, by node.

        Parameters
        ----------
        component : {"line", "pace"}
            Component that changes.
        change : tuple of ndarray, shape (draws, n)
            Factors on its spread and on its bias at every node.

        Returns
        -------
        ndarray, shape (draws, n)
            Strokes a round; the sum over nodes is the whole.
        """
        spread, bias = self.saving[COMPONENTS.index(component)]
        total = _parabola(SPREAD_FACTORS, spread, change[0])
        return self.visits * (total + _parabola(BIAS_FACTORS, bias, change[1]))

    def saved_a_round(self, changes):
        """Return strokes a round saved where both components change.

        Parameters
        ----------
        changes : dict of str to tuple of ndarray, shape (draws, n)
            By component: factors on spread and on bias at every node.

        Returns
        -------
        ndarray, shape (draws,)
            Line and pace added: exact to first order.
        """
        return sum(self.saved(name, change).sum(axis=1) for name, change in changes.items())

    def lost_a_round(self, component):
        """Return strokes a round lost to the reference, by node.

        Parameters
        ----------
        component : {"line", "pace"}
            Component.

        Returns
        -------
        ndarray, shape (draws, n)
            Strokes a round; below 0 where the golfer is better than the reference.
        """
        return self.visits * self.lost[COMPONENTS.index(component)]


def make_stakes(skill, mix, *, green, reference, stimp_ft, past_ft, mix_log_sd=0.0):
    """Return what is at stake at every distance, for all draws at once.

    Parameters
    ----------
    skill : putlab.green.skill.Skill
        The golfer's own, on a new day.
    mix : putlab.rounds.first_putts.RoundMix
        First putts of a round.
    green : tuple of float
        Spread that the green and its reading add: line in degrees, pace in percent.
    reference : putlab.green.skill.Skill
        One draw; spreads on a green, its reading included.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims.
    mix_log_sd : float
        How far the golfer's own mix may stray from the one given, at each length, in log.

    Returns
    -------
    Stakes
        Visits, putts, savings and losses by node.
    """
    grid = LeaveGrid(max(LONGEST_FT, 2 * mix.distance_ft.max()))
    nodes = grid.cells_ft[:: grid.LATER]
    given = mix.onto(nodes)
    first = uncertain_mix(given, nodes, skill.draws, mix_log_sd)

    def solve(rows):
        some = _rows(skill, rows).at(nodes)
        mixes = np.stack([first[rows], np.broadcast_to(given, first[rows].shape)], axis=-1)
        return _solve(some, mixes, green, reference.at(nodes), grid, (stimp_ft, past_ft))

    size = max(1, PUTTS_AT_ONCE // nodes.size)
    parts = [slice(start, start + size) for start in range(0, skill.draws, size)]
    # Two threads, as numpy lets go of the interpreter while it computes.
    with ThreadPoolExecutor(max_workers=2) as pool:
        columns = zip(*pool.map(solve, parts), strict=True)
        return Stakes(nodes, *(np.concatenate(column, axis=-2) for column in columns))


def _solve(own, mixes, green, reference, grid, roll):
    """Return the arrays of `Stakes` for a few draws given at the nodes."""
    now = own.wider(*green)
    putts, visits = solve_chain(_leave_chances(now, grid, roll), mixes)
    low, high = CHANGED_FT
    part = np.flatnonzero((own.distance_ft >= low) & (own.distance_ft <= high))

    def less(struck):
        """Return putts saved by striking otherwise, 0 outside the lengths concerned."""
        saved = np.zeros_like(putts)
        onward = _leave_chances(_columns(struck, part), grid, roll) @ putts[..., None]
        saved[:, part] = putts[:, part] - 1 - onward[..., 0]
        return saved

    def narrowed(name, factors):
        scaled = (_scaled(own, name, factor).wider(*green) for factor in factors[1:])
        return [0 * putts, *(less(struck) for struck in scaled)]

    saving = [
        [narrowed(spread, SPREAD_FACTORS), narrowed(bias, BIAS_FACTORS)]
        for spread, bias in (NAMES[component] for component in COMPONENTS)
    ]
    lost = [less(_borrowed(now, reference, name)) for name in COMPONENTS]
    own_mix, given = np.moveaxis(visits, -1, 0)
    return own_mix, given, putts, np.array(saving), np.array(lost)


def uncertain_mix(first, nodes_ft, draws, log_sd):
    """Return draws of a mix that strays smoothly from the one given.

    Parameters
    ----------
    first : ndarray, shape (n,)
        First putts a round from each node.
    nodes_ft : ndarray, shape (n,)
        Nodes in feet.
    draws : int
        How many draws.
    log_sd : float
        Log sd at each node; near lengths stray together, as a golfer's weak spots do.

    Returns
    -------
    ndarray, shape (draws, n)
        Each adds up to what the mix given does.
    """
    x = np.log(nodes_ft)
    root = np.linalg.cholesky(bump_correlation(x, x))
    # The same strayed mixes for every golfer and setting: differences are not noise.
    stray = np.random.default_rng(17).standard_normal((draws, x.size)) @ root.T
    strayed = first * np.exp(log_sd * stray)
    return strayed * first.sum() / strayed.sum(axis=1, keepdims=True)


def solve_chain(chain, first):
    """Return mean putts to hole out, and putts struck from each node in a round.

    Parameters
    ----------
    chain : ndarray, shape (draws, n, n)
        Chance that a putt from one node misses and stops near another.
    first : ndarray, shape (draws, n, mixes)
        First putts a round from each node, for one mix or several.

    Returns
    -------
    tuple of ndarray, shapes (draws, n) and (draws, n, mixes)
        Putts, and visits.
    """
    left = np.eye(chain.shape[-1]) - chain
    putts = np.linalg.solve(left, np.ones((*chain.shape[:2], 1)))[..., 0]
    visits = np.linalg.solve(np.swapaxes(left, 1, 2), first)
    return putts, visits


def _leave_chances(skill, grid, roll):
    """Return the chances, shape (draws, n, nodes), of a miss that stops near each node."""
    stimp_ft, past_ft = roll
    found = leaves(Strikes.of(skill, past_ft), stimp_ft, grid)
    cells = found.cells.reshape(skill.draws, skill.distance_ft.size, grid.CELLS)
    return cells @ grid.fill(grid.LATER)


def _rows(skill, rows):
    values = {name: getattr(skill, name)[rows] for pair in NAMES.values() for name in pair}
    return Skill(skill.distance_ft, **values)


def _columns(skill, part):
    values = {name: getattr(skill, name)[:, part] for pair in NAMES.values() for name in pair}
    return Skill(skill.distance_ft[part], **values)


def _scaled(skill, name, factor):
    return replace(skill, **{name: getattr(skill, name) * factor})


def _parabola(known, values, at):
    """Return the parabola through three known values (Lagrange)."""
    total = 0.0
    for i, value in enumerate(values):
        others = np.delete(known, i)
        total = total + value * np.prod([(at - f) / (known[i] - f) for f in others], axis=0)
    return total


def _borrowed(skill, reference, component):
    """Return a skill with one component taken from the reference."""
    return replace(skill, **{n: getattr(reference, n) for n in NAMES[component]})
