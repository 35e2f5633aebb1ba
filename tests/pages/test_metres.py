"""A log in metres is answered in metres, with no more decimals than a person would write."""

import re

import pytest
from bs4 import BeautifulSoup
from conftest import DEMO

from putlab.log.read import read_log
from putlab.pages.page import report
from putlab.pages.sheet import page as plan_page
from putlab.posterior.fit import fit_log

# What a fit's checks say, for whom a third decimal of R-hat tells; how fast log spread falls; and
# what the table of rounds, which is in feet, says of where it comes from.
FINER = ("Fit of", "in log per unit of log putts", "the latter solved for")


@pytest.fixture(scope="module")
def attic():
    log = read_log(DEMO / "attic")
    return report(log, fit_log(log))


def said(html):
    """Return what a page says, a text an element, but for its sources and what made it."""
    main = BeautifulSoup(html, "html.parser").main
    for part in [*main(["script", "style", "dl"]), *(link.find_parent("ul") for link in main("a"))]:
        part.decompose()
    texts = [part.get_text() for part in main(["p", "li", "td", "th", "caption", "figcaption"])]
    return [re.sub(r"\s+", " ", text) for text in texts if not any(w in text for w in FINER)]


def said_by(chart):
    """Return the words of a chart: its labels, and what stands for it."""
    return [*re.findall(r"<text[^>]*>([^<]*)<", chart.svg()), chart.alt, chart.reading, chart.title]


def in_feet_or_too_fine(texts):
    return [text for text in texts if re.search(r"\b(ft|feet)\b|\d\.\d{3}", text)]


@pytest.mark.slow
def test_the_page_its_charts_and_the_plan_speak_metres(attic):
    found = attic.findings[0]
    assert in_feet_or_too_fine(said(attic.html)) == []
    drawn = [text for chart in [found.picture, *found.charts] for text in said_by(chart)]
    assert in_feet_or_too_fine(drawn) == []
    # Stretches end at 4, 8, 15 and 25 ft: 1.2, 2.4, 4.6 and 7.6 m, to a tenth.
    words = " ".join(said(attic.html))
    stretches = ("inside 1.2", "1.2 to 2.4", "4.6 to 7.6")
    assert all(f"{stretch} m" in words for stretch in stretches)
    plan = plan_page(found.plan.log_rows, "m", [found.plan])
    assert in_feet_or_too_fine(said(plan)) == []
