"""Today against usual: an ordinary day is not news, a changed golfer is."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from made_golfers import MadeGolfer
from made_logs import simulated_log
from scipy.stats import chi2
from statsmodels.stats.multitest import multipletests

from putlab.base.errors import UsageError
from putlab.log.rules import ReadingRules
from putlab.practice.review import (
    FEW,
    NEW,
    NEWS,
    ODD,
    Review,
    choose_session,
    judge,
    log_before,
    review,
    review_everybody,
    two_sided,
)
from putlab.practice.targets import ordinary_days, planned_putts, usual_band

RULES = ReadingRules(line_step_deg=1.0, roll_step_ft=0.1)
LENGTHS = (6.0, 10.0, 24.0)
USUAL = {"setup": (0.2, 2.0), "form": 0.05, "log_sd": 0.05}


def putts_of(each=8, lengths=LENGTHS):
    return pd.concat([planned_putts(d, each) for d in lengths], ignore_index=True)


def day_of(golfer, putts, seed, number=0):
    """Return a day's readings of a golfer, who may not be the usual one."""
    shown = ordinary_days(golfer, putts, RULES, days=number + 1, seed=seed)
    return putts.assign(**{name: values[number] for name, values in shown.items()})


def test_ordinary_days_rarely_make_news():
    golfer, putts = MadeGolfer(**USUAL), putts_of()
    days = ordinary_days(golfer, putts, RULES, days=120, seed=99)
    news = [
        (judge(golfer, putts.assign(line=a, pace=b), RULES)["verdict"] == NEW).any()
        for a, b in zip(days["line"], days["pace"], strict=True)
    ]
    # 5 % of 120 is 6; 12 or more would happen in 2 of 100 runs (binomial).
    assert np.sum(news) <= 11


def test_many_looks_alone_would_make_a_discovery_of_most_days():
    golfer, putts = MadeGolfer(**USUAL), putts_of()
    days = ordinary_days(golfer, putts, RULES, days=40, seed=98)
    odd = [
        (judge(golfer, putts.assign(line=a, pace=b), RULES)["p"] <= NEWS).any()
        for a, b in zip(days["line"], days["pace"], strict=True)
    ]
    assert np.mean(odd) > 3 * NEWS


def test_a_golfer_twice_as_wide_is_news():
    usual, today = MadeGolfer(**USUAL), MadeGolfer(line_sd_deg=2.2, **USUAL)
    table = judge(usual, day_of(today, putts_of(20), 5), RULES)
    news = table[table["verdict"] == NEW]
    wide = news[(news["component"] == "line") & (news["measure"] == "spread")]
    assert len(wide) == len(LENGTHS)


def test_the_chance_of_a_spread_is_that_of_the_chi_square_law():
    # Exact readings, one session, spread known: (n - 1) s^2 / sigma^2 is chi-square.
    golfer, putts, exact = MadeGolfer(), putts_of(10, (6.0,)), ReadingRules()
    today = putts.assign(line=1.6 * np.linspace(-1.5, 1.5, 10), pace=np.nan)
    row = judge(golfer, today, exact, seed=3).query("measure == 'spread'").iloc[0]
    tail = chi2.sf(9 * row["today"] ** 2, 9)
    assert row["p"] == pytest.approx(2 * tail, rel=0.25)


def test_lengths_of_a_stretch_are_one_look_each_in_its_own_band():
    # 5 and 7 ft lie in one stretch; 16 and 24 ft, in another, have bands of their own.
    today = putts_of(4, (5.0, 7.0, 16.0, 24.0)).assign(line=0.0, pace=4.0)
    table = judge(MadeGolfer(**USUAL), today, RULES)
    assert table["from_ft"].unique().tolist() == [4.0, 15.0]
    assert set(table["putts"]) == {8}
    share = table.query("measure == 'share inside' and component == 'pace'").set_index("from_ft")
    days = {
        d: ordinary_days(MadeGolfer(**USUAL), planned_putts(d, 10), RULES) for d in (16.0, 24.0)
    }
    inside = [usual_band("pace", days[d]["pace"], d, RULES).holds(np.array([4.0])) for d in days]
    assert share.loc[15.0, "today"] == pytest.approx(np.mean(inside))


def test_few_putts_of_each_of_many_lengths_say_something_together():
    table = judge(
        MadeGolfer(**USUAL), putts_of(2, (5.0, 6.0, 7.0)).assign(line=0.0, pace=0.0), RULES
    )
    assert set(table["putts"]) == {6}
    assert FEW not in set(table["verdict"])


def test_looks_are_adjusted_by_benjamini_and_hochberg():
    table = judge(MadeGolfer(**USUAL), day_of(MadeGolfer(**USUAL), putts_of(), 6), RULES)
    expected = multipletests(table["p"], method="fdr_bh")[1]
    assert table["p_adjusted"].to_numpy(float) == pytest.approx(expected)


def test_two_good_ones_say_nothing():
    today = putts_of(2, (6.0,)).assign(line=0.0, pace=0.0)
    table = judge(MadeGolfer(**USUAL), today, RULES)
    assert set(table["verdict"]) == {FEW}
    said = Review("golfer", "today", 9, table, []).sentence
    assert "too few putts" in said
    assert "Two good ones in a row are not evidence" in said


def test_a_component_that_was_not_read_is_left_out():
    table = judge(MadeGolfer(), putts_of().assign(line=0.0, pace=np.nan), RULES)
    assert set(table["component"]) == {"line"}


def test_a_day_without_practice_has_an_empty_table():
    assert judge(MadeGolfer(), putts_of().iloc[:0], RULES).empty


def test_the_chance_is_two_sided_and_never_nought():
    days = np.arange(1.0, 100.0)
    assert two_sided(1000.0, days) == pytest.approx(2 / 100)
    assert two_sided(50.0, days) == 1.0
    assert two_sided(95.0, days) == pytest.approx(2 * 6 / 100)


def review_of(**rows):
    row = {"stretch": "4 to 8 ft", "from_ft": 4.0, "to_ft": 8.0, "component": "line",
           "measure": "spread", "putts": 8, "today": 2.0, "ordinary_lo": 0.7,
           "ordinary_hi": 1.4, "p": 0.001, "p_adjusted": 0.001}  # fmt: skip
    return Review("golfer", "today", 9, pd.DataFrame([row | rows]), [])


def test_the_sentence_names_the_news():
    said = review_of(verdict=NEW).sentence
    assert (
        "news among 1 check: line spread from 4 to 8\u00a0ft 2.00° (ordinary days 0.70 to 1.40)"
        in said
    )


def test_the_sentence_puts_an_odd_look_in_its_place():
    said = review_of(verdict=ODD).sentence
    assert "an ordinary day" in said
    assert "1 of 1 checks would be odd alone" in said


def test_an_ordinary_day_is_called_one():
    said = review_of(verdict="ordinary").sentence
    assert said == "golfer, today: an ordinary day, nothing of it is news."


def test_shares_and_biases_are_said_in_their_own_units():
    share = review_of(verdict=NEW, measure="share inside", today=0.25)
    bias = review_of(verdict=NEW, measure="bias", component="pace", today=-12.0)
    assert "share of line inside the band from 4 to 8\u00a0ft 25" in share.sentence
    assert "pace bias from 4 to 8\u00a0ft −12.0\u202f% (" in bias.sentence


def test_a_visits_label_with_markup_does_not_run():
    measures = ("spread", "bias", "share inside")
    table = pd.concat([review_of(verdict=NEW, measure=measure).table for measure in measures])
    html = Review("<b>x</b>", "<i>y</i>", 9, table, ["<u>z</u>"])._repr_html_()
    assert "+2.00°\\n+0.70 to +1.40" in html
    assert not {"<b>x", "<i>y", "<u>z"} & set(html.replace(">", ">\n").split("\n"))
    assert "&lt;b&gt;" in html
    assert "&lt;u&gt;" in html


def test_few_visits_before_are_pointed_out(log):
    found = review(log, player="player 1", session="visit 02", seed=1,
                   fit=lambda part: MadeFit())  # fmt: skip
    assert any("1 earlier visit" in note for note in found.notes)


def test_a_visit_of_games_only_says_that_nothing_was_practised(log):
    last = log.putts["session"] == "visit 04"
    putts = log.putts.assign(drill=np.where(last, "counted", "both"))
    found = review(replace(log, putts=putts), player="player 1", seed=1,
                   fit=lambda part: MadeFit())  # fmt: skip
    assert found.table.empty
    assert any("no practice putts" in note for note in found.notes)
    assert "too few putts" in found.sentence


@pytest.fixture
def log(rng):
    return simulated_log(rng, players=2, sessions=4, lengths=[6.0, 10.0], each=6)


def test_usual_is_known_from_the_visits_before_only(log):
    before = log_before(log, {"player 1": "visit 03"})
    left = before.putts.groupby("player")["session"].unique()
    assert list(left["player 1"]) == ["visit 01", "visit 02"]
    assert len(left["player 2"]) == 4


def test_the_last_visit_is_reviewed_where_none_is_named(log):
    assert choose_session(log, "player 1", None) == "visit 04"


def test_an_unknown_visit_lists_those_there_are(log):
    with pytest.raises(UsageError, match="'visit 03', 'visit 04'"):
        choose_session(log, "player 1", "visit 9")


def test_a_first_visit_has_no_usual(log):
    with pytest.raises(UsageError, match="no usual"):
        choose_session(log, "player 1", "visit 01")


class MadeFit:
    """A fit that knows every golfer beforehand."""

    def golfer(self, player):
        golfer = MadeGolfer(lengths=[6.0, 10.0])
        golfer.player = player
        return golfer


def test_a_roster_is_reviewed_with_one_fit(log):
    fitted = []
    found = review_everybody(log, seed=1, fit=lambda part: fitted.append(part) or MadeFit())
    assert [one.player for one in found] == ["player 1", "player 2"]
    assert len(fitted) == 1
    assert all(one.earlier == 3 for one in found)


def test_who_was_not_there_is_passed_over(log):
    gone = (log.putts["player"] == "player 2") & (log.putts["session"] == "visit 04")
    log = replace(log, putts=log.putts[~gone].reset_index(drop=True))
    found = review_everybody(log, session="visit 04", seed=1, fit=lambda part: MadeFit())
    assert [one.player for one in found] == ["player 1"]


def test_a_visit_that_nobody_has_is_refused(log):
    with pytest.raises(UsageError, match="no session"):
        review_everybody(log, session="visit 9", seed=1, fit=lambda part: MadeFit())


def test_a_new_condition_is_pointed_out(log):
    today = log.putts["session"] == "visit 04"
    putts = log.putts.assign(condition=np.where(today, "new grip", "old grip"))
    found = review(replace(log, putts=putts), player="player 1", seed=1,
                   fit=lambda part: MadeFit())  # fmt: skip
    assert any("new grip is new today" in note for note in found.notes)


def test_the_same_seed_gives_the_same_review(log):
    first, second = (review_everybody(log, seed=4, fit=lambda part: MadeFit()) for _ in range(2))
    assert first[0].table.equals(second[0].table)
