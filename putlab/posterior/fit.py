"""Fit a log: to its readings, and with them to the putts made and missed on a green."""

from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from putlab.base.cache import kept_plain, result_key, versions
from putlab.base.errors import FitError
from putlab.base.result import Result
from putlab.base.settings import INTERVAL, SEED
from putlab.base.writing import write_bytes
from putlab.log.checks import visit_read
from putlab.log.read import Log, choose_player
from putlab.model import readings
from putlab.model.design import Design, make_design, session_table
from putlab.model.green_putts import GreenDesign, green_putts, make_green_design, outcome_counts
from putlab.model.priors import PRIORS, SpreadPriors
from putlab.posterior import checks as of_readings
from putlab.posterior.checks import NOTE, PASS, Verdict, failures
from putlab.posterior.player import Golfer, green_spread, pace_sentence
from putlab.posterior.sampling import convergence, fit_design

Priors = dict[str, SpreadPriors]

GREENS_LEFT_OUT = "Putts made or missed on a green were left out"
NOTHING_READ = (
    "the log has no line or roll readings, and no putts made or missed on a green, so spread "
    "can't be estimated; add line_deg or roll_ft, or holed in visits where nothing was read."
)


@dataclass(frozen=True)
class Fit(Result):
    """The fitted spread model of a log, line and pace.

    Attributes
    ----------
    posteriors : dict of str to xarray.DataTree
        ``line`` and ``pace``: ArviZ-ready posteriors with the names of the model's story; with
        putts made or missed on a green ``green`` too, what it adds to each player's spread.
    designs : dict of str to putlab.model.design.Design
        The counted cells behind each.
    condition_now : pandas.DataFrame
        ``player, condition, share`` of the player's last visit.
    putts_total : pandas.Series
        Putts struck, by player.
    seed : int
        Seed of the fit.
    log : putlab.log.read.Log
        What was fitted.
    green_counts : pandas.DataFrame
        By player: ``putts, made, misses, leaves, followed`` on a green, of those fitted.
    joint : putlab.model.green_putts.GreenDesign, optional
        Readings and outcomes on a green, where they were fitted as one.
    checks : dict of str to list of putlab.posterior.checks.Verdict
        How well the model describes the readings, by component.
    table : pandas.DataFrame
        Every check, convergence first: ``component, check, result, sentence``.
    sentence : str
        That the checks passed, and what they noted.
    visits : pandas.DataFrame
        Sessions with the putts struck before each.
    practised : pandas.DataFrame
        ``player, distance_ft, putts, sessions``: what was practised.
    """

    posteriors: dict[str, xr.DataTree]
    designs: dict[str, Design]
    condition_now: pd.DataFrame
    putts_total: pd.Series
    seed: int
    log: Log = field(repr=False)
    green_counts: pd.DataFrame = field(default_factory=lambda: pd.DataFrame({"putts": []}))
    joint: GreenDesign | None = None
    checks: dict[str, list[Verdict]] = field(default_factory=dict)

    @property
    def table(self) -> pd.DataFrame:
        """Every check, a row each."""
        found = self.diagnostics().items()
        rows = [(part, v.name, v.result, v.sentence) for part, checks in found for v in checks]
        return pd.DataFrame(rows, columns=["component", "check", "result", "sentence"])

    @property
    def sentence(self) -> str:
        """Whether the fit can be believed, and what was noted."""
        # What concerns the whole fit stands with each part of it.
        noted = self.table.loc[self.table["result"] != PASS, "sentence"].unique()
        return " Noted: ".join(["The fit passed its checks.", *noted])

    @cached_property
    def looked_up(self) -> dict[tuple[str, str, str], np.ndarray]:
        """Draws of a component's quantity and player that were asked for before."""
        return {}

    @cached_property
    def visits(self) -> pd.DataFrame:
        """Visits, in the order of the log."""
        return session_table(self.log.putts)

    @cached_property
    def practised(self) -> pd.DataFrame:
        """Putts and visits of each player at each length, in the order of the log."""
        putts = readings.practice_putts(self.log.putts)
        table = putts.groupby(["player", "length"]).agg(
            putts=("row", "size"), sessions=("session", "nunique")
        )
        table = table.reindex(self.players, level="player").reset_index()
        table["distance_ft"] = self.designs["line"].lengths_ft[table["length"]]
        return table[["player", "distance_ft", "putts", "sessions"]]

    @property
    def players(self) -> list[str]:
        """Labels of the players, in the log's order."""
        return list(self.putts_total.index)

    def golfer(self, player: str | None = None) -> Golfer:
        """Return one player's posterior; the label may be left out where there is one player."""
        return Golfer(self, choose_player(self.players, player))

    def green_putts(self, player: str) -> int:
        """Return the number of a player's putts on a green that were fitted."""
        return int(self.green_counts["putts"].get(player, 0))

    def green_sentences(self, player: str) -> list[str]:
        """Return where the green's spread comes from, and what tells line from pace there."""
        said = [green_spread(self, player)[1]]
        return said + [pace_sentence(self, player)] * bool(self.green_putts(player))

    def diagnostics(self) -> dict[str, list[Verdict]]:
        """Return every check by component, convergence first; ``green`` where one was fitted."""
        found = {name: convergence(one) for name, one in self.posteriors.items()}
        return found | {name: found.get(name, []) + own for name, own in self.checks.items()}

    def doubts(self, player: str) -> list[str]:
        """Return what a player's readings say against the model, and what that means."""
        found = [v.table for part in self.checks.values() for v in part if "means" in v.table]
        means = [table.loc[table["player"] == player, "means"] for table in found]
        return [text[0].upper() + text[1:] for own in means for text in own if text]

    def tree(self) -> xr.DataTree:
        """Return all that ArviZ can use, line and pace in one tree; made anew at each call.

        Returns
        -------
        xarray.DataTree
            Groups ``posterior``, ``prior``, ``log_likelihood`` (a value a counted interval or
            outcome, times its count), ``log_prior``, ``posterior_predictive``,
            ``prior_predictive``, ``observed_data``, ``constant_data`` and ``sample_stats``. Names
            are those of the model's story after ``line_`` and ``pace_`` (degrees and percent);
            dimensions ``player, visit, length_ft, condition``. Readings are ``line`` and
            ``pace``, outcomes on a green ``green``: `arviz.loo` is told which by ``var_name``.
            Of a very long log, evenly chosen draws.
        """
        from putlab.posterior.tree import full_tree  # heavy, and seldom asked for

        return full_tree(self)

    def to_netcdf(self, path: Path | str) -> None:
        """Write `tree` to a file that ``arviz.from_netcdf`` opens.

        Parameters
        ----------
        path : path or str
            File to write, whole or not at all.
        """
        write_bytes(path, bytes(self.tree().to_netcdf(engine="h5netcdf")))

    def meta(self) -> dict[str, Any]:
        """Return what a reader needs to repeat the result: seed, interval, versions, checks."""
        checks = {
            name: {v.name: {"result": v.result, "sentence": v.sentence} for v in verdicts}
            for name, verdicts in self.diagnostics().items()
        }
        made = {"seed": self.seed, "interval": INTERVAL, "versions": versions()}
        return made | {"diagnostics": checks}


def fit_log(
    log: Log, *, seed: int = SEED, priors: Priors | None = None, cache: bool = True, **options: Any
) -> Fit:
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
        ``draws``, ``tune``, ``chains``, ``cores``, ``progress_bar`` of
        `putlab.posterior.sampling.sample`.

    Returns
    -------
    Fit
        Posterior of both components for every player, to which putts made or missed on a green
        have added what they tell. Where they can't be fitted with the readings, these are
        fitted alone, and a note in ``checks`` says so.

    Raises
    ------
    FitError
        Nothing that tells about spread, a fit that did not converge, or one that does not
        describe its readings.
    """
    options |= {"seed": seed, "priors": priors or PRIORS, "cache": cache}
    outcomes = green_putts(log.putts)
    try:
        return _fit(log, outcomes, **options)
    except FitError as error:
        if outcomes.empty or not visit_read(log.putts).any():
            raise
        # Putts on a green must not cost those who were read their answer.
        fit = _fit(log, outcomes.iloc[:0], **options)
        note = Verdict("putts on a green", NOTE, f"{GREENS_LEFT_OUT}: {error}")
        return replace(fit, checks=fit.checks | {"green": [note]})


def _fit(log: Log, outcomes: pd.DataFrame, *, priors: Priors, seed: int, **options: Any) -> Fit:
    """Fit a log's readings and, with outcomes, the putts made and missed on a green too."""
    practice = readings.practice_putts(log.putts)
    rows = {name: readings.intervals(log, name, practice) for name in readings.COMPONENTS}
    players = list(log.putts["player"].drop_duplicates())
    where = session_table(log.putts), readings.lengths_ft(practice["distance_ft"]), players
    found: dict[str, xr.DataTree] = {}
    joint = None
    if not outcomes.empty:
        joint = make_green_design(rows, outcomes, *where, priors)
        designs = joint.components
        found = fit_design(joint, "made-and-missed", seed=seed, **options)
    elif all(counted.empty for counted in rows.values()):
        raise FitError(NOTHING_READ)
    else:
        designs = {c: make_design(counted, *where, priors[c]) for c, counted in rows.items()}
        for component, design in designs.items():
            found |= fit_design(design, component, seed=seed, **options)
    fit = put_together(log, designs, found, seed)
    checks = checks_of(log, fit)
    for component, verdicts in checks.items():
        for failed in failures(verdicts):
            raise FitError(
                f"the {component} fit does not describe its readings: {failed.sentence} "
                "Nothing is reported from it. Look for readings of another kind under one "
                "label: another unit, another player, another surface."
            )
    counts = outcome_counts(outcomes).reindex(players, fill_value=0)
    return replace(fit, checks=checks, green_counts=counts, joint=joint)


def checks_of(log: Log, fit: Fit) -> dict[str, list[Verdict]]:
    """Return what a fit's readings say of it, by component, and of line with pace."""
    scores = {name: of_readings.putt_scores(log, fit, name) for name in readings.COMPONENTS}
    found = {name: [of_readings.spread_check(of_one)] for name, of_one in scores.items()}
    others = _kept_residual_checks(fit, scores)
    return {name: found.get(name, []) + checks for name, checks in others.items()}


def _kept_residual_checks(fit: Fit, scores: dict[str, pd.DataFrame]) -> dict[str, list[Verdict]]:
    key = result_key("posterior", "residuals", fit.seed, fit.players, scores)

    def made() -> dict[str, list[dict]]:
        found = of_readings.residual_checks(fit, scores).items()
        return {c: [vars(v) | {"table": v.table.to_dict("list")} for v in own] for c, own in found}

    kept = kept_plain(key, made).items()
    return {c: [Verdict(**v | {"table": pd.DataFrame(v["table"])}) for v in of] for c, of in kept}


def put_together(
    log: Log, designs: dict[str, Design], posteriors: dict[str, xr.DataTree], seed: int
) -> Fit:
    """Return posteriors with what their log says of the players, unchecked."""
    now = last_conditions(readings.first_putts(log.putts), session_table(log.putts))
    struck = log.putts.groupby("player", sort=False).size()
    return Fit(posteriors, designs, now, struck, seed, log)


def last_conditions(putts: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    """Return the conditions of each player's last visit and their share of its putts."""
    last = visits.groupby("player", sort=False).tail(1)[["player", "session"]]
    rows = putts.merge(last, on=["player", "session"])
    held = rows.groupby("player")["condition"]
    return held.value_counts(normalize=True).reset_index(name="share")
