"""Today against usual: is it news, or what this golfer does on an ordinary day?

The golfer is known from the visits before; ordinary days are drawn from that posterior with
today's own putts (`putlab.practice.targets`). Spread, bias and share inside the target band at each
length are held against them (`putlab.practice.review`).
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from statsmodels.stats.multitest import multipletests

from putlab.base.errors import UsageError
from putlab.base.settings import interval_probabilities
from putlab.base.words import THIN, counted, listed, minus
from putlab.posterior.player import choose_player
from putlab.practice.targets import (
    FEWEST,
    half_width,
    inside,
    ordinary_days,
    planned_putts,
    readings_of,
)


@dataclass(frozen=True)
class Review:
    """One visit of one player against the visits before.

    Attributes
    ----------
    player, session : str
        Labels.
    earlier : int
        Visits before it that "usual" rests on.
    table : pandas.DataFrame
        `COLUMNS`: a row a length, component and look. ``today`` and the ends of ordinary days
        are degrees or percent, or a share; ``p`` is two-sided, ``p_adjusted`` allows for the
        number of looks.
    notes : list of str
        What to bear in mind.
    """

    player: str
    session: str
    earlier: int
    table: pd.DataFrame
    notes: list

    @property
    def news(self):
        """Rows that are news."""
        return self.table[self.table["verdict"] == NEW]

    @property
    def sentence(self):
        """The day in plain words."""
        looks = self.table[self.table["verdict"] != FEW]
        when = f"{self.player}, {self.session}"
        if looks.empty:
            return (
                f"{when}: too few putts at any length to say anything. Two good ones in a row "
                "are not evidence."
            )
        if not self.news.empty:
            said = listed([look_words(row) for row in self.news.itertuples()])
            return f"{when}: news among {counted(len(looks), 'look')}: {said}."
        odd = (looks["verdict"] == ODD).sum()
        rest = (
            f" {odd} of {len(looks)} looks would be odd alone, no more than so many turn up."
            if odd
            else ""
        )
        return f"{when}: an ordinary day, nothing of it is news.{rest}"

    def _repr_html_(self):
        from html import escape

        notes = "".join(f"<li>{escape(note)}</li>" for note in self.notes)
        shown = self.table.round(3).to_html(index=False, border=0, escape=True)
        return f"<p><strong>{escape(self.sentence)}</strong></p>{shown}<ul>{notes}</ul>"


def look_words(row):
    """Return one look in words.

    Parameters
    ----------
    row : namedtuple
        Row of `Review.table`.

    Returns
    -------
    str
        Such as ``line spread at 6 ft 1.9° (ordinary days 0.8° to 1.4°)``.
    """
    share = row.look == "share inside"
    name = f"share of {row.component} inside the band" if share else f"{row.component} {row.look}"
    today, low, high = numbers(row)
    return f"{name} at {row.distance_ft:g} ft {today} (ordinary days {low} to {high})"


def numbers(row):
    """Return today's value and the ends of ordinary days, with their unit.

    Parameters
    ----------
    row : namedtuple
        Row of `Review.table`.

    Returns
    -------
    list of str
        Three texts.
    """
    values = (row.today, row.ordinary_lo, row.ordinary_hi)
    if row.look == "share inside":
        return [f"{100 * v:.0f}{THIN}%" for v in values]
    unit, places = ("°", 2) if row.component == "line" else (f"{THIN}%", 1)
    sign = "+" if row.look == "bias" else ""
    return [minus(f"{v:{sign}.{places}f}") + unit for v in values]


def review(log, *, player=None, session=None, seed, fit=None):
    """Review a visit of one player.

    Parameters
    ----------
    log : putlab.log.read.Log
        A log that has been read, the visit in it.
    player : str, optional
        Label; may be left out where the log has one player.
    session : str, optional
        Label of the visit; default: the player's last.
    seed : int
        Seed of the ordinary days.
    fit : callable, optional
        ``fit(log) -> SpreadFit`` for the log without the visit; default:
        `putlab.posterior.player.fit_log`.

    Returns
    -------
    Review
        Table, sentence and notes.

    Raises
    ------
    UsageError
        No such player or visit, or no visit before it.
    """
    player = choose_player(list(log.putts["player"].unique()), player)
    visits = {player: choose_session(log, player, session)}
    return _reviews(log, visits, seed, fit)[0]


def review_everybody(log, *, session=None, seed, fit=None):
    """Review a visit of everybody who was there, with one fit.

    Parameters
    ----------
    log : putlab.log.read.Log
        A log that has been read, the visit in it.
    session : str, optional
        Label of the visit; default: each player's last.
    seed : int
        Seed of the ordinary days.
    fit : callable, optional
        As in `review`.

    Returns
    -------
    list of Review
        One a player who has such a visit and one before it.

    Raises
    ------
    UsageError
        Nobody has.
    """
    visits, last = {}, None
    for player in log.putts["player"].unique():
        try:
            visits[player] = choose_session(log, player, session)
        except UsageError as error:
            last = error
    if not visits:
        raise last
    return _reviews(log, visits, seed, fit)


def _reviews(log, visits, seed, fit):
    before = log_before(log, visits)
    fitted = (fit or _fit)(before)
    return [_review(log, before, fitted.golfer(p), visit, seed) for p, visit in visits.items()]


def _review(log, before, golfer, session, seed):
    player = golfer.player
    today = readings_of(log, player, session)
    table = judge(golfer, today, log.rules, seed=seed)
    mine = before.putts[before.putts["player"] == player]
    earlier = mine["session"].nunique()
    table.insert(0, "player", player)
    table.insert(1, "session", session)
    notes = _notes(log, player, session, mine, table, earlier)
    return Review(player, session, earlier, table[COLUMNS], notes)


def _fit(log):
    from putlab.posterior.player import fit_log

    return fit_log(log)


def choose_session(log, player, wanted):
    """Return the visit wanted, or the player's last; say which there are where it is unknown.

    Parameters
    ----------
    log : putlab.log.read.Log
        A log that has been read.
    player : str
        Label.
    wanted : str or None
        Label of the visit.

    Returns
    -------
    str
        A label of the log that has a visit before it.

    Raises
    ------
    UsageError
        No such visit, or it is the first.
    """
    known = list(log.putts.loc[log.putts["player"] == player, "session"].unique())
    if wanted is None:
        wanted = known[-1]
    if wanted not in known:
        shown = ", ".join(known[-8:])
        more = "…, " if len(known) > 8 else ""
        raise UsageError(f"{player} has no session {wanted!r}; there are {more}{shown}.")
    if wanted == known[0]:
        raise UsageError(
            f"{wanted} is the first session of {player}: there is no usual to hold it "
            "against. Review a later one."
        )
    return wanted


def log_before(log, visits):
    """Return the log with only what was known before some players' visits.

    Parameters
    ----------
    log : putlab.log.read.Log
        A log that has been read.
    visits : dict of str to str
        Visit by player; a player's later visits are left out with it, other players stay.

    Returns
    -------
    putlab.log.read.Log
        Without them.
    """
    keep = np.ones(len(log.putts), dtype=bool)
    for player, session in visits.items():
        mine = (log.putts["player"] == player).to_numpy()
        first = (mine & (log.putts["session"] == session).to_numpy()).argmax()
        keep &= ~(mine & (np.arange(len(keep)) >= first))
    return replace(log, putts=log.putts[keep].reset_index(drop=True))


def _notes(log, player, session, mine, table, earlier):
    """Return what to bear in mind."""
    notes = []
    if earlier < 3:
        notes.append(
            f"Usual rests on {counted(earlier, 'earlier visit')}: how much a day matters is "
            "mostly assumed, and only a very odd day can be news."
        )
    few = table[table["verdict"] == FEW].drop_duplicates(["distance_ft", "component"])
    if len(few):
        where = listed([f"{r.component} at {r.distance_ft:g} ft" for r in few.itertuples()])
        notes.append(
            f"Fewer than {FEWEST} putts were read of {where}: too little to say, good or bad."
        )
    here = (log.putts["player"] == player) & (log.putts["session"] == session)
    now, then = log.putts.loc[here, "condition"].dropna(), mine["condition"].dropna()
    new = sorted(set(now) - set(then))
    if new:
        notes.append(
            f"{listed(new)} is new today: a change and a day can't be told apart from one "
            "visit (`putlab trial` lays out a fair comparison)."
        )
    if table.empty:
        notes.append("The visit has no practice putts with readings; games are `putlab game`'s.")
    return notes


# A day's spread, bias and share inside the band, held against ordinary days.


# Share of ordinary days that make news of one kind or another.
NEWS = 0.05

LOOKS = ("spread", "bias", "share inside")

# Verdicts.
NEW, ODD, ORDINARY, FEW = "news", "odd, but one of many looks", "ordinary", "too few putts"

COLUMNS = [
    "player", "session", "distance_ft", "component", "look", "putts", "today", "usual",
    "ordinary_lo", "ordinary_hi", "p", "p_adjusted", "verdict",
]  # fmt: skip


def judge(golfer, today, rules, *, seed=0):
    """Hold a day's readings against ordinary days.

    Parameters
    ----------
    golfer : putlab.posterior.player.Golfer
        One player's posterior, from a log that does not hold the day.
    today : pandas.DataFrame
        From `putlab.practice.targets.readings_of`.
    rules : putlab.log.package.ReadingRules
        Steps and limits of the display.
    seed : int
        Seed of the ordinary days.

    Returns
    -------
    pandas.DataFrame
        `COLUMNS` without player and session.
    """
    days = ordinary_days(golfer, today, rules, seed=seed) if len(today) else {}
    rows = []
    for name in days:
        for distance_ft in np.unique(today["distance_ft"]):
            here = ((today["distance_ft"] == distance_ft) & today[name].notna()).to_numpy()
            if not here.any():
                continue
            width = _band(golfer, name, distance_ft, rules, seed)
            now = looks(today.loc[here, name].to_numpy()[None], name, width, distance_ft, rules)
            then = looks(days[name][:, here], name, width, distance_ft, rules)
            count = int(here.sum())
            rows += [_row(distance_ft, name, k, count, now[k][0], then[k]) for k in LOOKS]
    return _judged(pd.DataFrame(rows)) if rows else pd.DataFrame(columns=COLUMNS[2:])


def _band(golfer, component, distance_ft, rules, seed):
    """Return the half width of the band that a plan would set for this length."""
    putts = planned_putts(distance_ft, 10)
    days = ordinary_days(golfer, putts, rules, seed=seed)[component]
    return half_width(component, days, distance_ft, rules)


def looks(errors, component, width, distance_ft, rules):
    """Return spread, bias and share inside the band, day by day.

    Parameters
    ----------
    errors : ndarray, shape (days, putts)
        Errors as read.
    component : {"line", "pace"}
        Component.
    width : float
        Half width of the band, degrees or feet.
    distance_ft : float
        Length.
    rules : putlab.log.package.ReadingRules
        Limits of the display.

    Returns
    -------
    dict of str to ndarray, shape (days,)
        By look; spread is NaN for a single putt.
    """
    several = errors.shape[1] > 1
    return {
        "spread": errors.std(axis=1, ddof=1) if several else np.full(len(errors), np.nan),
        "bias": errors.mean(axis=1),
        "share inside": inside(component, errors, width, distance_ft, rules).mean(axis=1),
    }


def _row(distance_ft, component, look, putts, today, ordinary):
    few = putts < FEWEST or not np.isfinite(today)
    ends = [np.nan] * 2 if few else np.quantile(ordinary, interval_probabilities())
    return {
        "distance_ft": distance_ft,
        "component": component,
        "look": look,
        "putts": putts,
        "today": today,
        "usual": np.nan if few else np.median(ordinary),
        "ordinary_lo": ends[0],
        "ordinary_hi": ends[1],
        "p": np.nan if few else two_sided(today, ordinary),
    }


def two_sided(value, ordinary):
    """Return the chance of a value as far out on an ordinary day, on either side.

    Parameters
    ----------
    value : float
        Today's.
    ordinary : ndarray, shape (days,)
        On ordinary days.

    Returns
    -------
    float
        Twice the smaller tail, today counted among the days so that it is never 0; at most 1.
    """
    # Rounding must not part values that are equal in exact arithmetic.
    close = 1e-9 * (1 + abs(value))
    low = 1 + np.sum(ordinary <= value + close)
    high = 1 + np.sum(ordinary >= value - close)
    return float(min(1.0, 2 * min(low, high) / (1 + len(ordinary))))


def _judged(table):
    """Adjust the p-values for the number of looks, and say what each is."""
    looked = table["p"].notna()
    table["p_adjusted"] = np.nan
    table["verdict"] = FEW
    if looked.any():
        adjusted = multipletests(table.loc[looked, "p"], alpha=NEWS, method="fdr_bh")[1]
        table.loc[looked, "p_adjusted"] = adjusted
        table.loc[looked, "verdict"] = ORDINARY
    table.loc[table["p"] <= NEWS, "verdict"] = ODD
    table.loc[table["p_adjusted"] <= NEWS, "verdict"] = NEW
    return table
