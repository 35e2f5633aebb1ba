"""Spread over visits, and the change: the numbers drawn against other routes."""

import re
from dataclasses import dataclass, replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from demo_findings import findings, one

from putlab.pages import chart as look
from putlab.pages import charts
from putlab.pages.progress_charts import change_chart, diary_chart, ratio_table, unusual_words
from putlab.trial.conditions import Conditions


def test_progress_is_level_trend_form_and_condition(demo_fit):
    table = charts.progress_table(demo_fit.golfer("birch"), [10.0])
    posterior = demo_fit.posteriors["line"]["posterior"].dataset.stack(every=("chain", "draw"))
    visits = demo_fit.visits.reset_index(drop=True)
    last = visits.index[visits["player"] == "birch"][-1]
    log_sd = (
        posterior["level"].sel(player="birch", length=10.0)
        + posterior["trend"].sel(player="birch") * visits.loc[last, "practised"]
        + posterior["visit_form"].isel(session=last)
        + posterior["effect"].sel(condition="birch: new routine")
    )
    low, high = np.quantile(np.exp(log_sd), [0.05, 0.95])
    assert table["line_sd_deg"].iloc[-1] == pytest.approx(float(np.exp(log_sd).mean()), rel=0.01)
    assert table["line_sd_deg_lo"].iloc[-1] == pytest.approx(low, rel=0.02)
    assert table["line_sd_deg_hi"].iloc[-1] == pytest.approx(high, rel=0.02)
    assert list(table["condition"]) == ["new routine and usual routine"] * 6 + ["new routine"] * 4


@pytest.mark.parametrize(
    "label", ["$\\frac{", "_hidden", "<b>bold</b>", "走り", "x" * 200, "", "&amp;"]
)
def test_any_label_can_be_drawn(label):
    table = pd.DataFrame({"session": ["a", "b"], "condition": ["usual", label]})
    table = table.assign(distance_ft=10.0)
    for name in ("line_sd_deg", "pace_sd_pct"):
        table = table.assign(**{name: 1.0, name + "_lo": 0.8, name + "_hi": 1.2})
    chart = charts.progress_chart(label, table)
    svg = chart.svg()
    assert "<b>bold" not in svg
    assert re.search(r"<text[^>]*>" + re.escape(look.label_of("usual")), svg)
    assert len(look.label_of(label)) <= look.LONGEST_LABEL + 1


def test_one_visit_alone_is_drawn(demo_log, demo_fit):
    table = charts.progress_table(demo_fit.golfer("alder")).head(1)
    axis = charts.progress_chart("alder", table).figure.axes[0]
    assert 1 in axis.get_xticks()
    assert all(tick == round(tick) for tick in axis.get_xticks())


def most_struck(estimates):
    """Return the length of each stretch of distance from which most putts were struck."""
    stretch = pd.cut(estimates["distance_ft"], [0, 4, 8, 15, 25, np.inf], right=False)
    at = estimates.groupby(stretch, observed=True)["putts"].idxmax()
    return estimates.loc[at, "distance_ft"].tolist()


def test_words_of_progress_give_the_numbers_drawn(demo_log, demo_fit):
    found = findings(demo_log, demo_fit, "birch")
    progress = one(found, "progress")
    assert list(progress.table["distance_ft"].unique()) == most_struck(found.estimates)
    first, last = progress.table.query("distance_ft == 3")["line_sd_deg"].iloc[[0, -1]]
    assert f"was {first:.2f}° at the first visit and {last:.2f}° (" in progress.alt
    assert f"Progress of birch over {len(found.visits)} visits" in progress.alt


def test_what_was_not_read_is_called_so(demo_fit):
    table = charts.progress_table(demo_fit.golfer("alder"))
    axes = charts.progress_chart("alder", table, measured=["line"]).figure.axes[:2]
    titles = [axis.get_title("left") for axis in axes]
    assert titles == ["Line spread, degrees", "Pace spread: not read"]


def test_conditions_are_named_although_pace_was_not_read(demo_fit):
    pace = demo_fit.designs["pace"]
    unread = replace(pace, rows=pace.rows[pace.rows["player"] != "birch"])
    fit = replace(demo_fit, designs=demo_fit.designs | {"pace": unread})
    table = charts.progress_table(fit.golfer("birch"), [10.0])
    assert list(table["condition"]) == ["new routine and usual routine"] * 6 + ["new routine"] * 4


def test_a_visit_far_from_the_others_is_news(demo_fit):
    posterior = demo_fit.posteriors["pace"]["posterior"].dataset
    sessions = demo_fit.designs["pace"].sessions.reset_index(drop=True)
    last = sessions.index[sessions["player"] == "birch"][-1]
    moved = posterior.copy(deep=True)
    moved["visit_bias"][:, :, last] += 5 * float(posterior["visit_bias_sd"].mean())
    fit = replace(demo_fit, posteriors=demo_fit.posteriors | {"pace": {"posterior": Held(moved)}})
    found = charts.unusual_visits(fit.golfer("birch"))
    row = found[(found["component"] == "pace") & (found["kind"] == "middle")].iloc[-1]
    assert row["session"] == sessions.loc[last, "session"]
    assert "long of usual, further than 19 in 20 days do" in unusual_words(row)


@dataclass
class Held:
    """A posterior group that holds a data set."""

    dataset: object


def comparison(**changes):
    ratio = {"mean": 0.8, "lo": 0.7, "hi": 0.9, "p_improved": 0.99}
    by_distance = pd.DataFrame(
        {
            "distance_ft": [5.0, 10.0],
            **{f"line_sd_ratio_{e}": [0.7, 0.9] for e in ("mean", "lo", "hi")},
        }
    )
    base = {
        "line_sd_ratio": ratio, "pace_sd_ratio": None, "by_distance": by_distance,
        "metric": "line", "too_small_pct": 5.0, "verdict": "helped",
        "conditions": Conditions("birch", before="", after="new $grip"),
    }  # fmt: skip
    return SimpleNamespace(**base | changes)


def test_the_change_is_drawn_overall_and_by_length():
    found = comparison()
    assert list(ratio_table(found)["label"]) == ["line, all lengths", "5\u00a0ft", "10\u00a0ft"]
    chart = change_chart(found)
    assert "new $grip against none: line spread became 0.80 times" in chart.alt
    assert "Verdict: helped" in chart.svg()


def test_many_lengths_are_left_to_the_overall_ratio():
    rows = pd.DataFrame({"distance_ft": np.arange(1.0, 13.0)})
    rows = rows.assign(**{f"line_sd_ratio_{end}": 0.9 for end in ("mean", "lo", "hi")})
    assert len(ratio_table(comparison(by_distance=rows))) == 1


def diary(gauges, visits_left, **changes):
    visits = np.arange(1, len(gauges) + 1)
    lines = pd.DataFrame({"visits": visits, "mean": 0.8, "gauge": gauges})
    lines = lines.assign(lo=0.8 - 0.3 / visits, hi=0.8 + 0.3 / visits, visits_left=visits_left)
    pair = SimpleNamespace(labels=("none", "new $grip"))
    base = {"diary": lines, "fault": None, "plan": None, "conditions": pair}
    return comparison(**base | changes)


def test_the_diary_marks_every_visit_by_what_it_said():
    chart = diary_chart(diary(["not yet"] * 3 + ["helped"], [np.nan, np.nan, np.nan, 0]))
    marked = {
        bars.get_label(): bars.lines[0].get_xdata() for bars in chart.figure.axes[0].containers
    }
    assert {said: list(at) for said, at in marked.items()} == {"not yet": [1, 2, 3], "helped": [4]}
    assert "after 1 visit, 0.80 (0.50 to 1.10), not yet; after 4 visits" in chart.alt
    assert chart.alt.endswith("Now: helped.")
    assert len(chart.table) == 4


@pytest.mark.parametrize(
    ("changes", "now"),
    [
        ({"plan": object()}, "Now: not yet, 3 visits of the planned trial left"),
        ({}, "Now: not yet, about 3 more visits by the forecast"),
        ({"fault": "before and after"}, "Now: not yet, nor by this design"),
        ({"metric": "strokes", "too_small_strokes": 0.1}, "Now: not yet, about 3 more visits"),
    ],
)
def test_the_diary_says_what_is_left_and_whose_word_it_is(changes, now):
    chart = diary_chart(diary(["not yet"] * 2, [4, 3], **changes))
    assert now in chart.figure.axes[0].get_title(loc="left")
    assert now in chart.alt
