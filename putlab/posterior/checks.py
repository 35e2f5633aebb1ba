"""Does the fitted model describe these readings? Residuals, tails, rounding; wild putts.

A reading that is an interval has no single residual. Its randomised quantile residual does:
a uniform draw between the model's probabilities of falling below the interval's two ends,
turned into a normal score. Where the model is right these are standard normal, whatever the
rounding and the backstop (P. K. Dunn and G. K. Smyth, "Randomized quantile residuals",
Journal of Computational and Graphical Statistics 5, 1996).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy.stats import binom, norm

from putlab.model.readings import INTERVALS, practice_putts
from putlab.model.spread import MISHIT_TIMES

if TYPE_CHECKING:
    from putlab.log.read import Log
    from putlab.posterior.player import SpreadFit

# Share of a player's spread that may be missed before a fit is refused, and how many
# standard errors off it may be before it is told.
SPREAD_REFUSED = 0.25
ERRORS_NOTED = 3.5

# Normal scores beyond this are the tail: 0.27 % of putts where the model is right.
TAIL = 3.0

# A putt more likely wild than not is listed.
LIKELY = 0.5


def putt_scores(log: Log, fit: SpreadFit, component: str) -> Any:
    """Return every reading's probabilities under the fitted model."""
    putts = INTERVALS[component](practice_putts(log.putts), log.rules)
    mu, sd, share = _posterior_means(putts, fit, component)
    noise = putts["noise"].to_numpy(float)
    ends = putts[["lo", "hi"]].to_numpy(float).T
    plain = [norm.cdf(end, mu, np.hypot(sd, noise)) for end in ends]
    wild = [norm.cdf(end, mu, np.hypot(MISHIT_TIMES * sd, noise)) for end in ends]
    below = [(1 - share) * a + share * b for a, b in zip(plain, wild, strict=True)]
    chance = np.maximum(below[1] - below[0], 1e-300)
    return putts.assign(
        mu=mu,
        sd=np.hypot(sd, noise),
        below_lo=below[0],
        below_hi=below[1],
        p_mishit=share * (wild[1] - wild[0]) / chance,
    )


def _posterior_means(putts: Any, fit: Any, component: str) -> Any:
    """Return mean, spread and mishit share of every putt at the posterior mean."""
    q = fit.trees[component]["posterior"].dataset.mean(("chain", "draw"))
    design = fit.designs[component]
    player = pd.Index(design.players).get_indexer(putts["player"])
    visit = _position(design.sessions, putts, "session")
    condition = _position(design.conditions, putts, "condition")
    tested = condition >= 0
    length = putts["length"].to_numpy(int)

    def of_condition(name: Any) -> Any:
        values = q[name].values
        return np.where(tested, values[condition], 0.0) if values.size else 0.0

    mu = q["bias"].values[player, length] + q["setup"].values[visit] + of_condition("shift")
    x = np.log(design.lengths_ft / 10.0)[length]
    log_sd = q["level"].values[player, length] + q["form"].values[visit]
    log_sd += q["trend"].values[player] * design.sessions["practised"].to_numpy()[visit]
    log_sd += q["early"].values[player] * putts["early"].to_numpy()
    log_sd += q["counted"].values[player] * putts["counted"].to_numpy()
    log_sd += of_condition("effect") + of_condition("effect_slope") * x
    return mu, np.exp(log_sd), q["mishit_share"].values[player]


def _position(table: Any, putts: Any, label: Any) -> Any:
    index = pd.MultiIndex.from_frame(table[["player", label]])
    return index.get_indexer(pd.MultiIndex.from_frame(putts[["player", label]]))


def likely_mishits(log: Log, fit: SpreadFit) -> Any:
    """Return the putts that were more likely mishits than ordinary ones; none is deleted."""
    tables = []
    for component, reading in (("line", "line_deg"), ("pace", "roll_ft")):
        scores = putt_scores(log, fit, component)
        wild = scores[scores["p_mishit"] > LIKELY]
        tables.append(wild.assign(component=component, reading=wild[reading]))
    names = ["player", "session", "putt", "distance_ft", "component", "reading", "p_mishit"]
    found = pd.concat(tables)[[*names, "file", "row"]]
    return found.sort_values(["player", "session", "putt"], ignore_index=True)


def readings_checks(log: Log, fit: SpreadFit, component: str) -> Any:
    """Check spread, tails and rounding of one component against the fitted model."""
    scores = putt_scores(log, fit, component)
    rng = np.random.default_rng([fit.seed, len(scores)])
    u = rng.uniform(scores["below_lo"], scores["below_hi"])
    scores = scores.assign(z=norm.ppf(np.clip(u, 1e-12, 1 - 1e-12)))
    reading, step = {
        "line": ("line_deg", log.rules.line_step_deg),
        "pace": ("roll_ft", log.rules.roll_step_ft),
    }[component]
    return [_spread(scores), _tails(scores), _rounding(scores, reading, step)]


def _spread(scores: Any) -> Verdict:
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


def _tails(scores: Any) -> Verdict:
    beyond, putts = int((scores["z"].abs() > TAIL).sum()), len(scores)
    expected = 2 * norm.sf(TAIL) * putts
    surprise = binom.sf(beyond - 1, putts, 2 * norm.sf(TAIL)) if putts else 1.0
    table = pd.DataFrame({"putts": [putts], "beyond": [beyond], "expected": [expected]})
    many = surprise < 0.001
    said = f"{beyond} of {putts} readings lie in the tails; {expected:.1f} would be usual."
    if many:
        said += " There are more wild putts than the model allows for: look at the list of them."
    return Verdict("tails", NOTE if many else PASS, said, table)


def _rounding(scores: Any, reading: Any, step: Any) -> Verdict:
    """Look for a reader who prefers even numbers, which the display does not."""
    finite = np.isfinite(scores["lo"]) & np.isfinite(scores["hi"]) & scores[reading].notna()
    read = scores[finite]
    if not step or read.empty:
        return Verdict("rounding", PASS, "Readings have no steps to round to.")
    place = np.round(read[reading] / step).to_numpy()
    observed, usual = np.mean(place % 2 == 0), _even_chance(read, place).mean()
    error = np.sqrt(max(usual * (1 - usual), 1e-9) / len(read))
    heaped = abs(observed - usual) > ERRORS_NOTED * error
    said = (
        f"{observed:.0%} of readings are even steps where {usual:.0%} would be usual: "
        "numbers may have been rounded by hand. Write down what the display says."
        if heaped
        else "Readings fall on even and odd steps as the model expects."
    )
    table = pd.DataFrame({"putts": [len(read)], "even": [observed], "usual": [usual]})
    return Verdict("rounding", NOTE if heaped else PASS, said, table)


def _even_chance(read: Any, place: Any) -> Any:
    """Return each putt's chance of showing an even step, summed over the steps nearby."""
    width = (read["hi"] - read["lo"]).to_numpy()
    middle = ((read["hi"] + read["lo"]) / 2).to_numpy()
    mu, sd = read["mu"].to_numpy(), read["sd"].to_numpy()
    # The even step nearest the mean, and those within seven spreads of it.
    nearest = middle + width * 2 * np.round(((mu - middle) / width - place % 2) / 2)
    nearest += width * (place % 2)
    reach = int(np.ceil(np.max(7 * sd / width) / 2)) + 1
    centres = nearest[:, None] + 2 * width[:, None] * np.arange(-reach, reach + 1)
    half, mu, sd = width[:, None] / 2, mu[:, None], sd[:, None]
    return (norm.cdf(centres + half, mu, sd) - norm.cdf(centres - half, mu, sd)).sum(axis=1)


# A check's answer: pass, note or fail, with its table and one sentence.


PASS, NOTE, FAIL = "pass", "note", "fail"


@dataclass(frozen=True)
class Verdict:
    """What one check found."""

    name: str
    result: str
    sentence: str
    table: pd.DataFrame = field(default_factory=pd.DataFrame, repr=False)


def verdict_table(verdicts: list[Verdict]) -> Any:
    """Return verdicts as a table, one a row."""
    rows = [{"check": v.name, "result": v.result, "sentence": v.sentence} for v in verdicts]
    return pd.DataFrame(rows, columns=["check", "result", "sentence"])


def failures(verdicts: list[Verdict]) -> Any:
    """Return the verdicts that failed."""
    return [v for v in verdicts if v.result == FAIL]
