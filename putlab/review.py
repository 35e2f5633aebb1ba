"""Today against usual: is it news, or what this golfer does on an ordinary day?

The golfer is known from the visits before; ordinary days are drawn from that posterior with
today's own putts (`putlab.ordinary`). Spread, bias and share inside the target band at each
length are held against them (`putlab.looks`).
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from putlab.errors import UsageError
from putlab.golfer import choose_player
from putlab.looks import COLUMNS, FEW, NEW, ODD, judge
from putlab.ordinary import readings_of
from putlab.pages.wording import THIN, counted, listed, minus
from putlab.targets import FEWEST


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
    name = (
        f"share of {row.component} inside the band" if share else f"{row.component} {row.look}"
    )
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
    log : putlab.log.Log
        A log that has been read, the visit in it.
    player : str, optional
        Label; may be left out where the log has one player.
    session : str, optional
        Label of the visit; default: the player's last.
    seed : int
        Seed of the ordinary days.
    fit : callable, optional
        ``fit(log) -> SpreadFit`` for the log without the visit; default:
        `putlab.golfer.fit_log`.

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
    log : putlab.log.Log
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
    from putlab.golfer import fit_log

    return fit_log(log)


def choose_session(log, player, wanted):
    """Return the visit wanted, or the player's last; say which there are where it is unknown.

    Parameters
    ----------
    log : putlab.log.Log
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
    log : putlab.log.Log
        A log that has been read.
    visits : dict of str to str
        Visit by player; a player's later visits are left out with it, other players stay.

    Returns
    -------
    putlab.log.Log
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
        notes.append(
            "The visit has no practice putts with readings; games are `putlab game`'s."
        )
    return notes
