"""Headings: the kit's own names of columns, and what those of anybody's file mean.

What a heading, its unit and the cells below can mean one way only is read so, and said. The
rest is proposed, and read once somebody has confirmed it (``putlab import``).
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

import pandas as pd

from putlab.base.errors import LogError, UsageError
from putlab.base.words import listed, printable
from putlab.log.cells import BLANKS, IN_M, UNITS, read_flags, read_numbers, shape_of, text_of
from putlab.log.schema import ACCEPTED_NAMES, COLUMN, COLUMNS, READINGS, Column, closest, tidy

# A comma that may part thousands.
THOUSANDS = re.compile(r"[1-9]\d{0,2},\d{3}")

# Columns listed in a message; a damaged file can have thousands.
MOST_NAMES = 20

# What people call the columns (common practice).
COLUMN_OF = {said: column.bare for column in COLUMNS for said in column.called}
LENGTHS = ("distance", "roll", "leave", "aim_past", "stimp")
COUNTS = ("putt", "hole_no", "putts_taken")

# Where + is left of the target line.
PLUS_LEFT = "-line_deg"

# Where a length is written once, and stays the same in the blank rows of that visit below it.
DOWN = " down"
DOWNWARD = ("distance_m down", "distance_ft down")

# Rows looked at for one that holds headings.
LOOKED_AT = 20

# Share of putts without a length from which on it may be that it is written once for several.
MOST_BARE = 0.3

# Lengths without a unit whose middle is below this are proposed as metres, others as feet.
SHORT = 4.0

# What headings are read as: a column by its name, or nothing.
Columns = dict[str, str]


@dataclass
class Understood:
    """What headings mean, which of them are not certain, and whether tables name visits."""

    columns: Columns = field(default_factory=dict)
    unsure: set[str] = field(default_factory=set)
    visits: set[str] = field(default_factory=set)  # that no column tells, but a title or name

    def __or__(self, other: "Understood") -> "Understood":
        """Return what is understood of both."""
        columns, unsure = self.columns | other.columns, self.unsure | other.unsure
        return Understood(columns, unsure, self.visits | other.visits)

    @property
    def assumed(self) -> list[str]:
        """Say what each heading that is not the kit's own name is read as."""
        strange = {h: c for h, c in self.columns.items() if tidy(h) != c}
        said = [f"*{heading}* is read as {in_words(c)}." for heading, c in strange.items()]
        names = ", ".join(sorted(self.visits)[:3]) + ", …" * (len(self.visits) > 3)
        return said + [
            f"The visit is told by the title or name of a file or sheet: {names}."
        ] * bool(names)

    def question(self, path: object) -> str:
        """Say what is not certain, and how to confirm it."""
        maps = {h: column for h, column in self.columns.items() if h in self.unsure}
        read = listed(f"*{heading}* is {in_words(column)}" for heading, column in maps.items())
        flags = " ".join(f'--map "{heading}={column}"' for heading, column in maps.items())
        return (
            f"{path}: I read that {read}, which is not certain. Confirm it once with `putlab "
            f"import {path}`, or without questions with `putlab import {path} {flags}`."
        )


def in_words(column: str) -> str:
    """Return what a column of the log is, in words."""
    name = name_of(column)
    what = re.split(r"[.:,]", COLUMN[ACCEPTED_NAMES[name]].meaning)[0]
    side = ", degrees, + " + ("left" if column == PLUS_LEFT else "right")
    length = {"ft": " in feet", "m": " in metres"}.get(name.rpartition("_")[2], "")
    said = f"{what[0].lower()}{what[1:]}{side if name == 'line_deg' else length}"
    down = ", the same below until another is written" if column.endswith(DOWN) else ""
    return f"{said}{down} ({column.removeprefix('-')})"


def name_of(column: str) -> str:
    """Return the column that a heading fills, whatever is said of its cells."""
    return column.removeprefix("-").removesuffix(DOWN)


def checked_columns(given: Mapping[str, str] | None) -> Columns:
    """Check what headings are to be read as: each a column of a log, or nothing."""
    given = {} if given is None else given
    if not isinstance(given, Mapping):
        raise UsageError(f"columns must be headings and names; got {str(given)[:60]!r}.")
    for heading, column in given.items():
        if column not in (*ACCEPTED_NAMES, PLUS_LEFT, *DOWNWARD, ""):
            near = closest(str(column))
            raise UsageError(
                f"{str(heading)[:40]!r} cannot be read as {str(column)[:40]!r}, which is no column "
                f"of a log.{f' Did you mean {near}?' if near else ''} Known: "
                f"{', '.join(ACCEPTED_NAMES)}; {PLUS_LEFT} where + is left; {DOWNWARD[0]} where "
                "a length stands for the blank rows below it too."
            )
    return dict(given)


def meant(heading: object) -> tuple[str, str]:
    """Return what a heading can mean, without a unit, and its unit: "Length (m)" distance, m."""
    if tidy(heading) in ACCEPTED_NAMES:
        return tidy(heading), ""
    words = re.findall(r"[^\W\d_]+|[#°%]", str(heading).lower())
    unit = UNITS[words.pop()] if len(words) > 1 and words[-1] in UNITS else ""
    if unit and len(words) > 1 and words[-1] == "in":
        words.pop()
    return COLUMN_OF.get(" ".join(words), ""), unit


def header_at(rows: Sequence[Sequence[str]]) -> tuple[int, int]:
    """Return which of the first rows holds the headings, and how many it has that are known."""
    if rows and (own := sum(tidy(cell) in ACCEPTED_NAMES for cell in rows[0])) > 1:
        return 0, own
    known = [len({meant(cell)[0] for cell in row} - {""}) for row in rows[:LOOKED_AT]]
    most = max(known, default=0)
    return (known.index(most) if most > 1 else 0), most


def understand(
    table: dict[str, pd.Series], given: Columns, visit: str, before: Understood
) -> Understood:
    """Return what the headings of a table mean by their words, their units and the cells below.

    `visit` is what its title or name says of the visit, if anything; `before` what other tables
    of the log mean.
    """
    kept = {heading_key(h): column for h, column in (before.columns | given).items()}
    found, unsure = Columns(), set[str]()
    # What somebody has said goes first: of two headings for one column the first is proposed.
    for heading in sorted(table, key=lambda heading: heading_key(heading) not in kept):
        column, certain = _decided(heading, table[heading], kept)
        rivals = {h for h, c in found.items() if column and _stem(c) == _stem(column)}
        found[heading] = "" if rivals else column
        unsure |= {h for h in rivals if heading_key(h) not in kept}
        unsure |= set() if certain else {heading}
    unsure |= _give_units(found, table)
    unsure |= _seldom_written(found, table, set(map(heading_key, given)))
    columns = {heading: column for heading, column in found.items() if column}
    visits = {visit} - {""} if "session" not in columns.values() else set()
    return Understood(columns, unsure & columns.keys(), visits)


def under_own_names(table: dict[str, pd.Series], read: Understood, visit: str) -> pd.DataFrame:
    """Return the putts of a table under the log's own names of columns."""
    frame = pd.DataFrame(
        {
            name_of(column): table[heading].map(partial(_as_meant, heading, column))
            for heading, column in read.columns.items()
        }
    )
    if read.visits:
        frame["session"] = visit
    # A visit is often named in its first row alone.
    frame["session"] = frame["session"].mask(frame["session"].map(is_blank)).ffill()
    says = [name for name in frame if ACCEPTED_NAMES[name] in ("distance_ft", *READINGS)]
    frame = frame[~frame[says].map(is_blank).all(axis=1)]
    for name in (name_of(column) for column in read.columns.values() if column.endswith(DOWN)):
        written = frame[name].mask(frame[name].map(is_blank))
        frame = frame.assign(**{name: written.groupby(frame["session"]).ffill()})
    return frame


def heading_key(heading: str) -> str:
    """Return a heading as it is compared: case and spaces aside."""
    return " ".join(heading.split()).casefold()


def _stem(column: str) -> str:
    return name_of(column).removesuffix("_ft").removesuffix("_m")


def is_blank(value: object) -> bool:
    return text_of(value).lower() in BLANKS


def _decided(heading: str, cells: pd.Series, kept: Columns) -> tuple[str, bool]:
    """Return what a heading is by its cells ("distance" where the unit is open), and how sure."""
    if heading_key(heading) in kept:
        return kept[heading_key(heading)], True
    name, unit = meant(heading)
    present = cells[~cells.map(is_blank)]
    if tidy(heading) in ACCEPTED_NAMES:
        return name, True
    if not name or present.empty:
        return "", True
    if name == "holed":
        return (name, True) if len(read_flags(present)[1]) <= len(present) / 10 else ("", True)
    if name in COUNTS:
        return ("", True) if read_numbers(present, whole=True)[1] else (name, True)
    if name == "condition":  # that a grip is written down may mean that it was changed
        return (name if present.nunique() > 1 else ""), False
    if name not in (*LENGTHS, "line"):
        return name, True
    shapes = [shape for shape in map(shape_of, present) if shape]
    units = {unit or UNITS.get(shape["unit"] or "", "") for shape in shapes}
    if name == "line":
        sided = [
            shape["before"] or shape["after"] for shape in shapes if shape["size"].strip("0.,")
        ]
        return "line_deg", units == {"deg"} and bool(sided) and all(sided)
    if units and units <= IN_M.keys():
        return f"{name}_{'m' if units & {'m', 'cm'} else 'ft'}", True
    return ("stimp_ft" if name == "stimp" else name), True


def _give_units(found: Columns, table: dict[str, pd.Series]) -> set[str]:
    """Give lengths without a unit that of the others, or propose one; return which are unsure."""
    bare = [heading for heading, column in found.items() if column in LENGTHS]
    lengths = [name_of(column) for column in found.values() if _stem(column) in LENGTHS]
    known = {name.rpartition("_")[2] for name in lengths} & {"ft", "m"}
    middle = {h: float(pd.Series(read_numbers(table[h], unit="m")[0]).median()) for h in found}
    asked = next((middle[h] for h, c in found.items() if _stem(c) == "distance"), SHORT)
    guess = "m" if asked < SHORT else "ft"
    unit = known.pop() if (certain := len(known) == 1) else guess
    alike = {h for h in bare if _stem(found[h]) == "roll" and asked / 2 < middle[h] < 2 * asked}
    found |= {heading: f"{found[heading]}_{unit}" for heading in bare}
    return set(bare) - alike if certain else set(bare)


def _seldom_written(found: Columns, table: dict[str, pd.Series], said: set[str]) -> set[str]:
    """Propose that a length stays the same where putts below have none; return its heading."""
    blank = pd.DataFrame(table).map(is_blank).astype(bool)  # a table of no rows stays text
    struck = ~blank[[h for h, c in found.items() if ACCEPTED_NAMES.get(name_of(c)) in READINGS]]
    bare = blank[struck.any(axis=1)].mean()
    lengths = {h for h, column in found.items() if _stem(column) == "distance"}
    seldom = {h for h in lengths if heading_key(h) not in said and bare[h] > MOST_BARE}
    found |= {heading: name_of(found[heading]) + DOWN for heading in seldom}
    return seldom


def _as_meant(heading: str, column: str, cell: object) -> str:
    """Return a cell with the unit of its heading, where no column has that unit, and + right."""
    text, unit = text_of(cell), meant(heading)[1]
    shape = shape_of(text)
    if shape and not shape["unit"] and unit in ("cm", "in", "yd"):
        text = f"{text} {unit}"
    if column == PLUS_LEFT and shape and not (shape["before"] or shape["after"]):
        text = text[1:] if text[0] in "-\u2212" else f"-{text.removeprefix('+')}"
    return text


# The log's own names.


def match_columns(header: list[str], name: str) -> tuple[dict[str, int], list[str]]:
    """Return the known columns of a table by position, and the names of the others."""
    wanted: dict[str, int] = {}
    unknown = []
    for position, found in enumerate(header):
        known = tidy(found)
        if known in wanted:
            raise LogError(f"{name}: two columns are called {known}; rename or delete one.")
        if known in ACCEPTED_NAMES:
            wanted[known] = position
        elif known and not known.startswith("index_level"):
            unknown.append(str(found).strip()[:60])
    return wanted, unknown


def missing(names: Iterable[str]) -> list[str]:
    """Return what a log needs and columns of such names do not fill."""
    filled = {ACCEPTED_NAMES[name] for name in names}
    needed = [_either(c) for c in COLUMNS if c.needed and c.name not in filled]
    read = bool(filled & set(READINGS))
    return needed + ["one of " + ", ".join(_either(COLUMN[c]) for c in READINGS)] * (not read)


def refusal(header: list[str], name: str, lacking: list[str]) -> LogError:
    """Return what is to be said of a table that lacks columns."""
    names = [str(h).strip()[:40] for h in header[:MOST_NAMES] if str(h).strip()]
    near = {n: closest(n) for n in names if tidy(n) not in ACCEPTED_NAMES}
    hints = "".join(f" Is {n!r} {near[n]}?" for n in near if near[n])
    return LogError(
        f"{name}: missing {'; '.join(lacking)}. Columns found: "
        f"{', '.join(map(printable, names)) or 'none'}.{hints} Name the columns so, or say which "
        'is which: `putlab import FILE --map "HEADING=COLUMN"`.'
    )


def _either(column: Column) -> str:
    return f"{column.name} (or {column.metric})" if column.metric else column.name


def columns_left_out(unknown: dict[str, list[str]]) -> list[str]:
    """Say which columns are not used, with the nearest known name where there is one."""
    plain = []
    for column, tables in list(unknown.items())[:MOST_NAMES]:
        place = tables[0] if len(tables) == 1 else f"{len(tables)} tables"
        near = closest(column)
        plain.append(f"{column!r} ({place}{f': did you mean {near}?' if near else ''})")
    plain += [f"and {len(unknown) - MOST_NAMES} more"] * (len(unknown) > MOST_NAMES)
    return [f"columns that are not used: {', '.join(plain)}."] if plain else []


def odd_commas(raw: pd.DataFrame, name: str) -> Iterator[str]:
    """Say of numbers that may be thousands that their comma was taken for a decimal one."""
    lengths = [c for c in raw if c.endswith(("_ft", "_m")) and raw[c].dtype.kind == "O"]
    for column in lengths:
        for text in filter(THOUSANDS.fullmatch, map(str, raw[column].unique())):
            yield f"{name}: {column} {text} was read as {text.replace(',', '.')}."
            break
