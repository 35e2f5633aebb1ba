"""Counting equal rows chunk by chunk, in bounded memory."""

import numpy as np
import pandas as pd
import pyarrow as pa

from putlab.rules import LINE_STEPS_DEG, ROLL_STEPS_FT, common_step
from putlab.schema import COLUMNS

# Rows that are known to be of no player, should the log turn out to name some.
MOST_NAMELESS = 1_000

# Putts of a visit that `early` marks: the first few may scatter wider (common practice).
EARLY_PUTTS = 5

# `putt` orders and identifies; what is counted are the rows that are equal without it.
LABELS = [c.name for c in COLUMNS if c.kind == "label"]
NUMBERS = [c.name for c in COLUMNS if c.kind in ("number", "whole") and c.name != "putt"]
IN_METRES = ["distance_in_m", "roll_in_m"]
KEYS = [*LABELS, *NUMBERS, "holed", *IN_METRES, "early"]

# Readings that may be put on a wider step: their rule, the steps they come in, and the
# widest that is narrow against any golfer's spread (half a degree, half a foot).
WIDENED = {
    "line_deg": ("line_step_deg", LINE_STEPS_DEG, 0.5),
    "roll_ft": ("roll_step_ft", ROLL_STEPS_FT, 0.5),
    "leave_ft": (None, ROLL_STEPS_FT, 0.5),
}

LIMITS = {"line_deg": "line_limit_deg", "roll_ft": "roll_limit_ft"}


class Counter:
    """Counts of equal rows so far, with labels as numbers.

    Parameters
    ----------
    declared : dict of str to float
        Reading rules that are declared.
    most_cells : int
        Different rows to hold before steps are widened.
    repeated : set of int
        Prints of numbered rows that are to count once; the later ones are rejected.
    """

    def __init__(self, declared, most_cells, repeated=frozenset()):
        self.declared, self.most_cells, self.repeated = declared, most_cells, repeated
        self.codes = {name: {} for name in LABELS}
        self.steps = {}
        self.nameless = []
        self._parts, self._held, self._room = [], 0, 2 * most_cells
        self._prints, self._met, self._struck = [], set(), {}

    def add(self, rows, tally):
        """Count some rows; those of no player are counted too, under the code -1.

        Parameters
        ----------
        rows : pandas.DataFrame
            Usable rows of a chunk.
        tally : putlab.intake.stream.Tally
            Takes the rejects.
        """
        keys = {name: self._coded(name, rows[name]) for name in LABELS}
        keys |= {name: rows[name].to_numpy() for name in NUMBERS + IN_METRES}
        keys["holed"] = rows["holed"].astype("Int8").fillna(-1).to_numpy(dtype="int8")
        keys = pd.DataFrame(keys)
        keep = self._first_of_repeated(keys, rows, tally)
        keys, rows = keys[keep], rows[keep]
        if len(self.nameless) < MOST_NAMELESS:
            nobody = rows[(keys["player"] == -1).to_numpy()].head(MOST_NAMELESS)
            self.nameless += list(zip(nobody["file"], nobody["row"], strict=True))
        if keys.empty:
            return
        keys = keys.assign(early=self._early(keys))
        for name in self.steps:
            keys[name] = self._on_step(name, keys[name].to_numpy())
        self._parts.append(counted(keys.assign(count=1)))
        self._held += self._parts[-1].num_rows
        if self._held > self._room:
            self.join()

    def _coded(self, name, column):
        """Return labels as numbers that stay the same from chunk to chunk."""
        known = self.codes[name]
        codes = [known.setdefault(label, len(known)) for label in column.cat.categories]
        return np.array([*codes, -1], dtype="int32")[column.cat.codes]

    def _first_of_repeated(self, keys, rows, tally):
        """Print every numbered row, and reject the second and later of equal ones.

        A print is 64 bits: among 10 million different rows the chance that any two share
        one is 3 in a million.
        """
        keep = np.ones(len(keys), dtype=bool)
        numbered = np.flatnonzero(rows["putt"].notna())
        if not numbered.size:
            return keep
        whole = keys.iloc[numbered].assign(putt=rows["putt"].to_numpy()[numbered])
        prints = pd.util.hash_pandas_object(whole, index=False).to_numpy()
        if not self.repeated:
            self._prints.append(prints)
            return keep
        for at in np.flatnonzero(np.isin(prints, list(self.repeated))):
            keep[numbered[at]] = prints[at] not in self._met
            self._met.add(prints[at])
        again = rows[~keep]
        values = again["putt"].map("{:g}".format)
        tally.reject_rows(again, "putt", values, "this putt is there already, the same")
        return keep

    def numbered_twice(self):
        """Return the prints of numbered rows that were met more than once.

        Returns
        -------
        ndarray of uint64
            Empty where no putt is numbered, or none is there twice.
        """
        if not self._prints:
            return np.array([], dtype="uint64")
        prints = np.sort(np.concatenate(self._prints))
        return np.unique(prints[1:][prints[1:] == prints[:-1]])

    def _early(self, keys):
        """Mark the first few putts of each player's session, in row order."""
        visit = keys["player"].to_numpy(dtype="int64") << 32 | keys["session"].to_numpy()
        order = pd.Series(visit).groupby(visit, sort=False).cumcount().to_numpy()
        visits, which, sizes = np.unique(visit, return_inverse=True, return_counts=True)
        before = np.array([self._struck.get(v, 0) for v in visits], dtype="int64")
        self._struck |= dict(zip(visits, before + sizes, strict=True))
        return before[which] + order < EARLY_PUTTS

    def join(self):
        """Add up the parts, and widen the steps while there are too many different rows."""
        if not self._parts:
            return
        cells = counted(pa.concat_tables(self._parts, promote_options="default"))
        self._parts = []
        while cells.num_rows > self.most_cells and self._widen(cells):
            for name in self.steps:
                place = cells.column_names.index(name)
                wide = pa.array(self._on_step(name, cells[name].to_numpy()), from_pandas=True)
                cells = cells.set_column(place, name, wide)
            cells = counted(cells)
        self._parts, self._held = [cells], cells.num_rows
        # Room for as much again, so that joining stays rare once steps are at their widest.
        self._room = 2 * max(self.most_cells, cells.num_rows)

    def _widen(self, cells):
        """Make each step three times as wide, up to the widest; return whether any grew."""
        grown = False
        for name, (rule, steps, widest) in WIDENED.items():
            if name not in cells.column_names:
                continue
            step = self.steps.get(name) or self.declared.get(rule)
            step = step or common_step(cells[name].to_numpy(), steps)
            wider = round(3 * step if step else steps[-1] * 10, 9)
            if wider <= widest:
                self.steps[name], grown = wider, True
        return grown

    def _on_step(self, name, values):
        """Put readings on their wider step, except those stopped by a declared limit.

        One whose wider interval holds the limit joins the stopped: it was at least there.
        """
        step, limit = self.steps[name], self.declared.get(LIMITS.get(name), np.inf)
        wide = np.round(np.round(values / step) * step, 9)
        return np.where(np.abs(values) >= limit, values, np.clip(wide, -limit, limit))

    @property
    def cells(self):
        """The counts as one table, labels still as numbers."""
        found = self._parts[0].to_pandas() if self._parts else pd.DataFrame()
        return found.reindex(columns=[*KEYS, "count"])


def counted(rows):
    """Return the distinct rows of a table with their counts added up.

    Parameters
    ----------
    rows : pandas.DataFrame or pyarrow.Table
        Columns of `KEYS`, and ``count``.

    Returns
    -------
    pyarrow.Table
        The same columns, without those that are blank throughout.
    """
    if isinstance(rows, pd.DataFrame):
        rows = pa.Table.from_pandas(rows, preserve_index=False)
    keys = [name for name in rows.column_names if name != "count"]
    # Columns that hold nothing cost as much to compare as the others, so they are left out.
    keys = [name for name in keys if rows[name].null_count < rows.num_rows]
    counts = rows.group_by(keys, use_threads=False).aggregate([("count", "sum")])
    return counts.rename_columns([*keys, "count"])
