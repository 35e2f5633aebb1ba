"""The columns of a log: what each means, its unit, and the values that can be right.

Rows are held against this table with plain pandas (`putlab.log.rows`). A schema library
would say the same at a price: pandera takes 0.45 s to import and to validate a first table,
a third of what `putlab check` may take. The tests hold the result against one.
"""

import difflib
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from putlab.base.settings import M_PER_FT as M_PER_FT

# Longest player, session or condition label. A label is a word or two; a cell beyond this
# is a pasted page, and no chart or table could show it.
LABEL_LIMIT = 100


@dataclass(frozen=True)
class Column:
    """One column of the log; its kind is label, number, whole (number) or flag (true/false)."""

    name: str
    kind: str
    meaning: str
    needed: bool = False
    least: float = -math.inf
    most: float = math.inf
    choices: Sequence[str] = ()  # in lower case; empty where any label will do
    called: Sequence[str] = ()  # what people call it, in lower case and without its unit

    @property
    def unit(self) -> str:
        """Unit of the values, as the name says; empty for labels, counts and flags."""
        return {"ft": "ft", "deg": "deg", "pct": "%"}.get(self.name.rpartition("_")[2], "")

    @property
    def bare(self) -> str:
        """Its name without a unit."""
        return self.name.removesuffix("_ft").removesuffix("_deg").removesuffix("_pct")

    @property
    def metric(self) -> str:
        """Name of the same column in metres; empty where it is no length."""
        return self.bare + "_m" if self.unit == "ft" else ""

    @property
    def accepted(self) -> str:
        """What a cell of this column may hold, in words."""
        if self.kind == "flag":
            return "true or false (also yes/no, 1/0)"
        if self.choices:
            return "one of " + ", ".join(self.choices)
        if self.kind == "label":
            return f"a label of at most {LABEL_LIMIT} characters"
        kind = "a whole number" if self.kind == "whole" else "a number"
        return f"{kind} from {self.least:g} to {self.most:g}"


# Ranges refuse what cannot be a putt, not what is unusual: the longest greens measure some
# 50 yd corner to corner, a ball nearer than a tenth of a foot has dropped, a start line beyond
# 90 degrees goes backwards, and Stimpmeter readings outside 1 to 30 ft are outside anything
# mown or woven (common practice).
COLUMNS = tuple(
    Column(**column)
    for column in json.loads(Path(__file__).with_name("columns.json").read_text("utf-8"))
)

COLUMN = {column.name: column for column in COLUMNS}

# A row needs at least one of these to say anything about the putt.
READINGS = ("line_deg", "roll_ft", "holed", "leave_ft", "putts_taken")

# Every name a file may use, and the column it fills.
ACCEPTED_NAMES = {column.name: column.name for column in COLUMNS} | {
    column.metric: column.name for column in COLUMNS if column.metric
}


def closest(name: str, known: Sequence[str] = tuple(ACCEPTED_NAMES)) -> str | None:
    """Return the known name nearest to a mistyped one, or None where none is near."""
    # A length without its unit could be either of two.
    twins = [n for n in known if n in (f"{tidy(name)}_ft", f"{tidy(name)}_m")]
    if twins:
        return " or ".join(twins)
    found = difflib.get_close_matches(tidy(name), known, n=1, cutoff=0.75)
    return found[0] if found else None


def tidy(name: object) -> str:
    """Return a column's name as it is compared: `` Distance FT`` becomes ``distance_ft``."""
    return "_".join(str(name).strip().lower().replace("-", " ").replace("_", " ").split())
