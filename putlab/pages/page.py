"""The report: one self-contained HTML page that answers first and shows its reasons after.

Nothing in the page is fetched: figures and style are inside it, there is no script, and a
content policy forbids requests. Names from the log are escaped by the template engine.
"""

import datetime
import inspect
import re
from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from functools import cache, partial
from importlib.metadata import version
from pathlib import Path
from typing import Any

import jinja2
import pandas as pd
from markupsafe import Markup, escape

from putlab import __version__
from putlab.base import words
from putlab.base.cache import kept_plain, result_key
from putlab.base.result import Result
from putlab.base.settings import INTERVAL, SEED
from putlab.base.writing import FULL_DIGITS, json_records, write_text
from putlab.log.read import Log
from putlab.log.rules import ASSUMED, MEANINGS, ReadingRules
from putlab.model.design import REFERENCE_FT
from putlab.pages import charts
from putlab.pages.chart import Chart
from putlab.pages.findings import Findings, player_findings
from putlab.pages.progress_charts import unusual_words
from putlab.posterior.backtest import kept_backtest
from putlab.posterior.checks import PASS
from putlab.posterior.fit import Fit, fit_log
from putlab.posterior.player import with_ends
from putlab.posterior.roster import NAMED_PLAYERS, each_player
from putlab.practice.plan import drill_words
from putlab.practice.saving import at_least_shown, named, time_words

# What is listed: rejected rows (`putlab check` writes them all); choices on paper; names of
# files (the hash covers all).
LIMITS = {"shown_rejects": 5, "paper_options": 4, "shown_files": 12}

# Stands for the time in a page that is kept.
WHEN = "0000-00-00T00:00:00"

# ``progress(done, total, text)``, called before each player.
type Progress = Callable[[int, int, str], Any]

# Findings that are worked out when they are asked for.
type Work = Callable[[], list[Findings]]


@dataclass(frozen=True)
class Report(Result):
    """A report of one player or several.

    Attributes
    ----------
    html : str
        The whole page.
    findings, readings : list of putlab.pages.findings.Findings, list of str
        What it says, a player each; how the readings were made, a line a rule.
    """

    html: str
    work: Work = field(repr=False)
    readings: list[str]

    @property
    def findings(self) -> list[Findings]:
        """What the page says, worked out when asked for where the page was known."""
        return self.work()

    @property
    def table(self) -> pd.DataFrame:
        """The estimates of all players."""
        return pd.concat([found.table for found in self.findings], ignore_index=True)

    @property
    def sentence(self) -> str:
        """What each player should practise."""
        return " ".join(f"{found.player}: {found.sentence}" for found in self.findings)

    def chart(self) -> Chart:
        """Return the first figure of the page."""
        return self.findings[0].chart()


def report(
    log: Log,
    fit: Fit | None = None,
    path: str | Path | None = None,
    *,
    player: str | None = None,
    made: datetime.datetime | None = None,
    progress: Progress | None = None,
    each_player: bool = False,
    **sharing: Any,
) -> Report:
    """Say on one page what each player of a log should practise, how sure that is, and why.

    Parameters
    ----------
    log : putlab.log.read.Log
        The log.
    fit : putlab.posterior.fit.Fit, optional
        The fit of it; default: it is fitted here.
    path : path-like, optional
        HTML file to create or replace; ``-`` is standard output.
    player : str, optional
        Only this player; default: everybody, with an overview where there are several.
    made : datetime.datetime, optional
        When the report was made; default: now. Nothing else differs between two runs, unless a
        backtest of the log was made between them.
    progress : callable, optional
        ``progress(done, total, text)``, called before each player.
    each_player : bool
        Fit each player alone, side by side: for a roster too long for one fit.
    **sharing
        ``seed, workers, cluster`` of the fits of each player.

    Returns
    -------
    Report
        The page, and the findings it tells.

    Raises
    ------
    UsageError
        No such player.
    OutputError
        The file could not be written; what stood there before still does.
    FitError
        With ``each_player``: some have no result, as the page that is written says too.
    """
    if each_player:
        return roster_report(log, path, player=player, made=made, progress=progress, **sharing)
    with words.lengths_in(log.units):
        fit = fit or fit_log(log)
    players = fit.players if player is None else [fit.golfer(player).player]

    @cache
    def work() -> list[Findings]:
        everybody = []
        for i, name in enumerate(players):
            if progress:
                progress(i, len(players), f"Working out what to say of {name}")
            everybody.append(player_findings(log, fit, name))
        return everybody

    key = page_key(log, fit, players)
    html = kept_plain(key, lambda: html_of(log, fit.meta(), work()))
    return finished(log, html, work, path, made)


def page_key(log: Log, fit: Fit, players: list[str]) -> str:
    """Return the key of a page: all of the log, of the fit, and a backtest of the log."""
    backtest = kept_backtest(log)
    parts = [getattr(log, part.name) for part in fields(log)]
    parts += [fit.meta(), players, backtest.readings if backtest else "", version("matplotlib")]
    draws = [tree["posterior"].dataset.data_vars.values() for tree in fit.posteriors.values()]
    return result_key("pages", parts, [values.values for one in draws for values in one])


def roster_report(
    log: Log,
    path: str | Path | None = None,
    *,
    player: str | None = None,
    seed: int = SEED,
    made: datetime.datetime | None = None,
    **sharing: Any,
) -> Report:
    """Fit each player alone, side by side, and report all of them.

    Of the players without a result the page says so, and a FitError is raised once it is
    written. ``sharing`` is ``workers, cluster, progress`` of `putlab.posterior.roster.each_player`.
    """
    if player is not None:
        log = replace(log, putts=log.only(log.choose(player)).putts)
    found = each_player(log, findings_and_meta, seed=seed, **sharing)
    if not found.results:
        found.raise_failures()
    meta = meta_of_many(seed, {name: meta for name, (_, meta) in found.results.items()})
    missing = [f"there is no result for {n}: {why}" for n, why in found.failed.items()]
    shown = replace(log, warnings=[*log.warnings, *missing])
    everybody = [findings for findings, _ in found.results.values()]
    whole = finished(shown, html_of(shown, meta, everybody), lambda: everybody, path, made)
    found.raise_failures()
    return whole


def findings_and_meta(log: Log, fit: Fit) -> tuple[Findings, dict]:
    """Return one player's findings and how the fit came about, to travel between processes."""
    return player_findings(log, fit, fit.players[0]), fit.meta()


def meta_of_many(seed: int, metas: dict[str, dict]) -> dict:
    """Return how many fits came about; a check names the players who did not plainly pass it."""

    def over_players(component: str, name: str) -> dict[str, str]:
        checks = {player: meta["diagnostics"][component][name] for player, meta in metas.items()}
        noted = {player: c for player, c in checks.items() if c["result"] != PASS}
        said = [f"{name}: {len(checks) - len(noted)} of {len(checks)} players pass."]
        said += [f"{player}: {c['sentence']}" for player, c in list(noted.items())[:NAMED_PLAYERS]]
        said += [f"And {len(noted) - NAMED_PLAYERS} more."] * (len(noted) > NAMED_PLAYERS)
        results = {c["result"] for c in noted.values()} or {PASS}
        return {"result": sorted(results)[0], "sentence": " ".join(said)}

    first = next(iter(metas.values()))
    checks = {
        component: {name: over_players(component, name) for name in names}
        for component, names in first["diagnostics"].items()
    }
    return first | {"seed": seed, "diagnostics": checks}


def finished(
    log: Log, html: str, work: Work, path: str | Path | None, made: datetime.datetime | None
) -> Report:
    """Return, and write to a path, a page with the time when it was made."""
    made = made or datetime.datetime.now(datetime.UTC)
    html = html.replace(WHEN, made.isoformat(timespec="seconds"))
    if path is not None:
        write_text(path, html)
    with words.lengths_in(log.units):
        return Report(html, work, rules_in_words(log.rules))


def html_of(log: Log, meta: dict, everybody: list[Findings]) -> str:
    """Return the page, `WHEN` for the time when it was made; ``meta`` tells of its fits."""
    meta = meta | {"log_sha256": log.digest, "files": log.files}
    with words.lengths_in(log.units):
        several = charts.players_chart(players_table(everybody)) if len(everybody) > 1 else None
        return environment().get_template("report.html").render(
            log=log,
            everybody=everybody,
            readings=rules_in_words(log.rules),
            rejects=log.rejects.to_dict("records"),
            meta=meta,
            version=__version__,
            made=WHEN,
            data=page_data(meta, everybody),
            side_by_side=several,
        )  # fmt: skip


def players_table(everybody: list[Findings]) -> pd.DataFrame:
    """Return what sets players apart, a row each: strokes lost, line and pace spread."""
    lost = [with_ends({"strokes_lost": f.lost.total.sum(axis=1)}) for f in everybody]
    both = zip(everybody, lost, strict=True)
    return pd.DataFrame([{"player": f.player} | lost | f.at_reference for f, lost in both])


def rules_in_words(rules: ReadingRules) -> list[str]:
    """Return how the readings were made, a line a rule that says something."""
    lines = []
    for name, meaning in MEANINGS.items():
        value, source = getattr(rules, name), rules.source[name]
        if not value and (value is None or source == ASSUMED):
            continue
        if name.endswith("_ft"):
            value, meaning = words.spoken(value), meaning.replace("feet", words.unit_name())
        lines.append(f"{meaning.rstrip('.').partition(';')[0]}: {value:.4g} ({source})")
    return lines


def environment() -> jinja2.Environment:
    """Return the template engine: escaping on, undefined names refused, words as filters."""
    engine = jinja2.Environment(
        loader=jinja2.PackageLoader("putlab", "pages/templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    engine.policies["json.dumps_kwargs"] = {"sort_keys": False, "separators": (",", ":")}
    engine.globals |= {"interval_percent": round(100 * INTERVAL), "reference_ft": REFERENCE_FT}
    engine.filters |= dict(inspect.getmembers(words, inspect.isfunction))
    engine.filters |= {"assumption": assumption_words, "coded": _coded, "minutes": time_words}
    engine.filters |= {"drill_words": drill_words, "option": named}
    engine.filters |= {"at_least_shown": at_least_shown, "unusual_words": unusual_words}
    engine.globals |= LIMITS | {"confidence_words": words.CONFIDENCE, "spoken": words.SPOKEN}
    return engine


# The unit of an assumption, by the end of its name.
ASSUMED_UNITS = {
    "_log_sd": " in log", "_deg": "°", "_pct": f"{words.THIN}%", "_days": " days",
    "stimp_ft": " on the Stimpmeter",
    "_putts": " putts", "experience": " putts", "_each": " s",
    "_rate": " in log per unit of log putts",
}  # fmt: skip


def assumption_words(row: dict[str, Any]) -> str:
    """Return an assumption as a person reads it, its value with a unit."""
    value, name = row["value"], row["name"]
    if name.startswith("own_"):
        value = row["from"]
    elif name == "past_ft":
        value = words.length_words(value)
    elif name.endswith("per_ft"):
        value = f"{value / words.spoken(1):.2g} s a {words.SPOKEN.get()}"
    elif name.endswith("_share"):
        value = f"{100 * value:.3g}{words.THIN}%"
    elif not isinstance(value, str):
        unit = next((unit for end, unit in ASSUMED_UNITS.items() if name.endswith(end)), "")
        value = f"{float(f'{value:.3g}'):,g}{unit}"
    return f"{row['meaning']}: {value}"


def _coded(text: str) -> Markup:
    # What stands between backticks is a command, between stars a heading; all else is escaped.
    said = str(escape(text)).replace(" %", f"{words.THIN}%")
    said = re.sub("`([^`]+)`", r"<code>\1</code>", said)
    return Markup(re.sub(r"\*([^*]+)\*", r"<i>\1</i>", said))


def page_data(meta: dict, everybody: list[Findings]) -> dict[str, Any]:
    """Return the numbers behind the page, in full and ready for JSON.

    ``meta``; ``estimates, advice, causes`` as lists of records; ``changes``; and ``figures``,
    what each draws by player and name, a record a mark.
    """
    causes = [f.lost.table.assign(player=f.player) for f in everybody]
    records = partial(json_records, digits=FULL_DIGITS)
    return {
        "meta": meta,
        "estimates": records(pd.concat([f.estimates for f in everybody])),
        "advice": records(pd.concat([f.advice.table for f in everybody])),
        "causes": records(pd.concat(causes)),
        "changes": records(pd.Series([f.change.to_dict() for f in everybody if f.change])),
        "figures": {f.player: {c.name: records(c.table) for c in f.charts} for f in everybody},
    }
