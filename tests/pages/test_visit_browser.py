"""The page for the phone in a real browser: typed, touched, reloaded, and its file as a log."""

import json

import pytest
from browser import Browser, find_chromium

from putlab.log.read import read_log
from putlab.pages.sheet import write_sheet
from putlab.practice.plan import first_visit

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        find_chromium() is None,
        reason="not run: no Chromium here (Debian: apt-get install chromium)",
    ),
]


class Phone:
    """A visit's page on a screen 390 px wide."""

    def __init__(self, tab, path):
        self.tab, self.path = tab, path
        self.open()

    def open(self):
        self.tab.open(self.path, width=390, height=844)

    def type(self, *keys):
        """Press keys of a keyboard: a name, or the characters of a number."""
        named = {"Enter", "Backspace", "ArrowLeft", "ArrowRight"}
        for key in [k for part in keys for k in ([part] if part in named else part)]:
            self.tab.call("Input.dispatchKeyEvent", type="keyDown", key=key)

    def touch(self, *keys):
        """Touch keys of the page, where they are on the screen."""
        for key in keys:
            place = self.tab.evaluate(
                f"(b => [b.x + b.width / 2, b.y + b.height / 2])("
                f"document.querySelector('[data-key=\"{key}\"]').getBoundingClientRect())"
            )
            where = {"x": place[0], "y": place[1], "button": "left", "clickCount": 1}
            for kind in ("mousePressed", "mouseReleased"):
                self.tab.call("Input.dispatchMouseEvent", type=kind, **where)

    def reads(self, name):
        return self.tab.evaluate(f"document.getElementById('{name}').textContent")

    def file(self, path):
        path.write_text(self.tab.evaluate("document.getElementById('text').value"))
        return read_log(path)


@pytest.fixture(scope="module")
def browser():
    """Return a tab of a headless Chromium."""
    with Browser() as tab:
        yield tab


@pytest.fixture
def phone(browser, tmp_path):
    """Return the page of a visit of ten putts and two holes, nothing written in it."""
    rows = first_visit([3 / 0.3048], putts=10, holes=2)
    write_sheet(rows, tmp_path / "visit.html", units="m")
    browser.new_person()
    return Phone(browser, tmp_path / "visit.html")


def test_typed_readings_outlast_a_reload_and_load_as_a_log(phone, tmp_path):
    phone.type("2", "l", "2.9", "Enter")
    phone.type("0", "Enter", "3,1")
    phone.tab.reload()
    assert phone.reads("where") == "Putt 2 of 10"
    phone.type("Enter", "R", "1.5", "Enter", "3.45", "Enter")
    log = phone.file(tmp_path / "visit.csv")
    assert (len(log.putts), len(log.rejects), log.warnings) == (3, 0, [])
    assert list(log.putts["line_deg"]) == [-2, 0, 1.5]
    assert list(log.putts["roll_ft"].round(9)) == [round(m / 0.3048, 9) for m in (2.9, 3.1, 3.45)]
    # The day is the phone's own.
    assert log.putts["session"].unique().tolist() == [phone.tab.evaluate("kept.day")]
    assert phone.tab.console == []
    assert all(url.startswith("file:") for url in phone.tab.requests)


def test_readings_outlast_a_reload_that_shows_an_older_storage(phone):
    """What Chromium does on a busy machine, in some reloads of a hundred (RenderDocument)."""
    phone.type("2", "l", "2.9", "Enter")
    phone.tab.evaluate("localStorage.setItem(KEEP, JSON.stringify({ keys: [], day: '', at: 0 }))")
    phone.tab.reload()
    assert phone.reads("where") == "Putt 2 of 10"
    phone.tab.evaluate("localStorage.clear()")
    phone.tab.reload()
    phone.type("3", "r", "2.9", "Enter")
    assert phone.reads("where") == "Putt 3 of 10"


def test_readings_are_there_when_the_page_is_opened_again(phone):
    phone.type("2", "l", "2.9", "Enter")
    for _ in range(20):  # the storage that a busy Chromium shows may be an older one
        phone.open()
        if phone.reads("where") == "Putt 2 of 10":
            break
    assert phone.reads("where") == "Putt 2 of 10"


def test_what_another_tab_wrote_is_taken_over_and_nothing_older(phone):
    phone.type("2", "l", "2.9", "Enter")
    other = ["2", "L", "next", "3", "next", "1", "R", "next", "3", "next"]
    for at, putt in ((1, 2), (4_000_000_000_000, 3)):  # long ago, and in a hundred years
        stored = json.dumps({"keys": other, "day": "2026-11-29", "at": at})
        phone.tab.evaluate(
            f"localStorage.setItem(KEEP, JSON.stringify({stored}));"
            "dispatchEvent(new StorageEvent('storage', { key: KEEP })); 0"
        )
        assert phone.reads("where") == f"Putt {putt} of 10"


def test_a_touched_game_counts_putts_and_what_the_first_left(phone, tmp_path):
    for _ in range(10):
        phone.touch("1", "R", "3", "next")
    assert phone.reads("where") == "Hole 1 of 2"
    phone.touch("2", "next", ".", "6", "next", "1", "next")
    assert phone.reads("length") == "All done"
    log = phone.file(tmp_path / "visit.csv")
    holes = log.putts[log.putts["drill"] == "counted"]
    assert list(holes["putts_taken"]) == [2, 1]
    assert list(holes["holed"]) == [False, True]
    assert holes["leave_ft"].iloc[0] == pytest.approx(0.6 / 0.3048)


def test_a_side_is_asked_for_and_odd_readings_are_doubted_once(phone):
    phone.touch("3", "next")
    assert phone.reads("says") == "Left or right?"
    phone.touch("L", "3", "0", "next")
    assert "30 m on a putt of 3 m? Next again" in phone.reads("says")
    phone.touch("rub", "next")
    assert phone.reads("where") == "Putt 2 of 10"
    # A line without its side cannot be left behind by way of the other box.
    phone.touch("4", "field 1", "3", "next")
    assert (phone.reads("says"), phone.reads("where")) == ("Left or right?", "Putt 2 of 10")
    phone.touch("9", "9", "R")
    assert "499 is not from -90 to 90" in phone.reads("says")


def test_undo_takes_back_key_by_key_across_a_reload(phone):
    phone.touch("2", "L", "3", ".", "1", "next")
    phone.tab.reload()
    phone.touch("undo")
    assert phone.reads("where") == "Putt 1 of 10"
    phone.touch("undo", "undo", "undo", "undo")
    assert phone.reads("field0").endswith("2")
    assert phone.reads("field1").endswith("–")


def test_a_browser_that_keeps_nothing_is_said(phone, tmp_path):
    refuse = "Storage.prototype.setItem = () => { throw new Error('refused'); }"
    added = phone.tab.call("Page.addScriptToEvaluateOnNewDocument", source=refuse)
    phone.tab.reload()
    shown = phone.tab.evaluate("!document.getElementById('refused').hidden")
    phone.touch("2", "L", "3", "next")
    kept = len(phone.file(tmp_path / "visit.csv").putts)
    phone.tab.call("Page.removeScriptToEvaluateOnNewDocument", **added)
    phone.tab.evaluate("refused = false")  # or leaving the page would be asked about
    assert (shown, kept) == (True, 1)


def test_the_file_is_handed_over_shared_or_saved(phone, tmp_path):
    phone.tab.call(
        "Browser.setDownloadBehavior", behavior="allow", downloadPath=str(tmp_path / "saved")
    )
    phone.touch("2", "L", "3", "next")
    shared = """(async () => {
        let got = null;
        navigator.canShare = () => true;
        navigator.share = async (what) => { got = what.files[0]; };
        await handOver();
        delete navigator.canShare;
        return [got.name, got.type, await got.text()];
    })()"""
    name, kind, text = phone.tab.evaluate(shared)
    assert (name.startswith("putts 20"), kind) == (True, "text/csv")
    saved = phone.tab.evaluate("""(async () => {
        navigator.canShare = undefined;
        let link; HTMLAnchorElement.prototype.click = function () { link = this; };
        await handOver();
        return [link.download, link.href.slice(0, 5)];
    })()""")
    assert saved == [name, "blob:"]
    (tmp_path / "shared.csv").write_text(text)
    assert len(read_log(tmp_path / "shared.csv").putts) == 1


def test_keys_are_large_enough_and_named_and_nothing_sticks_out(phone):
    small = phone.tab.evaluate(
        "[...document.querySelectorAll('button, select, summary')].map(e => [e.textContent.trim() "
        "|| e.getAttribute('aria-label'), e.getBoundingClientRect()]).filter(([t, b]) => b.height "
        "&& (b.height < 44 || b.width < 44 || !t)).map(([t]) => t)"
    )
    assert small == []
    assert phone.tab.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(phone, axe, scheme):
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    phone.tab.call("Emulation.setEmulatedMedia", features=features)
    phone.tab.reload()
    phone.tab.evaluate(f"{axe}; 0")
    found = phone.tab.evaluate(
        "axe.run().then(r => [r.passes.length, r.violations.map(v => [v.impact, v.id])])"
    )
    assert found[0] > 10
    assert [v for v in found[1] if v[0] in ("serious", "critical")] == []


def test_two_golfers_are_told_apart(browser, tmp_path):
    rows = first_visit([4.0], putts=5, holes=0, players=["alder", "birch"])
    write_sheet(rows, tmp_path / "two.html")
    phone = Phone(browser, tmp_path / "two.html")
    assert json.loads(browser.evaluate("JSON.stringify(groups)")) == ["alder\n", "birch\n"]
    phone.type("1", "l", "4", "Enter")
    browser.evaluate("press('group 1')")
    assert phone.reads("where") == "Putt 1 of 5"
    phone.type("2", "r", "4", "Enter")
    log = phone.file(tmp_path / "visit.csv")
    assert log.putts.groupby("player")["line_deg"].first().to_dict() == {"alder": -1, "birch": 2}
