"""What checks find, and the checks of a fit against its readings: does it describe them?

A reading that is an interval has no single residual. Its randomised quantile residual does:
a uniform draw between the model's probabilities of falling below the interval's two ends,
turned into a normal score. Where the model is right these are standard normal, whatever the
rounding and the backstop (P. K. Dunn and G. K. Smyth, "Randomized quantile residuals",
Journal of Computational and Graphical Statistics 5, 1996).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import xarray as xr
from scipy.special import ndtr, ndtri

from putlab.log.read import Log
from putlab.log.rules import ReadingRules
from putlab.model.design import Design, log_distance, places
from putlab.model.readings import INTERVALS, practice_putts
from putlab.model.spread import MISHIT_TIMES, TERMS, cell_location, terms_at

if TYPE_CHECKING:
    from putlab.posterior.fit import Fit

PASS, NOTE, FAIL = "pass", "note", "fail"

# Share of a player's spread that may be missed before a fit is refused, and how many
# standard errors off it may be before it is told.
SPREAD_REFUSED = 0.25
ERRORS_NOTED = 3.5

TIMES = (1.0, MISHIT_TIMES)  # how widely plain putts and mishits scatter


@dataclass(frozen=True)
class Verdict:
    """What one check found; a fail keeps the fit out of a report, a note is told with it."""

    name: str
    result: str  # PASS, NOTE or FAIL
    sentence: str
    table: pd.DataFrame = field(default_factory=pd.DataFrame, repr=False)


def failures(verdicts: Iterable[Verdict]) -> list[Verdict]:
    """Return the verdicts that failed."""
    return [verdict for verdict in verdicts if verdict.result == FAIL]


def putt_scores(log: Log, fit: Fit, component: str) -> pd.DataFrame:
    """Return every putt that was read, and its place under the fitted model.

    Beside the log's columns: ``lo, hi, mu, sd``; ``z``, its randomised quantile residual; and
    ``beyond_largest``, the chance that it passes the player's largest reading.
    """
    putts = INTERVALS[component](practice_putts(log.putts), log.rules)
    means = fit.posteriors[component]["posterior"].dataset.mean(("chain", "draw"))
    truth = located(putts, means, fit.designs[component])
    return putt_places(putts, truth, log.rules, component, fit.seed)


def putt_places(
    putts: pd.DataFrame, truth: tuple[Any, Any, Any], rules: ReadingRules, component: str, seed: int
) -> pd.DataFrame:
    """Return the places of putts under their mean, spread and share of mishits."""
    mu, sd, share = truth
    noise = putts["noise"].to_numpy(float)

    def below(value: pd.Series) -> Any:
        plain, wild = (ndtr((value - mu) / np.hypot(times * sd, noise)) for times in TIMES)
        return (1 - share) * plain + share * wild

    u = np.random.default_rng([seed, len(putts)]).uniform(below(putts["lo"]), below(putts["hi"]))
    low, high = _largest(putts, rules, component)
    return putts.assign(
        mu=mu,
        sd=np.hypot(sd, noise),
        z=ndtri(np.clip(u, 1e-12, 1 - 1e-12)),
        beyond_largest=np.where(high.isna(), 0.0, below(low) + 1 - below(high)),
    )


def _largest(
    putts: pd.DataFrame, rules: ReadingRules, component: str
) -> tuple[pd.Series, pd.Series]:
    """Return the two values beyond a player's largest reading; blank where a limit is known."""
    reading, step, limit = {
        "line": ("line_deg", rules.line_step_deg, rules.line_limit_deg),
        "pace": ("roll_ft", rules.roll_step_ft, rules.roll_limit_ft),
    }[component]
    size = putts[reading].abs()
    top = size.groupby(putts["player"]).transform("max") + (step or 0.0) / 2
    top = top.where(size.notna() & (limit is None))
    if component == "line":
        return -top, top
    return top * 0 - np.inf, 100 * top / putts["target_ft"] - 100


def located(
    putts: pd.DataFrame, q: xr.Dataset, design: Design
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return mean, spread and mishit share of every putt, shape (..., putts) as ``q`` has draws."""
    player = pd.Index(design.players).get_indexer(putts["player"])
    visit = places(putts, design.sessions, ["player", "session"])
    length = putts["length"].to_numpy(int)
    # The last place, -1, is no condition to tell apart, whose effects are nought.
    condition = places(putts, design.conditions, ["player", "condition"])
    terms = {name: q[name].values for name in TERMS}
    for name in ("effect", "effect_slope", "shift"):
        terms[name] = np.concatenate([terms[name], 0 * terms["trend"][..., :1]], axis=-1)
    index = {"player": player, "session": visit, "length": length, "condition": condition}
    mu, log_sd = cell_location(
        terms_at(terms, index),
        {
            "practised": design.sessions["practised"].to_numpy()[visit],
            "warm_up": putts["warm_up"].to_numpy(),
            "counted": putts["counted"].to_numpy(),
            "x": log_distance(design.lengths_ft)[length],
        },
    )
    return mu, np.exp(log_sd), q["mishit_share"].values[..., player]


def spread_check(scores: pd.DataFrame) -> Verdict:
    """Check that readings scatter as widely as the fitted model says, player by player."""
    table = scores.groupby("player", sort=False)["z"].agg(putts="size", sd="std").reset_index()
    # The sd of n standard normals has standard error 1 / sqrt(2 n).
    table["errors_off"] = (table["sd"] - 1) * np.sqrt(2 * table["putts"])
    if table.empty:
        return Verdict("spread", NOTE, "There are no readings of this component.", table)
    worst = table.loc[table["errors_off"].abs().idxmax()]
    off = abs(worst["errors_off"]) > ERRORS_NOTED
    refused = off and abs(worst["sd"] - 1) > SPREAD_REFUSED
    said = (
        f"Readings scatter {worst['sd']:.2f} times as widely as the model says for "
        f"{worst['player']}, {worst['putts']:.0f} putts."
        if off
        else "Readings scatter as widely as the model says, for every player."
    )
    return Verdict("spread", FAIL if refused else NOTE if off else PASS, said, table)
