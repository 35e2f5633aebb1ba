"""A length out of line: each one against the golfer's own curve through the others.

Takes a golfer's draws; gives how much wider, and how far to a side, each practised length is
than the others suggest, and which are named.

In every draw the others suggest what a line through them says, straight in log distance (of a
bias, their mean). As the fit pulls every length towards the others, a ratio is rather too near
to 1 than too far from it, and agrees with the table of estimates.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from putlab.base import words
from putlab.base.result import Result
from putlab.model.design import log_distance
from putlab.model.readings import COMPONENTS

if TYPE_CHECKING:
    from putlab.posterior.player import Golfer

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
