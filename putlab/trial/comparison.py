"""A comparison of two conditions: its numbers, the answer in words, and what to bear in mind."""

from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from functools import cached_property
from html import escape
from typing import Any

import numpy as np
import pandas as pd

from putlab.base.result import Result
from putlab.base.settings import INTERVAL
from putlab.base.words import counted, percent, sure
from putlab.base.writing import FULL_DIGITS, json_records
from putlab.trial import conditions as layout
from putlab.trial.boundary import CANNOT_TELL, HELPED, HURT, LONGEST, NO_DIFFERENCE, SESSION_PUTTS
from putlab.trial.classical import Classical, disagreement
from putlab.trial.conditions import FEW_VISITS, Conditions, Plan

# What a verdict can be on, in words.
METRICS = {"line": "line spread", "pace": "pace spread", "strokes": "strokes a round"}

# Later or earlier in the visit by so much of it, on average, is mentioned.
NOTABLY_LATER = 0.1

# The other spread, which is not judged, is mentioned from this probability on.
NOTABLE = 0.95

# Under this chance a change of the size planned for is called unlikely, and the trial vain.
UNLIKELY = 0.05

# What the gauge reads of a trial that may go on.
NOT_YET = "not yet"

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
    p_detect : float
        Chance that the change is as large as the trial was meant to see.
    verdict : str
        ``helped``, ``hurt``, ``no difference that matters``, ``cannot tell yet``, or ``cannot
        tell from this design``, where something else went along with the change.
    putts_still_needed : int or None
        Further putts, both conditions together and shuffled, until a verdict is likely; None
        where a trial of three times the planned size would not do.
    plan : putlab.trial.conditions.Plan or None
        The planned trial and what is done of it, where the log holds its sheet.
    designed_putts : int
        Putts of a trial that would see ``detect_pct``, both conditions together.
    worth_putts : int
        Putts shuffled within every visit, as designed, that would tell as much as these.
    fault : str or None
        The part of the design that went along with the change.
    diary : pandas.DataFrame
        A line a visit: ``session, visits, putts, mean, lo, hi, p_improved, p_needed, verdict,
        gauge, visits_left``. All but the last are a quick answer (`putlab.trial.quick`).
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
    p_detect: float
    verdict: str
    putts_still_needed: int | None
    plan: Plan | None
    designed_putts: int
    worth_putts: int
    fault: str | None
    too_small_pct: float
    too_small_strokes: float
    detect_pct: float
    mix: str
    classical: dict[str, Classical]
    meta: dict[str, Any] = field(repr=False)
    several: pd.DataFrame | None = None
    diary: pd.DataFrame = field(default_factory=pd.DataFrame, repr=False)

    @property
    def visits_left(self) -> int | None:
        """Visits to come, as planned or of the size of those so far; None where none will do."""
        if self.plan:
            return max(self.plan.sessions - self.plan.sessions_done, 0)
        if self.putts_still_needed is None or self.fault:
            return None
        per_visit = self.conditions.putts / self.conditions.sessions
        return int(np.ceil(self.putts_still_needed / per_visit))

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

    def _repr_html_(self) -> str:
        noted = "".join(f"<li>{escape(text)}</li>" for text in self.cautions)
        books = (f"<p>{name}: {escape(one.sentence)}</p>" for name, one in self.classical.items())
        who = f"<p><b>{escape(self.conditions.player)}</b></p>"
        return f"{who}{super()._repr_html_()}<ul>{noted}</ul>{''.join(books)}"

    @property
    def sentence(self) -> str:
        """What was seen, what it may be besides, and what would settle it."""
        return " ".join(part for part in (_seen(self), _reason(self), _settles(self)) if part)

    @property
    def judged(self) -> Summary:
        """Mean, interval and chance of improvement of the metric that the verdict is on."""
        strokes = self.metric == "strokes"
        return getattr(self, "strokes_per_round_change" if strokes else f"{self.metric}_sd_ratio")

    @cached_property
    def cautions(self) -> list[str]:
        """What to bear in mind, the gravest first."""
        return [*_about_design(self), *_about_other_changes(self), *_about_method(self)]

    def to_dict(self) -> dict[str, Any]:
        """The comparison as plain values, ready to be written as JSON."""
        pair, (before, after) = self.conditions, self.conditions.labels
        counts = ("player", "putts_before", "putts_after", "sessions", "sessions_shared", "design")
        whole = {name: of for name, of in asdict(self).items() if name != "conditions"}
        tables = {n: of for n, of in whole.items() if isinstance(of, pd.DataFrame)}
        whole |= {n: json_records(of, FULL_DIGITS) for n, of in tables.items()}
        said = {"cautions": self.cautions, "sentence": self.sentence}
        held = {"before": before, "after": after} | {n: getattr(pair, n) for n in counts}
        return held | whole | said


def gauge(verdict: str, p_detect: float) -> str:
    """What a player reads of a check: not yet, helped, hurt or no difference worth having."""
    if verdict == NO_DIFFERENCE or (verdict == CANNOT_TELL and p_detect < UNLIKELY):
        return "no difference worth having"
    return verdict if verdict in (HELPED, HURT) else NOT_YET


def _seen(found: Comparison) -> str:
    strokes, (before, after) = found.metric == "strokes", found.conditions.labels
    mean, low, high = (
        format(found.judged[name], "+.2f" if strokes else ".2f") for name in ("mean", "lo", "hi")
    )
    seen = f"{METRICS[found.metric]} with {after!r} is {mean} times that with {before!r}"
    if strokes:
        seen = f"{mean} strokes a round on a real green with {after!r} against {before!r}"
    ends = f"({percent(INTERVAL)} interval {low} to {high})"
    return f"{found.verdict.capitalize()}: {seen} {ends}."


def _reason(found: Comparison) -> str:
    """Why this verdict: what else it may be, or how sure it is."""
    before, after = found.conditions.labels
    if found.fault:
        return {
            layout.BEFORE_AFTER: f"{after!r} followed {before!r}, so practice alone may have "
            "done it, or what else changed meanwhile, or a return to the usual if a bad spell "
            "led to the change; for practice the interval allows.",
            layout.IN_ONE_ORDER: f"{'Later' if found.conditions.later > 0 else 'Earlier'} in the "
            f"visits came {after!r}, so warming up or tiring may have done it.",
            layout.APART: f"No length was struck under both {before!r} and {after!r}, so what "
            "tells them apart may be the lengths.",
        }[found.fault]
    strokes = found.metric == "strokes"
    if found.verdict == NO_DIFFERENCE:
        size = f"{found.too_small_strokes:g} strokes" if strokes else f"{found.too_small_pct:g} %"
        p = found.p_too_small_to_matter
        return f"That it is too small to matter (under {size}) has a chance of {sure(p)}."
    improved, needed = found.judged["p_improved"], found.p_needed
    worse = found.verdict == HURT or (found.verdict == CANNOT_TELL and improved < 0.5)
    chance = 1 - improved if worse else improved
    # As many places as tell the two apart.
    places = next((d for d in range(7) if sure(chance, d) != sure(needed, d)), 7)
    said = (("narrower", "wider"), ("less", "more"))[strokes][worse]
    chances = f"{sure(chance, places)}, and a check at this size asks for {sure(needed, places)}"
    return f"That it is {said} has a chance of {chances}."


def _settles(found: Comparison) -> str:
    """What would settle it: one way, or that there is none."""
    plan, pair = found.plan, found.conditions
    if found.fault:
        visits = int(np.ceil(found.designed_putts / SESSION_PUTTS))
        return (
            "No more putts of this kind can settle it; both conditions shuffled within every "
            f"visit can, with about {found.designed_putts:,} putts in {visits} visits (`putlab "
            "trial` lays them out)."
        )
    if found.verdict != CANNOT_TELL:
        held = "Whole visits went to one condition: this holds if turns or a lot chose which, and "
        return f"{held}not how the day began." if pair.design == layout.BY_VISITS else ""
    size = f"a cut of {found.detect_pct:g} % or more"
    if found.metric == "strokes":
        size = f"what a cut of {found.detect_pct:g} % in both spreads would save"
    likely = "unlikely" if found.p_detect < UNLIKELY else "not ruled out"
    likely += f" ({sure(found.p_detect)})"
    if plan and plan.over:
        return f"The planned trial is over: {size} is {likely}."
    if found.p_detect < UNLIKELY:
        return f"By now {size} is {likely}: going on would hardly show one."
    if plan:
        left = max(plan.putts - plan.putts_done, 0)
        return f"The plan has {left:,} more putts in {counted(found.visits_left or 0, 'visit')}."
    if found.putts_still_needed is None:
        return (
            f"More putts would not tell, not with a trial of this kind: it would take more than "
            f"{LONGEST:g} times the {found.designed_putts:,} putts of one that sees {size}."
        )
    return (
        f"About {found.putts_still_needed:,} more putts should tell, both conditions shuffled "
        f"within each visit ({counted(found.visits_left or 0, 'visit')} like these)."
    )


def _about_design(found: Comparison) -> Iterator[str]:
    conditions = found.conditions
    if conditions.design == layout.BY_VISITS:
        worth = (
            f": these {conditions.putts:,} putts tell what about {found.worth_putts:,} shuffled "
            "within every visit would"
        )
        yield (
            f"Only {conditions.sessions_shared} of {conditions.sessions} visits hold both "
            "conditions, so a good day can pose as a good change; the interval allows for that"
            f"{worth if found.worth_putts < conditions.putts else ''}."
        )
    if not found.fault and abs(conditions.later) >= NOTABLY_LATER:
        (before, after), when = conditions.labels, "later" if conditions.later > 0 else "earlier"
        yield (
            f"{after!r} was struck {when} in the visits than {before!r}, by "
            f"{percent(abs(conditions.later))} of a visit; the interval is widened for warming up "
            "and tiring."
        )
    if conditions.sessions < FEW_VISITS:
        yield f"Only {conditions.sessions} visits: how much a day matters is mostly assumed."


def _about_other_changes(found: Comparison) -> Iterator[str]:
    for name, change in (("line", found.line_sd_ratio), ("pace", found.pace_sd_ratio)):
        if change is None:
            yield f"{name.capitalize()} was not read under both conditions and is not compared."
        elif found.metric not in (name, "strokes"):
            chance = change["p_improved"]
            if max(chance, 1 - chance) > NOTABLE:
                looks = f"{METRICS[name].capitalize()} looks {('wider', 'narrower')[chance > 0.5]}"
                yield f"{looks} (ratio {change['mean']:.2f}), but the verdict is not on it."


def _about_method(found: Comparison) -> Iterator[str]:
    if found.several is not None:
        yield (
            f"{found.conditions.player} has tried {len(found.several)} conditions: the table "
            "sets all of them side by side and draws the luckiest back, and a verdict on a pair "
            "that no plan named asks for more."
        )
    book = found.classical.get(found.metric)
    if book and (said := disagreement(found.verdict, book)):
        yield said
