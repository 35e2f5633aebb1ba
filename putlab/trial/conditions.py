"""The two arms of a comparison: which putts they hold, and how they lie in time."""

from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np
import pandas as pd

from putlab.base.errors import UsageError
from putlab.model.readings import practice_putts
from putlab.posterior.player import SpreadFit, choose_player

# What a putt without a label is called.
UNLABELLED = "none"

INTERLEAVED, BY_VISITS, BEFORE_AFTER = "interleaved", "by visits", "before and after"

# Share of the putts that must lie in visits holding both conditions for a good day to fall
# on both alike.
SHARED = 0.5

# Squared correlation of arm and order of visit from which trend and change look alike: 0.75
# where one arm follows the other, about 0 where visits take turns.
ALIKE = 0.5

FEW_VISITS = 4


def arm_table(fit, player):
    """Return how many readings each condition of a player has, and where.

    Parameters
    ----------
    fit : putlab.posterior.player.SpreadFit
        Fitted log.
    player : str
        Label.

    Returns
    -------
    pandas.DataFrame
        ``component, condition, session, length, putts``.
    """
    tables = []
    for component in fit.designs:
        rows = fit.designs[component].rows
        rows = rows[rows["player"] == player]
        keys = ["condition", "session", "length"]
        counts = rows.groupby(keys, sort=False)["count"].sum().rename("putts").reset_index()
        tables.append(counts.assign(component=component))
    return pd.concat(tables, ignore_index=True)


def putt_counts(fit_or_log):
    """Return how many putts each player struck under each condition in each visit.

    Parameters
    ----------
    fit_or_log : putlab.posterior.player.SpreadFit or putlab.log.read.Log
        A fitted log, or a log.

    Returns
    -------
    pandas.DataFrame
        ``player, condition, session, putts``, in the order of the log.
    """
    if not isinstance(fit_or_log, SpreadFit):
        putts = practice_putts(fit_or_log.putts)
        read = putts[["line_deg", "roll_ft"]].notna().any(axis=1)
        keys = [putts["player"], putts["condition"], putts["session"]]
        return read.groupby(keys, sort=False).sum().rename("putts").reset_index()
    tables = [arm_table(fit_or_log, player).assign(player=player) for player in fit_or_log.players]
    keys = ["player", "condition", "session"]
    read = pd.concat(tables).groupby([*keys, "component"])["putts"].sum()
    most = read.groupby(keys).max().reset_index()
    visits = fit_or_log.visits[["player", "session"]]
    return visits.merge(most, on=["player", "session"])


@dataclass(frozen=True)
class Arms:
    """Who compares what, from how many putts.

    Attributes
    ----------
    player, before, after : str
        Labels, an unlabelled condition being the empty one.
    putts_before, putts_after : int
        Putts read, of whichever component was read more.
    visits : pandas.DataFrame
        ``session, before, after``: putts of each arm in every visit that has any, in order.
    """

    player: str
    before: str
    after: str
    putts_before: int
    putts_after: int
    visits: pd.DataFrame

    @property
    def sessions(self):
        """Number of visits with putts of either arm."""
        return len(self.visits)

    @property
    def sessions_shared(self):
        """Number of visits with putts of both arms."""
        return int((self.visits[["before", "after"]] > 0).all(axis=1).sum())

    @property
    def design(self):
        """How the arms lie in time: interleaved, by visits, or before and after."""
        putts = self.visits[["before", "after"]].to_numpy(float)
        both = (putts > 0).all(axis=1)
        if putts[both].sum() >= SHARED * putts.sum():
            return INTERLEAVED
        return BEFORE_AFTER if _order_told(putts) >= ALIKE else BY_VISITS


def _order_told(putts):
    """Return the squared correlation of arm and order of visit over putts."""
    order = np.tile(np.arange(len(putts))[:, None], (1, 2)).ravel()
    arm = np.tile([0.0, 1.0], len(putts))
    weight = putts.ravel()
    if len(putts) < 2:
        return 0.0
    covariance = np.cov(order, arm, aweights=weight)
    return covariance[0, 1] ** 2 / (covariance[0, 0] * covariance[1, 1])


def choose_arms(counts, before, after, player=None):
    """Find the player and the two conditions asked for.

    Parameters
    ----------
    counts : pandas.DataFrame
        ``player, condition, session, putts``, in the order of the log.
    before, after : str
        Labels of the conditions.
    player : str, optional
        Label; may be left out where only one player has both conditions.

    Returns
    -------
    Arms
        Putts of each arm, visit by visit.

    Raises
    ------
    UsageError
        A label is unknown or has no putts, the two are the same, or the player is unclear.
    """
    if before == after:
        raise UsageError(f"--before and --after are both {before!r}; name two conditions.")
    player = _player_with_both(counts, before, after, player)
    mine = counts[counts["player"] == player]
    labels = [_choose_condition(counts, player, name) for name in (before, after)]
    visits = mine.pivot_table(
        index="session", columns="condition", values="putts", aggfunc="sum", fill_value=0
    )
    visits = visits.reindex(mine["session"].drop_duplicates())[labels]
    visits = visits[visits.sum(axis=1) > 0].set_axis(["before", "after"], axis=1)
    totals = visits.sum()
    if not totals.all():
        missing = (before, after)[int(np.argmin(totals))]
        raise UsageError(
            f"{player} has rows under {missing!r}, but none with a line or roll reading; "
            "spread can't be compared without (line_deg, roll_ft)."
        )
    return Arms(player, *labels, int(totals["before"]), int(totals["after"]), visits.reset_index())


def _player_with_both(counts, before, after, player):
    players = list(counts["player"].drop_duplicates())
    if player is not None or len(players) == 1:
        return choose_player(players, player)
    seen = counts.assign(condition=counts["condition"].replace("", UNLABELLED))
    asked = seen[seen["condition"].isin([before, after])]
    both = asked.groupby("player", sort=False)["condition"].nunique()
    both = list(both.index[both == 2])
    if len(both) == 1:
        return both[0]
    if both:
        names = ", ".join(both[:12])
        raise UsageError(
            f"{len(both)} players have both {before!r} and {after!r}; name one with --player: "
            f"{names}."
        )
    known = list(seen["condition"].drop_duplicates())
    for name in (before, after):
        if name not in known:
            raise UsageError(f"no condition {name!r} in the log; {_offer(name, known)}")
    raise UsageError(f"no player has putts under both {before!r} and {after!r}.")


def _choose_condition(counts, player, wanted):
    """Return the player's condition, or say which there are."""
    everyone = counts["condition"].replace("", UNLABELLED)
    mine = list(everyone[counts["player"] == player].drop_duplicates())
    if wanted in mine:
        unlabelled = wanted == UNLABELLED and UNLABELLED not in set(counts["condition"])
        return "" if unlabelled else wanted
    if wanted in set(everyone):
        raise UsageError(
            f"{player} has no putts under {wanted!r}, though others do; "
            f"{_offer(wanted, mine, player)}"
        )
    raise UsageError(f"no condition {wanted!r} in the log; {_offer(wanted, mine, player)}")


def _offer(wanted, known, player="it"):
    if known == [UNLABELLED]:
        return (
            f"{player} has no condition labels at all. Write what was under test in the "
            "column 'condition'."
        )
    near = get_close_matches(wanted, known, n=1, cutoff=0.4)
    hint = f" Did you mean {near[0]!r}?" if near else ""
    return f"{player} has {', '.join(map(repr, known[:12]))}.{hint}"
