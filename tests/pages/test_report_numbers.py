"""No number of the report comes from nowhere.

Tables and the answer are held against `estimate`, `advise` and `compare`, cell by cell, in
`test_report.py`. Here whatever else the page says is taken away sentence by sentence; a number
that is left over was typed, or computed where nobody can repeat it.
"""

import re
from importlib.resources import files

import numpy as np
import pytest
from bs4 import BeautifulSoup
from demo_findings import MADE, findings, page

from putlab import __version__
from putlab.base.settings import INTERVAL
from putlab.pages.page import (
    PAPER_OPTIONS,
    PAPER_REJECTS,
    SHOWN_OPTIONS,
    SHOWN_REJECTS,
    readings,
)
from putlab.posterior.green import green_spread
from putlab.practice.advice import advise
from putlab.practice.plan import drill_words, plan_session
from putlab.trial.compare import compare

PLAYERS = ["alder", "birch", "rowan"]

# Every table of the page; each has a test of its cells in `test_report.py`.
TABLES = (
    "Line and pace within a visit", "What to expect on a new day", "Strokes a round:",
    "new routine against usual routine", "Rows left out", "What each player should practise",
)  # fmt: skip
TEMPLATES = ("report.html", "parts.html", "about.html", "sources.html", "roster.html")


def plain(text):
    return re.sub(r"\s+", " ", text.replace("`", "").replace("−", "-")).strip()


def numbers(text):
    return re.findall(r"\d+(?:[.,]\d+)*", text)


def typed():
    """Return the numbers that stand in the templates themselves, with the program cut out."""
    pages = files("putlab.pages")
    text = " ".join(pages.joinpath(name).read_text(encoding="utf-8") for name in TEMPLATES)
    text = re.sub(r"\{%.*?%\}|\{\{.*?\}\}|\{#.*?#\}", " ", text, flags=re.DOTALL)
    return set(numbers(BeautifulSoup(text, "html.parser").get_text(" ")))


def sayings(log, fit, player):
    """Return every sentence with numbers that another part of the kit answers for."""
    golfer, mine = fit.golfer(player), log.putts[log.putts["player"] == player]
    advice = advise(golfer)
    plan = plan_session(
        golfer, log.rules, advice, minutes=40.0, seed=fit.seed, session="next session"
    )
    visits = list(mine["session"].unique())
    yield f"{len(visits)} visits, {visits[0]} to {visits[-1]}; {len(mine)} putts"
    yield from re.split(r"(?<=[.)]) (?=It saves|Pace|Line|Where)", advice.sentence)
    yield advice.lost_sentence.partition(" (")[0].replace(" lost now to ", " lost now on ")
    row = advice.table.loc[advice.table["strokes_lost"].idxmax()]
    yield f"({row['strokes_lost_lo']:.2f} to {row['strokes_lost_hi']:.2f})"
    yield f"{plan.minutes:g} minutes:"
    for goal in plan.targets:
        yield drill_words(goal)
        yield f"{goal.component} at {goal.distance_ft:g} ft ({goal.putts} putts)"
    yield f"then {len(plan.game)} counted holes"
    yield from (plan.warm_up, plan.game_words, *plan.order, *plan.cautions)
    yield "From " + ", ".join(f"{d:g}" for d in plan.game["distance_ft"]) + " ft."
    order = plan.sets.itertuples()
    yield ", ".join(f"{s.putts} {s.component} {s.distance_ft:g} ft" for s in order)
    for rest in advice.assumptions.to_dict("records"):
        value = rest["value"]
        value = value if isinstance(value, str) else f"{value:.3g}"
        meaning = rest["meaning"]
        if rest["from"] == "prior":
            yield f"{meaning}: {value}"
            yield f"({rest['source']})"
        else:
            yield f"{meaning[0].upper()}{meaning[1:].rstrip('.')}: {value} ({rest['from']})."
    for hidden in (SHOWN_OPTIONS, PAPER_OPTIONS):
        yield f"The other {len(advice.table) - hidden} choices"
    yield green_spread(fit, player).sentence
    if player == "birch":
        found = compare(fit, "usual routine", "new routine", player=player)
        yield from (found.sentence, *found.cautions)


def origins(log, fit):
    """Return what is said of the log and of the fit."""
    used, out = len(log.putts), len(log.rejects)
    yield f"{len(log.files)} files, {log.rows_read:,} rows: {used:,} putts used, {out} rows"
    yield from (*readings(log.rules), *log.warnings, *log.notes)
    yield from (", ".join(log.files), log.digest, MADE.isoformat(), __version__)
    meta = fit.meta()
    yield ", ".join(f"{name} {number}" for name, number in meta["versions"].items())
    yield str(meta["seed"])
    for checks in meta["diagnostics"].values():
        yield from (check["sentence"] for check in checks.values())
        yield f"{len(checks)} checks, none failed."
    for shown in (SHOWN_REJECTS, PAPER_REJECTS):
        yield f"the first {shown} of {out}"
    yield f"with a chance of {100 * INTERVAL:.0f} %"


def words_of(soup):
    """Return the page's own words: neither script and style nor tables."""
    for element in soup.find_all(["script", "style", "table"]):
        element.decompose()
    return plain(soup.body.get_text(" "))


def left_over(text, said):
    """Return the numbers of a text that no saying holds, longest sayings taken first."""
    for saying in sorted((plain(s) for s in said), key=len, reverse=True):
        if saying:
            text = text.replace(saying, " ")
    return numbers(text)


@pytest.mark.parametrize("player", PLAYERS)
def test_every_number_in_the_words_is_said_elsewhere(demo_log, demo_fit, player):
    soup = BeautifulSoup(page(demo_log, demo_fit, player), "html.parser")
    captions = [table.caption.get_text() for table in soup.find_all("table")]
    assert all(any(caption.startswith(known) for known in TABLES) for caption in captions)
    said = [*sayings(demo_log, demo_fit, player), *origins(demo_log, demo_fit)]
    interval = f"{100 * INTERVAL:.0f}"
    rest = [n for n in left_over(words_of(soup), said) if n not in typed()]
    # The captions of figures name the interval; nothing else is left.
    lengths = {f"{n:g}" for n in (10.0,)}
    assert set(rest) <= {interval, *lengths}, rest


@pytest.mark.parametrize(
    "slip", ["It saves 0.87 strokes.", "37 putts of 41 dropped.", "A spread of 1.93 degrees."]
)
def test_a_number_from_nowhere_is_left_over(demo_log, demo_fit, slip):
    said = [*sayings(demo_log, demo_fit, "alder"), *origins(demo_log, demo_fit)]
    soup = BeautifulSoup(page(demo_log, demo_fit, "alder"), "html.parser")
    soup.h2.insert_before(slip)
    assert set(numbers(slip)) & set(left_over(words_of(soup), said)) - typed()


def pool(chart):
    """Return the numbers of a chart's table, and counts of its rows by what they are."""
    table = chart.table
    values = [*table.select_dtypes("number").to_numpy(float).ravel(), len(table)]
    for column in table.columns[table.nunique() <= 12]:
        values += list(table[column].value_counts())
    if "end" in table:
        values += list(table.groupby("distance_ft")["end"].value_counts()) + [0, 10]
        missed = table[table["end"] != "holed"]
        near = np.hypot(missed["right_ft"], missed["past_ft"]) <= 3.0
        values += list(near.groupby(missed["distance_ft"]).sum())
        values += list(missed.groupby("distance_ft").size())
    return np.array([v for v in values if np.isfinite(v)])


@pytest.mark.parametrize("player", PLAYERS)
def test_every_number_in_the_words_of_a_figure_is_drawn_in_it(demo_log, demo_fit, player):
    for chart in findings(demo_log, demo_fit, player).charts:
        values = pool(chart)
        values = np.concatenate([values, 100 * values])
        said = chart.alt.replace(player, "")
        # What the picture is about: the length, the hour, the circle of three feet.
        named = {"progress": {"10"}, "next-hour": {"60"}, "finish": {"3"}}.get(chart.name, set())
        for number in set(numbers(said)) - named:
            half = 0.501 * 10.0 ** -len(number.partition(".")[2])
            assert (np.abs(np.abs(values) - float(number)) <= half).any(), (number, chart.alt)
