"""A comparison in words: the answer, what to bear in mind, the table, the page."""

from dataclasses import replace
from html import escape

import pandas as pd

from putlab.base.settings import INTERVAL
from putlab.trial.boundary import CANNOT_TELL, HELPED, HURT
from putlab.trial.classical import disagreement
from putlab.trial.conditions import BEFORE_AFTER, BY_VISITS, FEW_VISITS, UNLABELLED

NAMES = {"line": "line spread", "pace": "pace spread", "strokes": "strokes a round"}

# The other spread, which is not judged, is mentioned from this probability on.
NOTABLE = 0.95

ADVICE = "These are statistics of a log; what to change, and how, is for player and coach."


def label(condition):
    """Return a condition's label, unlabelled putts having a name too.

    Parameters
    ----------
    condition : str
        Label, empty where there is none.

    Returns
    -------
    str
        Never empty.
    """
    return condition or UNLABELLED


def answer(found):
    """Return the answer in plain words.

    Parameters
    ----------
    found : putlab.trial.compare.Comparison
        The comparison.

    Returns
    -------
    str
        Verdict and the number behind it; a plain before-and-after is named first.
    """
    first = _before_and_after(found) + " " if found.arms.design == BEFORE_AFTER else ""
    return f"{first}{_verdict(found)} {_number(found)}"


def _before_and_after(found):
    return (
        f"A plain before-and-after: {label(found.arms.before)!r} and "
        f"{label(found.arms.after)!r} never took turns, so what practice alone did can't be "
        "told from the change, and the intervals are widened for it."
    )


def _verdict(found):
    name, before, after = NAMES[found.metric], label(found.arms.before), label(found.arms.after)
    if found.verdict == HELPED:
        return f"Helped: {name} is lower with {after!r} than with {before!r}."
    if found.verdict == HURT:
        return f"Hurt: {name} is higher with {after!r} than with {before!r}."
    if found.verdict == CANNOT_TELL:
        return (
            f"Cannot tell yet whether {after!r} changes {name}: about "
            f"{found.putts_still_needed:,} more putts, both conditions shuffled within each "
            "visit, should tell."
        )
    return f"No difference that matters in {name} between {before!r} and {after!r}."


def _number(found):
    if found.metric == "strokes":
        change = found.strokes_per_round_change
        said = f"Change {change['mean']:+.2f} strokes a round"
        ends = f"{change['lo']:+.2f} to {change['hi']:+.2f}"
        small = f"{found.region_strokes:g} strokes"
    else:
        change = getattr(found, f"{found.metric}_sd_ratio")
        said = f"Ratio of spreads {change['mean']:.2f}"
        ends = f"{change['lo']:.2f} to {change['hi']:.2f}"
        small = f"{found.region_pct:g} %"
    return (
        f"{said} ({INTERVAL:.0%} interval {ends}); improved with probability "
        f"{change['p_improved']:.3f} (a verdict of helped now takes {found.p_needed:.3f}), too "
        f"small to matter (under {small}) with probability "
        f"{found.p_too_small_to_matter:.2f}."
    )


def with_cautions(found):
    """Return the comparison with its cautions, the gravest first.

    Parameters
    ----------
    found : putlab.trial.compare.Comparison
        A comparison without them.

    Returns
    -------
    putlab.trial.compare.Comparison
        The same with them.
    """
    said = [*_about_design(found), *_about_other_changes(found), *_about_twin(found)]
    return replace(found, cautions=said)


def _about_design(found):
    arms = found.arms
    if arms.design == BEFORE_AFTER:
        yield _before_and_after(found)
        yield (
            "More putts of the same kind would not settle it: go back and forth between both "
            "within each visit, in shuffled blocks (`putlab trial` lays them out)."
        )
    if arms.design == BY_VISITS:
        yield (
            f"Only {arms.sessions_shared} of {arms.sessions} visits hold both conditions, so a "
            "good day can pose as a good change; the interval allows for that."
        )
    if arms.sessions < FEW_VISITS:
        yield f"Only {arms.sessions} visits: how much a day matters is mostly assumed."
    if not found.by_distance.filter(like="putts_").gt(0).all(axis=None):
        yield "No length was struck under both conditions, so lengths and change are mixed up."


def _about_other_changes(found):
    for name in ("line", "pace"):
        change = getattr(found, f"{name}_sd_ratio")
        if change is None:
            yield f"{name.capitalize()} was not read under both conditions and is not compared."
        elif name != found.metric and found.metric != "strokes":
            p = change["p_improved"]
            if max(p, 1 - p) > NOTABLE:
                which = "narrower" if p > 0.5 else "wider"
                yield (
                    f"{NAMES[name].capitalize()} looks {which} too "
                    if (p > 0.5) == (found.verdict == HELPED)
                    else f"{NAMES[name].capitalize()} looks {which} "
                ) + f"(ratio {change['mean']:.2f}), but the verdict is not on it."
    if found.several is not None:
        yield (
            f"{found.arms.player} has tried {len(found.several)} conditions: the table sets "
            "all of them side by side and draws the luckiest back; read it before this pair."
        )
    if found.strokes_per_round_change is None:
        yield "Strokes are not computed: that takes readings of both line and roll-out."


def _about_twin(found):
    if found.metric != "strokes":
        said = disagreement(found.verdict, found.classical.get(found.metric))
        if said:
            yield said


def rows(found):
    """Return the changes as a table.

    Parameters
    ----------
    found : putlab.trial.compare.Comparison
        The comparison.

    Returns
    -------
    pandas.DataFrame
        ``change, mean, lo, hi, p_improved``.
    """
    named = {
        "line spread, ratio": found.line_sd_ratio,
        "pace spread, ratio": found.pace_sd_ratio,
        "line bias, change in degrees": found.line_bias_change_deg,
        "pace bias, change in %": found.pace_bias_change_pct,
        "strokes a round, change": found.strokes_per_round_change,
    }
    kept = [{"change": name} | values for name, values in named.items() if values]
    return pd.DataFrame(kept, columns=["change", "mean", "lo", "hi", "p_improved"])


def page(found):
    """Return the comparison as a piece of HTML.

    Parameters
    ----------
    found : putlab.trial.compare.Comparison
        The comparison.

    Returns
    -------
    str
        Answer, cautions, changes, changes by length and the textbook's analysis.
    """
    listed = "".join(f"<li>{escape(text)}</li>" for text in found.cautions)
    twins = "".join(
        f"<li>{name.capitalize()}: {escape(twin.sentence)}</li>"
        for name, twin in found.classical.items()
        if twin
    )
    title = f"{found.arms.player}: {label(found.arms.before)} → {label(found.arms.after)}"
    return (
        f"<section><h3>{escape(title)}</h3><p><strong>{escape(answer(found))}</strong></p>"
        f"<ul>{listed}</ul>{_html(rows(found))}{_html(found.by_distance)}"
        f"{'' if found.several is None else _html(found.several)}"
        f"<ul>{twins}</ul><p>{escape(ADVICE)}</p></section>"
    )


def _html(table):
    return table.to_html(index=False, float_format="{:.3g}".format, na_rep="", border=0)
