"""The names of a table's columns: which are known, which are missing."""

from putlab.errors import LogError
from putlab.intake.cells import printable
from putlab.schema import ACCEPTED_NAMES, COLUMN, COLUMNS, READINGS, closest, tidy

# Column names listed in a message; a damaged file can have thousands.
NAMES_SHOWN = 30


def match_columns(header, name):
    """Find the known columns of a table.

    Parameters
    ----------
    header : list of str
        Column names as found.
    name : str
        The table, for messages.

    Returns
    -------
    wanted : dict of str to int
        Known names and their positions.
    unknown : list of str
        Columns that are left out.

    Raises
    ------
    LogError
        A needed column is missing, or a column is there twice.
    """
    wanted, unknown = {}, []
    for position, found in enumerate(header):
        known = tidy(found)
        if known in wanted:
            raise LogError(f"{name}: two columns are called {known}; rename or delete one.")
        if known in ACCEPTED_NAMES:
            wanted[known] = position
        elif known and not known.startswith("index_level"):
            unknown.append(str(found).strip()[:60])
    _require(wanted, header, name)
    return wanted, unknown


def _require(wanted, header, name):
    filled = {ACCEPTED_NAMES[known] for known in wanted}
    missing = [_either(c) for c in COLUMNS if c.needed and c.name not in filled]
    if not filled & set(READINGS):
        missing.append("one of " + ", ".join(_either(COLUMN[c]) for c in READINGS))
    if not missing:
        return
    names = [str(h).strip()[:40] for h in header[:NAMES_SHOWN] if str(h).strip()]
    found = ", ".join(printable(n) for n in names) or "none"
    near = {n: closest(n) for n in names if tidy(n) not in ACCEPTED_NAMES}
    hints = "".join(f" Is {n!r} {near[n]}?" for n in near if near[n])
    raise LogError(
        f"{name}: missing {'; '.join(missing)}. Columns found: {found}.{hints} "
        "The first row must hold the column names."
    )


def _either(column):
    return f"{column.name} (or {column.metric})" if column.metric else column.name
