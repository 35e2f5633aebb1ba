"""The card at the head of the page: what to do, why, how sure, three numbers, next session."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from putlab.base.words import confidence, interval, length_words, listed, quantity, sure
from putlab.green.hole_out import hole_out
from putlab.posterior.player import summary
from putlab.practice.advice import Advice
from putlab.practice.plan import BOTH, Plan
from putlab.practice.saving import ALIKE, named, time_words
from putlab.practice.split import WARM_UP_MINUTES


@dataclass(frozen=True)
class Card:
    """What a coach reads in ten seconds.

    Attributes
    ----------
    action, why : str
        What to do, and the reason.
    sure, chance, of : str
        Confidence in words and in percent, and of what; empty where nothing can be chosen yet.
    numbers : list of tuple of str
        Value, what it is, its interval and the reference's value: putts and three-putts a round
        and the make rate that matters most, on a real green.
    session : list of str
        The next session in at most four lines.
    """

    action: str
    why: str
    sure: str
    chance: str
    of: str
    numbers: list[tuple[str, str, str, str]]
    session: list[str]


def card(advice: Advice, plan: Plan, estimates: pd.DataFrame) -> Card:
    """Return the card of one player."""
    numbers = [*_a_round(advice), _make_rate(advice, estimates)]
    session = session_lines(plan)
    if not advice.measured:
        action, _, why = advice.answer.partition(": ")
        return Card(action, why[0].upper() + why[1:], "", "", "", numbers, session)
    others, time = [named(one) for one in advice.others], time_words(advice.minutes)
    instead = f" It may be {listed(others, 'or')} instead." if others else ""
    return Card(
        action=f"Practise {named(advice.chosen)}",
        why=advice.gain + instead,
        sure=confidence(advice.p_chosen).capitalize(),
        chance=sure(advice.p_chosen),
        of=f"that nothing else saves {ALIKE:g} strokes more in the next {time}",
        numbers=numbers,
        session=session,
    )


def _a_round(advice: Advice) -> list[tuple[str, str, str, str]]:
    lost, found = advice.lost, []
    for draws, what, theirs in (
        (lost.putts, "putts a round", lost.reference_putts),
        (lost.three_putts, "three-putts a round", lost.reference_three_putts),
    ):
        mean, low, high = (f"{float(value):.1f}" for value in summary(draws))
        found.append((mean, what, f"{low} to {high}", f"{theirs:.1f}"))
    return found


def _make_rate(advice: Advice, estimates: pd.DataFrame) -> tuple[str, str, str, str]:
    # From where misses cost most: putts struck from there a round x what the reference holes more.
    lengths, setting = estimates["distance_ft"].to_numpy(float), advice.case.round
    theirs = hole_out(
        setting.reference.skill, lengths, stimp_ft=setting.stimp_ft, past_ft=setting.past_ft
    ).one_putt.mean(axis=0)
    strokes = advice.case.strokes
    struck = np.interp(np.log(lengths), np.log(strokes.distance_ft), strokes.visits.mean(axis=0))
    name = "green_one_putt"
    place = int(np.argmax(struck * (theirs - estimates[name].to_numpy(float))))
    row = estimates.iloc[place]
    within = interval(row[name + "_lo"], row[name + "_hi"], name)
    what = f"holed from {length_words(lengths[place])}"
    return quantity(row[name], name), what, within, quantity(theirs[place], name)


def session_lines(plan: Plan) -> list[str]:
    """Return a session in at most four lines: warm-up, drills (what was chosen first), game."""
    lines, chosen = [f"Warm up for {WARM_UP_MINUTES:g} minutes"], plan.advice.choice[1]
    drills = plan.table.groupby(["component", "distance_ft"])["putts"].sum()
    for name in sorted(drills.index.unique("component"), key=lambda name: name != chosen):
        said = [f"{putts} from {length_words(length)}" for length, putts in drills[name].items()]
        lines.append(f"{'Line and pace' if name == BOTH else name.capitalize()}: {listed(said)}")
    return [*lines, f"A counted game of {len(plan.game)} holes"]
