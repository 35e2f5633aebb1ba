"""Count the equal rows of a log too long to hold: chunk by chunk, in bounded memory."""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from putlab.errors import LogError
from putlab.intake.counter import LABELS, WIDENED, Counter, counted
from putlab.intake.doubts import doubts, suspected_limits
from putlab.intake.files import find_files, joint_digest
from putlab.intake.sessions import dated, ranks
from putlab.intake.stream import Tally, stream
from putlab.log import ONE_PLAYER, nothing_usable, rejects_table
from putlab.rules import READ_OFF, ReadingRules, complete_rules, declared_rules
from putlab.schema import COLUMNS

# Rejects kept of a log with any number of them; the rest is counted.
MOST_REJECTS = 1_000

# Different rows held before readings are put on a coarser step: they stay far below 1 GB.
MOST_CELLS = 1_500_000


@dataclass(frozen=True)
class Counts:
    """A log as counts of equal rows.

    Attributes
    ----------
    cells : pandas.DataFrame
        The columns of the log without ``putt``, then ``early`` (one of the first
        five usable rows of a player's session) and ``count``. Ordered by session.
    rejected : int
        Rows that could not be used.
    rejects : pandas.DataFrame
        The first of them: ``file, row, column, value, reason``.
    rules, warnings, notes, files, rows_read, digest
        As in `putlab.log.Log`.
    """

    cells: pd.DataFrame
    rejected: int
    rejects: pd.DataFrame
    rules: ReadingRules
    warnings: list = field(default_factory=list)
    notes: list = field(default_factory=list)
    files: list = field(default_factory=list)
    rows_read: int = 0
    digest: str = ""


def count_log(path, *, rules=None, most_cells=MOST_CELLS):
    """Read a log of any length and count its equal rows.

    Rows are used and rejected exactly as by `putlab.log.read_log`.

    Parameters
    ----------
    path : path-like
        A log file or a folder, as in `putlab.log.read_log`.
    rules : Mapping or ReadingRules, optional
        Reading rules that win over those declared beside the log.
    most_cells : int
        Different rows to hold. Beyond them line, roll-out and leave are put on steps three
        times as wide, again and again: an odd multiple, so that each wide reading is the
        interval of a whole number of narrow ones. The rules then state the wider step.

    Returns
    -------
    Counts
        ``cells["count"].sum() + rejected == rows_read``.

    Raises
    ------
    LogError
        The log is missing, damaged, lacks a needed column, or has no usable row.
    """
    found = find_files(path)
    declared = found.rules | declared_rules(rules)
    tally, counter = _pass(found, declared, most_cells)
    repeated = counter.numbered_twice()
    if repeated.size:
        tally, counter = _pass(found, declared, most_cells, repeated)
    if not tally.rows_read:
        raise LogError(f"{path} has column names but no rows; expected a row a putt.")
    return _finished(path, found, counter, tally)


def _pass(found, declared, most_cells, repeated=()):
    """Read all files once; rows whose print is among `repeated` count the first time only."""
    tally = Tally(list(found.warnings), list(found.notes), most_rejects=MOST_REJECTS)
    counter = Counter(declared, most_cells, set(repeated))
    for rows in stream(found, tally):
        counter.add(rows, tally)
    counter.join()
    return tally, counter


def _finished(path, found, counter, tally):
    """Decode the labels, settle players and dates, and look the whole over."""
    cells = counter.cells
    if cells.empty:
        raise LogError(nothing_usable(path, tally.rejected, rejects_table(tally.rejects)))
    cells = _named(_dated(cells, counter, tally), counter, tally)
    metric = cells["roll_in_m"].to_numpy()
    rules = complete_rules(counter.declared, cells, metric_rolls=metric)
    rules = _with_wider_steps(rules, counter.steps, tally)
    tally.warnings += doubts(cells) + suspected_limits(cells, rules)
    names = [c.name for c in COLUMNS if c.name != "putt"]
    return Counts(
        cells=cells[[*names, "early", "count"]],
        rejected=tally.rejected,
        rejects=rejects_table(tally.rejects),
        rules=rules,
        warnings=tally.warnings,
        notes=tally.notes,
        files=[found.name_of(file) for file in found.paths],
        rows_read=tally.rows_read,
        digest=joint_digest(tally.digests),
    )


def _dated(cells, counter, tally):
    """Translate session labels to dates, adding up those that turn out to be the same."""
    labels = list(counter.codes["session"])
    used = [labels[code] for code in sorted(cells["session"].unique())]
    names, warnings = dated(used)
    tally.warnings += warnings
    new = counter.codes["session"] = {}
    codes = [new.setdefault(names.get(label, label), len(new)) for label in labels]
    same = counted(cells.assign(session=np.array(codes)[cells["session"]])).to_pandas()
    return same.reindex(columns=cells.columns)


def _named(cells, counter, tally):
    """Turn codes back into labels, and order the cells by session."""
    nobody = (cells["player"] == -1).to_numpy()
    if not nobody.all():
        why = "blank, where other rows name a player"
        tally.reject([(file, row, "player", "", why) for file, row in counter.nameless])
        tally.rejected += int(cells.loc[nobody, "count"].sum()) - len(counter.nameless)
        cells = cells[~nobody]
    in_use = sorted(cells["session"].unique())
    texts = {name: _decoded(cells[name], counter.codes[name]) for name in LABELS}
    texts["player"] = texts["player"].fillna(ONE_PLAYER)
    holed = pd.array(cells["holed"].replace(-1, pd.NA), dtype="boolean")
    cells = cells.assign(**texts, holed=holed)
    labels = list(counter.codes["session"])
    rank = cells["session"].map(ranks(pd.Series([labels[c] for c in in_use])))
    return cells.iloc[np.argsort(rank.to_numpy(), kind="stable")].reset_index(drop=True)


def _decoded(codes, known):
    labels = np.array([*known, None], dtype=object)
    return pd.array(labels[codes], dtype="str")


def _with_wider_steps(rules, steps, tally):
    wider = {WIDENED[name][0]: step for name, step in steps.items() if WIDENED[name][0]}
    for name, step in steps.items():
        tally.warnings.append(
            f"{name} was put on steps of {step:g}: the log holds too many different rows to "
            "count otherwise. Each reading is used as the interval it then stands for."
        )
    return replace(rules, **wider, source=rules.source | dict.fromkeys(wider, READ_OFF))
