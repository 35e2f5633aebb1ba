"""Charts: the numbers drawn against other routes, words that match them, steady pictures."""

import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from demo_findings import findings

from putlab.base.settings import STIMP_FT
from putlab.green.published import table
from putlab.green.skill import Skill
from putlab.model.priors import PRIORS
from putlab.pages import charts
from putlab.pages.charts import chart as look
from putlab.pages.findings import drawn_lengths
from putlab.pages.prior_charts import believed_readings
from putlab.pages.putt_charts import change_chart, ratio_table
from putlab.pages.strokes_charts import next_hour_chart, shown_causes
from putlab.rounds.reference import tour_golfer


def one(found, name):
    return next(chart for chart in found.charts if chart.name == name)


def luminance(colour):
    """Return relative luminance (W3C, Web Content Accessibility Guidelines 2.2)."""
    shares = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(shares <= 0.04045, shares / 12.92, ((shares + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


@pytest.mark.parametrize("colour", [look.BLUE, look.VERMILION, look.GREEN, look.GREY, look.INK])
def test_marks_stand_out_from_white(colour):
    # WCAG 2.2, 1.4.11: graphical objects have a contrast of at least 3 to 1.
    assert 1.05 / (luminance(colour) + 0.05) >= 3


def test_line_and_pace_differ_in_more_than_colour():
    assert look.MARKER["line"] != look.MARKER["pace"]


def dropped(distance_ft, right_ft, past_ft):
    """Tell whether a ball that would stop there drops: steps along its path, in metres."""
    path = np.hypot(right_ft, distance_ft + past_ft)
    line = np.arctan2(right_ft, distance_ft + past_ft)
    miss, along = abs(distance_ft * np.sin(line)), distance_ft * np.cos(line)
    radius = 4.25 / 24
    if miss >= radius or path < along - np.sqrt(radius**2 - miss**2):
        return False
    left_m = max(path - along, 0) * 0.3048
    slowing = 1.8288**2 / (2 * STIMP_FT * 0.3048)
    return np.sqrt(2 * slowing * left_m) <= 1.63 * (1 - (miss / radius) ** 2)


def test_ten_putts_hold_the_spread_and_bias_they_stand_for():
    skill = Skill.constant(1.2, 10.0, line_bias_deg=0.5, pace_bias_pct=-4.0)
    ten = charts.ten_putts(skill, 20.0, 0.0)
    missed = ten[ten["end"] != "holed"]
    line = np.degrees(np.arctan2(missed["right_ft"], 20 + missed["past_ft"]))
    roll = np.hypot(missed["right_ft"], 20 + missed["past_ft"])
    assert len(ten) == 10
    assert len(missed) == 10
    assert line.mean() == pytest.approx(0.5, abs=1e-6)
    assert roll.mean() == pytest.approx(21 * 0.96, abs=1e-6)
    # Ten points at the 5, 15 ... 95 % marks of a normal scatter by 0.93 of its spread.
    assert line.std(ddof=0) == pytest.approx(1.2 * 0.9305, rel=0.01)


@pytest.mark.parametrize("distance_ft", [3.0, 8.0, 25.0])
def test_ten_putts_end_as_the_hole_and_the_distance_say(distance_ft):
    ten = charts.ten_putts(Skill.constant(1.0, 9.0), distance_ft, 0.3)
    for ball in ten[ten["end"] != "holed"].itertuples():
        assert not dropped(distance_ft, ball.right_ft, ball.past_ft)
        assert (ball.end == "short") == (ball.past_ft < 0)


def test_ten_putts_drop_as_often_as_the_table_says(demo_log, demo_fit):
    for player in demo_fit.players:
        found = findings(demo_log, demo_fit, player)
        one_putt = found.estimates.set_index("distance_ft")["one_putt"]
        balls = one(found, "finish").table.groupby("distance_ft")["end"]
        for distance, holed in balls.agg(lambda end: (end == "holed").sum()).items():
            assert abs(holed - 10 * one_putt[distance]) <= 1


def test_visit_spreads_are_the_plain_spread_of_the_readings(demo_log):
    table = charts.visit_spreads(demo_log, "rowan").set_index(["session", "distance_ft"])
    putts = demo_log.putts
    rows = putts[
        (putts["player"] == "rowan") & (putts["session"] == "2025-12-02")
        & (putts["distance_ft"] == 10) & (putts["drill"] == "both")
    ]  # fmt: skip
    counted = putts[
        (putts["player"] == "rowan") & (putts["session"] == "2025-12-02")
        & (putts["distance_ft"] == 10) & (putts["putt_no"] == 1)
    ]  # fmt: skip
    line = pd.concat([rows["line_deg"], counted["line_deg"]]).dropna()
    roll = pd.concat([rows["roll_ft"] / 10, counted["roll_ft"] / 11]).dropna()
    row = table.loc[("2025-12-02", 10.0)]
    assert row["line_sd_deg"] == pytest.approx(np.std(line, ddof=1))
    assert row["pace_sd_pct"] == pytest.approx(100 * np.std(roll, ddof=1))


def test_a_new_day_is_wider_than_a_visit(demo_log, demo_fit):
    found = findings(demo_log, demo_fit, "rowan")
    assert (found.new_day["line_sd_deg"] > found.estimates["line_sd_deg"]).all()
    assert (found.new_day["pace_sd_pct"] > found.estimates["pace_sd_pct"]).all()


def test_progress_is_level_trend_form_and_condition(demo_fit):
    table = charts.progress_table(demo_fit.golfer("birch"))
    posterior = demo_fit.trees["line"]["posterior"].dataset.stack(every=("chain", "draw"))
    visits = demo_fit.visits.reset_index(drop=True)
    last = visits.index[visits["player"] == "birch"][-1]
    log_sd = (
        posterior["base"].sel(player="birch")
        + posterior["trend"].sel(player="birch") * visits.loc[last, "practised"]
        + posterior["form"].isel(session=last)
        + posterior["effect"].sel(condition="birch: new routine")
    )
    low, high = np.quantile(np.exp(log_sd), [0.05, 0.95])
    assert table["line_sd_deg"].iloc[-1] == pytest.approx(float(np.exp(log_sd).mean()), rel=0.01)
    assert table["line_sd_deg_lo"].iloc[-1] == pytest.approx(low, rel=0.02)
    assert table["line_sd_deg_hi"].iloc[-1] == pytest.approx(high, rel=0.02)
    assert list(table["condition"]) == ["usual routine"] * 5 + ["new routine"] * 5


def test_words_of_a_chart_give_the_numbers_it_draws(demo_log, demo_fit):
    found = findings(demo_log, demo_fit, "birch")
    widest = found.estimates.loc[found.estimates["line_sd_deg"].idxmax()]
    assert (
        f"most at {widest['distance_ft']:g} ft ({widest['line_sd_deg']:.2f}°"
        in one(found, "spread").alt
    )
    total = found.causes[found.causes["cause"] == "total"]
    worst = total.loc[total["strokes"].idxmax()]
    assert f"from {worst['distance_ft']:g} ft ({worst['strokes']:.2f}, " in one(found, "losses").alt
    best = found.advice.table.loc[found.advice.table["saved_next_hour"].idxmax()]
    said = f"most for {best['component']} at {best['distance_ft']:g} ft"
    assert said in one(found, "next-hour").alt
    assert found.change.verdict in one(found, "change").alt


def test_causes_add_up_to_the_strokes_lost(demo_log, demo_fit):
    causes = findings(demo_log, demo_fit, "alder").causes
    wide = causes.pivot(index="distance_ft", columns="cause", values="strokes")
    assert np.allclose(wide.drop(columns="total").sum(axis=1), wide["total"], atol=1e-9)
    assert shown_causes(wide.assign(**{"line bias": 0.0})).count("line bias") == 0


def test_pictures_are_the_same_each_time(demo_log, demo_fit):
    found = findings(demo_log, demo_fit, "alder")
    again = charts.spread_chart(
        found.estimates, found.new_day, charts.visit_spreads(demo_log, "alder")
    )
    first = one(found, "spread")
    assert first.svg() == again.svg()
    first.png()
    assert first.svg() == again.svg()


def test_a_chart_shows_itself_with_its_words(demo_log, demo_fit):
    chart = one(findings(demo_log, demo_fit, "alder"), "losses")
    data, metadata = chart._repr_mimebundle_()
    assert data["image/png"].startswith(b"\x89PNG")
    assert chart.alt in data["text/plain"]
    assert chart.alt in metadata["image/png"]["alt"]


@pytest.mark.parametrize(
    "label", ["$\\frac{", "_hidden", "<b>bold</b>", "走り", "x" * 200, "", "&amp;"]
)
def test_any_label_can_be_drawn(label):
    table = pd.DataFrame({"session": ["a", "b"], "condition": ["usual", label]})
    for name in ("line_sd_deg", "pace_sd_pct"):
        table = table.assign(**{name: 1.0, name + "_lo": 0.8, name + "_hi": 1.2})
    chart = charts.progress_chart(label, table)
    svg = chart.svg()
    assert "<b>bold" not in svg
    assert re.search(r"<text[^>]*>" + re.escape(look.label_of("usual")), svg)
    assert len(look.label_of(label)) <= look.LONGEST_LABEL + 1


def test_lengths_drawn_are_spread_out_and_hold_the_choice():
    assert drawn_lengths([3, 6, 10, 16, 24, 36]) == [3, 10, 36]
    assert drawn_lengths([3, 6, 10, 16, 24, 36], best=24) == [3, 10, 24]
    assert drawn_lengths([8.0]) == [8.0]


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
        "metric": "line", "region_pct": 5.0, "verdict": "helped",
        "arms": SimpleNamespace(before="", after="new $grip"),
    }  # fmt: skip
    return SimpleNamespace(**base | changes)


def test_the_change_is_drawn_overall_and_by_length():
    found = comparison()
    assert list(ratio_table(found)["label"]) == ["line, all lengths", "5 ft", "10 ft"]
    chart = change_chart(found)
    assert "new $grip against none: line spread became 0.80 times" in chart.alt
    assert "Verdict: helped" in chart.svg()


def test_many_lengths_are_left_to_the_overall_ratio():
    rows = pd.DataFrame({"distance_ft": np.arange(1.0, 13.0)})
    rows = rows.assign(**{f"line_sd_ratio_{end}": 0.9 for end in ("mean", "lo", "hi")})
    assert len(ratio_table(comparison(by_distance=rows))) == 1


def test_the_choice_is_ringed_where_it_stands(demo_log, demo_fit):
    advice = findings(demo_log, demo_fit, "birch").advice
    chart = next_hour_chart(advice)
    axis = chart.figure.axes[0]
    ring = next(line for line in axis.lines if line.get_fillstyle() == "none")
    lengths = np.sort(advice.table["distance_ft"].unique())
    assert lengths[int(round(ring.get_xdata()[0]))] == advice.choice[0]
    assert ring.get_ydata()[0] == advice.row["saved_next_hour"]


LENGTHS = [np.arange(3, 27), np.geomspace(3, 60, 24).round(1), [6, 6.5, 7], [10]]


@pytest.mark.parametrize("lengths", LENGTHS)
def test_labels_on_a_log_scale_never_overprint(lengths):
    with look.drawing(2.0, columns=2) as (figure, axes):
        look.distance_axis(axes[0, 0], lengths)
    figure.draw_without_rendering()
    labels = axes[0, 0].get_xticklabels()
    boxes = [label.get_window_extent() for label in labels]
    assert labels[0].get_text() == f"{lengths[0]:g}"
    assert all(a.x1 < b.x0 for a, b in zip(boxes, boxes[1:], strict=False))


def test_marks_of_many_lengths_side_by_side_are_thinned():
    with look.drawing(2.0, columns=2) as (_, axes):
        look.length_axis(axes[0, 1], np.arange(3, 27))
    side_by_side = axes[0, 1].get_xticks()
    assert len(side_by_side) <= look.MOST_MARKS
    labels = [text.get_text() for text in axes[0, 1].get_xticklabels()]
    assert labels == [f"{3 + place:g}" for place in side_by_side]


def test_what_was_not_read_is_called_so(demo_log, demo_fit):
    found = findings(demo_log, demo_fit, "alder")
    visits = charts.visit_spreads(demo_log, "alder")
    chart = charts.spread_chart(found.estimates, found.new_day, visits, measured=["line"])
    titles = [axis.get_title("left") for axis in chart.figure.axes]
    assert titles == ["Line spread, degrees", "Pace spread: not read"]


def test_one_visit_alone_is_drawn(demo_log, demo_fit):
    table = charts.progress_table(demo_fit.golfer("alder")).head(1)
    axis = charts.progress_chart("alder", table).figure.axes[0]
    assert list(axis.get_xticks()) == [1]


def sensitivity_of(costs, flips, tied):
    table = pd.DataFrame(
        {
            "assumption": ["as assumed", "green speed", "learning rate"],
            "value": ["", "8 ft", "0.04"],
            "flips": [False, *flips], "tied": [True, *tied], "costs": [0.0, *costs],
        }
    )  # fmt: skip
    return SimpleNamespace(table=table, choice=(6.0, "line"))


def test_what_the_choice_leans_on_counts_what_would_flip_it():
    chart = charts.leans_chart(sensitivity_of([0.02, 0.08], [True, True], [True, False]))
    assert "Of 2 other assumptions 1 would make another choice than line at 6 ft" in chart.alt
    assert "most costly is learning rate 0.04, 0.080 strokes" in chart.alt
    points = {line.get_label(): len(line.get_xdata()) for line in chart.figure.axes[0].lines}
    assert (points["another, but tied"], points["another"]) == (1, 1)
    assert points["still the choice"] == 0


def test_next_to_nothing_given_away_looks_like_next_to_nothing():
    chart = charts.leans_chart(sensitivity_of([0.0001, 0.0002], [False] * 2, [True] * 2))
    assert chart.figure.axes[0].get_xlim()[1] >= 0.05


def test_the_record_drawn_is_the_published_one():
    golfer = tour_golfer()
    chart = charts.record_chart(golfer)
    rates = chart.figure.axes[0].lines[0]
    frame = table("putts_made_broadie_2018").frame
    row = frame[frame["distance_ft"].between(9, 11)].iloc[0]
    at = list(rates.get_xdata()).index(row["distance_ft"])
    assert rates.get_ydata()[at] == pytest.approx(row["made"] / row["tries"])
    # Broadie (2014): tour professionals hole one putt in two from 8 ft.
    curve = chart.table
    half = np.interp(0.5, -curve["one_putt"] + 1, curve["distance_ft"])
    assert half == pytest.approx(8, abs=0.3)


def test_priors_are_drawn_with_the_medians_they_state():
    chart = charts.beliefs_chart()
    middle = chart.table[chart.table["distance_ft"] == 10].set_index("component")
    for component, prior in PRIORS.items():
        sd = np.hypot(prior.sd_log_sd, 1.2 * prior.between_median)
        assert middle.loc[component, "median"] == pytest.approx(prior.sd_median, rel=0.05)
        # A log-normal's 95 % point lies 1.645 of its log sd above the median.
        assert middle.loc[component, "hi"] == pytest.approx(
            prior.sd_median * np.exp(1.645 * sd), rel=0.15
        )


def test_first_visits_scatter_as_the_parts_of_their_story_add_up():
    """Spread of all readings by the law of total variance, with moments of log-normals."""
    prior = PRIORS["line"]

    def square(median, log_sd):
        # E[X^2] of a log-normal (any statistics text).
        return median**2 * np.exp(2 * log_sd**2)

    quiet = replace(prior, between_median=1e-6, bump_median=1e-6, form_median=1e-6)
    share = 0.2 * quiet.mishit_a / (quiet.mishit_a + quiet.mishit_b)
    within = square(quiet.sd_median, quiet.sd_log_sd) * (1 - share + 16 * share)
    middle = quiet.bias_sd**2 + sum(
        square(getattr(quiet, f"{name}_median"), getattr(quiet, f"{name}_log_sd"))
        for name in ("bias_bump", "setup")
    )
    drawn = believed_readings(quiet)
    assert drawn.std() == pytest.approx(np.sqrt(within + middle), rel=0.05)
    # Ten putts share their golfer's middle: two of them correlate by its part of the whole.
    shared = np.corrcoef(drawn[:, 0], drawn[:, 1])[0, 1]
    assert shared == pytest.approx(middle / (within + middle), abs=0.08)


def test_first_visits_are_told_in_words_with_the_ends_they_have():
    chart = charts.first_visit_chart()
    ends = chart.table.set_index("component").loc["line", ["lo", "hi"]]
    assert f"within {ends.abs().max():.1f}° of the line" in chart.alt
    assert all(len(axis.lines[0].get_xdata()) == 120 for axis in chart.figure.axes)
