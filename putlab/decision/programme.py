"""The concave programme: minutes given to each option, to the strokes expected to be saved.

Log experience grows by log(1 + putts that count / experience) and a bias halves every so many
putts: both bend down, so one optimum exists. It is found by Newton's method whose steps within
the limits are convex programmes (cvxpy).
"""

import numpy as np
from scipy.stats import norm
from scipy.stats.qmc import LatinHypercube

from putlab.decision.stakes import BIAS_FACTORS, COMPONENTS, SPREAD_FACTORS
from putlab.worth import options_of

# Scenarios of what practice does that the programme averages over: its mean, not its tails.
SCENARIOS = 16

# Steps of Newton's method; five to ten suffice.
STEPS = 50

# Less than this at one option is a walk to it and back.
LEAST_MINUTES = 3.0


class Problem:
    """The concave programme: minutes by block of time and option to expected strokes saved.

    Parameters
    ----------
    case : putlab.decision.setting.Case
        Golfer, learning, round and green.
    starts_days : array_like, shape (blocks,)
        Day on which each block of practice lies; a round is played right after each.
    """

    def __init__(self, case, starts_days):
        self.case = case
        self.days = np.asarray(starts_days, dtype=float)
        self.lengths_ft = case.who.lengths_ft
        self.options = options_of(self.lengths_ft)
        chances = self._scenarios()
        parts = [self._terms(chances, i) for i in range(len(COMPONENTS))]
        self.growing, self.fading = (_joined(side) for side in zip(*parts, strict=True))

    def _scenarios(self):
        """Return normal scores of what is uncertain, each stratified over its whole range."""
        size = 3 + len(self.options)
        ranks = LatinHypercube(size, rng=self.case.seed).random(SCENARIOS)
        return norm.ppf(ranks)

    def _terms(self, chances, component):
        """Return the terms of one component that grow by a log, and that fade by halves.

        Each side is counts (terms, options): putts that count, by minutes; scale (terms,); and
        weight (terms,): expected strokes.
        """
        learning, stakes = self.case.learning, self.case.stakes
        nodes = np.flatnonzero(np.any(stakes.saving, axis=(0, 1, 2, 3)))
        carry_range = learning.carry_range * np.exp(learning.carry_log_sd * chances[:, 0])
        half = learning.bias_putts * np.exp(learning.bias_log_sd * chances[:, 1 + component])
        yields = np.exp(learning.yield_log_sd * chances[:, 3 + component :: 2])
        reach = learning.carry(self.lengths_ft, stakes.distance_ft[nodes], carry_range)
        a_minute = learning.putts_a_minute(self.lengths_ft)
        taught = np.swapaxes(reach * (yields * a_minute)[:, :, None], 1, 2)
        shares = [1.0 if i == component else learning.other_share for i in range(2)]
        counts = (taught[..., None] * shares).reshape(-1, len(self.options))
        struck = self.case.who.practised["putts"].to_numpy(float)
        experience = learning.start_putts + np.einsum("l,sln->sn", struck, reach)
        spread, straight, squared = (
            np.broadcast_to(weight[nodes] / SCENARIOS, experience.shape).ravel()
            for weight in self._weights(component)
        )
        fade = np.broadcast_to(np.log(2) / half[:, None], experience.shape).ravel()
        fading = [(counts, fade, straight), (counts, 2 * fade, squared)]
        return (counts, 1 / experience.ravel(), spread), _joined(fading)

    def _weights(self, component):
        """Return expected strokes by node: per unit of log experience, and of the bias.

        Spread: the slope of strokes over log spread at an hour's narrowing, times the rate.
        Bias: a part that goes with it and one that goes with its square. Where a bias
        happens to help, losing it costs: below 0.
        """
        stakes, name = self.case.stakes, COMPONENTS[component]
        spread, bias = stakes.saving[component]
        practice = self.case.practices[0]
        slope = spread[1] / -np.log(SPREAD_FACTORS[1]) * practice.rates[name][:, None]
        half, none = bias[np.searchsorted(-BIAS_FACTORS, [-0.5, 0.0])]
        squared = 4 * half - 2 * none
        parts = (np.maximum(slope, 0.0), none - squared, squared)
        return [(stakes.visits * part).mean(axis=0) for part in parts]

    def kept(self):
        """Return the share of each block's practice left at each round, (blocks, blocks)."""
        ago = self.days[:, None] - self.days[None, :]
        return np.where(ago >= 0, self.case.learning.kept(np.maximum(ago, 0)), 0.0)

    def value(self, minutes):
        """Return the expected strokes a round saved, by the programme's own reckoning.

        Parameters
        ----------
        minutes : ndarray, shape (blocks, options)
            Time given.

        Returns
        -------
        float
            Average over the rounds played after each block.
        """
        left = self.kept() @ np.reshape(minutes, (self.days.size, -1))
        return float(np.mean([self._at(row)[0] for row in left]))

    def _at(self, minutes):
        """Return value, gradient and curvature over options of minutes left at one round."""
        counts, scale, weight = self.growing
        grown = 1 + scale * (counts @ minutes)
        value = weight @ np.log(grown)
        slope, bend = weight * scale / grown, -weight * (scale / grown) ** 2
        gradient, curvature = slope @ counts, (counts * bend[:, None]).T @ counts
        counts, scale, weight = self.fading
        left = weight * np.exp(-scale * (counts @ minutes))
        value += weight.sum() - left.sum()
        gradient += (left * scale) @ counts
        curvature -= (counts * (left * scale**2)[:, None]).T @ counts
        return value, gradient, curvature

    def derivatives(self, minutes):
        """Return the gradient of `value`, and a curvature that bends down everywhere.

        Parameters
        ----------
        minutes : ndarray, shape (blocks, options)
            Time given.

        Returns
        -------
        tuple of ndarray, shapes (n,) and (n, n)
            Over blocks and options laid out in a row.
        """
        kept = self.kept() / self.days.size
        found = [self._at(row) for row in self.kept() @ minutes]
        gradient = np.einsum("rb,ro->bo", kept, [f[1] for f in found]).ravel()
        curvature = np.einsum("rb,rc,roq->bocq", kept, self.kept(), [f[2] for f in found])
        values, vectors = np.linalg.eigh(curvature.reshape(gradient.size, -1))
        return gradient, (vectors * np.minimum(values, 0.0)) @ vectors.T

    def solve(self, budgets, most_minutes=np.inf):
        """Return the best minutes for each block's budget.

        Parameters
        ----------
        budgets : sequence of float, one a block
            Minutes for drills.
        most_minutes : float
            Most that one option may get in a block.

        Returns
        -------
        ndarray, shape (blocks, options)
            Minutes, none below 0; options too short to be worth the walk are left out.
        """
        budgets = np.asarray(budgets, dtype=float)
        allowed = np.ones((self.days.size, len(self.options)), dtype=bool)
        minutes = self.optimum(budgets, allowed, most_minutes)
        # Those left out hand their time on, which may leave others too short.
        for _ in range(len(self.options)):
            kept = allowed & (minutes >= LEAST_MINUTES)
            # Rows that could not hold their time without the short ones keep them.
            full = kept.any(axis=1) & (kept.sum(axis=1) * most_minutes >= budgets)
            dropped = allowed & ~kept & full[:, None]
            if not dropped.any():
                break
            allowed &= ~dropped
            minutes = self.optimum(budgets, allowed, most_minutes)
        return minutes

    def optimum(self, budgets, allowed, most_minutes=np.inf):
        """Return the best minutes over the options allowed.

        Newton's method with limits: at every step the programme's parabola is maximised by
        convex programming, and the way there is halved until strokes are gained.

        Parameters
        ----------
        budgets : sequence of float, one a block
            Minutes for drills.
        allowed : ndarray of bool, shape (blocks, options)
            Where time may go.
        most_minutes : float
            Most that one option may get in a block.

        Returns
        -------
        ndarray, shape (blocks, options)
            Minutes.
        """
        budgets = np.asarray(budgets, dtype=float)
        even = np.minimum(budgets / allowed.sum(axis=1), most_minutes)
        minutes = allowed * even[:, None]
        step = _quadratic_step(budgets, allowed, most_minutes)
        value = self.value(minutes)
        for _ in range(STEPS):
            way = step(minutes, *self.derivatives(minutes)) - minutes
            lengths = (0.5**k for k in range(20))
            tried = ((self.value(minutes + part * way), part) for part in lengths)
            gained, part = next((found for found in tried if found[0] > value), (value, 0.0))
            minutes = minutes + part * way
            if gained - value <= 1e-7 * abs(value):
                break
            value = gained
        return np.maximum(minutes, 0.0)


def _quadratic_step(budgets, allowed, most_minutes):
    """Return the function that maximises a parabola around some minutes within the limits."""
    import cvxpy as cp

    x = cp.Variable(int(allowed.sum()), nonneg=True)
    linear, root = cp.Parameter(x.size), cp.Parameter((x.size, x.size))
    block = np.nonzero(allowed)[0]
    limits = [cp.sum(x[block == b]) <= budget for b, budget in enumerate(budgets)]
    limits += [x <= most_minutes] if np.isfinite(most_minutes) else []
    program = cp.Problem(cp.Maximize(linear @ x - cp.sum_squares(root @ x) / 2), limits)
    where = np.flatnonzero(allowed)

    def step(minutes, gradient, curvature):
        # Strokes a minute are small numbers: scaled to about 1, what solvers are made for.
        size = np.abs(gradient).max() or 1.0
        bend = -curvature[np.ix_(where, where)] / size
        values, vectors = np.linalg.eigh(bend)
        root.value = np.sqrt(np.maximum(values, 0.0))[:, None] * vectors.T
        linear.value = gradient[where] / size + bend @ minutes.ravel()[where]
        program.solve(solver=cp.CLARABEL)
        found = np.zeros(allowed.shape)
        found.flat[where] = np.maximum(x.value, 0.0)
        return found

    return step


def _joined(sides):
    """Return several sides' terms one after the other."""
    return tuple(np.concatenate(column) for column in zip(*sides, strict=True))
