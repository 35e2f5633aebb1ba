"""The report of players fitted alone: everybody on one page, and who has no result."""

import pickle

import pytest

from putlab.base.errors import FitError, UsageError
from putlab.pages.findings import find
from putlab.pages.page import FitsApart, told, write_roster_report
from putlab.posterior.roster import RosterResult


def meta(line, pace="pass"):
    def checks(result):
        return {"R-hat": {"result": result, "sentence": f"It is a {result}."}}

    diagnostics = {"line": checks(line), "pace": checks(pace)}
    return {"seed": 1, "versions": {"numpy": "2"}, "interval": 0.9, "diagnostics": diagnostics}


def test_checks_of_many_fits_name_who_did_not_plainly_pass():
    players = {f"p{n}": meta("note" if n < 7 else "pass") for n in range(9)}
    found = FitsApart(5, players).meta()
    assert found["seed"] == 5
    line = found["diagnostics"]["line"]["R-hat"]
    assert line["result"] == "note"
    assert line["sentence"].startswith("R-hat: 2 of 9 players pass. p0: It is a note.")
    assert line["sentence"].endswith("And 2 more.")
    pace = found["diagnostics"]["pace"]["R-hat"]
    assert pace == {"result": "pass", "sentence": "R-hat: 9 of 9 players pass."}


def test_a_player_not_in_the_log_is_refused_before_any_fit(demo_log, tmp_path):
    with pytest.raises(UsageError, match="Did you mean 'birch'"):
        write_roster_report(tmp_path / "r.html", demo_log, player="birhc")
    assert not (tmp_path / "r.html").exists()


@pytest.mark.slow
def test_the_page_holds_those_with_a_result_and_names_the_others(
    demo_log, demo_fit, tmp_path, monkeypatch
):
    """Fits of the whole roster stand in for fits alone: what is tested is the page."""
    asked = {}

    def instead(log, work, **options):
        asked.update(options, work=work)
        found = {n: (find(demo_log, demo_fit, n), demo_fit.meta()) for n in ("alder", "birch")}
        found = pickle.loads(pickle.dumps(found))  # as between processes
        return RosterResult(found, {"rowan": "the line fit did not converge"})

    monkeypatch.setattr("putlab.pages.page.each_player", instead)
    page = tmp_path / "report.html"
    with pytest.raises(FitError, match="1 of 3 players have no result. rowan: the line fit"):
        write_roster_report(page, demo_log, seed=4, workers=2)
    assert (asked["work"], asked["seed"], asked["workers"]) == (told, 4, 2)
    text = page.read_text(encoding="utf-8")
    assert "there is no result for rowan: the line fit did not converge" in text
    assert "2 of 2 players pass." in text
    assert 'id="player-2"><bdi>birch</bdi>' in text


def test_told_is_what_the_report_says_of_the_one_player(demo_log, demo_fit, monkeypatch):
    monkeypatch.setattr("putlab.pages.page.find", lambda log, fit, player: player)
    assert told(demo_log, demo_fit) == ("alder", demo_fit.meta())
