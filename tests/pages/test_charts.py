"""All charts: where to look first, steady pictures that speak for themselves."""

import pytest
from demo_findings import findings, one

from putlab.base.errors import UsageError
from putlab.pages import charts
from putlab.rounds.estimate import estimate


def test_each_result_has_the_chart_in_which_people_look_first(demo_log, demo_fit):
    found = findings(demo_log, demo_fit, "birch")
    shown = [
        (found.advice, "next-hour"),
        (found.change, "change"),
        (found.lost, "losses"),
        (demo_fit.golfer("birch"), "spread"),
        (estimate(demo_fit, ["birch"]), "spread"),
    ]
    for result, name in shown:
        assert charts.chart_of(result).name == name
        assert result.chart().alt == charts.chart_of(result).alt


def test_of_an_unknown_kind_the_known_ones_are_told():
    with pytest.raises(
        UsageError, match="drawn of a dict; there is one of Advice, Backtest, Comparison"
    ):
        charts.chart_of({})


def test_estimates_of_several_players_are_not_drawn_as_one(demo_fit):
    with pytest.raises(UsageError, match="alder, birch and rowan"):
        charts.chart_of(estimate(demo_fit))


def test_pictures_are_the_same_each_time(demo_log, demo_fit):
    found = findings(demo_log, demo_fit, "alder")
    again = charts.readings_chart(demo_log, demo_fit.golfer("alder"))
    first = one(found, "readings")
    assert first.svg() == again.svg()
    first.png()
    assert first.svg() == again.svg()


def test_a_chart_shows_itself_with_its_words(demo_log, demo_fit):
    chart = one(findings(demo_log, demo_fit, "alder"), "losses")
    data, metadata = chart._repr_mimebundle_()
    assert data["image/png"].startswith(b"\x89PNG")
    assert chart.alt in data["text/plain"]
    assert chart.alt in metadata["image/png"]["alt"]
