"""What has been learned of one player: spread and bias at any length, and what a green adds.

And which length is out of line: each practised one against the golfer's own curve through the
others.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import chain
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from putlab.base import words
from putlab.base.result import Result
from putlab.base.settings import interval_probabilities
from putlab.green.published import GREEN_SOURCE, KARLSEN_NILSSON
from putlab.green.published import green_spread as published_spread
from putlab.green.skill import SKILL_QUANTITIES, Skill
from putlab.model.design import length_correlation, length_weights, log_distance
from putlab.model.green_model import GREEN_PARAMETERS
from putlab.model.priors import green_priors
from putlab.model.readings import COMPONENTS
from putlab.model.spread import MISHIT_TIMES, cell_location

if TYPE_CHECKING:
    from putlab.posterior.fit import Fit

# Draws handed on to strokes and decisions: enough for the ends of a 90 % interval.
GOLFER_DRAWS = 1000

# With fewer misses than this that tell where they stopped, the pace prior still weighs most
# (seen in simulated logs, `tests/posterior/test_fit.py`).
FEW_LEAVES = 20


def summary(draws: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return mean, lower and upper end of the kit's interval over draws, shape (draws, ...)."""
    low, high = np.quantile(draws, interval_probabilities(), axis=0)
    return draws.mean(axis=0), low, high


def with_ends(draws: dict[str, np.ndarray]) -> dict[str, Any]:
    """Return columns of a table: the `summary` of each quantity, ends under ``_lo`` and ``_hi``."""
    names = [name + end for name in draws for end in ("", "_lo", "_hi")]
    return dict(zip(names, chain(*map(summary, draws.values())), strict=True))


@dataclass(frozen=True)
class Golfer(Result):
    """One player's posterior.

    Attributes
    ----------
    fit : putlab.posterior.fit.Fit
        The fit of the whole log.
    player : str
        Label.
    struck, held : float, dict of str to float, optional
        Putts struck so far, and conditions by share; default: as after the last visit.
    table : pandas.DataFrame
        A row a practised length: ``player, distance_ft, putts, sessions``, and mean and 90 %
        ends (``_lo``, ``_hi``) of ``line_sd_deg``, ``line_bias_deg``, ``pace_sd_pct`` and
        ``pace_bias_pct`` within a visit, as on the player's last one.
    sentence : str
        Spread of line and pace at the middle one of these lengths.
    """

    fit: Fit
    player: str
    struck: float | None = None
    held: dict[str, float] | None = None

    @property
    def table(self) -> pd.DataFrame:
        """Spread and bias at the practised lengths."""
        table = self.practised
        within = self.skill(table["distance_ft"], new_day=False)
        return table.assign(**with_ends({name: getattr(within, name) for name in SKILL_QUANTITIES}))

    @property
    def sentence(self) -> str:
        """Spread at the middle length, in words."""
        table = self.table
        if table.empty:
            return f"{self.player} practised no length."
        row = table.iloc[len(table) // 2]
        line, pace = (words.with_interval(row, name) for name in ("line_sd_deg", "pace_sd_pct"))
        at = words.length_words(row["distance_ft"])
        return f"{self.player} at {at}: spread of line {line}, of pace {pace}."

    @cached_property
    def practised(self) -> pd.DataFrame:
        """Lengths practised: ``player, distance_ft, putts, sessions``."""
        return self.fit.practised.query("player == @self.player").reset_index(drop=True)

    def draws(self, component: str, name: str) -> np.ndarray:
        """Return this player's draws of a quantity of the model's story, shape (draws, ...).

        At most `GOLFER_DRAWS`, evenly over all chains.
        """
        key = component, name, self.player
        if key not in self.fit.looked_up:
            values = self.fit.posteriors[component]["posterior"].dataset[name]
            if "player" in values.dims:
                values = values.sel(player=self.player)
            flat = np.concatenate(values.values)
            keep = np.linspace(0, len(flat) - 1, min(GOLFER_DRAWS, len(flat))).astype(int)
            self.fit.looked_up[key] = flat[keep]
        return self.fit.looked_up[key]

    def log_spread_and_bias(
        self, component: str, distance_ft: ArrayLike, *, counted: bool = False
    ) -> tuple[np.ndarray, np.ndarray]:
        """Return log spread within a visit, and bias, as on the player's last visit.

        Shape (draws, n) each, in the component's unit. Between practised lengths and beyond
        them a weak spot of its own is drawn, so the answer widens where nothing was measured.
        """
        x = log_distance(np.atleast_1d(distance_ft))

        def of(name: str) -> np.ndarray:
            return self.draws(component, name)[:, None]

        terms = {name: of(name) for name in ("trend", "counted")} | self._condition_now(component)
        terms["level"] = self._between(component, "level", "spot_sd", x, of("base"), of("slope"))
        terms["bias"] = self._between(component, "bias", "bias_spot_sd", x, of("bias_mean"))
        at = {"practised": self._practised_now(), "counted": float(counted), "x": x}
        now_bias, log_sd = cell_location(terms, at)
        return log_sd, now_bias

    def _between(
        self, component: str, name: str, size: str, x: np.ndarray, start: np.ndarray, slope: Any = 0
    ) -> np.ndarray:
        """Return a quantity at any log distance, given its values at the practised ones."""
        known = log_distance(self.fit.designs[component].lengths_ft)
        weights = length_weights(known, x).T
        left = length_correlation(x, x) - weights @ length_correlation(known, x)
        # Exact at a practised length: whatever rounding leaves on the diagonal is nought.
        values, vectors = np.linalg.eigh((left + left.T) / 2)
        root = vectors * np.sqrt(np.clip(values, 0, None))
        at_known = self.draws(component, name) - (start + slope * known)
        rng = np.random.default_rng([self.fit.seed, len(x), *name.encode()])
        fresh = rng.standard_normal((len(at_known), len(x))) @ root.T
        fresh = self.draws(component, size)[:, None] * fresh
        return start + slope * x + at_known @ weights.T + fresh

    def _practised_now(self) -> float:
        """Return log(1 + putts / 100) at the end of the log, on the model's centred scale."""
        first = self.fit.visits[self.fit.visits["player"] == self.player].iloc[0]
        offset = np.log1p(first["putts_before"] / 100) - first["practised"]
        struck = self.fit.putts_total[self.player] if self.struck is None else self.struck
        return np.log1p(struck / 100) - offset

    def _condition_now(self, component: str) -> dict[str, np.ndarray]:
        """Return the terms of the last visit's conditions, by share of putts, (draws, 1) each."""
        known = self.fit.designs[component].conditions[["player", "condition"]].to_numpy()
        weight = [(player == self.player) * self._held.get(held, 0.0) for player, held in known]
        names = ("effect", "effect_slope", "shift")
        return {name: self.draws(component, name) @ np.array(weight)[:, None] for name in names}

    @cached_property
    def _held(self) -> dict[str, float]:
        now = self.fit.condition_now.query("player == @self.player")
        shares = dict(zip(now["condition"], now["share"], strict=True))
        return shares if self.held is None else self.held

    def skill(
        self, distance_ft: ArrayLike, *, new_day: bool = True, counted: bool = False
    ) -> Skill:
        """Return the player's skill, all draws at once.

        Parameters
        ----------
        distance_ft : array_like, shape (n,)
            Distances in feet, rising.
        new_day : bool
            With the offset and form that a new visit brings; without: within a visit.
        counted : bool
            As when it counts, in a game.

        Returns
        -------
        putlab.green.skill.Skill
            Spread and bias of line (degrees) and pace (percent), and its mishits.
        """
        values: dict[str, np.ndarray] = {}
        for component, unit in zip(COMPONENTS, ("deg", "pct"), strict=True):
            log_sd, bias = self.log_spread_and_bias(component, distance_ft, counted=counted)
            # A visit's form is log-normal: the mean of its square is exp(2 visit_form_sd²).
            form = new_day * self.draws(component, "visit_form_sd")[:, None]
            shared = new_day * self.draws(component, "visit_bias_sd")[:, None]
            sd = np.exp(log_sd) * np.exp(form**2)
            values |= {
                f"{component}_sd_{unit}": np.hypot(sd, shared),
                f"{component}_bias_{unit}": bias,
                f"{component}_wild": self.draws(component, "mishit_share")[:, None],
                f"{component}_wild_sd_{unit}": np.hypot(MISHIT_TIMES * sd, shared),
            }
        return Skill(np.atleast_1d(np.asarray(distance_ft, dtype=float)), **values)


# What a green adds: reading it, and its surface


def green_spread(fit: Fit, player: str) -> tuple[np.ndarray, str]:
    """Return what a green adds to line (degrees) and pace (percent), (2, draws), and whence."""
    golfer = fit.golfer(player)
    if putts := fit.green_putts(player):
        values = np.stack([golfer.draws("green", name) for name in GREEN_PARAMETERS])
        origin = f"estimated from {putts:,} putts made or missed"
    else:
        rng = np.random.default_rng([fit.seed, *player.encode()])
        median, log_sd = green_priors(mixed=mixes(golfer)).T[..., None]
        draws = len(golfer.draws("line", "base"))
        values = median * np.exp(log_sd * rng.standard_normal((2, draws)))
        origin = (
            f"taken from the published split of variance ({KARLSEN_NILSSON}), as no visit of "
            "theirs to one (putts made or missed, nothing read) was fitted"
        )
    (line, line_low, line_high), (pace, pace_low, pace_high) = map(summary, values)
    said = (
        f"The spread that a real green adds for {player} (reading it, its surface) was {origin}: "
        f"{line:.1f}° in line ({line_low:.1f} to {line_high:.1f}) and {pace:.0f} % in pace "
        f"({pace_low:.0f} to {pace_high:.0f})."
    )
    return values, said


def mixes(golfer: Golfer) -> bool:
    """Whether the golfer's practice holds the judging of a new length."""
    return len(golfer.practised) != 1


def green_setting(golfer: Golfer) -> dict[str, Any]:
    """Return ``green`` (degrees and percent) and whence it comes, for a decision.

    As `putlab.rounds.strokes.round_setting` takes them: draws (draws, 1) beside the skill's;
    where nothing was estimated, the published ones for practice that mixed lengths or did not.
    """
    mixed, putts = mixes(golfer), golfer.fit.green_putts(golfer.player)
    green: tuple[Any, ...] = published_spread(mixed=mixed)
    source = GREEN_SOURCE
    if putts:
        values, _ = green_spread(golfer.fit, golfer.player)
        green = tuple(values[..., None])
        source = f"estimated from {putts:,} putts made or missed on a green"
    known = {"green": green, "green_source": source, "mixed": mixed}
    return known | {"green_estimated": True} if putts else known


def pace_sentence(fit: Fit, player: str) -> str:
    """Return what tells a player's line from pace: readings, leaves, putts taken, or the prior."""
    misses, leaves, followed = fit.green_counts.loc[player, ["misses", "leaves", "followed"]]
    known = f"of {misses:,} misses on a green {leaves:,} say how far they were left"
    known += f", and {followed:,} only how many putts followed." if followed else "."
    if fit.designs["pace"].rows["player"].eq(player).any():
        return f"Pace of {player} was read in practice; {known}"
    if leaves + followed == 0:
        return (
            f"Made or missed alone can't tell line from pace, and no miss of {player} says how "
            "far it was left or how many putts followed: the pace spread is what was believed "
            "beforehand, hardly what these putts show. Log leave_ft after a miss."
        )
    if leaves + followed < FEW_LEAVES:
        known += " They are few, and the pace spread leans on what was believed beforehand."
    return f"What tells the line of {player} from pace: {known}"


# A length out of line. In every draw the others suggest what a line through them says, straight in
# log distance (of a bias, their mean). As the fit pulls every length towards the others, a ratio
# is rather too near to 1 than too far from it, and agrees with the table of estimates.

# A straight line needs two others to be held against.
LEAST_LENGTHS = 3

# How flat the line through the others is thought to be before they are seen, in squares of log
# distance as a ridge on its slope. A stronger one finds more spots of golfers whose spread is the
# same all over, and names the ends of those whose spread rises or falls with distance: with 2,
# a third of logs in which it does so by as much as the prior thinks ordinary.
RIDGE = 0.4

# What is named: set in simulation so that of golfers without any spot at most one in twenty has
# a length named, and of those with one spread 1.6 times out of line at least four in five have
# it named (`tests/calibration/spots.py`).
WIDER_CHANCE, BIAS_CHANCE = 0.945, 0.998

# By kind: the columns of a component that hold its size and its chance, and what is named.
KINDS = {
    "spread": ("vs_own", "p_wider", WIDER_CHANCE),
    "bias": ("bias_vs_own", "p_bias", BIAS_CHANCE),
}
COLUMNS = [f"{of}_{name}" for of in COMPONENTS for kind in KINDS.values() for name in kind[:2]]

BIAS_NAMES = {"line": "line_bias_deg", "pace": "pace_bias_pct"}


class OutOfLine(NamedTuple):
    """A length that is named: ``size`` is a ratio of spreads, or degrees or percent of bias."""

    distance_ft: float
    component: str
    kind: str  # "spread" or "bias"
    size: float
    chance: float

    @property
    def sentence(self) -> str:
        """What is out of line, in words."""
        where = f"{self.component.capitalize()} at {words.length_words(self.distance_ft)}"
        if self.kind == "spread":
            much = f"is {self.size:.1f} times as wide as"
        else:
            much = f"lies {words.quantity(self.size, BIAS_NAMES[self.component])} of what"
        return f"{where} {much} the other lengths suggest ({words.sure(self.chance)})."


@dataclass(frozen=True)
class OwnCurve(Result):
    """Each practised length against the golfer's own curve through the others.

    Attributes
    ----------
    table : pandas.DataFrame
        A row a practised length: ``distance_ft``; ``line_vs_own`` and ``pace_vs_own``, its spread
        as a multiple of what the others suggest, with ``line_p_wider`` and ``pace_p_wider``, the
        chance that it is wider; ``line_bias_vs_own`` (degrees, right is positive) and
        ``pace_bias_vs_own`` (percent, long is positive), with ``line_p_bias`` and
        ``pace_p_bias``, the chance that the bias lies to the side told. Each chance is of that
        length alone: of a dozen, the highest is high by chance too. Blank where fewer than three
        lengths were practised.
    """

    table: pd.DataFrame

    @property
    def named(self) -> tuple[OutOfLine, ...]:
        """The lengths that pass the rule, the surest first."""
        found = [
            OutOfLine(row["distance_ft"], of, kind, row[f"{of}_{size}"], row[f"{of}_{chance}"])
            for of in COMPONENTS
            for kind, (size, chance, least) in KINDS.items()
            for row in self.table.to_dict("records")
            if row[f"{of}_{chance}"] >= least
        ]
        return tuple(sorted(found, key=lambda spot: -spot.chance))

    @property
    def sentence(self) -> str:
        """The lengths out of line, in words."""
        if self.named:
            return " ".join(spot.sentence for spot in self.named)
        if len(self.table) < LEAST_LENGTHS:
            return "Three lengths or more are needed to hold each against the others."
        return "No length is clearly out of line with the others."


def own_curve(golfer: Golfer) -> OwnCurve:
    """Hold each length that a golfer practised against the others."""
    lengths_ft = golfer.practised["distance_ft"].to_numpy(float)
    table = pd.DataFrame({"distance_ft": lengths_ft})
    if lengths_ft.size < LEAST_LENGTHS:
        return OwnCurve(table.reindex(columns=["distance_ft", *COLUMNS]))
    x = log_distance(lengths_ft)
    for component in COMPONENTS:
        log_sd, bias = golfer.log_spread_and_bias(component, lengths_ft)
        wider = log_sd - log_sd @ line_of_others(x).T
        aside = bias - bias @ (1 - np.eye(x.size)) / (x.size - 1)
        right = (aside > 0).mean(axis=0)
        table[f"{component}_vs_own"] = np.exp(wider.mean(axis=0))
        table[f"{component}_p_wider"] = (wider > 0).mean(axis=0)
        table[f"{component}_bias_vs_own"] = aside.mean(axis=0)
        table[f"{component}_p_bias"] = np.maximum(right, 1 - right)
    return OwnCurve(table)


def line_of_others(x: np.ndarray) -> np.ndarray:
    """Weights (n, n) of the others in what a line through them says at each place."""
    terms = np.stack([np.ones(x.size), x], axis=1)
    with_all = terms @ np.linalg.solve(terms.T @ terms + np.diag([0.0, RIDGE]), terms.T)
    # To leave one out of a ridge regression is to share its own weight among the others.
    own = np.diag(with_all)
    return (with_all - np.diag(own)) / (1 - own)[:, None]
