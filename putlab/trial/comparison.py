"""A comparison of two conditions: its numbers, the answer in words, and what to bear in mind."""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from functools import cached_property
from html import escape
from typing import Any

import pandas as pd

from putlab.base.result import Result
from putlab.base.settings import INTERVAL
from putlab.trial.boundary import CANNOT_TELL, HELPED, HURT, NO_DIFFERENCE
from putlab.trial.classical import Classical, disagreement
from putlab.trial.conditions import BEFORE_AFTER, BY_VISITS, FEW_VISITS, Conditions

# What a verdict can be on, in words.
METRICS = {"line": "line spread", "pace": "pace spread", "strokes": "strokes a round"}

# The other spread, which is not judged, is mentioned from this probability on.
NOTABLE = 0.95

Summary = dict[str, float]


@dataclass(frozen=True)
class Comparison(Result):
    """Two conditions of one player, compared.

    Attributes
    ----------
    conditions : putlab.trial.conditions.Conditions
        Putts of each condition and how they lie in time.
    metric : str
        What the verdict is on: ``line``, ``pace`` or ``strokes``.
    line_sd_ratio, pace_sd_ratio : dict or None
        ``mean, lo, hi, p_improved`` of the ratio of spreads; None where not read.
    by_distance : pandas.DataFrame
        The same ratios at each length that both conditions share.
    line_bias_change_deg, pace_bias_change_pct : dict or None
        ``mean, lo, hi`` of the change of bias.
    strokes_per_round_change : dict or None
        ``mean, lo, hi, p_improved``; None where line or pace was never read.
    p_too_small_to_matter, p_needed : float
        Chance that the change of the metric is too small to matter; probability of
        improvement that saying ``helped`` asks for at this size of trial.
    verdict : str
        ``helped``, ``hurt``, ``no difference that matters`` or ``cannot tell yet``.
    putts_still_needed : int
        Further putts, both conditions together and shuffled, until a verdict is likely.
    too_small_pct, too_small_strokes, detect_pct : float
        What counts as too small, and what the trial is meant to see.
    mix : str
        Whose mix of first putts the strokes are for.
    classical : dict of str to putlab.trial.classical.Classical
        The textbook's results by component, where it has any.
    several : pandas.DataFrame or None
        All conditions of the player together, shrunk by `putlab.trial.contrast.change_table`,
        where there are more than two.
    """

    conditions: Conditions
    metric: str
    line_sd_ratio: Summary | None
    pace_sd_ratio: Summary | None
    by_distance: pd.DataFrame
    line_bias_change_deg: Summary | None
    pace_bias_change_pct: Summary | None
    strokes_per_round_change: Summary | None
    p_too_small_to_matter: float
    p_needed: float
    verdict: str
    putts_still_needed: int
    too_small_pct: float
    too_small_strokes: float
    detect_pct: float
    mix: str
    classical: dict[str, Classical]
    several: pd.DataFrame | None = None

    @property
    def table(self) -> pd.DataFrame:
        """The changes, a row a quantity: ``change, mean, lo, hi, p_improved``."""
        named = {
            "line spread, ratio": self.line_sd_ratio,
            "pace spread, ratio": self.pace_sd_ratio,
            "line bias, change in degrees": self.line_bias_change_deg,
            "pace bias, change in %": self.pace_bias_change_pct,
            "strokes a round, change": self.strokes_per_round_change,
        }
        rows = [{"change": name, **values} for name, values in named.items() if values]
        return pd.DataFrame(rows, columns=["change", "mean", "lo", "hi", "p_improved"])

    @property
    def sentence(self) -> str:
        """The verdict and the number behind it; a plain before-and-after is named first."""
        first = f"{_before_and_after(self)} " if self.conditions.design == BEFORE_AFTER else ""
        return f"{first}{_verdict(self)} {_number(self)}"

    @cached_property
    def cautions(self) -> list[str]:
        """What to bear in mind, the gravest first."""
        return [*_about_design(self), *_about_other_changes(self), *_about_method(self)]

    def to_dict(self) -> dict[str, Any]:
        """The comparison as plain values, ready to be written as JSON."""
        pair, (before, after) = self.conditions, self.conditions.labels
        counts = ("putts_before", "putts_after", "sessions", "sessions_shared", "design")
        return {
            "player": pair.player,
            "before": before,
            "after": after,
            **{name: getattr(pair, name) for name in counts},
            **{f.name: getattr(self, f.name) for f in fields(self) if f.name != "conditions"},
            "by_distance": _records(self.by_distance),
            "several": None if self.several is None else _records(self.several),
            "classical": {name: vars(book) for name, book in self.classical.items()},
            "cautions": self.cautions,
            "sentence": self.sentence,
        }

    def _repr_html_(self) -> str:
        books = [f"{name}: {escape(book.sentence)}" for name, book in self.classical.items()]
        noted = "".join(f"<li>{escape(text)}</li>" for text in self.cautions)
        textbook = "".join(f"<p>{text}</p>" for text in books)
        who = f"<p><b>{escape(self.conditions.player)}</b></p>"
        return f"{who}{super()._repr_html_()}<ul>{noted}</ul>{textbook}"


def _records(table: pd.DataFrame) -> list[dict]:
    # A missing value is None, as JSON has it.
    return table.astype(object).where(table.notna(), None).to_dict("records")


def _before_and_after(found: Comparison) -> str:
    before, after = found.conditions.labels
    return (
        f"A plain before-and-after: {before!r} and {after!r} never took turns, so what practice "
        "alone did can't be told from the change, and the intervals are widened for it."
    )


def _verdict(found: Comparison) -> str:
    name, (before, after) = METRICS[found.metric], found.conditions.labels
    return {
        HELPED: f"Helped: {name} is lower with {after!r} than with {before!r}.",
        HURT: f"Hurt: {name} is higher with {after!r} than with {before!r}.",
        NO_DIFFERENCE: f"No difference that matters in {name} between {before!r} and {after!r}.",
        CANNOT_TELL: f"Cannot tell yet whether {after!r} changes {name}: about "
        f"{found.putts_still_needed:,} more putts, both conditions shuffled within each visit, "
        "should tell.",
    }[found.verdict]


def _number(found: Comparison) -> str:
    strokes = found.metric == "strokes"
    name = "strokes_per_round_change" if strokes else f"{found.metric}_sd_ratio"
    change: Summary = getattr(found, name)
    form = "+.2f" if strokes else ".2f"
    mean, low, high = (format(change[name], form) for name in ("mean", "lo", "hi"))
    said = (
        f"Change {mean} strokes a round on a real green" if strokes else f"Ratio of spreads {mean}"
    )
    small = f"{found.too_small_strokes:g} strokes" if strokes else f"{found.too_small_pct:g} %"
    return (
        f"{said} ({INTERVAL:.0%} interval {low} to {high}); improved with probability "
        f"{change['p_improved']:.3f} (a verdict of helped now takes {found.p_needed:.3f}), too "
        f"small to matter (under {small}) with probability {found.p_too_small_to_matter:.2f}."
    )


def _about_design(found: Comparison) -> Iterator[str]:
    conditions = found.conditions
    if conditions.design == BEFORE_AFTER:
        yield _before_and_after(found)
        yield (
            "More putts of the same kind would not settle it: go back and forth between both "
            "within each visit, in shuffled blocks (`putlab trial` lays them out)."
        )
    if conditions.design == BY_VISITS:
        yield (
            f"Only {conditions.sessions_shared} of {conditions.sessions} visits hold both "
            "conditions, so a good day can pose as a good change; the interval allows for that."
        )
    if conditions.sessions < FEW_VISITS:
        yield f"Only {conditions.sessions} visits: how much a day matters is mostly assumed."
    if not found.by_distance.filter(like="putts_").gt(0).all(axis=None):
        yield "No length was struck under both conditions, so lengths and change are mixed up."


def _about_other_changes(found: Comparison) -> Iterator[str]:
    for name, change in (("line", found.line_sd_ratio), ("pace", found.pace_sd_ratio)):
        if change is None:
            yield f"{name.capitalize()} was not read under both conditions and is not compared."
        elif found.metric not in (name, "strokes"):
            improved = change["p_improved"] > 0.5
            if max(change["p_improved"], 1 - change["p_improved"]) > NOTABLE:
                which = "narrower" if improved else "wider"
                too = " too" if improved == (found.verdict == HELPED) else ""
                yield (
                    f"{METRICS[name].capitalize()} looks {which}{too} (ratio "
                    f"{change['mean']:.2f}), but the verdict is not on it."
                )


def _about_method(found: Comparison) -> Iterator[str]:
    if found.several is not None:
        yield (
            f"{found.conditions.player} has tried {len(found.several)} conditions: the table "
            "sets all of them side by side and draws the luckiest back; read it before this "
            "pair."
        )
    if found.strokes_per_round_change is None:
        yield "Strokes are not computed: that takes readings of both line and roll-out."
    book = found.classical.get(found.metric)
    if book and (said := disagreement(found.verdict, book)):
        yield said
