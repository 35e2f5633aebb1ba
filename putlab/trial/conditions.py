"""The two conditions of a comparison: which putts they hold, and how they lie in time."""

from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np
import pandas as pd

from putlab.base.errors import UsageError
from putlab.log.read import Log
from putlab.model.readings import practice_putts
from putlab.posterior.fit import Fit
from putlab.posterior.player import choose_player

# What a putt without a label is called.
UNLABELLED = "none"

INTERLEAVED, BY_VISITS, BEFORE_AFTER = "interleaved", "by visits", "before and after"

# Share of the putts that must lie in visits holding both conditions for a good day to fall
# on both alike.
SHARED = 0.5

# Squared correlation of condition and order of visit from which trend and change look alike:
# 0.75 where one condition follows the other, about 0 where visits take turns.
ALIKE = 0.5

FEW_VISITS = 4


@dataclass(frozen=True)
class Pair:
    """Who compares which two conditions; the empty label is that of putts without one."""

    player: str
    before: str
    after: str


@dataclass(frozen=True)
class Conditions(Pair):
    """Two conditions, from how many putts, and how they lie in time."""

    putts_before: int  # read, of whichever component was read more
    putts_after: int
    visits: pd.DataFrame  # session, before, after: putts in every visit with any, in order

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
        """How the conditions lie in time: interleaved, by visits, or before and after."""
        putts = self.visits[["before", "after"]].to_numpy(float)
        both = (putts > 0).all(axis=1)
        if putts[both].sum() >= SHARED * putts.sum():
            return INTERLEAVED
        return BEFORE_AFTER if _order_r2(putts) >= ALIKE else BY_VISITS


def label(condition: str) -> str:
    """A condition's label, unlabelled putts having a name too."""
    return condition or UNLABELLED


def _order_r2(putts: np.ndarray) -> float:
    # Squared correlation of condition and order of visit; putts has shape (visits, 2).
    if len(putts) < 2:
        return 0.0
    order = np.repeat(np.arange(len(putts)), 2)
    changed = np.tile([0.0, 1.0], len(putts))
    covariance = np.cov(order, changed, aweights=putts.ravel())
    return covariance[0, 1] ** 2 / (covariance[0, 0] * covariance[1, 1])


def reading_counts(fit: Fit, player: str) -> pd.DataFrame:
    """A player's readings as ``component, condition, session, length, putts``."""
    keys = ["condition", "session", "length"]
    tables = []
    for component, design in fit.designs.items():
        rows = design.rows[design.rows["player"] == player]
        counts = rows.groupby(keys, sort=False)["count"].sum().rename("putts").reset_index()
        tables.append(counts.assign(component=component))
    return pd.concat(tables, ignore_index=True)


def putt_counts(fit_or_log: Fit | Log) -> pd.DataFrame:
    """Putts read as ``player, condition, session, putts``, in the order of the log."""
    if not isinstance(fit_or_log, Fit):
        putts = practice_putts(fit_or_log.putts)
        read = putts[["line_deg", "roll_ft"]].notna().any(axis=1)
        by = [putts["player"], putts["condition"], putts["session"]]
        return read.groupby(by, sort=False).sum().rename("putts").reset_index()
    fit = fit_or_log
    tables = [reading_counts(fit, player).assign(player=player) for player in fit.players]
    keys = ["player", "condition", "session"]
    most = pd.concat(tables).groupby([*keys, "component"])["putts"].sum().groupby(keys).max()
    return fit.visits[["player", "session"]].merge(most.reset_index(), on=["player", "session"])


def choose_conditions(
    counts: pd.DataFrame, before: str, after: str, player: str | None = None
) -> Conditions:
    """The player and the two conditions asked for, or an error that says what there is."""
    if before == after:
        raise UsageError(f"before and after are both {before!r}; name two conditions.")
    player = _player_with_both(counts, before, after, player)
    mine = counts[counts["player"] == player]
    labels = [_choose_condition(counts, player, name) for name in (before, after)]
    visits = mine.groupby(["session", "condition"])["putts"].sum().unstack(fill_value=0)
    visits = visits.loc[mine["session"].unique(), labels].set_axis(["before", "after"], axis=1)
    visits = visits[visits.sum(axis=1) > 0].rename_axis("session")
    totals = visits.sum()
    if not totals.all():
        missing = (before, after)[int(np.argmin(totals))]
        raise UsageError(
            f"{player} has rows under {missing!r}, but none with a line or roll reading; "
            "spread can't be compared without (line_deg, roll_ft)."
        )
    first, second = labels
    putts = (int(totals["before"]), int(totals["after"]))
    return Conditions(player, first, second, *putts, visits.reset_index())


def _player_with_both(counts: pd.DataFrame, before: str, after: str, player: str | None) -> str:
    players = list(counts["player"].drop_duplicates())
    if player is not None or len(players) == 1:
        return choose_player(players, player)
    seen = counts.assign(condition=counts["condition"].map(label))
    asked = seen[seen["condition"].isin([before, after])]
    both = asked.groupby("player", sort=False)["condition"].nunique().loc[lambda n: n == 2].index
    if len(both) == 1:
        return both[0]
    pair = f"both {before!r} and {after!r}"
    if len(both):
        names = ", ".join(both[:12])
        raise UsageError(f"{len(both)} players have {pair}; name one as player: {names}.")
    known = list(seen["condition"].drop_duplicates())
    for name in (before, after):
        if name not in known:
            raise UsageError(f"no condition {name!r} in the log; {_offer(name, known)}")
    raise UsageError(f"no player has putts under {pair}.")


def _choose_condition(counts: pd.DataFrame, player: str, wanted: str) -> str:
    everyone = counts["condition"].map(label)
    mine = list(everyone[counts["player"] == player].drop_duplicates())
    if wanted in mine:
        unlabelled = wanted == UNLABELLED and UNLABELLED not in set(counts["condition"])
        return "" if unlabelled else wanted
    where = f"no condition {wanted!r} in the log"
    if wanted in set(everyone):
        where = f"{player} has no putts under {wanted!r}, though others do"
    raise UsageError(f"{where}; {_offer(wanted, mine, player)}")


def _offer(wanted: str, known: list[str], player: str = "it") -> str:
    if known == [UNLABELLED]:
        return (
            f"{player} has no condition labels at all. Write what was under test in the "
            "column 'condition'."
        )
    near = get_close_matches(wanted, known, n=1, cutoff=0.4)
    hint = f" Did you mean {near[0]!r}?" if near else ""
    return f"{player} has {', '.join(map(repr, known[:12]))}.{hint}"
