"""What the next hour of practice is worth, by distance and component, and which to choose.

Two lenses. Strokes a round lost now: every putt struck from near a distance, first or later,
against the same putt with the reference's line or pace. Strokes a round that the next hour
saves: spread narrows at the length practised and, less, at its neighbours (`putlab.learning`),
each by a rate that is itself uncertain. As all of it is a posterior, so is the choice.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from putlab.decision.advice import Advice
from putlab.decision.narrowing import hats
from putlab.decision.setting import make_case
from putlab.decision.stakes import COMPONENTS
from putlab.golfer import summary
from putlab.holing import ESTIMATED
from putlab.settings import PAST_FT, SEED, STIMP_FT

# An option is tied with the choice while the chance that it is the better one is at least
# this: four to one against is not yet a difference to act on (convention of the kit).
TIE_CHANCE = 0.2


@dataclass(frozen=True)
class Worth:
    """Both lenses, draw by draw.

    Attributes
    ----------
    options : list of (float, str)
        Distance in feet and component.
    lost : ndarray, shape (draws, options)
        Strokes a round lost now against the reference.
    saved : ndarray, shape (draws x REPEATS, options)
        Strokes a round that the time given saves when all of it goes there.
    """

    options: list
    lost: np.ndarray
    saved: np.ndarray

    @property
    def choice(self):
        """Position of the option that saves most on average: no other has less regret."""
        return int(self.saved.mean(axis=0).argmax())

    @property
    def p_best(self):
        """Chance that each option is the best, shape (options,)."""
        best = self.saved.argmax(axis=1)
        return np.bincount(best, minlength=len(self.options)) / len(best)

    @property
    def expected_regret(self):
        """Strokes a round given away on average by choosing each option, shape (options,)."""
        return self.saved.max(axis=1).mean() - self.saved.mean(axis=0)

    @property
    def ties(self):
        """Positions the data cannot separate from the choice, itself first."""
        better = (self.saved > self.saved[:, [self.choice]]).mean(axis=0)
        tied = [int(i) for i in np.argsort(-better) if better[i] >= TIE_CHANCE]
        return [self.choice, *tied]


def options_of(lengths_ft):
    """Return the options: every length, line and pace.

    Parameters
    ----------
    lengths_ft : ndarray, shape (lengths,)
        Lengths practised.

    Returns
    -------
    list of (float, str)
        Distance in feet and component.
    """
    return [(float(d), c) for d in lengths_ft for c in COMPONENTS]


def weigh(case, *, minutes):
    """Return both lenses for every option.

    Parameters
    ----------
    case : putlab.decision.setting.Case
        Golfer, learning, round and green.
    minutes : float
        Time that goes to one option.

    Returns
    -------
    Worth
        Draw by draw.
    """
    options, stakes = options_of(case.who.lengths_ft), case.stakes
    saved = [
        [_saving(stakes, practice, option, minutes) for option in options]
        for practice in case.practices
    ]
    share = hats(case.who.lengths_ft, stakes.distance_ft).T
    lost = np.stack([stakes.lost_a_round(name) @ share for name in COMPONENTS], axis=-1)
    saved = np.moveaxis(np.array(saved), 1, -1).reshape(-1, len(options))
    return Worth(options, lost.reshape(len(lost), -1), saved)


def expected_by_skill(case, *, minutes, mixings=4):
    """Return what every option saves by draw of the skill, all else at its mean.

    Parameters
    ----------
    case : putlab.decision.setting.Case
        Golfer, learning, round and green.
    minutes : float
        Time that goes to one option.
    mixings : int
        Times that every draw of practice is paired with another draw of the skill.

    Returns
    -------
    ndarray, shape (draws, options)
        Strokes a round: what readings of the skill could tell about.
    """
    options = options_of(case.who.lengths_ft)
    stakes = replace(case.stakes, visits=case.stakes.visits_given)
    size = len(stakes.visits)
    found = [
        [_saving(stakes, practice.rolled(k * size // mixings), o, minutes) for o in options]
        for practice in case.practices
        for k in range(mixings)
    ]
    return np.mean(found, axis=0).T


def _saving(stakes, practice, option, minutes):
    """Return strokes a round saved by one option, shape (draws,)."""
    distance_ft, component = option
    putts = dict.fromkeys(COMPONENTS, [0.0])
    putts[component] = [minutes * practice.learning.putts_a_minute(distance_ft)]
    return stakes.saved_a_round(practice.changes([distance_ft], putts))


def advise(
    golfer,
    *,
    minutes=60.0,
    learning=None,
    reference=None,
    mix=None,
    stimp_ft=STIMP_FT,
    past_ft=PAST_FT,
    green=None,
    seed=SEED,
):
    """Say which distance deserves the next hour, line or pace, and how sure that is.

    Parameters
    ----------
    golfer : putlab.golfer.Golfer or putlab.decision.standing.Standing
        One player's posterior.
    minutes : float
        Time that goes to one option.
    learning : putlab.learning.Learning, optional
        What practice does.
    reference, mix, stimp_ft, past_ft, green
        See `putlab.decision.setting.make_setting`.
    seed : int
        Seed of the learning draws.

    Returns
    -------
    Advice
        Table, choice, ties, sentence and assumptions.

    Raises
    ------
    UsageError
        The time is not above 0.
    """
    check_minutes(minutes)
    case = make_case(
        golfer,
        learning=learning,
        seed=seed,
        reference=reference,
        mix=mix,
        stimp_ft=stimp_ft,
        past_ft=past_ft,
        green=green,
    )
    return advise_case(case, minutes=minutes)


def advise_case(case, *, minutes):
    """Return the advice for a case.

    Parameters
    ----------
    case : putlab.decision.setting.Case
        Golfer, learning, round and green.
    minutes : float
        Time that goes to one option.

    Returns
    -------
    Advice
        As from `advise`.
    """
    worth = weigh(case, minutes=minutes)
    return Advice(
        player=case.who.player,
        minutes=float(minutes),
        table=worth_table(case.who.player, worth),
        choice=worth.options[worth.choice],
        ties=[worth.options[i] for i in worth.ties],
        assumptions=assumption_table(case),
        reference=case.setting.reference_name,
        worth=worth,
        case=case,
    )


def check_minutes(minutes):
    """Refuse a time that isn't one.

    Parameters
    ----------
    minutes : float
        Time asked for.

    Raises
    ------
    UsageError
        It is not above 0.
    """
    from putlab.errors import UsageError

    if not np.isfinite(minutes) or minutes <= 0:
        raise UsageError(f"minutes must be above 0; got {minutes:g}.")


def worth_table(player, worth):
    """Return a row an option with both lenses, p_best and expected regret.

    Parameters
    ----------
    player : str
        Label.
    worth : Worth
        Draw by draw.

    Returns
    -------
    pandas.DataFrame
        Columns of `putlab advise`.
    """
    table = pd.DataFrame(worth.options, columns=["distance_ft", "component"])
    table.insert(0, "player", player)
    for name, draws in (("strokes_lost", worth.lost), ("saved_next_hour", worth.saved)):
        table[name], table[name + "_lo"], table[name + "_hi"] = summary(draws)
    return table.assign(p_best=worth.p_best, expected_regret=worth.expected_regret)


def assumption_table(case):
    """Return everything the advice rests on, and whether it comes from data or a prior.

    Parameters
    ----------
    case : putlab.decision.setting.Case
        Golfer, learning, round and green.

    Returns
    -------
    pandas.DataFrame
        ``name, meaning, value, from, source``; learned rates come first.
    """
    who, learning, setting = case.who, case.learning, case.setting
    rows = []
    for name in COMPONENTS:
        rate = learning.rates(who.trend[name], who.trend_prior_sd[name])
        share = max(0.0, 1 - np.var(np.log(rate)) / learning.rate_log_sd**2)
        rows.append(
            {
                "name": f"{name}_rate",
                "meaning": "fall of log spread per log(1 + putts / 100), this golfer's",
                "value": float(np.median(rate)),
                "from": f"data {share:.0%}, prior {1 - share:.0%}",
                "source": "the log's own trend, shrunk to the prior below",
            }
        )
    line, pace = setting.green
    given = [
        ("green_line_sd_deg", "line spread that a real green adds", line, setting.green_source),
        ("green_pace_sd_pct", "pace spread that a real green adds", pace, setting.green_source),
        ("stimp_ft", "green speed", setting.stimp_ft, "given, or an ordinary green"),
        ("past_ft", "how far past the hole the golfer aims", setting.past_ft, "assumption"),
        ("mix", "first putts of a round", setting.mix.level, setting.mix.source),
        ("mix_log_sd", "how far your own may stray, log sd", setting.mix_log_sd, "assumption"),
        (
            "reference",
            "who strokes are lost to",
            setting.reference_name,
            setting.reference_source,
        ),
    ]
    keys = ("name", "meaning", "value", "source")
    rows += [dict(zip(keys, row, strict=True)) | {"from": _whence(row[-1])} for row in given]
    table = pd.DataFrame(rows)[["name", "meaning", "value", "from", "source"]]
    return pd.concat([table, learning.table()], ignore_index=True)


def _whence(source):
    return "data" if source.startswith(ESTIMATED) else "prior"
