"""What residuals show that the model's story leaves out, a verdict each.

Takes every putt's place under the fitted model (`putlab.posterior.checks.putt_scores`); gives
what each other story would leave in it: tails, a lopsided scatter, a display that stops, line
and pace that move together, a spread that changes within a visit, days that run in streaks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy.special import expit, ndtr, stdtr

from putlab.base.late import Late
from putlab.model.readings import COMPONENTS, WARM_UP_PUTTS
from putlab.model.spread import MISHIT_MOST, MISHIT_TIMES
from putlab.posterior.checks import NOTE, PASS, Verdict

optimize, stats = Late("scipy.optimize"), Late("scipy.stats")

if TYPE_CHECKING:
    from putlab.posterior.fit import Fit

# How often one check of one player may speak up where nothing is wrong: there are nine of them,
# and a log with several players shares it out: one log of forty in the model's own world is noted
# (`tests/results/worlds.json`).
ALARM = 0.005

# With fewer putts there is nothing to see, and the tests' own approximations fail.
LEAST_PUTTS = 40

# Putts to fit two shapes of tail to, and permutations of visits.
MOST_PUTTS, PERMUTATIONS = 3000, 4000

TINY = 1e-300

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

    def told(self, size: float) -> str:
        """Return what a size would mean for the answer."""
        way, other = self.ways if size > 0 else self.ways[::-1]
        return self.means.format(size=size, way=way, other=other)


def residual_checks(fit: Fit, scores: dict[str, pd.DataFrame]) -> dict[str, list[Verdict]]:
    """Look for each other story in the residuals of every player."""
    found = {
        c: [_verdict(fit, story, scores[c]) for story in stories] for c, stories in ALONE.items()
    }
    both = zip(BOTH, (_pairs(scores), _in_order(scores), _visits(fit)), strict=True)
    return found | {"line with pace": [_verdict(fit, story, rows) for story, rows in both]}


def _verdict(fit: Fit, story: Story, rows: pd.DataFrame) -> Verdict:
    rng = np.random.default_rng([fit.seed, *story.name.encode()])
    enough = rows[rows.groupby("player")["player"].transform("size") >= story.least]
    alarm = ALARM / len(fit.players)
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
    rows = pd.concat(scores[c][["player", "session", "row", "z"]] for c in COMPONENTS)
    visit = rows.groupby(["player", "session"])["row"]
    place, putts = visit.rank(method="dense"), visit.transform("nunique")
    rows = rows.assign(square=rows["z"] ** 2, place=(place - 1) / (putts - 1).clip(lower=1))
    return rows[putts > WARM_UP_PUTTS]


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
    if len(rows) > MOST_PUTTS:
        rows = rows.iloc[rng.choice(len(rows), MOST_PUTTS, replace=False)]
    lo, hi = ((rows[end] - rows["mu"]) / rows["sd"] for end in ("lo", "hi"))
    # Far above the middle a probability is a difference of numbers near 1: turn it over.
    over = (lo + hi).to_numpy() > 0
    lo, hi = np.where(over, -hi, lo), np.where(over, -lo, hi)

    def mixture(x: Any, share: float) -> Any:
        m = MISHIT_MOST * expit(share)
        return (1 - m) * ndtr(x) + m * ndtr(x / MISHIT_TIMES)

    def student(x: Any, log_nu: float) -> Any:
        return stdtr(np.exp(np.clip(log_nu, 0, 6)), x)

    def best(below: Callable, start: float) -> float:
        def against(p: np.ndarray) -> float:
            low, high = (below(end / np.exp(p[1]), p[0]) for end in (lo, hi))
            return -np.log(high - low + TINY).sum()

        return -float(optimize.minimize(against, [start, 0.0], method="Nelder-Mead").fun)

    better = best(student, 2.0) - best(mixture, -2.0)
    # Where mishits are the truth the ratio of likelihoods passes k about once in ten k (measured).
    return min(1.0, 0.1 * float(np.exp(-better))), better


def _lopsided(rows: pd.DataFrame, rng: np.random.Generator) -> tuple[float, float]:
    found = stats.skewtest(rows["z"])
    return float(found.pvalue), float(found.statistic)


def _stopped(rows: pd.DataFrame, rng: np.random.Generator) -> tuple[float, float]:
    """Return the chance that no reading would pass the largest one, and how many should."""
    expected = float(rows["beyond_largest"].sum())
    return float(np.exp(-expected)), expected


def _correlated(one: str, other: str) -> Test:
    def test(rows: pd.DataFrame, rng: np.random.Generator) -> tuple[float, float]:
        found = stats.pearsonr(rows[one], rows[other])
        return float(found.pvalue), float(found.statistic)

    return test


def _streaks(rows: pd.DataFrame, rng: np.random.Generator) -> tuple[float, float]:
    """Permute visits: do neighbours resemble each other more than chance allows?"""
    offsets = rows.pivot(index="session", columns="component", values="offset")
    offsets = offsets.reindex(rows["session"].unique()).dropna(axis=1).to_numpy().T
    offsets = offsets - offsets.mean(axis=1, keepdims=True)
    offsets = offsets / np.sqrt((offsets**2).sum(axis=1, keepdims=True) + TINY)
    orders = np.argsort(rng.random((PERMUTATIONS, 1, offsets.shape[1])), axis=-1)
    shuffled = np.take_along_axis(offsets[None], orders, axis=-1)
    alike, by_chance = _alike(offsets), _alike(shuffled)
    return (1 + np.sum(by_chance >= alike)) / (1 + PERMUTATIONS), alike / len(offsets)


def _alike(offsets: np.ndarray) -> Any:
    return (offsets[..., 1:] * offsets[..., :-1]).sum(axis=(-1, -2))


# What each would mean for the answer


def _of(component: str) -> tuple[Story, ...]:
    sides = {"line": ("to the right", "to the left"), "pace": ("long", "short")}[component]
    limit = {"line": "line_limit_deg", "pace": "roll_limit_ft"}[component]
    heavy = (
        f"poor putts in {component} come in every degree, which a spread with a few mishits "
        "fits worse: the spread named is that of the better putts, all together scatter wider. "
        "Read one-putt and three-putt chances rather than the spread."
    )
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
    not_heavy = f"No other tails of {component} show; but some hundred putts seldom show them."
    even = f"{component.capitalize()} misses run as far either way."
    return (
        Story("tails", _tails, heavy, not_heavy),
        Story("two sides", _lopsided, lopsided, even, sides),
        Story("largest", _stopped, stopped, f"Readings of {component} do not stop at a limit."),
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

# Ten visits show streaks in one log of ten in which there are some (`tests/results/worlds.json`).
NO_STREAKS = (
    "No streaks of good or bad days show, but ten visits or so seldom show them: if there are "
    "some, biases and putts on a new day are less certain than their intervals say."
)
APART = "Line and pace miss independently of each other."
STEADY = "Scatter does not change in the course of a visit."

ALONE = {component: _of(component) for component in COMPONENTS}
BOTH = (
    Story("together", _correlated("z_line", "z_pace"), MOVES, APART, ("hard", "soft")),
    Story("within a visit", _correlated("place", "square"), CHANGES, STEADY, ("wider", "narrower")),
    Story("streaks", _streaks, RUNS, NO_STREAKS, least=1),
)
