"""Checks of a fit against its readings: does it describe them, and what would another story?

A reading that is an interval has no single residual. Its randomised quantile residual does:
a uniform draw between the model's probabilities of falling below the interval's two ends,
turned into a normal score. Where the model is right these are standard normal, whatever the
rounding and the backstop (P. K. Dunn and G. K. Smyth, "Randomized quantile residuals",
Journal of Computational and Graphical Statistics 5, 1996). What another story than the model's
would leave in them is looked for, a verdict each: tails, a lopsided scatter, a display that
stops, line and pace that move together, a spread that changes within a visit, days in streaks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import scipy
import xarray as xr
from scipy.special import expit, ndtr, ndtri, stdtr

from putlab.base.settings import FAR
from putlab.log.read import Log
from putlab.log.rules import ReadingRules
from putlab.model import spread
from putlab.model.design import Design, log_distance, places
from putlab.model.readings import COMPONENTS, INTERVALS, WARM_UP_PUTTS, practice_putts

if TYPE_CHECKING:
    from putlab.posterior.fit import Fit

PASS, NOTE, FAIL = "pass", "note", "fail"

# Share of a player's spread that may be missed before a fit is refused, and how many
# standard errors off it may be before it is told.
SPREAD_REFUSED = 0.25
ERRORS_NOTED = 3.5

TINY = 1e-300


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

    Beside the log's columns: ``lo, hi, mu, sd``; ``z``, its randomised quantile residual;
    ``score``, by how much its log probability rises with log spread; and ``beyond_largest``, the
    chance that it passes the player's largest reading.
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
        widths = (np.hypot(times * sd, noise) for times in (1, spread.MISHIT_TIMES))
        plain, wild = (ndtr((value - mu) / width) for width in widths)
        return (1 - share) * plain + share * wild

    low, high = below(putts["lo"]), below(putts["hi"])
    u = np.random.default_rng([seed, len(putts)]).uniform(low, high)
    lo, hi = (putts[end].clip(-FAR, FAR) - mu for end in ("lo", "hi"))
    chance, _, slope = spread.chance_and_slopes(lo, hi, sd, noise, share)
    low, high = _largest(putts, rules, component)
    return putts.assign(
        mu=mu,
        sd=np.hypot(sd, noise),
        z=ndtri(np.clip(u, 1e-12, 1 - 1e-12)),
        score=slope / np.maximum(chance, TINY),
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
    terms = {name: q[name].values for name in spread.TERMS}
    # The last place, -1, is no condition to tell apart, whose effects are nought.
    condition = places(putts, design.conditions, ["player", "condition"])
    for name in ("effect", "effect_slope", "shift"):
        terms[name] = np.concatenate([terms[name], 0 * terms["trend"][..., :1]], axis=-1)
    index = {"player": player, "session": visit, "length": length, "condition": condition}
    mu, log_sd = spread.cell_location(
        spread.terms_at(terms, index),
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
    if table["sd"].isna().all():
        return Verdict("spread", NOTE, "Nobody has two readings of this component.", table)
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


# How often one check of one player may speak up where nothing is wrong: a log with several players
# shares it out. Tails and a visit's course may more often, or they would miss most logs of 600
# putts in which they are amiss (`tests/results/worlds.json`).
ALARM, READY_ALARM = 0.005, 0.02

# With fewer putts there is nothing to see, and the tests' own approximations fail.
LEAST_PUTTS = 40

# Putts to fit two shapes of tail to, and permutations of visits.
MOST_PUTTS, PERMUTATIONS = 3000, 4000

# Takes readings of one player, gives a p value and the size of what it found.
Test = Callable[[pd.DataFrame, np.random.Generator], tuple[float, float]]


@dataclass(frozen=True)
class Story:
    """Another story than the model's: its name, how it is looked for, and what it would mean.

    ``means`` may name the ``size`` that a test found, the ``way`` that it points and the ``other``.
    """

    name: str
    test: Test
    means: str
    fine: str
    ways: tuple[str, str] = ("", "")  # where the size is above nought, and below
    least: int = LEAST_PUTTS
    alarm: float = ALARM

    def told(self, size: float) -> str:
        """Return what a size would mean for the answer."""
        way, other = self.ways if size > 0 else self.ways[::-1]
        return self.means.format(size=size, way=way, other=other)


def residual_checks(fit: Fit, scores: dict[str, pd.DataFrame]) -> dict[str, list[Verdict]]:
    """Look for each other story in the residuals of every player."""
    found = {
        c: [_verdict(fit, story, scores[c]) for story in stories] for c, stories in ALONE.items()
    }
    course = _in_order(scores)
    rows = course, _pairs(scores), course, _visits(fit)
    found["line with pace"] = [_verdict(fit, *both) for both in zip(BOTH, rows, strict=True)]
    return found


def _verdict(fit: Fit, story: Story, rows: pd.DataFrame) -> Verdict:
    rng = np.random.default_rng([fit.seed, *story.name.encode()])
    enough = rows[rows.groupby("player")["player"].transform("size") >= story.least]
    alarm = story.alarm / len(fit.players)
    looked = []
    for player, own in enough.groupby("player", sort=False):
        p_value, size = story.test(own, rng)
        looked.append((player, p_value, size, story.told(size) if p_value < alarm else ""))
    table = pd.DataFrame(looked, columns=["player", "p_value", "size", "means"])
    said = [f"{row.player}: {row.means}" for row in table.itertuples() if row.means]
    return Verdict(story.name, NOTE if said else PASS, " ".join(said) or story.fine, table)


# What each test needs


def _pairs(scores: dict[str, pd.DataFrame]) -> pd.DataFrame:
    # By their place in the log: numbers of rows begin anew in each file.
    line, pace = (scores[c][["player", "z"]] for c in COMPONENTS)
    return line.join(pace[["z"]], how="inner", suffixes=("_line", "_pace"))


def _in_order(scores: dict[str, pd.DataFrame]) -> pd.DataFrame:
    rows = pd.concat(rows.assign(component=name) for name, rows in scores.items())
    visit = rows.groupby(["player", "session"])["row"]
    place, putts = visit.rank(method="dense"), visit.transform("nunique")
    return rows.assign(place=(place - 1) / (putts - 1).clip(lower=1))[putts > WARM_UP_PUTTS]


def _visits(fit: Fit) -> pd.DataFrame:
    """Return the offset of every visit that was read, in the order of the log."""
    tables = []
    for component, design in fit.designs.items():
        mean = fit.posteriors[component]["posterior"].dataset["visit_bias"].mean(("chain", "draw"))
        table = design.sessions[["player", "session"]].assign(offset=mean.values)
        read = design.rows[["player", "session"]].drop_duplicates()
        tables.append(table.merge(read).assign(component=component))
    return pd.concat(tables, ignore_index=True)


# The tests


def _tails(rows: pd.DataFrame, rng: np.random.Generator) -> tuple[float, float]:
    """Compare a spread with mishits to Student's t, each at its best, on the same readings."""
    better = sum(_heavier(own, rng) for _, own in rows.groupby("component"))
    # Where mishits are the truth the ratio of likelihoods passes k about once in ten k (measured).
    return min(1.0, 0.1 * float(np.exp(-better))), better


def _heavier(rows: pd.DataFrame, rng: np.random.Generator) -> float:
    """Return by how much Student's t has the higher log likelihood of one component."""
    if len(rows) > MOST_PUTTS:
        rows = rows.iloc[rng.choice(len(rows), MOST_PUTTS, replace=False)]
    lo, hi = ((rows[end] - rows["mu"]) / rows["sd"] for end in ("lo", "hi"))
    # Far above the middle a probability is a difference of numbers near 1: turn it over.
    over = (lo + hi).to_numpy() > 0
    lo, hi = np.where(over, -hi, lo), np.where(over, -lo, hi)

    def mixture(x: Any, share: float) -> Any:
        m = spread.MISHIT_MOST * expit(share)
        return (1 - m) * ndtr(x) + m * ndtr(x / spread.MISHIT_TIMES)

    def student(x: Any, log_nu: float) -> Any:
        return stdtr(np.exp(np.clip(log_nu, 0, 6)), x)

    def best(below: Callable, start: float) -> float:
        def against(p: np.ndarray) -> float:
            low, high = (below(end / np.exp(p[1]), p[0]) for end in (lo, hi))
            return -np.log(high - low + TINY).sum()

        return -float(scipy.optimize.minimize(against, [start, 0.0], method="Nelder-Mead").fun)

    return best(student, 2.0) - best(mixture, -2.0)


def _lopsided(rows: pd.DataFrame, rng: np.random.Generator) -> tuple[float, float]:
    return scipy.stats.skewtest(rows["z"])[::-1]


def _stopped(rows: pd.DataFrame, rng: np.random.Generator) -> tuple[float, float]:
    """Return the chance that no reading would pass the largest one, and how many should."""
    expected = float(rows["beyond_largest"].sum())
    return float(np.exp(-expected)), expected


def _together(rows: pd.DataFrame, rng: np.random.Generator) -> tuple[float, float]:
    return scipy.stats.pearsonr(rows["z_line"], rows["z_pace"])[::-1]


def _course(rows: pd.DataFrame, rng: np.random.Generator) -> tuple[float, float]:
    """Score test of a log spread that is straight in a putt's place within its visit."""
    pull = rows["score"] * (rows["place"] - 0.5)
    errors = float(pull.sum() / np.sqrt((pull**2).sum() + TINY))
    return float(2 * ndtr(-abs(errors))), errors


def _streaks(rows: pd.DataFrame, rng: np.random.Generator) -> tuple[float, float]:
    """Permute visits: do neighbours resemble each other more than chance allows?"""
    offsets = rows.pivot(index="session", columns="component", values="offset")
    offsets = offsets.reindex(rows["session"].unique()).dropna(axis=1).to_numpy().T
    offsets = offsets - offsets.mean(axis=1, keepdims=True)
    offsets = offsets / np.sqrt((offsets**2).sum(axis=1, keepdims=True) + TINY)
    orders = np.argsort(rng.random((PERMUTATIONS, 1, offsets.shape[1])), axis=-1)
    shuffled = np.take_along_axis(offsets[None], orders, axis=-1)
    alike, by_chance = _alike(offsets), _alike(shuffled)
    # The order itself is among those of few visits: rounding must not part it from itself.
    as_alike = by_chance >= alike - 1e-9
    return (1 + np.sum(as_alike)) / (1 + PERMUTATIONS), alike / len(offsets)


def _alike(offsets: np.ndarray) -> Any:
    return (offsets[..., 1:] * offsets[..., :-1]).sum(axis=(-1, -2))


# What each would mean for the answer


def _of(component: str) -> tuple[Story, ...]:
    sides = {"line": ("to the right", "to the left"), "pace": ("long", "short")}[component]
    limit = {"line": "line_limit_deg", "pace": "roll_limit_ft"}[component]
    lopsided = (
        f"{component} misses run farther {{way}} than {{other}}: one spread for both sides is too "
        "wide for one and too narrow for the other, and the bias hides it. Look at the widest "
        "misses {way} first."
    )
    stopped = (
        f"{{size:.0f}} readings of {component} should lie beyond the largest and none does: a "
        f"display or backstop may stop there, and the spread named is then too narrow. Declare "
        f"{limit}, or look whether wide putts were left out."
    )
    even = f"{component.capitalize()} misses run as far either way."
    return (
        Story("two sides", _lopsided, lopsided, even, sides),
        Story("largest", _stopped, stopped, f"Readings of {component} do not stop at a limit."),
    )


HEAVY = (
    "poor putts come in every degree, which a spread with a few mishits fits worse: the spread "
    "named is that of the better putts, all together scatter wider. Read one-putt and three-putt "
    "chances rather than the spread."
)
MOVES = (
    "putts that start right are struck {way} (correlation {size:+.2f}): line and pace are taken as "
    "apart, so spreads hold, but one-putt chances are less certain than their intervals say. "
    "Practise them as one stroke."
)
CHANGES = (
    "scatter grows {way} in the course of a visit: the spread named is the average over a visit. "
    "Compare visits of like length, and end them sooner or warm up longer."
)
RUNS = (
    "good and bad days come in streaks (or the middle drifts): biases and putts on a new day "
    "are less certain than their intervals say. Log visits over more weeks before you correct "
    "a bias."
)

# Ten visits show streaks in one or two logs of ten in which there are some
# (`tests/results/worlds.json`).
NO_STREAKS = (
    "No streaks of good or bad days show, but ten visits or so seldom show them: if there are "
    "some, biases and putts on a new day are less certain than their intervals say."
)
NOT_HEAVY = "No other tails show; but two or three hundred putts seldom show them."
APART = "Line and pace miss independently of each other."
STEADY = "Scatter does not change in the course of a visit."

ALONE = {component: _of(component) for component in COMPONENTS}
BOTH = (
    Story("tails", _tails, HEAVY, NOT_HEAVY, alarm=READY_ALARM),
    Story("together", _together, MOVES, APART, ("hard", "soft")),
    Story("within a visit", _course, CHANGES, STEADY, ("wider", "narrower"), alarm=READY_ALARM),
    Story("streaks", _streaks, RUNS, NO_STREAKS, least=1),
)
