"""Logs too long to hold: from the counts of equal rows to the same fit.

`putlab.counts.count_log` streams a log of any length into counts. The model reads counted
intervals anyway, so a fit costs what its cells cost, not what its putts would.
"""

from dataclasses import replace

import numpy as np
import pandas as pd

from putlab.design import make_design
from putlab.errors import FitError
from putlab.fitting import fit as fit_component
from putlab.golfer import SpreadFit, refuse_misfits
from putlab.log import Log
from putlab.priors import PRIORS
from putlab.readings import (
    COMPONENTS,
    INTERVALS,
    count_equal,
    in_practice,
    join_crowded,
    lengths_ft,
    nearest_length,
)
from putlab.settings import PAST_FT, SEED

# Putts drawn for the checks: enough to see a spread that is 1 % off.
CHECKED_PUTTS = 50_000

# Holed putts without a reading are used where so many of a player's misses have one, as in
# `putlab.readings`; what is counted here are putts, not different rows.
MOST_READ = 0.95


def practice_rows(counts):
    """Return the counted rows that tell about spread, with the labels of their cell.

    Parameters
    ----------
    counts : putlab.counts.Counts
        A counted log.

    Returns
    -------
    tuple of pandas.DataFrame and ndarray
        Rows as `putlab.readings.practice_putts` gives them, with ``count``; the lengths in
        feet that ``length`` points into.
    """
    rows = counts.cells[in_practice(counts.cells)].copy()
    rows["counted"] = (rows["drill"] == "counted").fillna(False).astype(bool)
    rows["condition"] = rows["condition"].fillna("")
    rows = rows[~(rows["putt_no"] > 1)]
    grid = lengths_ft(np.repeat(rows["distance_ft"].to_numpy(), rows["count"]))
    past = np.where(rows["holed"].notna(), PAST_FT, 0.0)
    rows = rows.assign(
        length=nearest_length(rows["distance_ft"], grid), target_ft=rows["distance_ft"] + past
    )
    return rows, grid


def counted_cells(rows, rules, component):
    """Turn counted rows into counted intervals of one component.

    Parameters
    ----------
    rows : pandas.DataFrame
        From `practice_rows`.
    rules : putlab.rules.ReadingRules
        Rules of reading.
    component : {"line", "pace"}
        Component.

    Returns
    -------
    pandas.DataFrame
        As `putlab.readings.cells`.
    """
    reading = {"line": "line_deg", "pace": "roll_ft"}[component]
    told = INTERVALS[component](_of_readers(rows, reading), rules)
    return join_crowded(count_equal(told[told["hi"] > told["lo"]]))


def _of_readers(rows, reading):
    """Leave out what `putlab.readings` would weigh by rows where it should by putts.

    Of players whose misses are read, misses without a reading (which tell nothing); of the
    others, holed putts without one.
    """
    missed = (rows["holed"] == False).fillna(False).astype(bool)  # noqa: E712 (nullable)
    read = rows[reading].notna()
    misses = rows[missed].groupby("player")["count"].sum()
    share = rows[missed & read].groupby("player")["count"].sum() / misses
    complete = rows["player"].isin(share.index[share >= MOST_READ])
    holed = (rows["holed"] == True).fillna(False).astype(bool)  # noqa: E712
    return rows[read | (complete & ~missed) | (~complete & ~holed)]


def counted_visits(counts):
    """Return every visit with the putts struck before it.

    Parameters
    ----------
    counts : putlab.counts.Counts
        A counted log.

    Returns
    -------
    pandas.DataFrame
        As `putlab.design.session_table`.
    """
    groups = counts.cells.groupby(["player", "session"], sort=False)["count"]
    table = groups.sum().rename("putts").reset_index()
    by_player = table.groupby("player", sort=False)["putts"]
    table["putts_before"] = by_player.cumsum() - table["putts"]
    struck = np.log1p(table["putts_before"] / 100)
    mean = (struck * table["putts"]).groupby(table["player"]).sum() / by_player.sum()
    table["practised"] = struck - table["player"].map(mean)
    return table


def fit_counts(counts, *, seed=SEED, priors=None, cache=True, **options):
    """Fit line and pace spread to a counted log: to its readings, not to visits to a green.

    Parameters
    ----------
    counts : putlab.counts.Counts
        From `putlab.counts.count_log`.
    seed, priors, cache, **options
        As for `putlab.golfer.fit_log`.

    Returns
    -------
    putlab.golfer.SpreadFit
        As `putlab.golfer.fit_log` of the same rows; the checks of the readings rest on
        `CHECKED_PUTTS` of them, drawn at random.

    Raises
    ------
    FitError
        No readings at all, a fit that did not converge, or one that does not describe
        its readings.
    """
    rows, lengths = practice_rows(counts)
    visits = counted_visits(counts)
    cells = {name: counted_cells(rows, counts.rules, name) for name in COMPONENTS}
    if all(table.empty for table in cells.values()):
        raise FitError(
            "the log has no line or roll readings, so a counted log can't be fitted; add "
            "line_deg or roll_ft, or read the log as it is for `putlab.holing.fit_made`."
        )
    totals = counts.cells.groupby("player", sort=False)["count"].sum()
    trees, designs = {}, {}
    for name, table in cells.items():
        prior = (priors or PRIORS)[name]
        design = make_design(table, visits, lengths, list(totals.index), prior)
        designs[name] = design
        trees[name] = fit_component(design, name, seed=seed, cache=cache, **options)
    fit = SpreadFit(
        trees=trees,
        designs=designs,
        visits=visits,
        practised=_practised(rows, lengths),
        condition_now=_conditions_now(rows, visits),
        putts_total=totals,
        seed=seed,
    )
    checks = _checks(counts, fit)
    refuse_misfits(checks)
    return replace(fit, checks=checks)


def _practised(rows, lengths):
    groups = rows.groupby(["player", "length"], sort=False)
    table = groups.agg(putts=("count", "sum"), sessions=("session", "nunique")).reset_index()
    table["distance_ft"] = lengths[table["length"]]
    order = table["player"].map({p: i for i, p in enumerate(rows["player"].unique())})
    table = table.assign(order=order).sort_values(["order", "length"], ignore_index=True)
    return table[["player", "distance_ft", "putts", "sessions"]]


def _conditions_now(rows, visits):
    practised = visits.merge(rows[["player", "session"]].drop_duplicates())
    last = practised.groupby("player", sort=False).tail(1)[["player", "session"]]
    now = rows.merge(last, on=["player", "session"])
    putts = now.groupby(["player", "condition"])["count"].sum()
    return (putts / putts.groupby("player").transform("sum")).rename("share").reset_index()


def _checks(counts, fit):
    from putlab.checks import readings_checks

    log = some_putts(counts, CHECKED_PUTTS, np.random.default_rng(fit.seed))
    return {component: readings_checks(log, fit, component) for component in COMPONENTS}


def some_putts(counts, most, rng):
    """Draw putts of a counted log at random, one row a putt.

    Parameters
    ----------
    counts : putlab.counts.Counts
        A counted log.
    most : int
        Putts to draw, beside the first ones of every visit, which are all kept.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    putlab.log.Log
        Putts in the log's order of visits, the first ones of each visit first.
    """
    cells = counts.cells.reset_index(drop=True)
    number = cells["count"].to_numpy()
    early = cells["early"].to_numpy(bool)
    rest = np.where(early, 0, number)
    drawn = rest
    if rest.sum() > most:
        drawn = rng.multivariate_hypergeometric(rest, most, method="marginals")
    taken = np.where(early, number, drawn)
    putts = cells.loc[cells.index.repeat(taken)].drop(columns=["count"])
    visit = putts.groupby(["player", "session"], sort=False).ngroup()
    putts = putts.assign(visit=visit, late=~putts["early"].astype(bool))
    putts = putts.sort_values(["visit", "late"], kind="stable", ignore_index=True)
    putts = putts.drop(columns=["visit", "late", "early"])
    # The file that the counts came from is not kept row by row.
    putts = putts.assign(putt=np.nan, file="", row=np.arange(1, len(putts) + 1))
    return Log(putts, pd.DataFrame(), counts.rules, rows_read=len(putts), digest=counts.digest)
