"""The two conditions of a comparison: which putts they hold, and how they lie in time."""

from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np
import pandas as pd

from putlab.base.errors import UsageError
from putlab.log.read import Log, choose_player
from putlab.model.readings import practice_putts
from putlab.posterior.fit import Fit

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

    @property
    def labels(self) -> tuple[str, str]:
        """Both labels in words, putts without one having a name too."""
        return label(self.before), label(self.after)


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
        putts = self.visits[["before", "after"]].to_numpy()
        both = (putts > 0).all(axis=1)
        if putts[both].sum() >= SHARED * putts.sum():
            return INTERLEAVED
        visit_and_condition = np.indices(putts.shape).reshape(2, -1)
        correlation = np.corrcoef(np.repeat(visit_and_condition, putts.ravel(), axis=1))[0, 1]
        return BEFORE_AFTER if correlation**2 >= ALIKE else BY_VISITS


def label(condition: str) -> str:
    """A condition's label, unlabelled putts having a name too."""
    return condition or UNLABELLED


def rows_of(fit: Fit, player: str, component: str) -> pd.DataFrame:
    """A player's counted readings of one component."""
    rows = fit.designs[component].rows
    return rows[rows["player"] == player]


def putt_counts(fit_or_log: Fit | Log) -> pd.DataFrame:
    """Putts read as ``player, condition, session, putts``, in the order of the log."""
    keys = ["player", "condition", "session"]
    if not isinstance(fit_or_log, Fit):
        putts = practice_putts(fit_or_log.putts)
        read = putts[["line_deg", "roll_ft"]].notna().any(axis=1)
        return putts.assign(putts=read).groupby(keys, sort=False)["putts"].sum().reset_index()
    rows = {name: design.rows for name, design in fit_or_log.designs.items()}
    counts = pd.concat(rows, names=["component"]).groupby(["component", *keys])["count"].sum()
    most = counts.groupby(keys).max().rename("putts").reset_index()
    return fit_or_log.visits[["player", "session"]].merge(most, on=["player", "session"])


def choose_conditions(
    counts: pd.DataFrame, before: str, after: str, player: str | None = None
) -> Conditions:
    """The player and the two conditions asked for, or an error that says what there is."""
    if before == after:
        raise UsageError(f"before and after are both {before!r}; name two conditions.")
    counts = counts.assign(label=counts["condition"].map(label))
    if player is None:
        player = _player_with_both(counts, before, after)
    player = choose_player(list(counts["player"].unique()), player)
    for wanted in (before, after):
        _check_held(counts, wanted, player)
    labelled = UNLABELLED in set(counts["condition"])
    first, second = (
        "" if name == UNLABELLED and not labelled else name for name in (before, after)
    )
    mine = counts[counts["player"] == player]
    visits = mine.pivot_table("putts", "session", "condition", "sum", fill_value=0, sort=False)
    visits = visits[[first, second]].set_axis(["before", "after"], axis=1)
    putts_before, putts_after = map(int, visits.sum())
    if not (putts_before and putts_after):
        raise UsageError(
            f"{player} has rows under {(after if putts_before else before)!r}, but none "
            "with a line or roll reading; spread can't be compared without (line_deg, roll_ft)."
        )
    visits = visits[visits.sum(axis=1) > 0].reset_index()
    return Conditions(player, first, second, putts_before, putts_after, visits)


def _player_with_both(counts: pd.DataFrame, before: str, after: str) -> str:
    for wanted in (before, after):
        _check_held(counts, wanted)
    asked = counts[counts["label"].isin([before, after])]
    held = asked.groupby("player", sort=False)["label"].nunique()
    both, pair = list(held.index[held == 2]), f"both {before!r} and {after!r}"
    if not both:
        raise UsageError(f"no player has putts under {pair}.")
    if len(both) > 1:
        names = ", ".join(both[:12])
        raise UsageError(f"{len(both)} players have {pair}; name one as player: {names}.")
    return both[0]


def _check_held(counts: pd.DataFrame, wanted: str, player: str | None = None) -> None:
    """Refuse a label without putts, the player's or anybody's, and say which there are."""
    mine = counts if player is None else counts[counts["player"] == player]
    known = list(mine["label"].unique())
    if wanted in known:
        return
    where, who = f"no condition {wanted!r} in the log", player or "it"
    if wanted in set(counts["label"]):
        where = f"{player} has no putts under {wanted!r}, though others do"
    offer = f"{', '.join(map(repr, known[:12]))}."
    if near := get_close_matches(wanted, known, n=1, cutoff=0.4):
        offer += f" Did you mean {near[0]!r}?"
    if known == [UNLABELLED]:
        offer = "no condition labels at all. Write what was under test in the column 'condition'."
    raise UsageError(f"{where}; {who} has {offer}")
