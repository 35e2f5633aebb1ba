"""The report: one self-contained HTML page that answers first and shows its reasons after.

Nothing in the page is fetched: figures and style are inside it, there is no script, and a
content policy forbids requests. Names from the log are escaped by the template engine.
"""

import datetime
import json
import re
from dataclasses import dataclass, replace

import jinja2
import numpy as np
import pandas as pd
from markupsafe import Markup, escape

from putlab import __version__
from putlab.base import words as wording
from putlab.base.settings import INTERVAL, SEED
from putlab.base.writing import write_text
from putlab.log.package import ASSUMED, MEANINGS
from putlab.model.design import REFERENCE_FT
from putlab.pages.findings import find
from putlab.posterior.checks import PASS
from putlab.posterior.player import choose_player
from putlab.posterior.roster import TOLD, each_player, log_of_player
from putlab.practice.advice import time_words
from putlab.practice.plan import drill_words

# Functions of `putlab.base.words` that the templates use.
WORDS = (
    "quantity", "interval", "signed", "signed_interval", "sure", "listed", "counted", "feet",
    "minus", "shortened", "together",
)  # fmt: skip

# Rejected rows listed, on a screen and on paper; `putlab check --rejects` writes them all.
SHOWN_REJECTS, PAPER_REJECTS = 5, 3

# Choices listed: line and pace at six lengths, and half as many on paper; the numbers behind
# the page hold all.
SHOWN_OPTIONS, PAPER_OPTIONS = 12, 6

# Names of files listed; the hash covers all.
SHOWN_FILES = 12


def write_report(path, log, fit, *, player=None, made=None, progress=None):
    """Write the report of a log.

    Parameters
    ----------
    path : path-like
        HTML file to create or replace; ``-`` is standard output.
    log : putlab.log.read.Log
        The log.
    fit : putlab.posterior.player.SpreadFit
        The fit of it.
    player : str, optional
        Only this player; default: everybody, with an overview where there are several.
    made : datetime.datetime, optional
        When the report was made; default: now. Nothing else differs between two runs.
    progress : callable, optional
        ``progress(done, total, text)``, called before each player.

    Raises
    ------
    UsageError
        No such player.
    OutputError
        The file could not be written; what stood there before still does.
    """
    players = fit.players if player is None else [choose_player(fit.players, player)]
    everybody = []
    for i, name in enumerate(players):
        if progress:
            progress(i, len(players), f"Working out what to say of {name}")
        everybody.append(find(log, fit, name))
    write_text(path, render(log, fit, everybody, made=made))


def render(log, fit, everybody, *, made=None):
    """Return the report as HTML.

    Parameters
    ----------
    log : putlab.log.read.Log
        The log.
    fit : putlab.posterior.player.SpreadFit
        The fit of it.
    everybody : list of putlab.pages.findings.Findings
        One or several players.
    made : datetime.datetime, optional
        When the report was made; default: now.

    Returns
    -------
    str
        The whole page.
    """
    made = made or datetime.datetime.now(datetime.UTC)
    meta = fit.meta() | {"log_sha256": log.digest, "files": log.files}
    page = environment().get_template("report.html")
    return page.render(
        log=log,
        everybody=everybody,
        readings=readings(log.rules),
        shown_rejects=SHOWN_REJECTS,
        paper_rejects=PAPER_REJECTS,
        shown_files=SHOWN_FILES,
        rejects=log.rejects.to_dict("records"),
        meta=meta,
        version=__version__,
        made=made.isoformat(timespec="seconds"),
        data=page_data(meta, everybody),
    )


def readings(rules):
    """Return how the readings were made, in words.

    Parameters
    ----------
    rules : putlab.log.package.ReadingRules
        Rules of reading.

    Returns
    -------
    list of str
        A line a rule that says something.
    """
    lines = []
    for name, meaning in MEANINGS.items():
        value = getattr(rules, name)
        if value is None or (value == 0 and rules.source[name] == ASSUMED):
            continue
        lines.append(f"{meaning.rstrip('.').partition(';')[0]}: {value:g} ({rules.source[name]})")
    return lines


def assumed(value):
    """Return an assumption's value as a person reads it.

    Parameters
    ----------
    value : float or str
        Number or name.

    Returns
    -------
    str
        Three significant digits of a number; a name as it is.
    """
    return value if isinstance(value, str) else f"{value:.3g}"


def coded(text):
    """Return a text whose `commands` are marked as such, everything else escaped.

    Parameters
    ----------
    text : str
        Text, perhaps with names from a log.

    Returns
    -------
    markupsafe.Markup
        Safe to put into a page.
    """
    return Markup(re.sub("`([^`]+)`", r"<code>\1</code>", str(escape(text))))


def environment():
    """Return the template engine: escaping on, undefined names refused, words as filters.

    Returns
    -------
    jinja2.Environment
        Templates of ``putlab/pages``.
    """
    engine = jinja2.Environment(
        loader=jinja2.PackageLoader("putlab", "pages/templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    engine.policies["json.dumps_kwargs"] = {"sort_keys": False}
    engine.globals |= {"interval_percent": round(100 * INTERVAL), "reference_ft": REFERENCE_FT}
    engine.globals |= {"shown_options": SHOWN_OPTIONS, "paper_options": PAPER_OPTIONS}
    engine.filters |= {name: getattr(wording, name) for name in WORDS}
    engine.filters |= {
        "assumed": assumed,
        "coded": coded,
        "minutes": time_words,
        "drill_words": drill_words,
    }
    return engine


def page_data(meta, everybody):
    """Return the numbers behind the page, in full: what `estimate` and the others write.

    Parameters
    ----------
    meta : dict
        How the fit came about, and the log's files and hash.
    everybody : list of putlab.pages.findings.Findings
        Players of the report.

    Returns
    -------
    dict
        Ready for JSON: ``meta``, tables as lists of records, and what the figures draw.
    """
    tables = {
        "estimates": pd.concat([f.estimates for f in everybody]),
        "advice": pd.concat([f.advice.table for f in everybody]),
        "causes": pd.concat([f.causes.assign(player=f.player) for f in everybody]),
    }
    records = {
        name: json.loads(table.to_json(orient="records", double_precision=15))
        for name, table in tables.items()
    }
    changes = [plain_values(f.change.to_dict()) for f in everybody if f.change]
    return {"meta": meta, **records, "changes": changes, "figures": figure_data(everybody)}


def figure_data(everybody):
    """Return the numbers that the figures draw.

    Parameters
    ----------
    everybody : list of putlab.pages.findings.Findings
        Players of the report.

    Returns
    -------
    dict of str to dict of str to list of dict
        By player and figure: a record a mark.
    """
    return {
        f.player: {chart.name: plain_values(chart.table.to_dict("records")) for chart in f.charts}
        for f in everybody
    }


def plain_values(result):
    """Return a result without numpy's types and without NaN, which JSON does not know.

    Parameters
    ----------
    result : dict
        Perhaps nested.

    Returns
    -------
    dict
        Numbers, texts, lists, dicts; None for NaN.
    """
    if isinstance(result, dict):
        return {name: plain_values(value) for name, value in result.items()}
    if isinstance(result, list | tuple):
        return [plain_values(value) for value in result]
    if isinstance(result, float | np.floating):
        return None if np.isnan(result) else float(result)
    return result.item() if isinstance(result, np.generic) else result


# The report of a roster whose players are fitted alone, side by side.


@dataclass(frozen=True)
class FitsApart:
    """What the report's last section tells of many fits.

    Attributes
    ----------
    seed : int
        Seed of the roster.
    metas : dict of str to dict
        `putlab.posterior.player.SpreadFit.meta` by player.
    """

    seed: int
    metas: dict

    def meta(self):
        """Return what a reader needs to repeat the result.

        Returns
        -------
        dict
            As `putlab.posterior.player.SpreadFit.meta`; a check's sentence names the players who did
            not plainly pass it.
        """
        first = next(iter(self.metas.values()))
        checks = {
            component: {name: self._over_players(component, name) for name in names}
            for component, names in first["diagnostics"].items()
        }
        return first | {"seed": self.seed, "diagnostics": checks}

    def _over_players(self, component, name):
        found = {p: m["diagnostics"][component][name] for p, m in self.metas.items()}
        noted = {p: c for p, c in found.items() if c["result"] != PASS}
        passed = len(found) - len(noted)
        said = [f"{p}: {c['sentence']}" for p, c in list(noted.items())[:TOLD]]
        said += [f"And {len(noted) - TOLD} more."] * (len(noted) > TOLD)
        said.insert(0, f"{name}: {passed} of {len(found)} players pass.")
        results = {c["result"] for c in noted.values()} or {PASS}
        return {"result": sorted(results)[0], "sentence": " ".join(said)}


def told(log, fit):
    """Return what the report says of one player, and how the fit came about.

    Parameters
    ----------
    log : putlab.log.read.Log
        One player's log.
    fit : putlab.posterior.player.SpreadFit
        Its fit.

    Returns
    -------
    tuple of putlab.pages.findings.Findings and dict
        Ready to travel between processes.
    """
    return find(log, fit, fit.players[0]), fit.meta()


def write_roster_report(
    path, log, *, player=None, seed=SEED, workers=None, cluster=None, made=None, progress=None
):
    """Fit each player alone and write the report of all of them.

    Parameters
    ----------
    path : path-like
        HTML file to create or replace; ``-`` is standard output.
    log : putlab.log.read.Log
        The log.
    player : str, optional
        Only this player, with the same result as among the others.
    seed, workers, cluster, progress
        As for `putlab.posterior.roster.each_player`.
    made : datetime.datetime, optional
        When the report was made; default: now. Nothing else differs between two runs.

    Raises
    ------
    FitError
        One player or more has no result; the report of the others is written all the same.
    UsageError
        No such player, or the cluster can't be used.
    OutputError
        The file could not be written; what stood there before still does.
    """
    if player is not None:
        players = list(log.putts["player"].drop_duplicates())
        alone = log_of_player(log, choose_player(players, player))
        log = replace(log, putts=alone.putts)
    found = each_player(log, told, seed=seed, workers=workers, cluster=cluster, progress=progress)
    if found.results:
        fits = FitsApart(seed, {name: meta for name, (_, meta) in found.results.items()})
        everybody = [findings for findings, _ in found.results.values()]
        missing = [f"there is no result for {n}: {why}" for n, why in found.failed.items()]
        shown = replace(log, warnings=[*log.warnings, *missing])
        write_text(path, render(shown, fits, everybody, made=made))
    found.raise_failures()
