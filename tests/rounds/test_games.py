"""Counted games: reading them, scores expected, and how much wider the spread is."""

import itertools

import brute_force
import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from putlab.base.errors import LogError, UsageError
from putlab.green.hole_out import hole_out
from putlab.green.skill import Skill
from putlab.log.read import read_log
from putlab.rounds.expected import hole_chances
from putlab.rounds.first_putts import RoundMix, shipped_mix
from putlab.rounds.games import (
    DIRECTIONS,
    card_in_words,
    deal_game,
    finished_holes,
    game_scores,
    golfer_at_visit,
    judge_games,
    score_chances,
)
from putlab.rounds.reference import tour_reference

GOLFER = Skill.constant(1.3, 9.0)


def putts_of(holes, **labels):
    """Return log rows of holes given as ``(hole_no, distance_ft, putts)``."""
    rows = [
        {"hole_no": hole, "distance_ft": length if n == 1 else 2.0, "putt_no": n}
        | {"holed": n == putts}
        for hole, length, putts in holes
        for n in range(1, putts + 1)
    ]
    blank = dict.fromkeys(("stimp_ft", "slope_pct", "slope_to_deg", "putts_taken"), np.nan)
    labels = {"player": "fern", "session": "one", "condition": None} | blank | labels
    return pd.DataFrame(rows).assign(**labels).astype({"holed": "boolean"})


def holes_table(distance_ft, **columns):
    blank = {"stimp_ft": 10.0, "slope_pct": np.nan, "slope_to_deg": np.nan}
    return pd.DataFrame({"distance_ft": distance_ft} | blank | columns)


def test_a_hole_is_its_first_putt_and_the_putts_taken():
    holes, notes = finished_holes(putts_of([(1, 10.0, 2), (2, 30.0, 3), (3, 4.0, 1)]))
    assert list(holes["distance_ft"]) == [10, 30, 4]
    assert list(holes["putts"]) == [2, 3, 1]
    assert notes == []


def test_games_are_told_apart_by_visit_and_by_holes_that_come_again():
    first = putts_of([(1, 10.0, 2), (2, 30.0, 2), (1, 6.0, 1)])
    second = putts_of([(1, 9.0, 1)], session="two")
    holes, _ = finished_holes(pd.concat([first, second], ignore_index=True))
    assert list(holes["game"]) == [1, 1, 2, 3]


def test_broken_holes_are_left_out_with_a_note():
    good = putts_of([(1, 10.0, 2)])
    lost = putts_of([(3, 10.0, 3)]).drop(index=0)
    twice = putts_of([(4, 10.0, 2)]).assign(holed=pd.array([True, True], "boolean"))
    holes, notes = finished_holes(pd.concat([good, lost, twice], ignore_index=True))
    assert list(holes["hole_no"]) == [1]
    assert "hole 3: putts 2, 3 are not 1, 2, 3" in notes[0]
    assert "hole 4: a putt follows one that was holed" in notes[1]


def test_a_game_with_unfinished_holes_is_refused_by_name_not_scored():
    played = putts_of([(1, 10.0, 1), (2, 20.0, 2), (3, 4.0, 1), (4, 30.0, 2)])
    first = played[played["putt_no"] == 1]  # holed, yes or no, and nothing more
    other = putts_of([(1, 9.0, 1)], session="two")
    holes, notes = finished_holes(pd.concat([first, other], ignore_index=True))
    assert list(holes["session"]) == ["two"]
    assert "one: hole 2 and hole 4 not finished, so this game has no score" in notes[0]
    with pytest.raises(LogError, match="no finished counted game. fern, one: hole 2 and hole 4"):
        finished_holes(first)


def test_a_row_may_stand_for_a_hole_with_its_putts_taken(tmp_path):
    text = "session,distance_m,hole_no,putts_taken\nv,3,1,2\nv,1.2,2,1\nv,9,3,3\n"
    (tmp_path / "game.csv").write_text(text)
    log = read_log(tmp_path / "game.csv")
    holes, notes = finished_holes(log.putts)
    assert list(holes["putts"]) == [2, 1, 3]
    assert notes == []
    assert list(log.putts["holed"]) == [False, True, False]  # of the first putt


def test_putts_taken_must_agree_with_the_putts_written():
    rows = putts_of([(1, 10.0, 3), (2, 5.0, 2)])
    rows["putts_taken"] = [2.0, np.nan, np.nan, 2.0, np.nan]
    holes, notes = finished_holes(rows)
    assert list(holes["hole_no"]) == [2]
    assert "hole 1: putts_taken says 2, but 3 are written" in notes[0]


def test_nothing_is_conceded_so_the_last_putt_dropped_where_nobody_says():
    rows = putts_of([(1, 10.0, 2)]).assign(holed=pd.array([pd.NA, pd.NA], "boolean"))
    assert finished_holes(rows)[0]["putts"].tolist() == [2]


def test_a_log_without_games_is_told_how_to_deal_one():
    with pytest.raises(LogError, match="`deal_game` deals one"):
        finished_holes(putts_of([(1, 10.0, 2)]).assign(hole_no=np.nan))


def test_demo_games_are_all_read(demo_log):
    holes, _ = finished_holes(demo_log.putts)
    assert set(holes.groupby(["player", "game"]).size()) <= {8, 9}
    assert holes["player"].nunique() == 3


def test_score_is_the_convolution_of_its_holes_by_hand():
    chances = np.zeros((1, 3, 10))
    chances[0, :, 0], chances[0, :, 1] = 0.5, 0.5
    expected = binom.pmf(np.arange(4), 3, 0.5)
    assert score_chances(chances)[3:7] == pytest.approx(expected)


def test_score_of_a_golfer_against_struck_games():
    lengths_ft = [4.0, 10.0, 25.0]
    chances = hole_chances(GOLFER, holes_table(lengths_ft))[0]
    setting = ([10], [1.3], [0.0], [9.0], [0.0], 10.0, 1.0)
    rng = np.random.default_rng(4)
    struck = sum(brute_force.play(setting, d, 200_000, rng)[0] for d in lengths_ft)
    found = score_chances(chances)
    for score in range(3, 9):
        assert found[score] == pytest.approx(np.mean(struck == score), abs=0.004)


def test_draws_share_a_golfer_so_their_games_spread_wider():
    one, other = np.zeros((2, 1, 9, 10))
    one[..., 0], other[..., 1] = 1, 1
    both = score_chances(np.concatenate([one, other]))
    assert both[9] == pytest.approx(0.5)
    assert both[18] == pytest.approx(0.5)


def test_game_scores_add_up():
    holes, _ = finished_holes(putts_of([(1, 10.0, 2), (2, 33.0, 3), (3, 4.0, 1)]))
    table = game_scores(holes, hole_chances(GOLFER, holes)[0], tour_reference())
    row = table.iloc[0]
    average = hole_out(GOLFER, [4.0, 10.0, 33.0]).average_putts.sum()
    assert (row["score"], row["par"]) == (6, 6)
    assert row["expected_score"] == pytest.approx(average, abs=0.002)
    assert row["gained_on_self"] == pytest.approx(average - 6, abs=0.002)
    # PGA TOUR average putts (Broadie 2012): 1.626, 2.001 and 1.147.
    assert row["gained_on_reference"] == pytest.approx(1.626 + 2.001 + 1.147 - 6)
    assert row["expected_lo"] <= row["expected_score"] <= row["expected_hi"]


@pytest.mark.slow
def test_demo_games_against_the_truth_they_were_made_from(demo_log, demo_fit):
    """Games were played up to exp(0.15) = 1.16 times as wide (`demo_truth` of demo_maker.py)."""
    for player, true in (("alder", 1.02), ("birch", 1.05), ("rowan", 1.13)):
        judged = judge_games(demo_fit, demo_log.putts, player)
        low, high = judged.ratio.interval
        assert low < true < high
        table = judged.table
        # Scores fall on both sides of what was expected, and within what was thought likely.
        likely = table["score"].between(table["expected_lo"], table["expected_hi"])
        assert likely.mean() >= 0.6
        assert {"counted_ratio", "chance_wider", "gained_on_reference"} <= set(table)


@pytest.mark.slow
def test_a_game_of_a_log_without_conditions_has_its_golfer(demo_fit):
    # A column without any label is of numbers to pandas: the condition comes as NaN.
    found = golfer_at_visit(demo_fit, "rowan", "2025-12-09", float("nan"))
    same = golfer_at_visit(demo_fit, "rowan", "2025-12-09", None)
    assert found.skill([10.0]).line_sd_deg.tolist() == same.skill([10.0]).line_sd_deg.tolist()


@pytest.mark.slow
def test_golfer_of_an_earlier_visit_is_the_one_of_less_practice(demo_fit):
    """rowan narrows with practice, birch with the new routine (`demo_truth` of demo_maker.py)."""
    then, now = (
        golfer_at_visit(demo_fit, "rowan", visit, None).skill([10.0]).pace_sd_pct.mean()
        for visit in ("2025-11-04", "2026-01-27")
    )
    assert then > now * 1.05
    old, new = (
        golfer_at_visit(demo_fit, "birch", "2025-12-09", f"{label} routine").skill([10.0])
        for label in ("usual", "new")
    )
    assert old.line_sd_deg.mean() > new.line_sd_deg.mean() * 1.1


def test_dealt_lengths_are_those_of_the_mix():
    mix = shipped_mix("handicap 10")
    cards = [deal_game(mix, 18, seed=seed, session="x") for seed in range(60)]
    lengths = np.concatenate([card["distance_ft"] for card in cards])
    for share in (0.25, 0.5, 0.75):
        below = np.interp(
            share, (np.cumsum(mix.first_putts) - mix.first_putts / 2) / 18, np.log(mix.distance_ft)
        )
        assert np.quantile(np.log(lengths), share) == pytest.approx(below, abs=0.08)
    totals = [card["distance_ft"].sum() for card in cards]
    # Dealt evenly, games differ far less than lengths drawn at random would (some 20 %).
    assert np.std(totals) / np.mean(totals) < 0.08


def test_same_seed_deals_the_same_game():
    mix = shipped_mix()
    first, second = (deal_game(mix, 9, seed=4, session="x") for _ in range(2))
    pd.testing.assert_frame_equal(first, second)
    assert not first.equals(deal_game(mix, 9, seed=5, session="x"))


def test_slopes_are_dealt_evenly():
    card = deal_game(shipped_mix(), 9, seed=1, session="x")
    assert sorted(card["slope_pct"]) == [1, 1, 1, 2, 2, 2, 3, 3, 3]
    assert set(card["slope_to_deg"]) <= set(DIRECTIONS)
    assert card["slope_to_deg"].nunique() == 8


def test_a_level_mat_with_marks_is_dealt_its_marks():
    marks = RoundMix("own", np.array([3.0, 6, 10]), np.array([6.0, 6, 6]), "counted")
    card = deal_game(marks, 9, seed=2, session="x", slopes_pct=(0,))
    assert sorted(card["distance_ft"]) == [3] * 3 + [6] * 3 + [10] * 3
    assert set(card["slope_pct"]) == set(card["slope_to_deg"]) == {0}
    assert set(card_in_words(card)["Slope"]) == {"level"}


@pytest.mark.parametrize("holes", [0, 19])
def test_number_of_holes_is_checked(holes):
    with pytest.raises(UsageError, match="1 to 18 holes"):
        deal_game(shipped_mix(), holes, seed=1, session="x")


def test_a_slope_that_no_hole_is_cut_on_is_refused():
    with pytest.raises(UsageError, match="0 to 5 %"):
        deal_game(shipped_mix(), 9, seed=1, session="x", slopes_pct=(1, 9))


def test_a_filled_in_card_is_a_log(tmp_path):
    card = deal_game(shipped_mix(), 9, seed=4, session="2026-02-03")
    second = card.iloc[[0]].assign(putt_no=2, holed="true", distance_ft=2.0)
    first = card.assign(holed=["false"] + ["true"] * 8)
    path = tmp_path / "card.csv"
    pd.concat([first.iloc[:1], second, first.iloc[1:]]).to_csv(path, index=False)
    log = read_log(path)
    holes, notes = finished_holes(log.putts)
    assert len(log.rejects) == 0
    assert notes == []
    assert list(holes["putts"]) == [2] + [1] * 8
    assert list(holes["slope_pct"]) == list(card["slope_pct"])
    assert set(log.putts["drill"]) == {"counted"}


def test_an_empty_card_says_what_is_missing(tmp_path):
    path = tmp_path / "card.csv"
    deal_game(shipped_mix(), 9, seed=4, session="2026-02-03").to_csv(path, index=False)
    with pytest.raises(LogError, match="no rows with a reading"):
        read_log(path)


def test_directions_are_told_card_in_words():
    pairs = itertools.pairwise(sorted(DIRECTIONS))
    assert {b - a for a, b in pairs} == {45}
    card = deal_game(shipped_mix(), 9, seed=4, session="x")
    words = card_in_words(card)
    assert words.loc[card["slope_to_deg"] == 90, "Slope"].str.endswith("falls right").all()
