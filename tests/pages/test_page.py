"""The report: what it shows against the rooms' own results, its structure, hostile names.

Numbers are held against the data block in the page, the data block against the results of the
front door; sentences must stand in the page as the results say them.
"""

import json
import pickle
import re
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest
from bs4 import BeautifulSoup
from demo_findings import MADE, findings, page, render
from scipy.stats import norm

from putlab.base.errors import FitError, OutputError, UsageError
from putlab.base.words import confidence, sure
from putlab.log.rules import ReadingRules
from putlab.pages import findings as findings_module
from putlab.pages.charts import players_chart
from putlab.pages.findings import NEXT, SESSION_MINUTES
from putlab.pages.page import (
    findings_and_meta,
    meta_of_many,
    players_table,
    report,
    roster_report,
    rules_in_words,
)
from putlab.posterior.backtest import Backtest
from putlab.posterior.player import green_spread
from putlab.posterior.roster import RosterResult
from putlab.practice.advice import advise
from putlab.practice.plan import drill_words
from putlab.practice.plan import plan as make_plan
from putlab.practice.saving import named
from putlab.rounds.estimate import estimate
from putlab.rounds.strokes import STRETCHES, strokes_lost
from putlab.trial.compare import compare

PLAYERS = ["alder", "birch", "rowan"]

# Half a unit of the last place shown, and a hair for binary rounding.
HALF = {2: 0.00501, 1: 0.0501, 0: 0.501, 3: 0.000501}


def soup_of(html):
    return BeautifulSoup(html, "html.parser")


def numbers(text):
    """Return the numbers of a cell; <1 and >99 stand for what they bound."""
    return [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", text.replace("−", "-"))]


def in_plain_figures(text):
    """Return what JSON says, its numbers to twelve places."""
    return json.loads(text, parse_float=lambda number: round(float(number), 12))


def plain(text):
    return re.sub(r"\s+", " ", text.replace("`", "")).strip()


def words_of(html):
    return plain(soup_of(html).main.get_text())


def table_called(soup, words):
    return next(t for t in soup.find_all("table") if words in t.caption.get_text())


def cells(row):
    """Return the cells of a row as (number, low, high) where they hold an interval."""
    found = []
    for cell in row.find_all("td"):
        small = cell.small.extract() if cell.small else None
        found.append((numbers(cell.get_text()), numbers(small.get_text()) if small else []))
    return found


def agrees(shown, expected, places, scale=1.0):
    assert len(shown) == 1
    assert abs(shown[0] - scale * expected) <= HALF[places] + (0.5 if scale == 100 else 0)


def data_of(html):
    return json.loads(soup_of(html).find(id="data").string)


def test_numbers_in_full_stand_in_the_page(demo_log, demo_fit):
    data = data_of(page(demo_log, demo_fit, "birch"))
    golfer = demo_fit.golfer("birch")
    for name, want in (
        ("estimates", estimate(demo_fit, ["birch"]).table),
        ("advice", advise(golfer).table),
        ("causes", strokes_lost(golfer).table.assign(player="birch")),
    ):
        assert [list(row) for row in data[name]] == [list(want.columns)] * len(want)
        for column in want.columns:
            shown = [row[column] for row in data[name]]
            if want[column].dtype.kind in "if":
                # Beyond 25 ft goes on for ever, which JSON does not know.
                assert np.allclose([np.inf if v is None else v for v in shown], want[column])
            else:
                assert shown == list(want[column])
    want = compare(demo_fit, "usual routine", "new routine").to_dict()
    text = json.dumps([want], default=lambda value: value.item())
    assert in_plain_figures(json.dumps(data["changes"])) == in_plain_figures(text)
    assert data["meta"]["log_sha256"] == demo_log.digest
    assert data["meta"]["seed"] == demo_fit.seed


def test_causes_in_the_page_add_up_to_the_total(demo_log, demo_fit):
    causes = pd.DataFrame(data_of(page(demo_log, demo_fit, "alder"))["causes"])
    wide = causes.pivot(index="stretch", columns="cause", values="strokes")
    assert np.allclose(wide.drop(columns="total").sum(axis=1), wide["total"], atol=1e-9)
    assert wide["total"].drop("the round").sum() == pytest.approx(wide.loc["the round", "total"])


@pytest.mark.parametrize("player", PLAYERS)
def test_strokes_lost_by_line_and_pace_and_by_reading_are_the_total(demo_log, demo_fit, player):
    data = data_of(page(demo_log, demo_fit, player))
    causes = pd.DataFrame(data["causes"]).set_index(["stretch", "cause"])["strokes"]
    lost = pd.DataFrame(data["advice"])["strokes_lost"].sum()
    lost += causes["the round", "reading the green"]
    assert lost == pytest.approx(causes["the round", "total"], abs=0.01)
    assert f"loses {causes['the round', 'total']:.2f} strokes" in words_of(
        page(demo_log, demo_fit, player)
    )


@pytest.mark.parametrize("player", PLAYERS)
def test_what_the_figures_draw_stands_in_the_page(demo_log, demo_fit, player):
    figures = data_of(page(demo_log, demo_fit, player))["figures"][player]
    drawn = {chart.name: chart.table for chart in findings(demo_log, demo_fit, player).charts}
    assert list(figures) == list(drawn)
    for name, table in drawn.items():
        shown = pd.DataFrame(figures[name], columns=table.columns)
        if "to_ft" in table:  # beyond 25 ft goes on for ever, which JSON does not know
            shown["to_ft"] = shown["to_ft"].astype(float).fillna(np.inf)
        pd.testing.assert_frame_equal(shown, table.reset_index(drop=True), check_dtype=False)


@pytest.mark.parametrize("player", PLAYERS)
def test_the_answer_is_that_of_advise_and_agrees_with_the_data(demo_log, demo_fit, player):
    html = page(demo_log, demo_fit, player)
    soup, advice = soup_of(html), advise(demo_fit.golfer(player))
    action, said = soup.find(class_="action").get_text(), words_of(html)
    assert action == f"Practise {named(advice.chosen)}"
    parts = (advice.gain, advice.lost.sentence, advice.own_sentence, advice.later_sentence())
    for words in (advice.answer, *parts):
        assert plain(words) in said
    assert soup.find(class_="sure").b.get_text().lower() == confidence(advice.p_chosen)
    assert soup.find(class_="sure").span.get_text() == sure(advice.p_chosen)
    best = max(data_of(html)["advice"], key=lambda row: row["saved_next_hour"])
    assert advice.answer.lower().startswith(best["component"])
    chosen = [row["p_best"] for row in data_of(html)["advice"] if in_chosen(row, advice)]
    assert sure(advice.p_chosen) in advice.answer
    assert advice.p_chosen >= sum(chosen) - 0.001  # the best, or next to it, is more than the best
    ends = [best["saved_next_hour" + end] for end in ("", "_lo", "_hi")]
    assert "{:.2f} strokes a round ({:.2f} to {:.2f})".format(*ends) in advice.gain


def in_chosen(row, advice):
    """Whether a row of the table is the choice, or a neighbour named with it."""
    ends = {(STRETCHES[i], component) for i, component in advice.chosen}
    to_ft = np.inf if row["to_ft"] is None else row["to_ft"]
    return ((row["from_ft"], to_ft), row["component"]) in ends


@pytest.mark.parametrize("player", PLAYERS)
def test_what_other_rooms_say_stands_in_the_page_as_they_say_it(demo_log, demo_fit, player):
    golfer, text = demo_fit.golfer(player), words_of(page(demo_log, demo_fit, player))
    advice = advise(golfer)
    session = {"minutes": SESSION_MINUTES, "seed": demo_fit.seed, "session": NEXT}
    next_session = make_plan(golfer, demo_log.rules, advice, **session)
    said = [green_spread(demo_fit, player)[1], *next_session.order]
    said += [next_session.warm_up, next_session.game_words, *next_session.cautions]
    said += [drill_words(goal) for goal in next_session.targets]
    prior = advice.assumptions[advice.assumptions["from"] == "prior"]
    said += [f"{row.meaning}: " for row in prior.itertuples()]
    assert [words for words in said if plain(words) not in text] == []


def test_the_session_is_listed_in_order_with_its_holes(demo_log, demo_fit):
    next_session = findings(demo_log, demo_fit, "rowan").plan
    soup = soup_of(page(demo_log, demo_fit, "rowan"))
    items = [
        item.get_text()
        for item in soup.find(string="The next session in full").find_next("ul")("li")
    ]
    assert items[1:-1] == [drill_words(goal) for goal in next_session.targets]
    *holes, last = [f"{length:g}" for length in next_session.game["distance_ft"]]
    assert plain(items[-1]).endswith(f"From {', '.join(holes)} and {last} ft.")


@pytest.mark.parametrize("player", PLAYERS)
def test_line_and_pace_are_those_of_estimate(demo_log, demo_fit, player):
    table = table_called(soup_of(page(demo_log, demo_fit, player)), "Line and pace")
    expected = estimate(demo_fit, [player]).table.to_dict("records")
    names = [("line_sd_deg", 2), ("line_bias_deg", 2), ("pace_sd_pct", 1), ("pace_bias_pct", 1)]
    rows = table.tbody.find_all("tr")
    assert len(rows) == len(expected)
    for row, want in zip(rows, expected, strict=True):
        assert numbers(row.th.get_text(" ")) == [want["distance_ft"], want["putts"]]
        for (mean, ends), (name, places) in zip(cells(row), names, strict=True):
            agrees(mean, want[name], places)
            agrees(ends[:1], want[name + "_lo"], places)
            agrees(ends[1:], want[name + "_hi"], places)


@pytest.mark.parametrize(("caption", "green"), [("What to expect", "green_"), ("flat green", "")])
@pytest.mark.parametrize("player", PLAYERS)
def test_putts_to_expect_are_those_of_estimate(demo_log, demo_fit, player, caption, green):
    table = table_called(soup_of(page(demo_log, demo_fit, player)), caption)
    expected = estimate(demo_fit, [player]).table.to_dict("records")
    names = [("one_putt", 0, 100), ("three_putt", 0, 100), ("average_putts", 2, 1)]
    names = [(green + name, *shown) for name, *shown in names]
    for row, want in zip(table.tbody.find_all("tr"), expected, strict=True):
        for (mean, ends), (name, places, scale) in zip(cells(row), names, strict=True):
            agrees(mean, want[name], places, scale)
            # One number stands for both ends where both are under 1 %.
            agrees(ends[:1], want[name + "_lo"], places, scale)
            agrees(ends[-1:], want[name + "_hi"], places, scale)
            assert len(ends) == 2 or want[name + "_hi"] < 0.005


@pytest.mark.parametrize("player", PLAYERS)
def test_what_the_hour_buys_is_that_of_advise(demo_log, demo_fit, player):
    soup = soup_of(page(demo_log, demo_fit, player))
    table = advise(demo_fit.golfer(player)).table.sort_values("expected_regret")
    rows = table_called(soup, "Strokes a round").tbody.find_all("tr")
    for row, want in zip(rows, table.to_dict("records"), strict=True):
        assert row.th.get_text().startswith(want["component"])
        assert row.th.get_text().replace("\xa0", " ").endswith(want["stretch"].replace("\xa0", " "))
        lost, saved, middle, best, costs = cells(row)
        agrees(middle[0], want["saved_by_middle"], 2)
        for (mean, ends), name in ((lost, "strokes_lost"), (saved, "saved_next_hour")):
            agrees(mean, want[name], 2)
            agrees(ends[:1], want[name + "_lo"], 2)
            agrees(ends[1:], want[name + "_hi"], 2)
        assert abs(best[0][0] - 100 * want["p_best"]) <= 1.01
        if want["expected_regret"] >= 0.005:
            agrees(costs[0], want["expected_regret"], 2)


def test_the_change_is_that_of_compare(demo_log, demo_fit):
    soup = soup_of(page(demo_log, demo_fit, "birch"))
    found = compare(demo_fit, "usual routine", "new routine", player="birch")
    table = table_called(soup, "new routine against usual routine")
    assert found.verdict in table.caption.get_text()
    assert found.sentence in soup.get_text()
    rows = {row.th.get_text(): row for row in table.tbody.find_all("tr")}
    assert len(rows) == len(found.table)
    for want in found.table.to_dict("records"):
        by, interval, better = (numbers(c.get_text()) for c in rows[want["change"]].find_all("td"))
        agrees(by, want["mean"], 2)
        agrees(interval[:1], want["lo"], 2)
        agrees(interval[1:], want["hi"], 2)
        assert len(better) == np.isfinite(want["p_improved"])
        if better:
            assert abs(better[0] - 100 * want["p_improved"]) <= 1.01


def test_headings_go_down_one_level_at_a_time(demo_log, demo_fit):
    for html in (page(demo_log, demo_fit), page(demo_log, demo_fit, "alder")):
        levels = [int(h.name[1]) for h in soup_of(html).find_all(re.compile("^h[1-6]$"))]
        assert levels[0] == 1
        assert levels.count(1) == 1
        assert all(b - a <= 1 for a, b in zip(levels, levels[1:], strict=False))


def test_tables_have_captions_and_scopes_and_figures_words(demo_log, demo_fit):
    soup = soup_of(page(demo_log, demo_fit))
    for table in soup.find_all("table"):
        assert table.caption.get_text(strip=True)
        assert all(head.get("scope") in ("col", "row") for head in table.find_all("th"))
    images = soup.find_all("img")
    everybody = [findings(demo_log, demo_fit, p) for p in demo_fit.players]
    players = players_chart(players_table(everybody))
    assert [i["alt"] for i in images] == [players.alt] + [
        c.alt for f in everybody for c in (f.picture, *f.charts)
    ]
    assert all(numbers(image["alt"]) for image in images)


def test_nothing_is_fetched_and_nothing_runs(demo_log, demo_fit):
    html = page(demo_log, demo_fit)
    soup = soup_of(html)
    policy = soup.find("meta", {"http-equiv": "Content-Security-Policy"})["content"]
    assert "default-src 'none'" in policy
    assert all(image["src"].startswith("data:") for image in soup.find_all("img"))
    assert soup.find(["link", "iframe", "object", "embed", "form", "base"]) is None
    assert [s.get("type") for s in soup.find_all("script")] == ["application/json"]
    assert not re.search(r"@import|url\(", soup.style.string)
    assert len(html.encode()) < 3_000_000


class Spy(HTMLParser):
    """Collects tags and their attributes as a browser would see them."""

    def __init__(self, html):
        super().__init__()
        self.tags = []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))


HOSTILE = "</script><script>alert(1)</script>"
QUOTES = "\"><img src=x onerror='alert(2)'>"


def test_names_from_the_log_are_text_and_nothing_else(demo_log, demo_fit):
    found = findings(demo_log, demo_fit, "birch")
    conditions = replace(found.change.conditions, player=HOSTILE, before=QUOTES, after=HOSTILE)
    rejects = demo_log.rejects.assign(value=QUOTES, file=HOSTILE)
    log = replace(
        demo_log, rejects=rejects, files=[HOSTILE, QUOTES], warnings=[QUOTES], notes=[HOSTILE]
    )
    html = render(log, demo_fit.meta(), [
        replace(
            found, player=HOSTILE, visits=[QUOTES, HOSTILE],
            estimates=found.estimates.assign(player=QUOTES),
            change=replace(found.change, conditions=conditions),
            charts=[replace(chart, alt=QUOTES, title=HOSTILE) for chart in found.charts],
        )
    ], made=MADE).html  # fmt: skip
    tags = Spy(html).tags
    clean = Spy(page(demo_log, demo_fit, "birch")).tags
    assert [a for t, a in tags if t == "script"] == [{"type": "application/json", "id": "data"}]
    assert not [a for _, a in tags if any(name.startswith("on") for name in a)]
    assert sum(t == "img" for t, _ in tags) == sum(t == "img" for t, _ in clean)
    assert "alert(1)" in soup_of(html).h1.get_text()


def test_only_the_timestamp_differs_between_two_runs(demo_log, demo_fit):
    first = page(demo_log, demo_fit, "alder")
    later = MADE.replace(year=2027)
    second = render(
        demo_log, demo_fit.meta(), [findings(demo_log, demo_fit, "alder")], made=later
    ).html
    again = render(
        demo_log, demo_fit.meta(), [findings(demo_log, demo_fit, "alder")], made=MADE
    ).html
    assert first == again
    assert first != second
    assert first.replace(MADE.isoformat(), later.isoformat()) == second
    assert soup_of(first).find("time", id="made")["datetime"] == MADE.isoformat()


def test_readings_rejects_and_origins_are_told(demo_log, demo_fit):
    text = soup_of(page(demo_log, demo_fit, "alder")).get_text(" ", strip=True)
    assert f"{demo_log.rows_read:,} rows: {len(demo_log.putts):,} putts used" in text
    assert f"{len(demo_log.rejects)} rows left out" in text
    first = demo_log.rejects.iloc[0]
    assert f"{first['file']}, {first['row']}" in text
    assert first["reason"] in text
    assert demo_log.digest in text
    assert str(demo_fit.seed) in text
    for checks in demo_fit.meta()["diagnostics"].values():
        assert all(check["sentence"] in text for check in checks.values())


@pytest.mark.parametrize("words", ["back and wrists", "pain", "Juniors", "a coach who sees"])
def test_cautions_are_given(demo_log, demo_fit, words):
    assert words in page(demo_log, demo_fit, "alder")


def test_three_conditions_are_set_side_by_side(demo_log, demo_fit):
    found = findings(demo_log, demo_fit, "birch")
    rows = pd.DataFrame({"condition": ["a", "<b>", "c"], "putts": [50, 60, 70]})
    rows = rows.assign(ratio=[1.0, 0.9, 0.8], lo=[1.0, 0.7, 0.6], hi=[1.0, 1.1, 1.0])
    rows = rows.assign(p_improved=[np.nan, 0.8, 0.95], p_narrowest=[0.1, 0.2, 0.7])
    html = render(
        demo_log,
        demo_fit.meta(),
        [replace(found, change=replace(found.change, several=rows))],
        made=MADE,
    ).html
    table = table_called(soup_of(html), "All conditions")
    assert [row.th.get_text() for row in table.tbody("tr")] == ["a", "<b>", "c"]
    assert numbers(table.tbody("tr")[2]("td")[1].get_text()) == [0.8, 0.6, 1.0]


def test_what_was_not_read_is_said_before_the_reasons(demo_log, demo_fit):
    found = replace(findings(demo_log, demo_fit, "alder"), measured=["line"])
    soup = soup_of(render(demo_log, demo_fit.meta(), [found], made=MADE).html)
    assert soup.find(class_="card").get_text().count("Pace of alder was not") == 1
    cells_read = table_called(soup, "Line and pace").tbody.tr.find_all("td")
    assert [cell.get_text() for cell in cells_read[2:]] == ["not read", "not read"]


def test_where_the_spread_of_the_green_comes_from_is_said(demo_log, demo_fit):
    text = soup_of(page(demo_log, demo_fit, "alder")).get_text(" ", strip=True)
    assert "published split of variance (Karlsen and Nilsson" in text


def test_a_roster_is_overseen_in_one_table(demo_log, demo_fit):
    soup = soup_of(page(demo_log, demo_fit))
    table = table_called(soup, "What each player should practise next")
    rows = table.tbody.find_all("tr")
    assert [row.th.get_text() for row in rows] == demo_fit.players
    for row in rows:
        found = findings(demo_log, demo_fit, row.th.get_text())
        assert row.td.get_text().startswith(f"{found.advice.choice[1]} ")
        assert soup.find(id=row.a["href"][1:]).get_text() == found.player
        sure, saved, line, pace = cells(row)[1:5]
        chosen = [
            row for row in found.advice.table.to_dict("records") if in_chosen(row, found.advice)
        ]
        assert abs(sure[0][0] - 100 * found.advice.p_chosen) <= 0.51
        assert found.advice.p_chosen >= sum(row["p_best"] for row in chosen) - 0.001
        at_ten = found.estimates.set_index("distance_ft").loc[10.0]
        for (mean, ends), want, name, places in (
            (saved, found.advice.row, "saved_next_hour", 2),
            (line, at_ten, "line_sd_deg", 2),
            (pace, at_ten, "pace_sd_pct", 1),
        ):
            agrees(mean, want[name], places)
            agrees(ends[:1], want[name + "_lo"], places)
            agrees(ends[1:], want[name + "_hi"], places)
        verdict = found.change.verdict if found.change else "none"
        assert row.find_all("td")[-1].get_text() == verdict


def test_a_figure_that_fails_fails_the_report(demo_log, demo_fit, monkeypatch, tmp_path):
    def broken(*args, **kwargs):
        raise ValueError("no such marker")

    monkeypatch.setattr(findings_module.charts, "strokes_lost_chart", broken)
    target = tmp_path / "report.html"
    with pytest.raises(ValueError, match="no such marker"):
        # A log of its own, of which no page is known.
        report(replace(demo_log, notes=["Odd."]), demo_fit, target, player="alder", made=MADE)
    assert not target.exists()


def test_a_player_not_in_the_log_is_refused(demo_log, demo_fit, tmp_path):
    with pytest.raises(UsageError, match="Did you mean 'alder'"):
        report(demo_log, demo_fit, tmp_path / "report.html", player="aldr")


def test_an_old_report_survives_a_folder_that_cannot_be_written(demo_log, demo_fit, tmp_path):
    with pytest.raises(OutputError, match="could not be written"):
        report(demo_log, demo_fit, tmp_path / "no" / "report.html", player="alder")


def test_rules_that_say_something_are_put_in_words():
    rules = ReadingRules(line_step_deg=1.0, roll_limit_ft=39.0)
    lines = rules_in_words(rules)
    assert lines == [
        "Step of the direction display, degrees: 1 (declared)",
        "Distance from the ball to a backstop or the end of the mat, feet: 39 (declared)",
    ]


def test_the_report_is_written_and_holds_its_findings(demo_log, demo_fit, tmp_path):
    target, steps = tmp_path / "report.html", []
    log = replace(demo_log, lost=["Visit 3 is lost."])
    made = report(
        log, demo_fit, target, player="alder", made=MADE, progress=lambda *at: steps.append(at)
    )
    assert target.read_text(encoding="utf-8") == made.html
    # A visit that lost every row is said before anything else.
    first, _, rest = made.html.partition("<p><strong>Visit 3 is lost.</strong></p>\n")
    assert first.endswith("<main>\n")
    assert first + rest == page(demo_log, demo_fit, "alder")
    assert [found.player for found in made.findings] == ["alder"]
    assert [step[:2] for step in steps] == [(0, 1)]
    assert made.readings == rules_in_words(demo_log.rules)
    assert set(made.table["player"]) == {"alder"}
    assert made.sentence == f"alder: {made.findings[0].sentence}"
    assert made.sentence in unescape(made._repr_html_())


def test_a_page_that_is_known_is_not_worked_out_again(demo_log, demo_fit, monkeypatch, tmp_path):
    log, target = replace(demo_log, lost=["Visit 3 is lost."]), tmp_path / "report.html"
    first = report(log, demo_fit, player="alder", made=MADE).html

    def not_again(*args):
        raise AssertionError("worked out again")

    monkeypatch.setattr("putlab.pages.page.player_findings", not_again)
    later = MADE.replace(day=2)
    report(log, demo_fit, target, player="alder", made=later)
    again = target.read_text(encoding="utf-8")
    assert again == first.replace(MADE.isoformat(), later.isoformat()) != first
    others = {"putts": log.putts.assign(putt=1.0)}, {"warnings": ["Odd."]}, {"units": "m"}
    for other in others:
        with pytest.raises(AssertionError, match="worked out again"):
            report(replace(log, **other), demo_fit, player="alder")
    with pytest.raises(AssertionError, match="worked out again"):
        report(log, replace(demo_fit, seed=1), player="alder")


# Players fitted alone: everybody on one page, and who has no result.


def meta(line, pace="pass"):
    def checks(result):
        return {"R-hat": {"result": result, "sentence": f"It is a {result}."}}

    diagnostics = {"line": checks(line), "pace": checks(pace)}
    return {"seed": 1, "versions": {"numpy": "2"}, "interval": 0.9, "diagnostics": diagnostics}


def test_checks_of_many_fits_name_who_did_not_plainly_pass():
    players = {f"p{n}": meta("note" if n < 7 else "pass") for n in range(9)}
    found = meta_of_many(5, players)
    assert found["seed"] == 5
    line = found["diagnostics"]["line"]["R-hat"]
    assert line["result"] == "note"
    assert line["sentence"].startswith("R-hat: 2 of 9 players pass. p0: It is a note.")
    assert line["sentence"].endswith("And 2 more.")
    pace = found["diagnostics"]["pace"]["R-hat"]
    assert pace == {"result": "pass", "sentence": "R-hat: 9 of 9 players pass."}


def test_a_player_not_in_the_log_is_refused_before_any_fit(demo_log, tmp_path):
    with pytest.raises(UsageError, match="Did you mean 'birch'"):
        roster_report(demo_log, tmp_path / "r.html", player="birhc")
    assert not (tmp_path / "r.html").exists()


@pytest.mark.slow
def test_the_page_holds_those_with_a_result_and_names_the_others(
    demo_log, demo_fit, tmp_path, monkeypatch
):
    """Fits of the whole roster stand in for fits alone: what is tested is the page."""
    asked = {}

    def instead(log, work, **options):
        asked.update(options, work=work)
        found = {n: (findings(demo_log, demo_fit, n), demo_fit.meta()) for n in ("alder", "birch")}
        found = pickle.loads(pickle.dumps(found))  # as between processes
        return RosterResult(found, {"rowan": "the line fit did not converge"})

    monkeypatch.setattr("putlab.pages.page.each_player", instead)
    target = tmp_path / "report.html"
    with pytest.raises(FitError, match="1 of 3 players have no result. rowan: the line fit"):
        roster_report(demo_log, target, seed=4, workers=2)
    assert (asked["work"], asked["seed"], asked["workers"]) == (findings_and_meta, 4, 2)
    text = target.read_text(encoding="utf-8")
    assert "there is no result for rowan: the line fit did not converge" in text
    assert "2 of 2 players pass." in text
    assert '<bdi id="player-2">birch</bdi>' in text


def test_what_travels_is_what_the_report_says_of_the_one_player(demo_log, demo_fit, monkeypatch):
    monkeypatch.setattr("putlab.pages.page.player_findings", lambda log, fit, player: player)
    assert findings_and_meta(demo_log, demo_fit) == ("alder", demo_fit.meta())


def foreseen(putts, player):
    """Return a backtest of one player's last visit, whose readings fell as evenly as they can."""
    mine = putts[(putts["player"] == player) & putts["line_deg"].notna()]
    mine = mine[mine["session"] == mine["session"].iloc[-1]]
    place = (np.arange(len(mine)) + 0.5) / len(mine)
    readings = mine[["player", "session", "distance_ft"]].reset_index(drop=True)
    held = {f"held_{n}": (np.abs(place - 0.5) < n / 200).astype(float) for n in (50, 90)}
    thought = {"chance": 0.4, "plain": 0.2, "last_visit": 0.1}
    return Backtest(readings.assign(component="line", low=place, high=place, **held, **thought))


def test_a_kept_backtest_stands_on_the_page_of_its_player_alone(demo_log, demo_fit, monkeypatch):
    made = foreseen(demo_log.putts, "alder")
    monkeypatch.setattr(findings_module, "kept_backtest", lambda log: made)
    both = [findings_module.player_findings(demo_log, demo_fit, n) for n in ("alder", "birch")]
    soup = soup_of(render(demo_log, demo_fit.meta(), both, made=MADE).html)
    folds = [fold for fold in soup.find_all("details") if "foreseen" in fold.summary.get_text()]
    assert len(folds) == 1
    # A chance of 0.4 against 0.2 and 0.1: 100 and 300 % likelier.
    said = plain(folds[0].get_text())
    assert plain(made.sentence_of("alder")) in said
    assert "100 % likelier" in said
    assert "300 % likelier" in said
    assert folds[0].img["alt"] == both[0].figures["backtest"].alt
    marks = both[0].figures["backtest"].table
    assert marks["place"].tolist() == pytest.approx(norm.ppf(made.readings["low"]))
