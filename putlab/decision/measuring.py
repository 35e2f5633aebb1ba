"""Is it worth measuring before practising? What more putts at a length would be worth.

Expected value of sample information: readings of N putts at one length are drawn from the
posterior; what each choice saves is regressed on them over the draws, which gives its expected
saving once they were seen; the best of those, against the best without (M. Strong, J. Oakley,
A. Brennan and P. Breeze, "Estimating the expected value of sample information using the
probabilistic sensitivity analysis sample", Medical Decision Making 35, 2015). What readings
can't tell about (learning, the round) is at its mean. Each half of the draws is judged by the
regression of the other, so that chance agreement is worth nothing.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from putlab.decision.advice import at_least_shown, time_words
from putlab.holeout import thinned
from putlab.worth import expected_by_skill

# Putts at one length that a person would strike only to measure.
PUTTS = (20, 50, 100)


@dataclass(frozen=True)
class Measuring:
    """What measuring first is worth.

    Attributes
    ----------
    player : str
        Label.
    minutes : float
        Time for measuring and practice together.
    table : pandas.DataFrame
        ``distance_ft, putts, minutes, p_changes, worth, net``: chance that the readings
        change the choice; strokes a round that knowing them adds to a whole `minutes` of
        practice; the same after the minutes the readings take from it.
    """

    player: str
    minutes: float
    table: pd.DataFrame

    @property
    def best(self):
        """The row with the highest net worth."""
        return self.table.loc[self.table["net"].idxmax()]

    @property
    def sentence(self):
        """Whether to measure first, in plain words."""
        row = (
            self.best if self.best["net"] > 0 else self.table.loc[self.table["worth"].idxmax()]
        )
        where = f"{row['putts']:.0f} putts at {row['distance_ft']:g} ft"
        chance = f"change the choice with a chance of {100 * row['p_changes']:.0f} %"
        if self.best["net"] > 0:
            return (
                f"Measure first: {where} would {chance}, worth {at_least_shown(row['net'])} "
                f"strokes a round even after the {row['minutes']:.0f} minutes they take."
            )
        return (
            f"Practise now: even {where}, the most telling, would {chance}; knowing that is "
            f"worth {at_least_shown(row['worth'])} strokes a round, less than the "
            f"{row['minutes']:.0f} minutes of the {time_words(self.minutes)} they take."
        )

    def _repr_html_(self):
        from html import escape

        shown = self.table.round({"minutes": 0, "p_changes": 2, "worth": 4, "net": 4})
        return f"<p>{escape(self.sentence)}</p>{shown.to_html(index=False, border=0)}"


def measuring(advice, *, putts=PUTTS):
    """Return what measuring before practising is worth, by length and putts.

    Putts struck to measure are counted as no practice at all, which is hard on them; that
    they lie in one visit, whose offset is not the golfer's own, is left out, which is kind.

    Parameters
    ----------
    advice : putlab.decision.advice.Advice
        The advice in question.
    putts : sequence of int
        Numbers of putts to consider at each length.

    Returns
    -------
    Measuring
        Table and sentence.
    """
    case, rng = advice.case, np.random.default_rng([advice.case.seed, 7])
    choice = advice.worth.choice
    now = expected_by_skill(case, minutes=advice.minutes)
    rows = []
    for distance_ft in case.who.lengths_ft:
        for count in putts:
            taken = count / float(case.learning.putts_a_minute(distance_ft))
            readings = drawn_readings(case, distance_ft, count, rng)
            changes, gain = value_of(readings, now, choice)
            # Savings go with time nearly in proportion over such a part of it.
            left = max(1 - taken / advice.minutes, 0.0)
            net = left * (gain + now[:, choice].mean()) - now[:, choice].mean()
            rows.append((distance_ft, count, taken, changes, gain, net))
    names = ["distance_ft", "putts", "minutes", "p_changes", "worth", "net"]
    return Measuring(advice.player, advice.minutes, pd.DataFrame(rows, columns=names))


def drawn_readings(case, distance_ft, putts, rng):
    """Return what so many putts at one length would show, a row a draw of the skill.

    Parameters
    ----------
    case : putlab.decision.setting.Case
        The golfer.
    distance_ft : float
        Length.
    putts : int
        Putts struck there.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    ndarray, shape (draws, 8)
        Log of the sample's spread and its mean, of line and pace, in standard units, and
        their squares.
    """
    skill = thinned(case.who.skill, len(case.stakes.visits)).at([distance_ft])
    columns = []
    for sd, bias in (
        (skill.line_sd_deg, skill.line_bias_deg),
        (skill.pace_sd_pct, skill.pace_bias_pct),
    ):
        # The log of a sample's sd scatters by 1 / sqrt(2 (n - 1)), its mean by sd / sqrt(n).
        noise = rng.standard_normal((2, len(sd)))
        columns.append(np.log(sd[:, 0]) + noise[0] / np.sqrt(2 * (putts - 1)))
        columns.append(bias[:, 0] + sd[:, 0] / np.sqrt(putts) * noise[1])
    found = np.stack(columns, axis=1)
    found = (found - found.mean(axis=0)) / np.maximum(found.std(axis=0), 1e-12)
    return np.concatenate([found, found**2 - 1], axis=1)


def value_of(readings, saved, choice):
    """Return how often readings would change a choice, and what that gains.

    Parameters
    ----------
    readings : ndarray, shape (draws, features)
        What was seen, with each draw.
    saved : ndarray, shape (draws, options)
        What each option saves.
    choice : int
        The choice without readings.

    Returns
    -------
    tuple of float
        Chance of another choice; mean gain over keeping to the first, not below 0.
    """
    design = np.column_stack([np.ones(len(readings)), readings])
    half = np.arange(len(saved)) % 2 == 1
    best = np.empty(len(saved), dtype=int)
    for judged in (half, ~half):
        weights = np.linalg.lstsq(design[~judged], saved[~judged], rcond=None)[0]
        best[judged] = (design[judged] @ weights).argmax(axis=1)
    gain = saved[np.arange(len(saved)), best] - saved[:, choice]
    return float((best != choice).mean()), max(float(gain.mean()), 0.0)
