"""A comparison in words: the answer, and what to bear in mind."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from putlab.base.settings import INTERVAL
from putlab.trial.boundary import CANNOT_TELL, HELPED, HURT, NO_DIFFERENCE
from putlab.trial.classical import disagreement
from putlab.trial.conditions import BEFORE_AFTER, BY_VISITS, FEW_VISITS, label

if TYPE_CHECKING:
    from putlab.trial.compare import Comparison

# What a verdict can be on, in words.
METRICS = {"line": "line spread", "pace": "pace spread", "strokes": "strokes a round"}

# The other spread, which is not judged, is mentioned from this probability on.
NOTABLE = 0.95


def answer(found: "Comparison") -> str:
    """The verdict and the number behind it; a plain before-and-after is named first."""
    first = _before_and_after(found) + " " if found.conditions.design == BEFORE_AFTER else ""
    return f"{first}{_verdict(found)} {_number(found)}"


def _before_and_after(found: "Comparison") -> str:
    return (
        f"A plain before-and-after: {label(found.conditions.before)!r} and "
        f"{label(found.conditions.after)!r} never took turns, so what practice alone did can't be "
        "told from the change, and the intervals are widened for it."
    )


def _verdict(found: "Comparison") -> str:
    name, more = METRICS[found.metric], f"about {found.putts_still_needed:,} more putts"
    before, after = label(found.conditions.before), label(found.conditions.after)
    said = {
        HELPED: f"Helped: {name} is lower with {after!r} than with {before!r}.",
        HURT: f"Hurt: {name} is higher with {after!r} than with {before!r}.",
        CANNOT_TELL: f"Cannot tell yet whether {after!r} changes {name}: {more}, both conditions "
        "shuffled within each visit, should tell.",
        NO_DIFFERENCE: f"No difference that matters in {name} between {before!r} and {after!r}.",
    }
    return said[found.verdict]


def _number(found: "Comparison") -> str:
    change = found.judged_change
    ends = f"{change['lo']:.2f} to {change['hi']:.2f}"
    said = f"Ratio of spreads {change['mean']:.2f}"
    small = f"{found.too_small_pct:g} %"
    if found.metric == "strokes":
        ends = f"{change['lo']:+.2f} to {change['hi']:+.2f}"
        said = f"Change {change['mean']:+.2f} strokes a round"
        small = f"{found.too_small_strokes:g} strokes"
    return (
        f"{said} ({INTERVAL:.0%} interval {ends}); improved with probability "
        f"{change['p_improved']:.3f} (a verdict of helped now takes {found.p_needed:.3f}), too "
        f"small to matter (under {small}) with probability "
        f"{found.p_too_small_to_matter:.2f}."
    )


def cautions(found: "Comparison") -> Iterator[str]:
    """What to bear in mind, the gravest first."""
    yield from _about_design(found)
    yield from _about_other_changes(found)
    if found.several is not None:
        yield (
            f"{found.conditions.player} has tried {len(found.several)} conditions: the table "
            "sets all of them side by side and draws the luckiest back; read it before this "
            "pair."
        )
    if found.strokes_per_round_change is None:
        yield "Strokes are not computed: that takes readings of both line and roll-out."
    if found.metric != "strokes":
        said = disagreement(found.verdict, found.classical.get(found.metric))
        if said:
            yield said


def _about_design(found: "Comparison") -> Iterator[str]:
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


def _about_other_changes(found: "Comparison") -> Iterator[str]:
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
