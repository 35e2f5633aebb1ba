"""What has been learned of each player: posterior draws of spread and bias at any length."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from putlab.base.cache import versions
from putlab.base.errors import FitError, UsageError
from putlab.base.settings import INTERVAL, SEED, interval_probabilities
from putlab.green.skill import Skill
from putlab.model.design import REFERENCE_FT, bump_correlation, make_design, session_table
from putlab.model.priors import PRIORS
from putlab.model.readings import (
    COMPONENTS,
    cells,
    first_putts,
    lengths_ft,
    practice_putts,
    visit_read,
)
from putlab.posterior import sampling as fitting
from putlab.posterior.checks import NOTE, PASS, Verdict, failures, readings_checks, verdict_table

if TYPE_CHECKING:
    from putlab.log.read import Log
    from putlab.model.priors import SpreadPriors

# Draws handed on to strokes and decisions: enough for the ends of a 90 % interval.
PASSED_ON = 1000

GREENS_LEFT_OUT = "Putts made or missed on a green were left out"
NOTHING_READ = (
    "the log has no line or roll readings, and no putts made or missed on a green, so spread "
    "can't be estimated; add line_deg or roll_ft, or holed in visits where nothing was read."
)


@dataclass(frozen=True)
class SpreadFit:
    """The fitted spread model of a log, line and pace.

    Attributes
    ----------
    trees : dict of str to xarray.DataTree
        ``line`` and ``pace``: ArviZ-ready posteriors with the names of the model's story.
    designs : dict of str to putlab.model.design.Design
        The counted cells behind each.
    visits : pandas.DataFrame
        Sessions with the putts struck before each.
    practised : pandas.DataFrame
        ``player, distance_ft, putts, sessions``: what was practised.
    condition_now : pandas.DataFrame
        ``player, condition, share`` of the player's last visit.
    putts_total : pandas.Series
        Putts struck, by player.
    seed : int
        Seed of the fit.
    checks : dict of str to list of putlab.posterior.checks.Verdict
        How well the model describes the readings, by component.
    """

    trees: dict
    designs: dict
    visits: pd.DataFrame
    practised: pd.DataFrame
    condition_now: pd.DataFrame
    putts_total: pd.Series
    seed: int
    checks: dict = field(default_factory=dict)

    @property
    def players(self) -> list:
        """Labels of the players, in the log's order."""
        return list(self.putts_total.index)

    def golfer(self, player: str | None = None) -> Any:
        """Return one player's posterior.

        Parameters
        ----------
        player : str, optional
            Label; may be left out where the log has one player.

        Returns
        -------
        Golfer
            Spread and bias at any length.

        Raises
        ------
        UsageError
            No such player, or none named and several in the log.
        """
        return Golfer(self, choose_player(self.players, player))

    def diagnostics(self) -> Any:
        """Return every check of both components: convergence, then the readings.

        Returns
        -------
        dict of str to list of putlab.posterior.checks.Verdict
            By component; ``green`` where putts on one were left out.
        """
        converged = {name: fitting.convergence(tree) for name, tree in self.trees.items()}
        names = converged | self.checks
        return {name: converged.get(name, []) + self.checks.get(name, []) for name in names}

    def meta(self) -> Any:
        """Return what a reader needs to repeat the result.

        Returns
        -------
        dict
            Seed, interval, versions, and each check's sentence.
        """
        checks = {
            name: {v.name: {"result": v.result, "sentence": v.sentence} for v in verdicts}
            for name, verdicts in self.diagnostics().items()
        }
        return {
            "seed": self.seed,
            "interval": INTERVAL,
            "versions": versions(),
            "diagnostics": checks,
        }

    @property
    def table(self) -> pd.DataFrame:
        """Every check of both components: ``component, check, result, sentence``."""
        tables = [
            verdict_table(found).assign(component=name)
            for name, found in self.diagnostics().items()
        ]
        return pd.concat(tables)[["component", "check", "result", "sentence"]]

    @property
    def sentence(self) -> str:
        """Whether the fit can be believed, and what was noted."""
        noted = [
            v.sentence for found in self.diagnostics().values() for v in found if v.result != PASS
        ]
        return "The fit passed its checks." + "".join(f" Noted: {said}" for said in noted)


def choose_player(players: list[str], wanted: str | None) -> Any:
    """Return the label wanted, or say which labels there are."""
    from difflib import get_close_matches

    known = ", ".join(players[:12]) + (", …" if len(players) > 12 else "")
    if wanted is None:
        if len(players) == 1:
            return players[0]
        raise UsageError(f"the log has {len(players)} players; name one with --player: {known}.")
    if wanted in players:
        return wanted
    near = get_close_matches(wanted, players, n=1)
    hint = f" Did you mean {near[0]!r}?" if near else ""
    raise UsageError(f"no player {wanted!r} in the log; it has {known}.{hint}")


def fit_log(
    log: Log, *, seed: int = SEED, priors: dict | None = None, cache: bool = True, **options: Any
) -> Any:
    """Fit line and pace spread to all that a log holds.

    Parameters
    ----------
    log : putlab.log.read.Log
        A log that has been read.
    seed : int
        Seed of the sampler.
    priors : dict of str to putlab.model.priors.SpreadPriors, optional
        Priors of ``line`` and ``pace`` in place of the kit's.
    cache : bool
        Look for the fit on disk first, and keep it there.
    **options
        ``draws``, ``tune``, ``chains``, ``cores``, ``progress_bar`` of `putlab.posterior.sampling.sample`.

    Returns
    -------
    SpreadFit
        Posterior of both components for every player; with putts made or missed on a green
        a `putlab.posterior.green.GreenFit`, to which they have added what they tell. Where they can't
        be fitted with the readings, these are fitted alone, and a note in ``checks`` says so.

    Raises
    ------
    FitError
        Nothing that tells about spread, a fit that did not converge, or one that does not
        describe its readings.
    """
    from putlab.posterior.green import fit_made, has_green_putts

    options |= {"seed": seed, "priors": priors, "cache": cache}
    if not has_green_putts(log):
        return fit_readings(log, **options)
    try:
        return fit_made(log, **options)
    except FitError as error:
        if not visit_read(log.putts).any():
            raise
        # Putts on a green must not cost those who were read their answer.
        fit = fit_readings(log, **options)
        note = Verdict("putts on a green", NOTE, f"{GREENS_LEFT_OUT}: {error}")
        return replace(fit, checks=fit.checks | {"green": [note]})


def fit_readings(
    log: Log, *, seed: int = SEED, priors: Any = None, cache: bool = True, **options: Any
) -> Any:
    """Fit line and pace spread to the readings of a log, and to nothing else."""
    putts = practice_putts(log.putts)
    players = list(log.putts["player"].drop_duplicates())
    visits = session_table(log.putts)
    lengths = lengths_ft(putts["distance_ft"])
    rows = {component: cells(log, component) for component in COMPONENTS}
    if all(counted.empty for counted in rows.values()):
        raise FitError(NOTHING_READ)
    trees, designs = {}, {}
    for component, counted in rows.items():
        prior = (priors or PRIORS)[component]
        design = designs[component] = make_design(counted, visits, lengths, players, prior)
        trees[component] = fitting.fit(design, component, seed=seed, cache=cache, **options)
    fit = SpreadFit(
        trees=trees,
        designs=designs,
        visits=visits,
        practised=practised_table(putts, lengths),
        condition_now=condition_shares(first_putts(log.putts), visits),
        putts_total=log.putts.groupby("player", sort=False).size(),
        seed=seed,
    )
    return checked(log, fit)


def checked(log: Log, fit: SpreadFit) -> Any:
    """Return a fit with how well it describes the readings of its log."""
    checks = {component: readings_checks(log, fit, component) for component in COMPONENTS}
    refuse_misfits(checks)
    return replace(fit, checks=checks)


def refuse_misfits(checks: dict) -> None:
    """Refuse a fit of which a check of its readings failed."""
    for component, verdicts in checks.items():
        for failed in failures(verdicts):
            raise FitError(
                f"the {component} fit does not describe its readings: {failed.sentence} "
                "Nothing is reported from it. Look for readings of another kind under one "
                "label with `putlab check`: another unit, another player, another surface."
            )


def practised_table(putts: pd.DataFrame, lengths: np.ndarray) -> Any:
    """Return the putts and visits of each player at each length."""
    groups = putts.groupby(["player", "length"], sort=False)
    table = groups.agg(putts=("row", "size"), sessions=("session", "nunique")).reset_index()
    table["distance_ft"] = lengths[table["length"]]
    order = table["player"].map({p: i for i, p in enumerate(putts["player"].unique())})
    table = table.assign(order=order).sort_values(["order", "length"], ignore_index=True)
    return table[["player", "distance_ft", "putts", "sessions"]]


def condition_shares(putts: pd.DataFrame, visits: pd.DataFrame) -> Any:
    """Return the conditions of each player's last visit and their share of its putts."""
    last = visits.groupby("player", sort=False).tail(1)[["player", "session"]]
    rows = putts.merge(last, on=["player", "session"])
    share = rows.groupby("player")["condition"].value_counts(normalize=True)
    return share.rename("share").reset_index()


@dataclass(frozen=True)
class Golfer:
    """One player's posterior.

    Attributes
    ----------
    fit : SpreadFit
        The fit of the whole log.
    player : str
        Label.
    """

    fit: SpreadFit
    player: str

    @property
    def practised(self) -> Any:
        """Lengths practised: ``distance_ft, putts, sessions``."""
        table = self.fit.practised
        return table[table["player"] == self.player].drop(columns="player").reset_index(drop=True)

    def draws(self, component: str, name: str) -> Any:
        """Return this player's draws of one quantity.

        Parameters
        ----------
        component : {"line", "pace"}
            Component.
        name : str
            Quantity of the model's story.

        Returns
        -------
        ndarray, shape (draws, ...)
            At most `PASSED_ON` draws, evenly thinned over all chains.
        """
        values = self.fit.trees[component]["posterior"][name]
        if "player" in values.dims:
            values = values.sel(player=self.player)
        flat = values.values.reshape(values.shape[0] * values.shape[1], *values.shape[2:])
        keep = np.linspace(0, len(flat) - 1, min(PASSED_ON, len(flat))).astype(int)
        return flat[keep]

    def log_spread_and_bias(
        self, component: str, distance_ft: ArrayLike, *, counted: bool = False
    ) -> Any:
        """Return log spread within a visit, and bias, as on the player's last visit.

        Between practised lengths and beyond them a weak spot of its own is drawn, so the
        answer widens where nothing was measured.

        Parameters
        ----------
        component : {"line", "pace"}
            Component.
        distance_ft : array_like, shape (n,)
            Distances in feet.
        counted : bool
            As when it counts, in a game, instead of in practice.

        Returns
        -------
        tuple of ndarray, shape (draws, n)
            Log spread and bias.
        """
        x = np.log(np.atleast_1d(np.asarray(distance_ft, dtype=float)) / REFERENCE_FT)
        straight = self.draws(component, "slope")[:, None]
        base = self.draws(component, "base")[:, None]
        level = self._between(component, "level", x, lambda at: base + straight * at, "bump_sd")
        mean = self.draws(component, "bias_mean")[:, None]
        bias = self._between(component, "bias", x, lambda at: mean + 0 * at, "bias_bump_sd")
        level = level + self.draws(component, "trend")[:, None] * self._practised_now()
        if counted:
            level = level + self.draws(component, "counted")[:, None]
        effect, shift = self._condition_now(component, x)
        return level + effect, bias + shift

    def _between(self, component: str, name: Any, x: Any, centre: Any, size: Any) -> Any:
        """Return a quantity at any log distance, given its values at the practised ones."""
        known = np.log(self.fit.designs[component].lengths_ft / REFERENCE_FT)
        weights = np.linalg.solve(bump_correlation(known, known), bump_correlation(known, x)).T
        left = bump_correlation(x, x) - weights @ bump_correlation(known, x)
        # Exact at a practised length: whatever rounding leaves on the diagonal is nought.
        values, vectors = np.linalg.eigh((left + left.T) / 2)
        root = vectors * np.sqrt(np.clip(values, 0, None))
        at_known = self.draws(component, name) - centre(known[None, :])
        rng = np.random.default_rng([self.fit.seed, len(x), *name.encode()])
        fresh = rng.standard_normal((len(at_known), len(x))) @ root.T
        return (
            centre(x[None, :]) + at_known @ weights.T + self.draws(component, size)[:, None] * fresh
        )

    def _practised_now(self) -> Any:
        """Return log(1 + putts / 100) at the end of the log, on the model's centred scale."""
        visits = self.fit.visits[self.fit.visits["player"] == self.player]
        first = visits.iloc[0]
        offset = np.log1p(first["putts_before"] / 100) - first["practised"]
        return np.log1p(self.fit.putts_total[self.player] / 100) - offset

    def _condition_now(self, component: str, x: Any) -> tuple:
        """Return the effect and shift of the last visit's conditions, by share of putts."""
        table = self.fit.designs[component].conditions
        shares = self.fit.condition_now
        shares = shares[shares["player"] == self.player].set_index("condition")["share"]
        mine = (table["player"] == self.player).to_numpy()
        share = table["condition"].map(shares).to_numpy(float, na_value=0.0)
        weight = np.where(mine, share, 0.0)
        effect, slope, shift = (
            self.draws(component, name) @ weight for name in ("effect", "effect_slope", "shift")
        )
        return effect[:, None] + slope[:, None] * x, shift[:, None]

    def skill(self, distance_ft: ArrayLike, *, new_day: bool = True, counted: bool = False) -> Any:
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
            Spread and bias of line (degrees) and pace (percent).
        """
        values = []
        for component in COMPONENTS:
            log_sd, bias = self.log_spread_and_bias(component, distance_ft, counted=counted)
            sd = np.exp(log_sd)
            if new_day:
                # A visit's form is log-normal: the mean of its square is exp(2 form_sd²).
                sd = sd * np.exp(self.draws(component, "form_sd")[:, None] ** 2)
                sd = np.hypot(sd, self.draws(component, "setup_sd")[:, None])
            values += [sd, bias]
        return Skill(np.atleast_1d(np.asarray(distance_ft, dtype=float)), *values)


def summary(draws: np.ndarray) -> Any:
    """Return mean and interval over draws."""
    low, high = np.quantile(draws, interval_probabilities(), axis=0)
    return draws.mean(axis=0), low, high


# How much an estimate leans on its priors: the same fit under other beliefs.


# Each belief moved by about its own width, one at a time.
ALTERNATIVES = {
    "as shipped": {},
    "golfers a third narrower": {"sd_median": 0.7},
    "golfers a third wider": {"sd_median": 1.4},
    "weak spots twice the size": {"bump_median": 2.0},
    "weak spots half the size": {"bump_median": 0.5},
    "no change over practice": {"trend_sd": 0.01},
    "mishits twice as common": {"mishit_a": 2.0},
}


def prior_sensitivity(
    log: Log, player: str, component: str, distance_ft: float, **options: Any
) -> Any:
    """Refit a log under other priors and compare one estimate.

    Parameters
    ----------
    log : putlab.log.read.Log
        A log that has been read.
    player : str
        Whose estimate.
    component : {"line", "pace"}
        Component; the priors of the other stay.
    distance_ft : float
        Length, usually the least practised one.
    **options
        Passed to `putlab.posterior.player.fit_log`.

    Returns
    -------
    pandas.DataFrame
        ``priors, sd, sd_lo, sd_hi, moved``: spread in the component's unit, and its change
        against the shipped priors as a part of the shipped interval's width.
    """
    rows = []
    for name, factors in ALTERNATIVES.items():
        priors = PRIORS | {component: scaled(PRIORS[component], factors)}
        golfer = fit_log(log, priors=priors, **options).golfer(player)
        log_sd, _ = golfer.log_spread_and_bias(component, [distance_ft])
        sd, low, high = (value.item() for value in summary(np.exp(log_sd)))
        rows.append({"priors": name, "sd": sd, "sd_lo": low, "sd_hi": high})
    table = pd.DataFrame(rows)
    shipped = table.iloc[0]
    width = shipped["sd_hi"] - shipped["sd_lo"]
    return table.assign(moved=(table["sd"] - shipped["sd"]) / width)


def scaled(priors: SpreadPriors, factors: dict) -> Any:
    """Return priors with some of their numbers multiplied."""
    return replace(priors, **{name: getattr(priors, name) * f for name, f in factors.items()})


def least_practised_ft(golfer: Golfer) -> Any:
    """Return the length with the fewest putts."""
    table = golfer.practised
    return float(table.loc[table["putts"].idxmin(), "distance_ft"])
