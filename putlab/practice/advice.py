"""What the next hour of practice is worth, by distance and component, and which to choose.

Two lenses. Strokes a round lost now: every putt struck from near a distance, first or later,
against the same putt with the reference's line or pace. Strokes a round that the next hour
saves: spread narrows at the length practised and, less, at its neighbours (`putlab.practice.learning`),
each by a rate that is itself uncertain. As all of it is a posterior, so is the choice.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from putlab.base.settings import PAST_FT, SEED, STIMP_FT
from putlab.base.words import minus, sure
from putlab.posterior.green import ESTIMATED
from putlab.posterior.player import summary
from putlab.practice.case import hats, make_case
from putlab.practice.stakes import COMPONENTS

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
    case : putlab.practice.case.Case
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
    case : putlab.practice.case.Case
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
    golfer : putlab.posterior.player.Golfer or putlab.practice.case.Standing
        One player's posterior.
    minutes : float
        Time that goes to one option.
    learning : putlab.practice.learning.Learning, optional
        What practice does.
    reference, mix, stimp_ft, past_ft, green
        See `putlab.practice.case.make_setting`.
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
    case : putlab.practice.case.Case
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
    from putlab.base.errors import UsageError

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
    case : putlab.practice.case.Case
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


# The advice: a table, a choice with its ties, and one sentence that says how sure it is.


# More options than this tied: nothing stands out, and a list of them would not help.
MOST_NAMED = 4

CAUTION = "This is statistics from one log, not coaching: a coach who sees you decides."

TITLES = {
    "distance_ft": "Distance, ft",
    "component": "Line or pace",
    "strokes_lost": "Strokes a round lost now",
    "saved_next_hour": "Strokes a round saved",
    "p_best": "Chance of being best",
    "expected_regret": "Costs if chosen, on average",
}


@dataclass(frozen=True)
class Advice:
    """Which distance deserves the time of one golfer.

    Attributes
    ----------
    player : str
        Label.
    minutes : float
        Time that the advice is about.
    table : pandas.DataFrame
        ``player, distance_ft, component, strokes_lost, ..._lo, ..._hi, saved_next_hour,
        ..._lo, ..._hi, p_best, expected_regret``; strokes a round of 18 holes, saved by
        `minutes` of practice on that option alone.
    choice : (float, str)
        Distance in feet and component that save most on average.
    ties : list of (float, str)
        Options the data cannot separate, the choice first.
    assumptions : pandas.DataFrame
        ``name, meaning, value, from, source``.
    reference : str
        Who strokes are lost to.
    worth : putlab.practice.advice.Worth
        The draws behind the table.
    case : putlab.practice.case.Case
        Golfer, learning, round and green: for what follows from the advice.
    """

    player: str
    minutes: float
    table: pd.DataFrame
    choice: tuple
    ties: list
    assumptions: pd.DataFrame
    reference: str
    worth: object = field(repr=False)
    case: object = field(repr=False)

    @property
    def row(self):
        """The choice's row of the table."""
        distance_ft, component = self.choice
        table = self.table
        return table[
            (table["distance_ft"] == distance_ft) & (table["component"] == component)
        ].iloc[0]

    @property
    def cost_if_wrong(self):
        """Strokes a round given away by the choice where it is not the best, on average."""
        row = self.row
        wrong = 1 - row["p_best"]
        return row["expected_regret"] / wrong if wrong > 0 else 0.0

    @property
    def sentence(self):
        """The answer in plain words, with its certainty."""
        return f"{self._which()} {self._gain()} {self._price()}"

    @property
    def lost_sentence(self):
        """Where most strokes are lost now, in plain words."""
        row = self.table.loc[self.table["strokes_lost"].idxmax()]
        ends = minus(f"{row['strokes_lost_lo']:.2f} to {row['strokes_lost_hi']:.2f}")
        option = (row["distance_ft"], row["component"])
        if row["strokes_lost"] <= 0:
            return f"Nowhere are strokes lost now to the {self.reference}."
        return (
            f"Most strokes are lost now to {named(option)}: {row['strokes_lost']:.2f} a round "
            f"({ends}) against the {self.reference}."
        )

    def _which(self):
        row, hour = self.row, time_words(self.minutes)
        if len(self.ties) == 1:
            return (
                f"{named(self.choice, start=True)} is the best use of the next {hour} with a "
                f"chance of {sure(row['p_best'])}."
            )
        if len(self.ties) <= MOST_NAMED:
            names = [named(option) for option in self.ties]
            names[0] = named(self.ties[0], start=True)
            which = " or ".join([", ".join(names[:-1]), names[-1]])
            return (
                f"{which}: {NUMBERS[len(names)]}; the data cannot separate them "
                f"(the first is the best use of the next {hour} with a chance of "
                f"{sure(row['p_best'])})."
            )
        return (
            f"Nothing stands out: {len(self.ties)} of {len(self.table)} choices cannot be "
            f"told apart. {named(self.choice, start=True)} has the edge, the best use of the "
            f"next {hour} with a chance of {sure(row['p_best'])}."
        )

    def _gain(self):
        row = self.row
        ends = f"{row['saved_next_hour_lo']:.2f} to {row['saved_next_hour_hi']:.2f}"
        return f"It saves about {row['saved_next_hour']:.2f} strokes a round ({ends})."

    def _price(self):
        if self.row["p_best"] >= 1:
            return "No draw puts another first."
        return (
            "Where another would have been better, it gives away "
            f"{at_least_shown(self.cost_if_wrong)} strokes a round on average."
        )

    def _repr_html_(self):
        from html import escape

        shown = shown_table(self.table)
        return (
            f"<p><strong>{escape(self.player)}</strong>: {escape(self.sentence)} "
            f"{escape(self.lost_sentence)}</p>"
            f"{shown.to_html(index=False, escape=True, border=0)}<p>{escape(CAUTION)}</p>"
        )


NUMBERS = {2: "either of the two", 3: "any of these three", 4: "any of these four"}


def named(option, *, start=False):
    """Return an option in words.

    Parameters
    ----------
    option : (float, str)
        Distance in feet and component.
    start : bool
        At the start of a sentence.

    Returns
    -------
    str
        Such as ``pace at 24 ft``.
    """
    distance_ft, component = option
    words = f"{component} at {distance_ft:g} ft"
    return words[0].upper() + words[1:] if start else words


def time_words(minutes):
    """Return a time in words.

    Parameters
    ----------
    minutes : float
        Time.

    Returns
    -------
    str
        Such as ``hour`` or ``40 minutes``.
    """
    if minutes == 60:
        return "hour"
    return f"{minutes / 60:g} hours" if minutes % 60 == 0 else f"{minutes:g} minutes"


def at_least_shown(strokes):
    """Return strokes to three places, never as none where there are some.

    Parameters
    ----------
    strokes : float
        Strokes a round.

    Returns
    -------
    str
        Such as ``0.013`` or ``under 0.001``.
    """
    return f"{strokes:.3f}" if strokes >= 0.001 else "under 0.001"


def shown_table(table):
    """Return the table as a person reads it: rounded, with intervals, best first.

    Parameters
    ----------
    table : pandas.DataFrame
        Of an `Advice`.

    Returns
    -------
    pandas.DataFrame
        Text in every cell.
    """
    table = table.sort_values("expected_regret")

    def with_interval(name):
        ends = zip(table[name], table[name + "_lo"], table[name + "_hi"], strict=True)
        return [minus(f"{mean:.3f} ({low:.3f} to {high:.3f})") for mean, low, high in ends]

    columns = {
        "distance_ft": [f"{d:g}" for d in table["distance_ft"]],
        "component": list(table["component"]),
        "strokes_lost": with_interval("strokes_lost"),
        "saved_next_hour": with_interval("saved_next_hour"),
        "p_best": [sure(p) for p in table["p_best"]],
        "expected_regret": [at_least_shown(r) for r in table["expected_regret"]],
    }
    return pd.DataFrame(columns).rename(columns=TITLES)
