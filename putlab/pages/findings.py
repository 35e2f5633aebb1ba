"""Everything a report says of one player, worked out once: facts first, words from them."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from putlab.base.result import Result
from putlab.base.words import confidence, interval, length_words, lengths_in, listed, quantity, sure
from putlab.green.hole_out import hole_out
from putlab.log.read import Log
from putlab.model.design import REFERENCE_FT
from putlab.model.readings import COMPONENTS
from putlab.pages import charts
from putlab.pages.chart import SPREAD_COLUMN, Chart
from putlab.posterior.backtest import Backtest, kept_backtest
from putlab.posterior.fit import Fit
from putlab.posterior.player import Golfer, summary, with_ends
from putlab.practice.advice import Advice, advise
from putlab.practice.plan import BOTH, Plan, plan
from putlab.practice.saving import ALIKE, named, time_words
from putlab.practice.split import WARM_UP_MINUTES
from putlab.rounds.aims import Aims, aims
from putlab.rounds.estimate import estimate
from putlab.rounds.games import usual_games
from putlab.rounds.strokes import StrokesLost
from putlab.trial.compare import Comparison, compare
from putlab.trial.conditions import label
from putlab.trial.contrast import conditions_in_order

# A session of ordinary length, warm-up and game included, and what its rows are called.
SESSION_MINUTES = 40.0
NEXT = "next session"

# Columns of the log that tell of each component.
READING_COLUMN = {"line": "line_deg", "pace": "roll_ft"}


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


@dataclass(frozen=True)
class Findings(Result):
    """What a report says of one player.

    Attributes
    ----------
    player, visits, putts : str, list of str, int
        Label, labels of the sessions in order, usable putts.
    card : Card
        What the first page says.
    estimates : pandas.DataFrame
        The player's rows of `putlab.rounds.estimate.estimate`.
    at_reference : dict
        Spread within a visit at `putlab.model.design.REFERENCE_FT`, named as in the estimates.
    advice, plan : Advice, Plan
        What the next hour is worth; strokes lost by cause; the next session.
    change : Comparison or None
        The last change of condition.
    games, unusual : pandas.DataFrame or None, pandas.DataFrame
        Counted games against usual; visits that were news.
    aims : putlab.rounds.aims.Aims
        How far past the hole to aim.
    picture, charts : putlab.pages.charts.Chart, list of putlab.pages.charts.Chart
        The card's; figures, in the order of the report, that of a backtest of the same log last,
        where one was made.
    measured, green, doubts : list of str
        Components of which there are readings; where the spread of a real green comes from; what
        the readings say against the model and what that means for the answer.
    """

    player: str
    visits: list[str]
    putts: int
    card: Card
    estimates: pd.DataFrame
    at_reference: dict[str, float]
    advice: Advice
    plan: Plan
    change: Comparison | None
    games: pd.DataFrame | None
    unusual: pd.DataFrame
    aims: Aims
    picture: Chart
    charts: list[Chart]
    measured: list[str]
    green: list[str]
    doubts: list[str]

    @property
    def table(self) -> pd.DataFrame:
        """The estimates."""
        return self.estimates

    @property
    def sentence(self) -> str:
        """What to practise, how sure that is, and what it saves."""
        return self.advice.sentence

    def chart(self) -> Chart:
        """Return the first figure of the report."""
        return self.charts[0]

    @property
    def figures(self) -> dict[str, Chart]:
        """The figures by name."""
        return {chart.name: chart for chart in self.charts}

    @property
    def lost(self) -> StrokesLost:
        """Strokes lost now, by stretch and cause."""
        return self.advice.lost

    @property
    def not_read(self) -> str:
        """What the log cannot say of this player, in a sentence; empty where it can."""
        missing = [name for name in COMPONENTS if name not in self.measured]
        if not missing:
            return ""
        columns = listed([READING_COLUMN[name] for name in missing])
        were, them = ("was", "it") if len(missing) == 1 else ("were", "them")
        # Of who was on a green more is said than where the green's spread comes from.
        told = "what putts made or missed tell, and " if len(self.green) > 1 else ""
        return (
            f"{listed(missing).capitalize()} of {self.player} {were} not read: what is said of "
            f"{them} is {told}what was believed beforehand. Log {columns} to know."
        )


def player_findings(log: Log, fit: Fit, player: str) -> Findings:
    """Work out everything a report says of one player.

    Parameters
    ----------
    log : putlab.log.read.Log
        The log.
    fit : putlab.posterior.fit.Fit
        The fit of it.
    player : str
        Label.

    Returns
    -------
    Findings
        Tables, sentences and figures.
    """
    with lengths_in(log.units):
        return _findings(log, fit, player)


def _findings(log: Log, fit: Fit, player: str) -> Findings:
    golfer, held = fit.golfer(player), kept_backtest(log)
    foreseen = held.readings.query("player == @player") if held else pd.DataFrame()
    measured = [name for name, d in fit.designs.items() if player in set(d.rows["player"])]
    mine = log.putts[log.putts["player"] == player]
    estimates = estimate(fit, [player]).table
    advice = advise(golfer, seed=fit.seed)
    change = condition_change(fit, player)
    planned = plan(golfer, log.rules, advice, minutes=SESSION_MINUTES, seed=fit.seed, session=NEXT)
    games, unusual = usual_games(fit, log.putts, player), charts.unusual_visits(golfer)
    reference = golfer.skill([REFERENCE_FT], new_day=False)
    spreads = {name: getattr(reference, name)[:, 0] for name in SPREAD_COLUMN.values()}
    visits = charts.progress_table(golfer), charts.visit_spreads(log, player), unusual
    figures = [
        charts.readings_chart(log, golfer),
        charts.strokes_lost_chart(advice.lost),
        charts.next_hour_chart(advice),
        charts.progress_chart(player, *visits, measured=measured),
        *([charts.change_chart(change), charts.diary_chart(change)] if change else []),
        *([charts.games_chart(games)] if games is not None else []),
        *([charts.backtest_chart(Backtest(foreseen))] if len(foreseen) else []),
    ]
    return Findings(
        player=player,
        visits=list(mine["session"].unique()),
        putts=len(mine),
        card=card(advice, planned, estimates),
        estimates=estimates,
        at_reference=with_ends(spreads),
        advice=advice,
        plan=planned,
        change=change,
        games=games,
        unusual=unusual,
        aims=aims(golfer, charts.main_lengths_ft(golfer)),
        picture=card_chart(log, golfer, advice),
        charts=figures,
        measured=measured,
        green=fit.green_sentences(player),
        doubts=fit.doubts(player),
    )


def card_chart(log: Log, golfer: Golfer, advice: Advice) -> Chart:
    """Return the picture of the card: the readings of the stretch chosen, or strokes lost."""
    if advice.measured and advice.row["measured_putts"]:
        return charts.readings_chart(log, golfer, [advice.choice[0]])
    return charts.strokes_lost_chart(advice.lost)


def condition_change(fit: Fit, player: str) -> Comparison | None:
    """Compare the condition taken up last with the one before.

    On line, or on pace where line was not read under two conditions; None where neither was.
    """
    for component in COMPONENTS:
        held = conditions_in_order(fit, player, component)
        if len(held) > 1:
            before, after = (label(condition) for condition in held[-2:])
            return compare(fit, before, after, player=player, seed=fit.seed)
    return None


# The card at the head of the page: what to do, why, how sure, three numbers, next session.


def card(advice: Advice, plan: Plan, estimates: pd.DataFrame) -> Card:
    """Return the card of one player."""
    lost = advice.lost
    numbers = [
        _a_round("putts", lost.putts, lost.reference_putts),
        _a_round("three-putts", lost.three_putts, lost.reference_three_putts),
        _make_rate(advice, estimates),
    ]
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


def _a_round(what: str, draws: np.ndarray, theirs: float) -> tuple[str, str, str, str]:
    mean, low, high = (f"{float(value):.1f}" for value in summary(draws))
    return mean, f"{what} a round", f"{low} to {high}", f"{theirs:.1f}"


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
