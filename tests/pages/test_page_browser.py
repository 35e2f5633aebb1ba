"""The report in a real browser: no errors, no requests, accessible, two pages on paper."""

import io
import json
import re

import pytest
from browser import Browser, find_chromium
from bs4 import BeautifulSoup
from conftest import ROOT
from demo_findings import page
from pypdf import PdfReader

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        find_chromium() is None,
        reason="not run: no Chromium here (Debian: apt-get install chromium)",
    ),
]

PHONE, DESKTOP = (390, 844), (1280, 900)
A4, LETTER = (8.27, 11.69), (8.5, 11.0)


@pytest.fixture(scope="module")
def pages(demo_log, demo_fit, tmp_path_factory):
    """Return reports of one player, of one with a change, and of the roster, as files."""
    folder = tmp_path_factory.mktemp("report")
    made = {"alder": ["alder"], "birch": ["birch"], "everybody": []}
    for name, players in made.items():
        (folder / f"{name}.html").write_text(page(demo_log, demo_fit, *players))
    return {name: folder / f"{name}.html" for name in made}


@pytest.fixture(scope="module")
def browser():
    """Return a tab of a headless Chromium."""
    with Browser() as tab:
        yield tab


def unfold(browser):
    """Open every fold of the page."""
    browser.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")


@pytest.mark.parametrize("name", ["alder", "everybody"])
def test_it_opens_without_errors_or_requests(browser, pages, name):
    browser.console.clear()
    browser.requests.clear()
    browser.open(pages[name])
    assert browser.console == []
    assert browser.requests[0] == pages[name].as_uri()
    assert all(url.startswith("data:") for url in browser.requests[1:])
    assert browser.evaluate("[...document.images].every(i => i.complete && i.naturalWidth > 0)")


@pytest.mark.parametrize("name", ["alder", "birch", "everybody"])
@pytest.mark.parametrize("size", [PHONE, DESKTOP])
def test_axe_finds_nothing_serious(browser, pages, axe, name, size):
    browser.open(pages[name], width=size[0], height=size[1])
    unfold(browser)
    browser.evaluate(f"{axe}; 0")
    found = browser.evaluate(
        "axe.run().then(r => [r.passes.length, r.violations.map(v => [v.impact, v.id, "
        "v.nodes.map(n => n.html)])])"
    )
    assert found[0] > 20
    assert found[1] == []


@pytest.mark.parametrize("name", ["alder", "birch", "everybody"])
def test_nothing_sticks_out_of_a_phone(browser, pages, name):
    browser.open(pages[name], width=PHONE[0], height=PHONE[1])
    unfold(browser)
    assert browser.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    outside = browser.evaluate(
        "[...document.querySelectorAll('p, img, table, td, th, dd')].filter(e => "
        "!e.closest('.scroll') && e.getBoundingClientRect().right > innerWidth + 0.5)"
        ".map(e => e.outerHTML.slice(0, 120))"
    )
    assert outside == []


def test_a_coach_who_sees_one_screen_knows_what_how_sure_and_what_next(browser, pages):
    browser.open(pages["birch"], width=PHONE[0], height=PHONE[1])
    seen = browser.evaluate(
        "[...document.querySelectorAll('h1, .card p, .card li')].filter(e => "
        "e.getBoundingClientRect().bottom <= innerHeight).map(e => e.innerText).join('\\n')"
    )
    assert re.search(r"Practise (line|pace) (from|inside|beyond|at every)", seen)
    assert re.search(r"(certainly|Likely|About even|Unlikely)\n(under |over )?\d+\s%", seen)
    assert "strokes a round" in seen
    assert all(words in seen for words in ("putts a round", "three-putts a round", "holed from"))
    assert "Next session" in seen
    assert "counted game" in seen


def test_one_player_is_a_light_page(pages):
    assert all(pages[name].stat().st_size < 400_000 for name in ("alder", "birch"))


@pytest.mark.parametrize("paper", [A4, LETTER])
@pytest.mark.parametrize("name", ["alder", "birch"])
def test_one_player_prints_on_two_pages(browser, pages, paper, name):
    browser.open(pages[name])
    printed = browser.pdf(width_in=paper[0], height_in=paper[1])
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 2


def printed_lines(page):
    """Return what stands on a printed page: (column, height on the page, size, text) a piece."""
    pieces, width = [], float(page.mediabox.width)

    def keep(text, transform, matrix, font, size):
        # Where a piece stands: its own matrix within the page's.
        a, b, c, d, e, f = transform
        x, y = matrix[4] * a + matrix[5] * c + e, matrix[4] * b + matrix[5] * d + f
        if text.strip():
            pieces.append((int(x > width / 2), y, abs(size * matrix[3] * d), text.strip()))

    page.extract_text(visitor_text=keep)
    return pieces


@pytest.mark.parametrize("paper", [A4, LETTER])
@pytest.mark.parametrize("name", ["alder", "birch", "everybody"])
def test_printed_no_heading_parts_from_its_rows_and_no_page_is_half_empty(
    browser, pages, paper, name
):
    browser.open(pages[name])
    printed = PdfReader(io.BytesIO(browser.pdf(width_in=paper[0], height_in=paper[1])))
    heads = BeautifulSoup(pages[name].read_text(), "html.parser")
    titles = {" ".join(head.get_text().split()) for head in heads(["h2", "h3", "caption"])}
    found = set()
    for sheet in printed.pages:
        lines, height = printed_lines(sheet), float(sheet.mediabox.height)
        # Players' sheets are handed out, so each begins its own, and the last ends where its
        # text does: how full it is no style can say.
        if name != "everybody" or sheet != printed.pages[-1]:
            assert min(y for _, y, _, _ in lines) < height / 2
        for column, y, size, text in lines:
            # A caption may take two lines.
            if text in titles or len(text) > 20 and any(t.startswith(text) for t in titles):
                found.add(text)
                below = [at for side, at, _, _ in lines if side == column and at < y - size / 2]
                assert below, text
    assert len(found) > 8


@pytest.mark.parametrize("size", [PHONE, DESKTOP])
def test_screenshots_can_be_looked_at(browser, pages, tmp_path, size):
    for name, path in pages.items():
        browser.open(path, width=size[0], height=size[1])
        browser.screenshot(tmp_path / f"{name}-{size[0]}.png")
        header = (tmp_path / f"{name}-{size[0]}.png").read_bytes()[:24]
        assert int.from_bytes(header[16:20]) == size[0]


def test_the_picture_of_the_readme_is_small_and_there():
    picture = ROOT / "notebooks" / "card.png"
    assert picture.stat().st_size < 150_000
    assert "(notebooks/card.png)" in (ROOT / "README.md").read_text()


def test_the_browser_here_would_notice_an_error_and_a_request(browser, tmp_path):
    bad = tmp_path / "bad.html"
    bad.write_text("<img src='http://127.0.0.1:9/x.png'><script>nonsense()</script>")
    browser.console.clear()
    browser.requests.clear()
    browser.open(bad)
    assert "nonsense is not defined" in json.dumps(browser.console)
    assert "http://127.0.0.1:9/x.png" in browser.requests
