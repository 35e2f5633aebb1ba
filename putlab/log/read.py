"""The log of putts: read it, keep what can be used, and say what could not and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pandas as pd

from putlab.base.errors import LogError, UsageError
from putlab.base.result import Result
from putlab.base.settings import shipped
from putlab.base.words import HIDING, counted, names_hidden, no_such, unless_hidden
from putlab.log import checks, headings
from putlab.log.cells import read_labels
from putlab.log.files import LogFiles, content_of, digest_of, find_files, joint_digest
from putlab.log.pseudonyms import UNSAID, pseudonyms_of, said, under
from putlab.log.rows import WHOLE_ROW, rows_of
from putlab.log.rules import ReadingRules, complete_rules, declared_rules
from putlab.log.schema import COLUMN
from putlab.log.tables import Table, open_tables

# The label of the player of a log that names none.
ONE_PLAYER = "player"

# Columns of a stranger's table that are not missed.
REMARKS = ("note", "notes", "remark", "remarks", "comment", "comments")

# Sheets of the kit's own workbooks that hold words.
SHEETS_OF_WORDS = ("list", "words")


@dataclass(frozen=True)
class Log(Result):
    """A log of putts, normalised to feet.

    Parameters
    ----------
    putts : pandas.DataFrame
        One usable row a putt: every column of the schema, then ``file`` and ``row``.
        Labels are text, numbers float with NaN, ``holed`` a nullable boolean. Ordered by
        session (by date where all are ISO dates, by number where they count, else as they
        appear), then by putt, then by player.
    rejects : pandas.DataFrame
        Rows that could not be used: ``file, row, column, value, reason``. Rows are
        numbered as a spreadsheet shows them, the header being row 1; in Parquet, which
        has no header row, from 1.
    rules : ReadingRules
        How the readings were made, each field with its source.
    warnings, notes : list of str
        What to look at; what was left out or decided.
    files : list of str
        Names of the files read, in order.
    rows_read : int
        Rows in them: usable and rejected. Blank rows are not counted.
    digest : str
        SHA-256 of the files' content.
    units : str
        Unit that most lengths are written in: ``ft`` or ``m``.
    understood : Understood
        What headings that are not the kit's own are read as: ``columns``, by heading; those
        of them that are ``unsure``.
    assumed : list of str
        What was taken to read the log, a sentence each.
    lost : list of str
        Visits that lost every row, a sentence each; the warnings begin with them.
    """

    putts: pd.DataFrame
    rejects: pd.DataFrame
    rules: ReadingRules
    warnings: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    files: list[str] = field(default_factory=list)
    rows_read: int = 0
    digest: str = ""
    units: str = "ft"
    understood: headings.Understood = field(default_factory=headings.Understood)
    assumed: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)

    @property
    def table(self) -> pd.DataFrame:
        """The usable putts, a row each."""
        return self.putts

    @property
    def sentence(self) -> str:
        """How many rows were read, used and left out."""
        return (
            f"{counted(self.rows_read, 'row')} in {counted(len(self.files), 'file')}: "
            f"{len(self.putts):,} used, {len(self.rejects):,} left out."
        )

    @property
    def players(self) -> list[str]:
        """Labels of the players, by first putt."""
        return list(self.putts["player"].unique())

    def choose(self, player: str | None) -> str:
        """Return the label wanted, that of the one player, or say which labels there are."""
        return choose_player(self.players, player)

    @property
    def on_green(self) -> pd.Series:
        """Which putts were struck on a green and say something of the golfer's spread."""
        return checks.on_green(self.putts)

    def only(self, player: str) -> Log:
        """Return the log of one player, with the same rules and digest.

        Parameters
        ----------
        player : str
            Label as in the log.

        Returns
        -------
        Log
            That player's putts, without rejects, warnings and notes.
        """
        mine = self.putts[self.putts["player"] == player].reset_index(drop=True)
        return replace(self, putts=mine, rejects=self.rejects.head(0), warnings=[], notes=[])


def choose_player(players: list[str], wanted: str | None) -> str:
    """Return the label wanted, that of the one player, or say which labels there are."""
    if wanted in players:
        return wanted
    if wanted is None and len(players) == 1:
        return players[0]
    if wanted is None:
        known = ", ".join(players[:12]) + ", …" * (len(players) > 12)
        raise UsageError(f"the log has {len(players)} players; name one: {known}.")
    raise UsageError(no_such("player", wanted, players))


def read_log(
    path: str | Path,
    *,
    rules: Mapping[str, float] | ReadingRules | None = None,
    columns: Mapping[str, str] | None = None,
    guess: bool = False,
    allow_empty: bool = False,
    pseudonyms: bool = False,
) -> Log:
    """Read a log of putts.

    Parameters
    ----------
    path : path-like
        A .csv, .tsv, .parquet or .xlsx file, or a folder of them, read by name. A
        ``datapackage.json`` beside them may list the files and declare reading rules.
    rules : Mapping or ReadingRules, optional
        Reading rules that win over those declared beside the log.
    columns : Mapping, optional
        What headings are to be read as, ``{"Direction": "line_deg"}``: a column of a log,
        ``-line_deg`` where + is left, or nothing. They win over those kept beside the log.
    guess : bool
        Read headings whose meaning is not certain as proposed, instead of refusing the log.
    allow_empty : bool
        Return a log of which no row can be used, instead of refusing it.
    pseudonyms : bool
        Call players ``player 1``, ``player 2`` and so on, by first putt, in all that the log
        holds and says; so files, sheets, visits that are no date, and conditions that hold
        a name. What was remarked of the files themselves is not said then.

    Returns
    -------
    Log
        Usable rows, rejects, and the rules of reading.

    Raises
    ------
    LogError
        The log is missing, damaged, lacks a needed column, or has no usable row.
    UsageError
        A rule given is unknown or cannot have its value.

    Examples
    --------
    >>> import putlab as pl
    >>> log = pl.read_log("data_demo")  # doctest: +SKIP
    >>> len(log.putts) + len(log.rejects) == log.rows_read  # doctest: +SKIP
    True
    """
    given, declared = headings.checked_columns(columns), declared_rules(rules)
    with names_hidden(pseudonyms):
        try:
            return _read(path, declared, given, guess, allow_empty)
        except LogError:
            if HIDING.get():
                raise LogError(UNSAID) from None
            raise


def _read(
    path: str | Path, declared: dict[str, float], given: headings.Columns, guess: bool, empty: bool
) -> Log:
    files = find_files(path)
    account = _Account(files.warnings, files.notes)
    rows = _rows_of_files(files, files.columns | given, account)
    if account.understood.unsure and not guess:
        raise LogError(account.understood.question(path))
    if not account.rows_read:
        raise LogError(f"{path} has column names but no rows with a reading; expected one a putt.")
    used = set(rows["session"])
    rows = _reject_duplicates(_settle_players(rows, account), account)
    putts, warnings, assumed = checks.in_order(rows)
    # By first putt in the files, so that a log that grows keeps its pseudonyms.
    called = pseudonyms_of(putts.sort_index().sort_values("rank", kind="stable"))
    putts = putts.reset_index(drop=True)
    every = checks.rejects_table(account.rejects)
    lost, rejects = list(checks.lost_visits(every, used)), every.drop(columns="visit")
    account.warnings = [*lost, *account.warnings, *checks.repeated_sessions(rows), *warnings]
    if rows.empty and not empty:
        first = checks.first_of(rejects)
        raise LogError(f"{path}: none of the {first} `putlab check` lists the others.")
    made = complete_rules(files.rules | declared, putts)
    if made.aim_past_ft is not None:
        putts["aim_past_ft"] = putts["aim_past_ft"].fillna(made.aim_past_ft)
    return Log(
        putts=under(called, putts[[*COLUMN, "file", "row"]]),
        rejects=rejects,
        rules=made,
        warnings=said(account.warnings) + checks.plausibility(putts, made, called),
        notes=said(account.notes),
        files=list(account.names.values()),
        rows_read=account.rows_read,
        digest=joint_digest(account.digests),
        units="m" if putts["distance_in_m"].mean() > 0.5 else "ft",
        understood=headings.Understood() if HIDING.get() else account.understood,
        assumed=said(account.understood.assumed + assumed),
        lost=[] if HIDING.get() else lost,
    )


def demo_log() -> Log:
    """Read the invented log that comes with the kit.

    Returns
    -------
    Log
        Three players, ten evenings; a few rows were typed wrong and are left out.

    Raises
    ------
    OutputError
        This installation came without the demo.
    """
    return read_log(shipped("data_demo"))


@dataclass
class _Account:
    """What has been read, left out and noticed so far."""

    warnings: list[str]
    notes: list[str]
    rows_read: int = 0
    rejects: list[tuple[Any, ...]] = field(default_factory=list)
    names: dict[Path, str] = field(default_factory=dict)  # what each file is called
    digests: dict[str, str] = field(default_factory=dict)  # of each file, and its name
    unknown: dict[str, list[str]] = field(default_factory=dict)  # columns, and their tables
    understood: headings.Understood = field(default_factory=headings.Understood)

    def reject(self, rows: pd.DataFrame, column: str, value: str | pd.Series, reason: str) -> None:
        """Set apart rows that could be read but cannot be used."""
        bad = rows[["file", "row"]].assign(column=column, value=value, reason=reason, visit=None)
        self.rejects += bad.itertuples(index=False, name=None)


def _rows_of_files(found: LogFiles, given: headings.Columns, account: _Account) -> pd.DataFrame:
    """Return the usable rows of all files, in feet, with ``file`` and ``row``."""
    parts = []
    for number, path in enumerate(found.paths, start=1):
        name = found.name_of(path)
        called = account.names[path] = unless_hidden(name, f"file {number}")
        content = content_of(path, name)
        digest = digest_of(content)
        twin = account.digests.get(digest)
        tables = open_tables(content, name, found.encodings.get(path))
        for sheet, (table, wanted) in enumerate(_logs(tables, given, account), start=1):
            alone = called if len(tables) == 1 else f"{called}, sheet {sheet}"
            table.name = unless_hidden(table.name, alone)
            rows = _rows_of_table(table, wanted, account)
            if twin:
                account.reject(rows, WHOLE_ROW, "", f"the file is a copy of {twin}")
            else:
                parts.append(rows)
        if twin:
            account.warnings.append(f"{name} is a copy of {twin}, byte for byte; delete one.")
        account.digests.setdefault(digest, called)
    account.warnings += headings.columns_left_out(account.unknown)
    return pd.concat(parts, ignore_index=True)


def _logs(
    tables: list[Table], given: headings.Columns, account: _Account
) -> list[tuple[Table, dict[str, int]]]:
    """Return the tables that are logs; a workbook may hold sheets of other things."""
    logs, refused = [], {}
    for found in tables:
        try:
            table = _under_own_names(found, given, account)
            wanted, unknown = headings.match_columns(table.header, table.name)
        except LogError as error:
            refused[found.name] = error
            continue
        logs.append((table, wanted))
        for column in unknown:
            account.unknown.setdefault(column, []).append(table.name)
    if not logs:
        raise next(iter(refused.values()))
    # The kit's own workbooks have sheets for people.
    odd = [name for name in refused if not name.endswith(SHEETS_OF_WORDS)]
    account.warnings += [f"{name} was not read: it has not the columns of a log." for name in odd]
    return logs


def _under_own_names(table: Table, given: headings.Columns, account: _Account) -> Table:
    """Return a table as it is where it has the log's own names, else by what its headings mean."""
    wanted, _ = headings.match_columns(table.header, table.name)
    lacking = headings.missing(wanted)
    told = {headings.heading_key(h) for h, column in given.items() if h != column}
    if not lacking and not told.intersection(map(headings.heading_key, table.header)):
        return table
    raw, broken = table.read({str(at): at for at in range(len(table.header))})
    found = {h: raw[str(at)] for at, h in enumerate(table.header) if h.strip()}
    read = headings.understand(found, given, table.visit, account.understood)
    names = [headings.name_of(column) for column in read.columns.values()]
    if headings.missing([*names, *["session"] * bool(read.visits)]):
        raise headings.refusal(table.header, table.name, lacking)
    account.understood |= read
    frame = headings.under_own_names(found, read, table.visit)
    others = [h for h in found if h not in read.columns and h.lower() not in REMARKS]
    rest = [h for h in others if not found[h].map(headings.is_blank).all()]
    return replace(table, header=[*frame, *rest], read=lambda of: (frame[list(of)], broken))


def _rows_of_table(table: Table, wanted: dict[str, int], account: _Account) -> pd.DataFrame:
    raw, broken = table.read(wanted)
    rows, rejects = rows_of(raw, broken)
    account.notes += table.notes
    account.rows_read += len(rows) + len(rejects)
    if planned := len(raw) + len(broken) - len(rows) - len(rejects):
        account.notes.append(f"{table.name}: {counted(planned, 'planned row')} not filled in.")
    account.notes += headings.odd_commas(raw, table.name)
    visits = pd.Series(read_labels(raw["session"])[0], raw.index)
    account.rejects += [(table.name, *reject, visits.get(reject[0])) for reject in rejects]
    return rows.assign(file=table.name, row=rows.index)


def _settle_players(rows: pd.DataFrame, account: _Account) -> pd.DataFrame:
    """One player and blanks are one golfer; refuse a nameless row where several are named."""
    nameless, named = rows["player"].isna(), rows["player"].dropna().unique()
    if len(named) <= 1:
        if nameless.any() and len(named) and named[0] != ONE_PLAYER:
            account.notes.append(f"Rows that name no player were taken as {named[0]}'s.")
        return rows.assign(player=rows["player"].fillna(named[0] if len(named) else ONE_PLAYER))
    account.reject(rows[nameless], "player", "", "blank, where other rows name a player")
    return rows[~nameless]


def _reject_duplicates(rows: pd.DataFrame, account: _Account) -> pd.DataFrame:
    """Reject a numbered putt that is there twice with every reading the same."""
    # Without putt numbers equal rows are honest repeats: whole degrees repeat.
    again = rows.duplicated(list(COLUMN)) & rows["putt"].notna()
    if again.any():
        numbers = rows.loc[again, "putt"].map("{:g}".format)
        account.reject(rows[again], "putt", numbers, "this putt is there already, the same")
    rest = rows[~again]
    one_putt = ["player", "session", "distance_ft", "drill", "putt"]
    clash = rest[rest.duplicated(one_putt) & rest["putt"].notna()]
    if len(clash):
        account.warnings.append(
            f"putt numbers repeat within a session with other readings ({checks.where(clash)}); "
            "all were kept. If two visits share a session label, give each its own."
        )
    return rest
