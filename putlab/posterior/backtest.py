"""A backtest: each of the last visits predicted from those before it, and held against it."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import ndtr

from putlab.base.cache import content_key, load_arrays, result_key, save_arrays
from putlab.base.errors import UsageError
from putlab.base.result import Result
from putlab.base.settings import FAR, INTERVAL, SEED
from putlab.base.words import counted, listed, percent
from putlab.log.checks import visit_read
from putlab.log.read import Log
from putlab.model.readings import COMPONENTS, INTERVALS, lengths_ft, practice_putts, with_errors
from putlab.posterior.fit import Fit, fit_log
from putlab.posterior.player import Golfer

VISITS = 3

# No reading counts as less likely than this, so that one mishit alone decides no comparison.
LEAST_CHANCE = 1e-4

# By whom each reading was predicted, and how a mean and standard deviation is called in words.
RIVALS = {"plain": "the plain mean and standard deviation", "last_visit": "the last visit's"}
SCORES = ["chance", *RIVALS]


@dataclass(frozen=True)
class Backtest(Result):
    """How predictions of a log's last visits did.

    Attributes
    ----------
    readings : pandas.DataFrame
        A row a reading: ``player, session, component, distance_ft``; ``low`` and ``high``, the
        predicted chances of less than either end of the interval it stands for; ``held_50`` and
        ``held_90``, whether it lay in the middle 50 and 90 % of what was predicted, or which part
        of its interval did; ``chance``, how likely it was thought to be, and ``plain`` and
        ``last_visit``, how likely by a normal of the mean and standard deviation at its length,
        of all readings before and of the last visit's (at all lengths, where under three).
    table : pandas.DataFrame
        By player, visit and component: ``readings, held_50, held_90`` and ``log_score``,
        ``plain_log_score``, ``last_visit_log_score``, the mean log of these chances.
    sentence : str
        How often the ranges held, and how the prediction compares.
    """

    readings: pd.DataFrame

    @property
    def table(self) -> pd.DataFrame:
        """The predictions' score by visit."""
        names = {"chance": "log_score"} | {name: f"{name}_log_score" for name in RIVALS}
        scores = np.log(self.readings[SCORES]).rename(columns=names)
        rows = self.readings.assign(readings=1, **scores)
        by = rows.groupby(["player", "session", "component"], sort=False)
        means = by[["held_50", "held_90", *names.values()]].mean()
        return by[["readings"]].sum().join(means).reset_index()

    @property
    def sentence(self) -> str:
        """How each player's predictions did, in words."""
        players = self.readings["player"].unique()
        return " ".join(f"{player}: {self.sentence_of(player)}" for player in players)

    def sentence_of(self, player: str) -> str:
        """How one player's predictions did, in words; empty where nothing was predicted."""
        mine = self.readings[self.readings["player"] == player]
        if mine.empty:
            return ""
        gain = np.log(mine["chance"]).mean() - np.log(mine[list(RIVALS)]).mean()
        by = []
        for times, rival in zip(np.expm1(gain), RIVALS.values(), strict=True):
            than = f"{percent(abs(times))} {'likelier' if times > 0 else 'less likely'} than"
            by.append(f"{than if round(100 * times) else 'as likely as'} by {rival}")
        visits = mine["session"].nunique()
        last = "The last visit" if visits == 1 else f"Each of the last {visits} visits"
        held = [percent(mine[name].mean()) for name in ("held_90", "held_50")]
        return (
            f"{last}, predicted from those before: the {percent(INTERVAL)} ranges held {held[0]} "
            f"of {counted(len(mine), 'reading')} and the {percent(0.5)} ranges {held[1]}; a "
            f"reading was typically thought {listed(by)}."
        )


def backtest(
    log: Log,
    *,
    visits: int = VISITS,
    seed: int = SEED,
    progress: Callable[[int, int, str], Any] | None = None,
    **options: Any,
) -> Backtest:
    """Predict each of the last visits from those before it.

    For every step back the rest of the log is fitted anew, all players together: about as long as
    a report for each. Fits are kept, and whoever fitted the log at each visit has them already.

    Parameters
    ----------
    log : putlab.log.read.Log
        A log that has been read. Only visits with readings count; putts on a green do not.
    visits : int
        How many of each player's last visits to predict.
    seed : int
        Seed of the fits.
    progress : callable, optional
        ``progress(done, total, text)``, called before each fit.
    **options
        As of `putlab.posterior.fit.fit_log`.

    Returns
    -------
    Backtest
        As on the player's last visit before, on a new day: a condition taken up later is not
        foreseen.

    Raises
    ------
    UsageError
        No player has two visits with readings.
    FitError
        A fit did not pass its checks.
    """
    putts = log.putts[visit_read(log.putts)]
    # 1 is the last visit of its player.
    back = putts.groupby("player", sort=False)["session"].transform(
        lambda own: pd.factorize(own[::-1])[0][::-1] + 1
    )
    steps = [step for step in range(1, visits + 1) if (back > step).any()]
    if not steps:
        raise UsageError(
            "a backtest predicts a visit from those before it, and no player of the log has two "
            "visits with readings; log another visit first."
        )
    found: list[pd.DataFrame] = []
    for done, step in enumerate(reversed(steps)):
        if progress:
            before = f"Fitting what came before the last {counted(step, 'visit')}"
            progress(done, len(steps), before)
        known = replace(log, putts=putts[back > step].reset_index(drop=True))
        shown, last = replace(log, putts=putts[back >= step]), back.index[back == step]
        found += _predictions(shown, last, fit_log(known, seed=seed, **options))
    readings = pd.concat(found)
    arrays = {name: readings[name].to_numpy() for name in ("low", "high", *SCORES)}
    component = readings["component"].to_numpy(str)
    # Numbers of rows begin anew in each file; places in the log do not.
    save_arrays(_key(log), arrays | {"component": component, "place": readings.index.to_numpy()})
    return Backtest(readings.reset_index(drop=True))


def kept_backtest(log: Log) -> Backtest | None:
    """Return the backtest that was last made of the very same log, if one was."""
    kept = load_arrays(_key(log))
    if kept is None:
        return None
    putts = log.putts.loc[kept.pop("place"), ["player", "session", "distance_ft"]]
    return Backtest(_with_ranges(putts.reset_index(drop=True).assign(**kept)))


def _key(log: Log) -> str:
    shown = log.putts[["player", "session", "distance_ft", "line_deg", "roll_ft"]]
    hashed = pd.util.hash_pandas_object(shown.astype(object).fillna("")).to_numpy()
    return content_key("backtest of", result_key("posterior", hashed, repr(log.rules)))


def _predictions(log: Log, last: pd.Index, fit: Fit) -> Iterator[pd.DataFrame]:
    """Return the readings of every player's last visit, and their chances."""
    putts = with_errors(practice_putts(log.putts))
    lengths = lengths_ft(putts["distance_ft"])
    for component in COMPONENTS:
        rows = INTERVALS[component](putts, log.rules)
        rows = rows.assign(component=component, shown=rows[component])
        predicted = rows.index.isin(last)
        for player, own in rows[predicted & rows["player"].isin(fit.players)].groupby("player"):
            known = rows[~predicted & (rows["player"] == player)]
            recent = known[known["session"] == known["session"].iloc[-1]] if len(known) else known
            rivals = {"plain": _by_mean(own, known), "last_visit": _by_mean(own, recent)}
            columns = ["player", "session", "component", "distance_ft"]
            low, high = _chances(fit.golfer(player), own, lengths, component)
            scored = own[columns].assign(low=low, high=high, chance=high - low, **rivals)
            yield _with_ranges(scored.assign(**scored[SCORES].clip(lower=LEAST_CHANCE)))


def _with_ranges(readings: pd.DataFrame) -> pd.DataFrame:
    """Add which part of each reading's interval lay in the middle of what was predicted."""
    low, high, held = readings["low"], readings["high"], {}
    for name, level in (("held_50", 0.5), ("held_90", INTERVAL)):
        inside = high.clip(upper=(1 + level) / 2) - low.clip(lower=(1 - level) / 2)
        held[name] = (inside / (high - low).clip(lower=1e-12)).clip(0, 1)
    return readings.assign(**held)


def _chances(
    golfer: Golfer, putts: pd.DataFrame, lengths: np.ndarray, component: str
) -> list[np.ndarray]:
    """Return the predicted chances of less than either end of each putt's interval."""
    unit = {"line": "deg", "pace": "pct"}[component]
    skills = [golfer.skill(lengths, counted=in_game) for in_game in (True, False)]
    noise, in_game = putts["noise"].to_numpy(float), putts["counted"].to_numpy(bool)

    def of(name: str) -> np.ndarray:
        either = (getattr(skill, f"{component}_{name}")[:, putts["length"]] for skill in skills)
        return np.where(in_game, *either)

    bias, share = of(f"bias_{unit}"), of("wild")
    plain, wild = np.hypot(of(f"sd_{unit}"), noise), np.hypot(of(f"wild_sd_{unit}"), noise)
    ends = (putts[end].to_numpy(float) - bias for end in ("lo", "hi"))
    return [
        ((1 - share) * ndtr(off / plain) + share * ndtr(off / wild)).mean(axis=0) for off in ends
    ]


def _by_mean(putts: pd.DataFrame, known: pd.DataFrame) -> np.ndarray:
    """Return the chance of each reading by the mean and standard deviation of known ones."""
    step = (putts["hi"] - putts["lo"]).clip(upper=FAR)
    shown = known["shown"].dropna()
    by_length = shown.groupby(known["length"]).agg(["mean", "std", "size"])
    found = putts[["length"]].join(by_length, on="length")
    few = ~(found["size"] >= 3)
    mean = found["mean"].mask(few, shown.mean())
    # A spread of nought, or of one reading, is at least that of the display's own step.
    sd = found["std"].mask(few, shown.std()).fillna(0).clip(lower=step.min() / np.sqrt(12))
    return (ndtr((putts["hi"] - mean) / sd) - ndtr((putts["lo"] - mean) / sd)).fillna(0).to_numpy()
