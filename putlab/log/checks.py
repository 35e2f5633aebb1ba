"""What takes the whole log to see: dates and order of sessions, and what looks wrong.

What looks wrong in rows that can be used is said as a warning, never repaired.
"""

import calendar
import datetime
import re
import unicodedata
from collections.abc import Iterator
from contextlib import suppress
from itertools import permutations
from typing import Any

import numpy as np
import pandas as pd

from putlab.base.words import counted
from putlab.log.pseudonyms import Called, name_in
from putlab.log.rules import ReadingRules
from putlab.log.schema import M_PER_FT

# Rows named in a warning; the rest is counted.
NAMED = 5

# Two lengths are the same one in two units when they agree this closely.
UNIT_MATCH = 0.01

# A roll-out is in the wrong unit when it fits the distance this closely, in log, once converted:
# as it stands it misses by a factor of 3.28, and no golfer is that far out on purpose.
PACE_MATCH = 0.15

# Putts from which on two equal visits are more likely a copy than chance.
SAME_VISIT = 5
REPEATED = ["distance_ft", "line_deg", "roll_ft", "holed", "leave_ft"]

# Nearly every putt this short drops, whoever strikes it: it says nothing about spread.
SHORTEST_FT = 1.5

# A pile of readings at the very largest value that suggests a limit: this many readings at
# least, and this many times those one level below.
PILE, PILE_RATIO = 8, 3


def plausibility(rows: pd.DataFrame, rules: ReadingRules, called: Called) -> list[str]:
    """Return what a careful reader would ask about usable rows; some labels are called so."""
    return [
        *_rolls_in_another_unit(rows),
        *_distances_in_another_unit(rows),
        *_names_alike(rows, called),
        *_sessions_of_one(rows),
        *_suspected_limits(rows, rules),
        *_misdated(rows),
        *_rolled_past(rows, rules, called),
    ]


def where(rows: pd.DataFrame) -> str:
    """Name the first few rows of a selection: ``putts.csv rows 12, 15``."""
    parts = []
    for file, group in rows.head(NAMED).groupby("file", sort=False):
        numbers = ", ".join(str(n) for n in group["row"])
        parts.append(f"{file} row{'s' if len(group) > 1 else ''} {numbers}")
    more = f" and more, {len(rows):,} in all" if len(rows) > NAMED else ""
    return "; ".join(parts) + more


def _rolls_in_another_unit(rows: pd.DataFrame) -> Iterator[str]:
    """Find roll-outs that fit their distance only in the other unit."""
    ratio = rows["roll_ft"] / rows["distance_ft"]
    off = np.log(ratio.where(ratio > 0)).abs() + np.log(M_PER_FT)
    odd = off.abs() < PACE_MATCH
    if odd.any():
        times = "3.3 times" if ratio[odd].median() > 1 else "0.3 of"
        yield (
            f"roll-out is about {times} the distance in {odd.sum() / ratio.count():.0%} of the "
            f"putts with one "
            f"({where(rows[odd])}): feet and metres may be mixed. Nothing was changed; correct "
            "the rows, or leave them if the putts really rolled so."
        )


def _distances_in_another_unit(rows: pd.DataFrame) -> Iterator[str]:
    """Find a rare distance that is a common one in the other unit."""
    # 12 ft among metres is rounder than its neighbours (3.66 m), 3.66 m among feet less
    # round: a different number of decimals is what tells it from a length of its own.
    # A putt that follows starts wherever the last one stopped: nobody asked for its length.
    asked_for = rows[~(rows["putt_no"] > 1)]
    for metric, group in asked_for.groupby("distance_in_m"):
        unit, other = ("m", "ft") if metric else ("ft", "m")
        written = (group["distance_ft"] * (M_PER_FT if metric else 1.0)).round(6)
        levels = written.groupby(written).size()
        if len(levels) > max(12, levels.sum() / 5):
            continue  # measured lengths, not lengths asked for: any ratio turns up by chance
        for odd, usual in _twins(levels, 1 / M_PER_FT if metric else M_PER_FT):
            named = where(group[(written == odd).to_numpy()])
            yield (
                f"distance_{unit} {odd:g} ({named}) looks like {odd:g} {other}, which is the "
                f"{usual:g} {unit} of other rows: feet and metres may be mixed in one column. "
                "Nothing was changed; correct the rows if so."
            )


def _twins(levels: pd.Series, factor: float) -> Iterator[tuple[float, float]]:
    """Yield a rare level and the commoner one that it stands for in the other unit."""
    for (odd, count), (usual, more) in permutations(levels.items(), 2):
        same = abs(odd - usual * factor) < UNIT_MATCH * usual * factor
        if same and more > count and _decimals(odd) != _decimals(usual):
            yield odd, usual


def _decimals(value: float) -> int:
    return next((n for n in range(4) if abs(value - round(value, n)) < 1e-7), 4)


def _names_alike(rows: pd.DataFrame, called: Called) -> Iterator[str]:
    """Find labels that differ only in case, spaces or accents' storage."""
    for column in ("player", "session", "condition"):
        names = pd.Series(rows[column].dropna().unique(), dtype="str")
        keys = names.map(lambda name: " ".join(unicodedata.normalize("NFKC", name).split()))
        for _, group in names.groupby(keys.str.casefold(), sort=False):
            if len(group) > 1:
                listed = ", ".join(repr(name_in(called, column, name)) for name in group[:NAMED])
                yield f"{column} labels {listed} are kept apart: are they the same?"


def _sessions_of_one(rows: pd.DataFrame) -> Iterator[str]:
    """Ask about a session column that holds a time stamp a putt."""
    sizes = rows.groupby(["player", "session"], observed=True).size()
    if len(sizes) >= 10 and sizes.median() <= 1:
        yield (
            f"most of the {len(sizes)} sessions hold one putt each: is session a time stamp? "
            "Putts of one visit need the same label or date."
        )


def _suspected_limits(rows: pd.DataFrame, rules: ReadingRules) -> Iterator[str]:
    """Ask about readings that pile up at the largest value, or go beyond a declared limit."""
    for column, limit in (("line_deg", "line_limit_deg"), ("roll_ft", "roll_limit_ft")):
        sizes = rows[column].abs()
        declared = getattr(rules, limit)
        if declared is None:
            levels = sizes.groupby(sizes).size()
            top, below = (levels.iloc[-1], levels.iloc[-4:-1].max()) if len(levels) > 3 else (0, 0)
            if top >= PILE and top >= PILE_RATIO * below:
                yield (
                    f"{top:,} readings of {column} are exactly {levels.index[-1]:g}, the "
                    f"largest: is there a limit, such as a backstop? If so, declare {limit}; it "
                    "was not assumed."
                )
        elif (beyond := rows[(sizes > declared + 1e-9).to_numpy()]).size:
            yield (
                f"{column} goes beyond the declared {limit} of {declared:g} ({where(beyond)}); "
                "these are read as at least the limit."
            )


# A day in a title, or in the name of a file or sheet.
DAY = re.compile(
    r"\d+([./-])\d+\1\d+|\d\d?[. -]+[a-z]{3,9}[. ,-]+\d{2,4}|[a-z]{3,9}\.? \d\d?,? \d{4}", re.I
)


def day_in(text: str) -> str:
    """Return the one day that a text names, as it stands there, or nothing."""
    days = {found[0] for found in DAY.finditer(text)}
    days = {day for day in days if any(_date(day, way) for way in WAYS)}
    return days.pop() if len(days) == 1 else ""


def _misdated(rows: pd.DataFrame) -> Iterator[str]:
    """Ask about files and sheets named for another day than that of their one visit."""
    for file, visits in rows.groupby("file", sort=False)["session"]:
        named, days = day_in(file), visits.unique()
        meant = {_date(named, way) for way in WAYS} - {""}
        if meant and len(days) == 1 and _date(days[0]) and _date(days[0]) not in meant:
            yield f"{file} holds putts of {days[0]}: which day is right? The cells were believed."


# What tells balls rolled past the mark on purpose from balls struck too hard: putts at each of
# some lengths, the least that is asked about, how sure it is that they end past the mark at all,
# and by how much more likely a constant length is than a constant share (in chi-squares).
EACH, LENGTHS, PAST_LEAST_FT, PAST_SURE, PAST_BETTER = 6, 3, 0.3, 4.0, 6.0


def _rolled_past(rows: pd.DataFrame, rules: ReadingRules, called: Called) -> Iterator[str]:
    """Ask about roll-outs a constant length beyond the mark at every distance."""
    at_mark = rows["holed"].isna() & rows["aim_past_ft"].isna() & ~(rows["putt_no"] > 1)
    below_limit = rows["distance_ft"] < 0.8 * (rules.roll_limit_ft or np.inf)
    rows = rows[at_mark & below_limit].assign(past=rows["roll_ft"] - rows["distance_ft"])
    lengths = rows.groupby(["player", rows["distance_ft"].round(1)], sort=False)["past"]
    often = lengths.agg(["count", "median", "std"])[lengths.count() >= EACH]
    for player, usual in often.groupby("player", sort=False):
        if len(usual) < LENGTHS or not (usual["std"] > 0).all():
            continue
        length = usual.index.get_level_values("distance_ft").to_numpy()
        past = usual["median"].to_numpy()
        weight = (usual["count"] / usual["std"] ** 2).to_numpy()
        constant = np.average(past, weights=weight)
        share = (weight * length * past).sum() / (weight * length**2).sum()
        better = (weight * ((past - share * length) ** 2 - (past - constant) ** 2)).sum()
        sure = constant * np.sqrt(weight.sum())
        if constant > PAST_LEAST_FT and sure > PAST_SURE and better > PAST_BETTER:
            name, value = ("m", M_PER_FT) if rows["distance_in_m"].mean() > 0.5 else ("ft", 1.0)
            rule = f"aim_past_{name}={round(constant * value, 1):g}"
            yield (
                f"{name_in(called, 'player', player)}'s balls end about "
                f"{constant * value:.1f} {name} past the mark at every length, which is taken as "
                "struck too hard. If they were meant to, say so: `putlab import LOG --declare "
                f"{rule}`, or in a column aim_past_{name}."
            )


def repeated_sessions(rows: pd.DataFrame) -> list[str]:
    """Ask about sessions that are in two files, row for row the same, before putts are numbered."""
    # Programs that export a whole log each time make such files. Without putt numbers equal
    # rows are honest repeats, so only whole sessions can tell.
    rows = rows[rows["putt"].isna()]
    if rows["file"].nunique() < 2:
        return []
    prints = pd.util.hash_pandas_object(rows[REPEATED], index=False)
    visits = [rows["player"], rows["session"], rows["file"]]
    visit = prints.groupby(visits, sort=False).agg(["size", "sum"]).reset_index()
    visit = visit[visit["size"] >= SAME_VISIT]
    same = visit.groupby(["player", "session", "size", "sum"], sort=False)["file"]
    pairs = same.agg(lambda files: " and ".join(files.iloc[:2]))[same.size() > 1]
    return [
        f"{len(group):,} sessions are in {pair} with the same rows ({group.index[0][1]} of "
        f"{group.index[0][0]} first): are they counted twice? Keep one file, or number the putts."
        for pair, group in pairs.groupby(pairs, sort=False)
    ]


def rejects_table(records: list[tuple[Any, ...]]) -> pd.DataFrame:
    """Return rows that could not be used, by file and row, with the visit where it is known."""
    table = pd.DataFrame(records, columns=["file", "row", "column", "value", "reason", "visit"])
    table = table.astype(dict.fromkeys(["file", "column", "value", "reason"], "str"))
    return table.astype({"row": "int64"}).sort_values(["file", "row"], ignore_index=True)


def lost_visits(rejects: pd.DataFrame, used: set[str]) -> Iterator[str]:
    """Say which visits lost every row."""
    for visit, rows in rejects.groupby("visit", sort=False):
        if visit not in used:
            yield f"Visit {visit} is lost: none of its {first_of(rows)}"


def first_of(rejects: pd.DataFrame) -> str:
    """Say how many rows cannot be used, and why the first one of them."""
    file, row, column, value, reason = rejects.iloc[0, :5]
    first = f"First: {file}, row {row}, column {column}: got '{value}'; {reason}."
    return f"{counted(len(rejects), 'row')} can be used. {first}"


def was_read(putts: pd.DataFrame) -> pd.Series:
    """Tell putts with a reading."""
    return putts["line_deg"].notna() | putts["roll_ft"].notna()


def visit_read(putts: pd.DataFrame) -> pd.Series:
    """Tell putts of visits in which any of the player's putts was read."""
    return was_read(putts).groupby([putts["player"], putts["session"]]).transform("any")


def on_green(putts: pd.DataFrame) -> pd.Series:
    """Tell which putts were struck on a green and say something of the golfer's spread."""
    tells = putts["holed"].notna() & (putts["distance_ft"] >= SHORTEST_FT)
    return tells & ~visit_read(putts)


# Sessions in order: dates as ISO text, putts numbered, rows sorted.

STAMP = re.compile(r"(\d{4}-\d\d-\d\d)[T ]00:00(:00(\.0+)?)?(Z|\+00:00)?")

# Ways to write dates; those of the first mean one day only.
WAYS = {
    "dates": (
        r"(?P<year>\d{4})(?P<mark>[./-])(?P<month>\d\d?)(?P=mark)(?P<day>\d\d?)",
        r"(?P<year>\d{4})(?P<month>\d\d)(?P<day>\d\d)",
        r"(?P<day>\d\d?)[. -]+(?P<month>[a-z]{3,9})[. ,-]+(?P<year>\d{4}|\d\d)",
        r"(?P<month>[a-z]{3,9})\.? (?P<day>\d\d?),? (?P<year>\d{4})",
    ),
    "day/month/year": (
        r"(?P<day>\d\d?)(?P<mark>[./-])(?P<month>\d\d?)(?P=mark)(?P<year>\d{4}|\d\d)",
    ),
    "month/day/year": (
        r"(?P<month>\d\d?)(?P<mark>[./-])(?P<day>\d\d?)(?P=mark)(?P<year>\d{4}|\d\d)",
    ),
    # 26-01-05 may be an ISO date cut short.
    "year-month-day": (r"(?P<year>\d\d)-(?P<month>\d\d)-(?P<day>\d\d)",),
}

MONTHS = [name.lower() for name in calendar.month_abbr]

# Days since 1899-12-30, as spreadsheets count them, from 2000-01-01 to 2079-06-06.
SERIAL, FIRST_DAY = range(36526, 65537), datetime.date(1899, 12, 30)


def dated(labels: list[str]) -> tuple[dict[str, str], list[str]]:
    """Translate distinct session labels to ISO dates where all are dates; say what was taken so."""
    plain = {label: STAMP.sub(r"\1", label) for label in labels}
    read = {way: {label: _date(text, way) for label, text in plain.items()} for way in WAYS}
    fits = {way: dates for way, dates in read.items() if all(dates.values())}
    unclear = [label for label, date in read["dates"].items() if not date]
    if unclear and len(fits) > 1:
        return plain, [
            f"sessions such as {unclear[0]} look like dates, but day and month cannot be told "
            "apart; they are kept as labels in order of first appearance. Write 2025-03-14."
        ]
    way, dates = next(iter(fits.items()), ("labels", plain))
    changed = unclear or [label for label in labels if dates[label] != plain[label]]
    if way == "labels" or not changed:
        return dates, []
    return dates, [f"sessions were read as {way}: {changed[0]} is {dates[changed[0]]}."]


def _date(text: str, way: str = "dates") -> str:
    """Return the ISO date of a label that means one day, read in one of `WAYS`, else nothing."""
    for pattern in (*WAYS["dates"], *WAYS[way]):
        if found := re.fullmatch(pattern, text, re.ASCII | re.I):
            month = found["month"].lower()
            year = int(f"20{found['year']}"[-4:])
            with suppress(ValueError):
                month = int(month) if month.isdigit() else MONTHS.index(month[:3])
                return datetime.date(year, month, int(found["day"])).isoformat()
    if re.fullmatch(r"\d{5}", text, re.ASCII) and int(text) in SERIAL:
        return (FIRST_DAY + datetime.timedelta(days=int(text))).isoformat()
    return ""


NUMBER = re.compile(r"[0-9]+")


def ranks(sessions: pd.Series) -> dict[str, int]:
    """Return the order of sessions: by date, or as people count visit 2 and 10; else as found."""
    names = list(sessions.unique())
    if all(name[10:11] in ("", " ", "T") and _date(name[:10]) == name[:10] for name in names):
        names.sort()
    elif len({NUMBER.sub("", name) for name in names}) == 1 and all(
        len(NUMBER.findall(name)) == 1 for name in names
    ):
        names.sort(key=lambda name: int(NUMBER.findall(name)[0]))
    return {name: rank for rank, name in enumerate(names)}


def in_order(rows: pd.DataFrame) -> tuple[pd.DataFrame, list[str], list[str]]:
    """Write dates as ISO text, number putts, sort rows by session, then putt, then player.

    The index still tells the order of the files. And what to look at; what was assumed.
    """
    names, warnings = dated(list(rows["session"].unique()))
    rows = rows.assign(session=rows["session"].map(names).astype("str"))
    visits = rows.groupby(["player", "session"], sort=False, observed=True)
    by_row = visits["putt"].transform("count") < visits["putt"].transform("size")
    mixed = rows.loc[by_row & rows["putt"].notna(), ["player", "session"]].drop_duplicates()
    putt = rows["putt"].mask(by_row, visits.cumcount() + 1.0)
    order = ranks(rows["session"])
    as_found = order != ranks(rows["session"][::-1])
    rows = rows.assign(putt=putt, rank=rows["session"].map(order))
    # Whatever order the files have: the same putts are the same log.
    same_number = ["player", "distance_ft", "line_deg", "roll_ft"]
    rows = rows.sort_values(["rank", "putt", *same_number], kind="stable")
    if len(mixed):
        warnings.append(f"putt is blank in parts of {len(mixed)} sessions; they go by row order.")
    assumed = (
        f"The {len(order)} visits were struck in the order in which the log has them: "
        f"{', '.join(list(order)[:NAMED])}, and so on. If not, give them dates such as 2025-03-14."
    )
    return rows, warnings, [assumed] * as_found
