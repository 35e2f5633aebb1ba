"""The two conditions of a comparison: their putts, how they lie in time, what was planned."""

from dataclasses import dataclass, field

import pandas as pd

from putlab.base.errors import UsageError
from putlab.base.words import no_such
from putlab.log.read import Log, choose_player
from putlab.model.readings import practice_putts
from putlab.posterior.fit import Fit

# What a putt without a label is called.
UNLABELLED = "none"

INTERLEAVED, BY_VISITS = "interleaved", "by visits"
BEFORE_AFTER, IN_ONE_ORDER = "before and after", "in one order within the visit"
APART = "at different lengths"

# Share of the putts that must lie in visits holding both conditions for a good day to fall
# on both alike.
SHARED = 0.5

# How much later one condition was struck on average, as a part of the log or of the visit, from
# which drift and change look alike: a half where one follows the other, nought where they take
# turns.
ALIKE = 0.4

FEW_VISITS = 4


@dataclass(frozen=True)
class Conditions:
    """Two conditions, from how many putts, and how they lie in time."""

    player: str
    before: str  # the empty label is that of putts without one
    after: str
    putts_before: int = 0  # read, of whichever component was read more
    putts_after: int = 0
    # session, before, after: putts in every visit with any, in order
    visits: pd.DataFrame = field(default_factory=pd.DataFrame)
    # How much later in the visit the second was struck, as a part of it: 0 where they take
    # turns, half where one always comes first.
    later: float = 0.0

    @property
    def labels(self) -> tuple[str, str]:
        """Both labels in words, putts without one having a name too."""
        return label(self.before), label(self.after)

    @property
    def putts(self) -> int:
        """Putts of both conditions."""
        return self.putts_before + self.putts_after

    @property
    def sessions(self) -> int:
        """Number of visits with putts of either condition."""
        return len(self.visits)

    @property
    def sessions_shared(self) -> int:
        """Number of visits with putts of both conditions."""
        return int((self.visits[["before", "after"]] > 0).all(axis=1).sum())

    @property
    def design(self) -> str:
        """How the conditions lie in time, within the visits and over them."""
        putts = self.visits[["before", "after"]].to_numpy()
        both = (putts > 0).all(axis=1)
        if putts[both].sum() >= SHARED * putts.sum():
            return IN_ONE_ORDER if abs(self.later) >= ALIKE else INTERLEAVED
        struck = putts.sum(axis=1)
        place = (struck.cumsum() - struck / 2) / struck.sum()
        before, after = place @ putts / putts.sum(axis=0)
        return BEFORE_AFTER if abs(after - before) >= ALIKE else BY_VISITS


@dataclass(frozen=True)
class Plan:
    """What a trial was planned to be, and how much of it is in the log."""

    metric: str
    detect_pct: float
    putts: int  # both conditions together
    sessions: int
    putts_done: int = 0
    sessions_done: int = 0

    @property
    def over(self) -> bool:
        """Whether every visit planned was made, or every putt struck."""
        return self.sessions_done >= self.sessions or self.putts_done >= self.putts

    @property
    def words(self) -> str:
        """The plan as it stands in every row of the sheet, in the column ``trial``."""
        size = f"{self.metric}, a cut of {self.detect_pct:g} %"
        return f"{size}: {self.putts} putts in {self.sessions} visits"


PLAN = r"^(line|pace|strokes), a cut of ([\d.]+) %: (\d+) putts in (\d+) visits$"


def plan_of(log: Log, pair: Conditions) -> Plan | None:
    """The plan that the sheet of a trial brought into the log, the last one where several did."""
    putts = log.putts[log.putts["player"] == pair.player]
    putts = putts[putts["condition"].fillna("").isin([pair.before, pair.after])]
    found = putts["trial"].str.extract(PLAN).dropna()
    if found.empty:
        return None
    metric, detect_pct, planned, sessions = found.iloc[-1]
    mine = putts[putts["trial"] == putts.loc[found.index[-1], "trial"]]
    done = (len(mine), mine["session"].nunique())
    return Plan(metric, float(detect_pct), int(planned), int(sessions), *done)


def label(condition: str) -> str:
    """A condition's label, unlabelled putts having a name too."""
    return condition or UNLABELLED


def rows_of(fit: Fit, player: str, component: str) -> pd.DataFrame:
    """A player's counted readings of one component."""
    rows = fit.designs[component].rows
    return rows[rows["player"] == player]


def putt_counts(fit_or_log: Fit | Log) -> pd.DataFrame:
    """Putts read as ``player, condition, session, putts, place``, in the order of the log.

    Their mean place in the visit is 0 at its start and 1 at its end.
    """
    log = fit_or_log.log if isinstance(fit_or_log, Fit) else fit_or_log
    visit = log.putts.groupby(["player", "session"], sort=False)
    place = (visit.cumcount() + 0.5) / visit["row"].transform("size")
    putts = practice_putts(log.putts.assign(place=place))
    read = putts[["line_deg", "roll_ft"]].notna().any(axis=1)
    groups = putts.assign(place=putts["place"].where(read)).groupby(
        ["player", "condition", "session"], sort=False
    )
    return groups["place"].agg(putts="count", place="mean").reset_index()


def choose_conditions(
    counts: pd.DataFrame, before: str, after: str, player: str | None = None
) -> Conditions:
    """The player and the two conditions asked for, or an error that says what there is."""
    if before == after:
        raise UsageError("before and after are the same; name two conditions.")
    counts = counts.assign(label=counts["condition"].map(label))
    if player is not None:
        counts = counts[counts["player"] == choose_player(list(counts["player"].unique()), player)]
    for wanted in (before, after):
        _check_held(list(counts["label"].unique()), wanted, player or "the log")
    player = player or _player_with_both(counts, before, after)
    held = counts[counts["player"] == player]
    # A condition that somebody called none goes before putts without a label.
    name_of = held.sort_values("condition").set_index("label")["condition"].to_dict()
    first, second = name_of[before], name_of[after]
    mine = held.pivot(index="session", columns="condition")
    # A pivot sorts, and visits are in the order of the log.
    mine = mine.reindex(held["session"].unique())
    visits = mine["putts"][[first, second]].set_axis(["before", "after"], axis=1)
    visits = visits.fillna(0).astype(int)
    putts_before, putts_after = map(int, visits.sum())
    if not (putts_before and putts_after):
        raise UsageError(
            f"{player} has rows under {(after if putts_before else before)!r}, but none "
            "with a line or roll reading; spread can't be compared without (line_deg, roll_ft)."
        )
    weight = visits.prod(axis=1) / visits.sum(axis=1).clip(1)
    later = (mine["place"][second] - mine["place"][first]).fillna(0.0)
    later = float((later * weight).sum() / max(weight.sum(), 1e-9))
    visits = visits[visits.sum(axis=1) > 0].reset_index()
    return Conditions(player, first, second, putts_before, putts_after, visits, later=later)


def _player_with_both(counts: pd.DataFrame, before: str, after: str) -> str:
    asked = counts[counts["label"].isin([before, after])]
    held = asked.groupby("player", sort=False)["label"].nunique()
    both = list(held.index[held == 2])
    if len(both) != 1:
        names = f"; name one as player: {', '.join(both[:12])}" if both else ""
        raise UsageError(f"{len(both) or 'no'} players have both {before!r} and {after!r}{names}.")
    return both[0]


def _check_held(known: list[str], wanted: str, who: str) -> None:
    """Refuse a label without putts, the player's or anybody's, and say which there are."""
    if known == [UNLABELLED]:
        labels = "no condition labels at all. Write what was under test in the column 'condition'."
        raise UsageError(f"{who} has {labels}")
    if wanted not in known:
        raise UsageError(no_such("condition", wanted, known, who))
