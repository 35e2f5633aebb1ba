"""Everything a report says of one player, worked out once."""

from dataclasses import dataclass
from html import escape

import numpy as np
import pandas as pd

from putlab.base.cache import kept_or_made, result_key
from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.base.words import counted, interval, listed, quantity
from putlab.green.published import green_spread as published_green
from putlab.model.design import REFERENCE_FT
from putlab.model.readings import COMPONENTS
from putlab.pages import charts
from putlab.posterior.green import GreenFit, green_setting, green_spread
from putlab.posterior.player import summary
from putlab.practice.advice import Advice, advise, named
from putlab.practice.plan import Plan, plan_session
from putlab.rounds.estimate import (
    CAUSES,
    Attribution,
    attribute,
    estimate_table,
    strokes_skill,
)
from putlab.rounds.first_putts import shipped_mix
from putlab.rounds.reference import tour_golfer
from putlab.trial.cautions import label
from putlab.trial.compare import Comparison, compare
from putlab.trial.contrast import change_table, conditions_in_order

# Splitting strokes by cause solves every draw 32 times; the mean of so many is steady to a
# hundredth of a stroke a round.
CAUSE_DRAWS = 60

# Lengths drawn from above: more would not fit side by side.
DRAWN_LENGTHS = 3

# A session of ordinary length, warm-up and game included, and what its rows are called.
SESSION_MINUTES = 40.0
NEXT = "next session"

# Where the advice goes on from its choice to what that is worth.
GAIN = " It saves about "

# Columns of the log that tell of each component.
READING = {"line": "line_deg", "pace": "roll_ft"}


@dataclass(frozen=True)
class Findings:
    """What a report says of one player.

    Attributes
    ----------
    player : str
        Label.
    visits : list of str
        Labels of the player's sessions, in order.
    putts : int
        Usable putts of the player.
    estimates : pandas.DataFrame
        The player's rows of `putlab.rounds.estimate.estimate_table`.
    new_day : pandas.DataFrame
        From `putlab.pages.charts.new_day_table`.
    at_reference : dict
        Spread within a visit at `putlab.model.design.REFERENCE_FT`, named as in the estimates.
    advice : putlab.practice.advice.Advice
        What the next hour is worth, and the choice.
    causes : pandas.DataFrame
        Strokes a round lost by length of the first putt and cause.
    plan : putlab.practice.plan.Plan
        The next session.
    change : putlab.trial.compare.Comparison or None
        The last change of condition, where the log has two or more.
    several : pandas.DataFrame or None
        All conditions side by side, where the log has three or more.
    charts : list of putlab.pages.charts.Chart
        Figures, in the order of the report.
    measured : list of str
        Of ``line`` and ``pace``, those of which the log holds readings by this player.
    green : list of str
        Where the spread that a real green adds comes from.
    """

    player: str
    visits: list
    putts: int
    estimates: pd.DataFrame
    new_day: pd.DataFrame
    at_reference: dict
    advice: Advice
    causes: pd.DataFrame
    plan: Plan
    change: Comparison | None
    several: pd.DataFrame | None
    charts: list
    measured: list
    green: list

    @property
    def answer(self):
        """What to practise, and how sure that is: the advice up to what it saves."""
        return self.advice.sentence.partition(GAIN)[0]

    @property
    def after_the_answer(self):
        """What the answer saves, and what it costs where another is better."""
        return "".join(self.advice.sentence.partition(GAIN)[1:]).strip()

    @property
    def next_session(self):
        """The next session in one sentence."""
        drills = [
            f"{named((goal.distance_ft, goal.component))} ({counted(goal.putts, 'putt')})"
            for goal in self.plan.targets
        ]
        holes = counted(len(self.plan.game), "counted hole")
        return f"{self.plan.minutes:g} minutes: {listed(drills)}, then {holes}."

    @property
    def not_read(self):
        """What the log cannot say of this player, in a sentence; empty where it can."""
        missing = [name for name in COMPONENTS if name not in self.measured]
        if not missing:
            return ""
        columns = listed([READING[name] for name in missing])
        were, them = ("was", "it") if len(missing) == 1 else ("were", "them")
        # Of who was on a green more is said than where the green's spread comes from.
        told = "what putts made or missed tell, and " if len(self.green) > 1 else ""
        return (
            f"{listed(missing).capitalize()} of {self.player} {were} not read: what is said of "
            f"{them} is {told}what was believed beforehand. Log {columns} to know."
        )

    @property
    def lost_most(self):
        """Where most strokes are lost now, in a sentence."""
        table = self.advice.table
        row = table.loc[table["strokes_lost"].idxmax()]
        ends = interval(row["strokes_lost_lo"], row["strokes_lost_hi"], "strokes_lost")
        return (
            f"Most strokes are lost now on {named((row['distance_ft'], row['component']))}: "
            f"{quantity(row['strokes_lost'], 'strokes_lost')} a round against the "
            f"{self.advice.reference} ({ends})."
        )

    def _repr_html_(self):
        said = (self.advice.sentence, self.lost_most, f"Next session: {self.next_session}")
        paragraphs = "".join(f"<p>{escape(text)}</p>" for text in said)
        title = f"<p><strong>{escape(self.player)}</strong></p>"
        return title + paragraphs + self.estimates.round(2).to_html(index=False, border=0)


def find(log, fit, player):
    """Work out what a report says of one player.

    Parameters
    ----------
    log : putlab.log.read.Log
        The log.
    fit : putlab.posterior.player.SpreadFit
        The fit of it.
    player : str
        Label.

    Returns
    -------
    Findings
        Tables, sentences and figures.
    """
    golfer = fit.golfer(player)
    measured = [name for name, d in fit.designs.items() if player in set(d.rows["player"])]
    estimates = estimate_table(fit, [player])
    new_day = charts.new_day_table(golfer)
    causes = causes_table(golfer, estimates["distance_ft"].to_numpy())
    advice = advise(golfer, seed=fit.seed)
    change = last_change(fit, player)
    lengths = drawn_lengths(estimates["distance_ft"], advice.choice[0])
    figures = [
        charts.spread_chart(
            estimates, new_day, charts.visit_spreads(log, player), measured=measured
        ),
        charts.finish_chart(golfer, estimates, lengths),
        charts.losses_chart(player, causes, "tour average"),
        charts.next_hour_chart(advice),
        charts.progress_chart(player, charts.progress_table(golfer), measured=measured),
    ]
    if change is not None:
        figures.append(charts.change_chart(change))
    mine = log.putts[log.putts["player"] == player]
    return Findings(
        player=player,
        visits=list(mine["session"].unique()),
        putts=len(mine),
        estimates=estimates,
        new_day=new_day,
        at_reference=at_reference(golfer),
        advice=advice,
        causes=causes,
        plan=plan_session(
            golfer, log.rules, advice, minutes=SESSION_MINUTES, seed=fit.seed, session=NEXT
        ),
        change=change,
        several=several_changes(fit, player),
        charts=figures,
        measured=measured,
        green=green_sentences(fit, player),
    )


def green_sentences(fit, player):
    """Return what is to be said of the spread that a real green adds.

    Parameters
    ----------
    fit : putlab.posterior.player.SpreadFit or putlab.posterior.green.GreenFit
        Fit of the log.
    player : str
        Label.

    Returns
    -------
    list of str
        Whether it was estimated or taken from what is published; with putts on a green, also
        what tells line from pace.
    """
    if isinstance(fit, GreenFit):
        return fit.sentences(player)
    return [green_spread(fit, player).sentence]


def at_reference(golfer):
    """Return the spread within a visit at the middle length of the kit.

    Parameters
    ----------
    golfer : putlab.posterior.player.Golfer
        One player's posterior.

    Returns
    -------
    dict
        ``line_sd_deg, pace_sd_pct``, each with ``_lo`` and ``_hi``.
    """
    skill = golfer.skill([REFERENCE_FT], new_day=False)
    values = {}
    for name in ("line_sd_deg", "pace_sd_pct"):
        ends = [float(end[0]) for end in summary(getattr(skill, name))]
        values |= dict(zip((name, name + "_lo", name + "_hi"), ends, strict=True))
    return values


def judged_component(fit, player):
    """Return the component on which this player's conditions are set side by side, or None.

    Parameters
    ----------
    fit : putlab.posterior.player.SpreadFit
        Fit of the log.
    player : str
        Label.

    Returns
    -------
    str or None
        Line; pace where line was not read under two conditions; None where neither was.
    """
    for component in COMPONENTS:
        if len(conditions_in_order(fit, player, component)) > 1:
            return component
    return None


def last_change(fit, player):
    """Compare the condition taken up last with the one before it.

    Parameters
    ----------
    fit : putlab.posterior.player.SpreadFit
        Fit of the log.
    player : str
        Label.

    Returns
    -------
    putlab.trial.compare.Comparison or None
        None where the player's readings have fewer than two conditions.
    """
    component = judged_component(fit, player)
    if component is None:
        return None
    before, after = conditions_in_order(fit, player, component)[-2:]
    return compare(fit, label(before), label(after), player=player, seed=fit.seed)


def several_changes(fit, player):
    """Set several conditions side by side, where there are more than two.

    Parameters
    ----------
    fit : putlab.posterior.player.SpreadFit
        Fit of the log.
    player : str
        Label.

    Returns
    -------
    pandas.DataFrame or None
        From `putlab.trial.contrast.change_table`; None for two conditions or fewer.
    """
    component = judged_component(fit, player)
    if component is None or len(conditions_in_order(fit, player, component)) < 3:
        return None
    return change_table(fit, player=player, component=component)


def drawn_lengths(distance_ft, best=None):
    """Return the lengths to draw from above: short, middle and long of those practised.

    Parameters
    ----------
    distance_ft : array_like
        Lengths practised, rising.
    best : float, optional
        A length that must be among them.

    Returns
    -------
    list of float
        At most `DRAWN_LENGTHS`, rising.
    """
    distance_ft = np.asarray(distance_ft, dtype=float)
    places = np.linspace(0, distance_ft.size - 1, min(DRAWN_LENGTHS, distance_ft.size))
    chosen = distance_ft[places.round().astype(int)]
    if best is not None and best not in chosen:
        chosen[np.abs(np.log(chosen / best)).argmin()] = best
    return [float(value) for value in np.unique(chosen)]


def causes_table(golfer, distance_ft, *, mix=None, stimp_ft=STIMP_FT, past_ft=PAST_FT):
    """Return the strokes a round lost against the tour, by first putt's length and cause.

    Parameters
    ----------
    golfer : putlab.posterior.player.Golfer
        One player's posterior.
    distance_ft : ndarray, shape (n,)
        Lengths of the first putt in feet, rising.
    mix : putlab.rounds.first_putts.RoundMix, optional
        First putts of a round.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims.

    Returns
    -------
    pandas.DataFrame
        As `putlab.rounds.estimate.Attribution.table`, a round instead of a putt.
    """
    skill = strokes_skill(golfer)
    published, tour = published_green(), tour_golfer()
    green = green_setting(golfer).get("green", published)
    options = {"stimp_ft": stimp_ft, "past_ft": past_ft, "draws": CAUSE_DRAWS}
    greens = green, published
    key = result_key("rounds", "causes", vars(skill), distance_ft, greens, options)

    def attributed():
        shared = attribute(
            skill, distance_ft, reading=green, reference=tour.technique,
            reference_reading=published, **options,
        )  # fmt: skip
        ends = {"golfer": shared.average_putts, "reference": shared.reference_putts}
        return shared.strokes | ends

    arrays = kept_or_made(key, attributed)
    first_putts = (mix or shipped_mix()).onto(distance_ft)
    a_round = {name: putts * first_putts for name, putts in arrays.items()}
    causes = {cause: a_round[cause] for cause in CAUSES}
    return Attribution(distance_ft, causes, a_round["golfer"], a_round["reference"]).table()
