"""Today against usual: is it news, or what this golfer does on an ordinary day?

The golfer is known from the visits before; ordinary days are drawn from that posterior with
today's own putts (`putlab.practice.targets`). Spread, bias and share inside the target bands of
each stretch of distance are held against them.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from html import escape
from typing import Any

import numpy as np
import pandas as pd
import scipy

from putlab.base import words
from putlab.base.errors import UsageError
from putlab.base.result import Result
from putlab.base.settings import interval_probabilities
from putlab.base.words import counted, listed, no_such
from putlab.log.read import Log
from putlab.log.rules import ReadingRules
from putlab.posterior.fit import Fit, fit_log
from putlab.posterior.player import BIAS_NAMES, Golfer
from putlab.practice import targets
from putlab.rounds.strokes import EDGES_FT, STRETCHES, place_words, stretch_words

Fitter = Callable[[Log], Fit]

# Share of ordinary days that make news of one kind or another.
NEWS = 0.05

# Verdicts, the gravest first.
VERDICTS = ("news", "odd, but one of many checks", "ordinary", "too few putts")
NEW, ODD, ORDINARY, FEW = VERDICTS

TITLES = ("Stretch", "", "Putts", "Spread", "Bias", "Inside the band", "Verdict")

COLUMNS = [
    "player", "session", "stretch", "from_ft", "to_ft", "component", "measure", "putts", "today",
    "usual", "ordinary_lo", "ordinary_hi", "p", "p_adjusted", "verdict",
]  # fmt: skip


@dataclass(frozen=True)
class Review(Result):
    """One visit of one player against the visits before.

    Attributes
    ----------
    player, session : str
        Labels.
    earlier : int
        Visits before it that "usual" rests on.
    table : pandas.DataFrame
        `COLUMNS`: a row a stretch, component and measure. ``today`` and the ends of ordinary days
        are degrees or percent, or a share; ``p`` is two-sided, ``p_adjusted`` allows for the
        number of comparisons.
    notes : list of str
        What to bear in mind.
    """

    player: str
    session: str
    earlier: int
    table: pd.DataFrame
    notes: list[str]

    @property
    def shown(self) -> pd.DataFrame:
        """The table as a person reads it: a row a stretch and component, the gravest verdict."""
        rows = []
        for (_, component), checks in self.table.groupby(["from_ft", "component"]):
            gravest = min(checks["verdict"], key=VERDICTS.index)
            stretch, putts = checks[["stretch", "putts"]].iloc[0]
            rows.append((stretch, component, str(putts), *map(_cell, checks.itertuples()), gravest))
        return pd.DataFrame(rows, columns=TITLES)

    @property
    def news(self) -> pd.DataFrame:
        """Rows that are news."""
        return self.table[self.table["verdict"] == NEW]

    @property
    def sentence(self) -> str:
        """The day in plain words."""
        compared = self.table[self.table["verdict"] != FEW]
        when = f"{self.player}, {self.session}"
        if compared.empty:
            return (
                f"{when}: too few putts from any stretch to say anything. Two good ones in a row "
                "are not evidence."
            )
        if not self.news.empty:
            said = listed([comparison_words(row) for row in self.news.itertuples()])
            return f"{when}: news among {counted(len(compared), 'check')}: {said}."
        odd = (compared["verdict"] == ODD).sum()
        said = f" {odd} of {len(compared)} checks would be odd alone; among so many that is usual."
        return f"{when}: an ordinary day, nothing of it is news.{said if odd else ''}"

    def _repr_html_(self) -> str:
        notes = "".join(f"<li>{escape(note)}</li>" for note in self.notes)
        return f"{super()._repr_html_()}<ul>{notes}</ul>"


def comparison_words(row: Any) -> str:
    """A row in words: ``line spread from 4 to 8 ft 1.9° (ordinary days 0.8 to 1.4)``."""
    name = f"{row.component} {row.measure}"
    if row.measure == "share inside":
        name = f"share of {row.component} inside the band"
    today, usual = _in_words(row)
    return f"{name} {place_words(row.from_ft, row.to_ft)} {today} (ordinary days {usual})"


# What of the words for numbers a measure is like: spread, bias and a share of putts.
LIKE = {
    "spread": {"line": "line_sd_deg", "pace": "pace_sd_pct"},
    "bias": BIAS_NAMES,
    "share inside": {"line": "one_putt", "pace": "one_putt"},
}


def _in_words(row: Any) -> tuple[str, str]:
    """Today's value, and the ends of ordinary days, of a row of the table."""
    name = LIKE[row.measure][row.component]
    if row.measure == "bias":
        ends = words.signed_interval(row.ordinary_lo, row.ordinary_hi, name)
        return words.signed(row.today, name), ends
    return words.quantity(row.today, name), words.interval(row.ordinary_lo, row.ordinary_hi, name)


def _cell(row: Any) -> str:
    if np.isnan(row.p):
        return "" if np.isnan(row.today) else _in_words(row)[0]
    return "\n".join(_in_words(row))


def review(
    log: Log,
    *,
    player: str | None = None,
    session: str | None = None,
    seed: int,
    fit: Fitter = fit_log,
) -> Review:
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
    fit : callable
        ``fit(log) -> Fit`` for the log without the visit.

    Returns
    -------
    Review
        Table, sentence and notes.

    Raises
    ------
    UsageError
        No such player or visit, or no visit before it.
    """
    players = [log.choose(player)]
    return review_everybody(log, players=players, session=session, seed=seed, fit=fit)[0]


def review_everybody(
    log: Log,
    *,
    players: Sequence[str] | None = None,
    session: str | None = None,
    seed: int,
    fit: Fitter = fit_log,
) -> list[Review]:
    """Review a visit of everybody who was there and before it, with one fit.

    Parameters
    ----------
    log : putlab.log.read.Log
        A log that has been read, the visits in it.
    players : sequence of str, optional
        Only these.
    session : str, optional
        Label of the visit; default: each player's last.
    seed : int
        Seed of the ordinary days.
    fit : callable
        ``fit(log) -> Fit`` for the log without the visits.

    Returns
    -------
    list of Review
        One a player.

    Raises
    ------
    UsageError
        Nobody has such a visit with one before it.
    """
    visits, last = {}, None
    for player in players or log.putts["player"].unique():
        try:
            visits[player] = choose_session(log, player, session)
        except UsageError as error:
            last = error
    if last is not None and not visits:
        raise last
    before, found = log_before(log, visits), []
    fitted = fit(before)
    for player, visit in visits.items():
        today = targets.readings_of(log, player, visit)
        table = judge(fitted.golfer(player), today, log.rules, seed=seed)
        table = table.assign(player=player, session=visit)[COLUMNS]
        mine = before.putts[before.putts["player"] == player]
        notes = _notes(log, player, visit, mine, table)
        found.append(Review(player, visit, mine["session"].nunique(), table, notes))
    return found


def choose_session(log: Log, player: str, wanted: str | None) -> str:
    """The visit wanted, or the player's last; `UsageError` where none or none before it is."""
    known = list(log.putts.loc[log.putts["player"] == player, "session"].unique())
    if wanted is None:
        wanted = known[-1]
    if wanted not in known:
        raise UsageError(no_such("session", wanted, known[-12:], player))
    if wanted == known[0]:
        raise UsageError(
            f"{wanted} is the first session of {player}: there is no usual to hold it "
            "against. Review a later one."
        )
    return wanted


def log_before(log: Log, visits: dict[str, str]) -> Log:
    """The log without some players' visits, by player, and their later ones; others stay."""
    player = log.putts["player"]
    reached = (log.putts["session"] == player.map(visits)).groupby(player).cummax()
    return replace(log, putts=log.putts[~reached].reset_index(drop=True))


def _notes(
    log: Log, player: str, session: str, before: pd.DataFrame, table: pd.DataFrame
) -> list[str]:
    """What to bear in mind; ``before`` are the player's putts of earlier visits."""
    notes, earlier = [], before["session"].nunique()
    if earlier < 3:
        notes.append(
            f"Usual rests on {counted(earlier, 'earlier visit')}: how much a day matters is "
            "mostly assumed, and only a very odd day can be news."
        )
    few = table[table["verdict"] == FEW].drop_duplicates(["from_ft", "component"])
    if len(few):
        places = few[["component", "from_ft", "to_ft"]].itertuples(index=False, name=None)
        where = listed(f"{name} {place_words(*ends)}" for name, *ends in places)
        fewer = f"Fewer than {targets.FEWEST} putts were read of {where}"
        notes.append(f"{fewer}: too little to say, good or bad.")
    here = (log.putts["player"] == player) & (log.putts["session"] == session)
    now, then = log.putts.loc[here, "condition"].dropna(), before["condition"].dropna()
    new = sorted(set(now) - set(then))
    if new:
        notes.append(
            f"{listed(new)} is new today: a change and a day can't be told apart from one "
            "visit (`putlab trial` lays out a fair comparison)."
        )
    if table.empty:
        notes.append("The visit has no practice putts with readings; games are `putlab game`'s.")
    return notes


# A day's spread, bias and share inside the bands, held against ordinary days.


def judge(
    golfer: Golfer, today: pd.DataFrame, rules: ReadingRules, *, seed: int = 0
) -> pd.DataFrame:
    """A day's `readings_of` against ordinary days: `COLUMNS` but player and session."""
    days_of = partial(targets.ordinary_days, golfer, rules=rules, seed=seed)
    days = days_of(today) if len(today) else {}
    # Putts in whose days the band is that a plan would set for each length.
    planned = {d: days_of(targets.planned_putts(d, 10)) for d in today["distance_ft"].unique()}
    lengths, rows = today["distance_ft"].to_numpy(float), []
    for name, drawn in days.items():
        bands = {d: targets.usual_band(name, shown[name], d, rules) for d, shown in planned.items()}
        read = today[name].notna().to_numpy()
        for place, ends in enumerate(STRETCHES):
            here = read & (np.digitize(lengths, EDGES_FT) == place + 1)
            if not here.any():
                continue
            mine = [bands[length_ft] for length_ft in lengths[here]]
            now = measured(today.loc[here, name].to_numpy()[None], mine)
            then = measured(drawn[:, here], mine)
            for measure, (value,) in now.items():
                looked = (stretch_words(*ends), *ends, name, measure, len(mine))
                rows.append((*looked, *_compared(len(mine), value, then[measure])))
    return _judged(pd.DataFrame(rows, columns=COLUMNS[2:-2]))


def measured(errors: np.ndarray, bands: list[targets.Band]) -> dict[str, np.ndarray]:
    """What is compared, of errors as read (days, putts), day by day; no spread of one putt."""
    several = errors.shape[1] > 1
    inside = [band.holds(putt) for band, putt in zip(bands, errors.T, strict=True)]
    return {
        "spread": errors.std(axis=1, ddof=1) if several else np.full(len(errors), np.nan),
        "bias": errors.mean(axis=1),
        "share inside": np.mean(inside, axis=0),
    }


def _compared(putts: int, today: float, ordinary: np.ndarray) -> tuple[float, ...]:
    """Today's value, the usual one, the ends of ordinary days, and the chance of today's."""
    if putts < targets.FEWEST or not np.isfinite(today):
        return (today, *[np.nan] * 4)
    ends = np.quantile(ordinary, interval_probabilities())
    return (today, float(np.median(ordinary)), *ends, two_sided(today, ordinary))


def two_sided(value: float, ordinary: np.ndarray) -> float:
    """Chance of a value as far out on an ordinary day, (days,), on either side."""
    # Twice the smaller tail, today counted among the days so that it is never 0; at most 1.
    # Rounding must not part values that are equal in exact arithmetic.
    close = 1e-9 * (1 + abs(value))
    low = 1 + np.sum(ordinary <= value + close)
    high = 1 + np.sum(ordinary >= value - close)
    return float(min(1.0, 2 * min(low, high) / (1 + len(ordinary))))


def _judged(table: pd.DataFrame) -> pd.DataFrame:
    """Adjust the p-values for the number of comparisons, and say what each is."""
    p = table["p"].astype(float).dropna()
    table["p_adjusted"] = pd.Series(scipy.stats.false_discovery_control(p), p.index)
    cases = [table["p"].isna(), table["p_adjusted"] <= NEWS, table["p"] <= NEWS]
    return table.assign(verdict=np.select(cases, [FEW, NEW, ODD], ORDINARY))
