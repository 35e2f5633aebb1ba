"""Whom a golfer is compared with: the tour's record and golfer, references of the user's own."""

import numpy as np
import pytest
from scipy.optimize import least_squares
from shipped_figures import fit_ninety

from putlab.base.errors import UsageError
from putlab.green import published
from putlab.green.hole_out import hole_out
from putlab.green.skill import Skill
from putlab.rounds.reference import (
    LEVELS,
    NINETY_HANDICAP,
    level_names,
    level_skill,
    read_reference,
    reference_golfer,
    tour_golfer,
    tour_reference,
    tour_times,
)

# Line and pace spread of the tour golfer: degrees, percent.
TOUR = np.array([published.TOUR_LINE_SD_DEG, published.TOUR_PACE_SD_PCT])
ROLL = {"stimp_ft": 10.0, "past_ft": 1.0}


def spreads(skill):
    return np.array([skill.line_sd_deg[0, 0], skill.pace_sd_pct[0, 0]])


def test_strokes_gained_on_the_tour_by_hand():
    """PGA TOUR / Broadie (2011): 1.5 putts from 8 ft, 2.0 from 33 ft."""
    gained = tour_reference().gained([8.0, 8.0, 33.0, 33.0], [1, 2, 1, 3])
    assert gained == pytest.approx([0.5, -0.5, 1.0, -1.0], abs=0.02)


def test_nothing_is_claimed_where_nothing_was_published():
    assert np.all(np.isnan(tour_reference().gained([0.5, 80.0], [1, 2])))


def test_tour_reference_names_its_source():
    assert "Broadie" in tour_reference().source


def test_own_reference_is_read_and_interpolated(tmp_path):
    path = tmp_path / "club.csv"
    path.write_text("distance_ft,average_putts,source\n5,1.4,club survey\n15,1.9,club survey\n")
    reference = read_reference(path)
    assert (reference.name, reference.source) == ("club", "club survey")
    assert reference.at(10.0) == pytest.approx(1.65)


def test_reference_without_a_source_says_so(tmp_path):
    path = tmp_path / "club.csv"
    path.write_text("distance_ft,average_putts\n5,1.4\n15,1.9\n")
    assert read_reference(path).source == "club.csv, which states no source"


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("distance_ft,putts\n5,1.4\n", "got the columns distance_ft, putts; expected a column"),
        ("distance_ft,average_putts\n5,1.4\n", "two distances or more"),
        ("distance_ft,average_putts\n5,1.4\n5,1.5\n", "distance_ft 5 in row 3"),
        ("distance_ft,average_putts\n0,1\n5,1.5\n", "distance_ft 0 in row 2"),
        ("distance_ft,average_putts\n5,1.4\n9,0.4\n", "average_putts 0.4 in row 3"),
        ("distance_ft,average_putts\n5,1.4\n9,two\n", "average_putts two in row 3"),
        ("distance_ft,average_putts\n5,1.4\n9,\n", "average_putts nan in row 3"),
        ("", "could not be read as CSV"),
    ],
)
def test_damaged_references_are_refused_with_the_place(tmp_path, text, match):
    path = tmp_path / "club.csv"
    path.write_text(text)
    with pytest.raises(UsageError, match=match):
        read_reference(path)


def test_missing_reference_is_named(tmp_path):
    with pytest.raises(UsageError, match="no such file"):
        read_reference(tmp_path / "none.csv")


def test_numbers_written_down_are_those_that_the_fit_finds():
    golfer, written = tour_golfer(), reference_golfer("tour", **ROLL)
    fitted = [golfer.line_sd_deg, golfer.pace_sd_pct]
    assert spreads(written.skill) == pytest.approx(fitted, rel=1e-4)
    # Technique is 34 % of the variance (Karlsen and Nilsson 2008).
    technique = 1 - np.square(written.green(mixed=False)) / np.square(fitted)
    assert technique == pytest.approx([0.34, 0.34], abs=1e-4)


def test_tour_golfer_says_how_near_it_comes_to_the_record():
    golfer = tour_golfer()
    worst = golfer.table.groupby("figure")["off"].agg(lambda off: off.abs().max())
    assert f"within {worst['average putts']:.3f} of the published" in golfer.sentence
    assert f"within {100 * worst['share holed']:.1f} points" in golfer.sentence


def test_the_tours_own_average_putts_make_a_golfer_near_the_one_fitted_to_both_records():
    golfer = reference_golfer(tour_reference(), stimp_ft=11.0, past_ft=1.0)
    assert spreads(golfer.skill)[0] == pytest.approx(tour_golfer().line_sd_deg, rel=0.1)
    assert (golfer.name, "Broadie" in golfer.source) == ("tour average", True)


def between_levels(handicap):
    """Spreads at a handicap between two levels, straight in log."""
    known = [(LEVELS[level], np.log(spreads(level_skill(level)))) for level in LEVELS]
    handicaps, logs = zip(*known, strict=True)
    return np.exp([np.interp(handicap, handicaps, part) for part in np.transpose(logs)])


def test_the_factor_written_down_is_the_one_that_the_fit_finds():
    assert fit_ninety() == pytest.approx(published.NINETY_TIMES_TOUR, abs=1e-4)


def test_who_scores_90_holes_about_what_is_published():
    """Broadie (2014), second-hand: 50 % at 5 ft, 27 % at 8 ft, 6 % at 20 ft; within 2 points."""
    lengths_ft, shares = zip(*published.NINETY_ONE_PUTT.items(), strict=True)
    golfer = tour_times(published.NINETY_TIMES_TOUR)
    assert hole_out(golfer, lengths_ft, **ROLL).one_putt[0] == pytest.approx(shares, abs=0.02)


def test_published_shares_alone_do_not_tell_the_line_of_who_scores_90_from_the_pace():
    """Why one factor is fitted: freed, pace goes to 44 %, four times that of good amateurs."""
    lengths_ft, shares = np.array(list(published.NINETY_ONE_PUTT.items())).T

    def misses(logs):
        skill = Skill.constant(*np.exp(logs))
        return hole_out(skill, lengths_ft, **ROLL).one_putt[0] - shares

    fit = least_squares(misses, np.log([2.0, 12.0]), diff_step=1e-3)
    assert np.exp(fit.x[1]) == pytest.approx(44, abs=1)


def test_levels_pass_through_the_tour_golfer_and_who_scores_90():
    assert spreads(level_skill("tour")) == pytest.approx(TOUR)
    expected = published.NINETY_TIMES_TOUR * TOUR
    assert between_levels(NINETY_HANDICAP) == pytest.approx(expected)
    steps = np.diff([np.log(spreads(level_skill(level))) for level in LEVELS], axis=0)
    # Five strokes of handicap between any two levels.
    assert steps == pytest.approx(np.full((6, 2), steps[0, 0]))
    assert steps[0, 0] > 0


def test_levels_agree_with_the_pace_of_good_amateurs():
    """Karlsen and Nilsson (2008), not fitted to: 10.6 % over different putts, handicap 2.8."""
    expected = published.PACE_SD_DIFFERENT_PUTTS_PCT
    assert between_levels(2.8)[1] == pytest.approx(expected, abs=0.5)


@pytest.mark.parametrize("level", [None, *LEVELS])
def test_reading_and_surface_are_two_thirds_of_a_golfers_own_variance(level):
    """Karlsen and Nilsson (2008): reading 60 %, surface 6 %, technique 34 %."""
    golfer = reference_golfer(level, **ROLL)
    technique = np.sqrt(0.34) * spreads(golfer.skill)
    assert np.hypot(technique, golfer.green(mixed=False)) == pytest.approx(spreads(golfer.skill))
    # Half of reading, 30 %, is judging a new length, which practice of mixed lengths shows.
    practised = np.sqrt([0.34, 0.64]) * spreads(golfer.skill)
    assert np.hypot(practised, golfer.green(mixed=True)) == pytest.approx(spreads(golfer.skill))


def test_parts_of_the_tour_golfer_by_hand():
    golfer = reference_golfer(**ROLL)
    assert golfer.name == "tour golfer"
    green = golfer.green(mixed=False)
    assert green == pytest.approx((1.150, 7.238), abs=1e-3)
    assert np.hypot((0.8254, 5.1952), green) == pytest.approx((1.4155, 8.9093), abs=1e-3)
    assert golfer.green(mixed=True) == pytest.approx((1.150, 5.346), abs=1e-3)


def test_a_level_is_named_in_short_or_in_full():
    short, full = reference_golfer("15", **ROLL), reference_golfer("handicap 15", **ROLL)
    assert spreads(short.skill) == pytest.approx(spreads(full.skill))
    assert short.name == full.name == "15-handicap golfer"
    assert short.source.startswith("assumption: ")
    assert "Broadie" in short.source
    assert reference_golfer("scratch", **ROLL).name == "scratch golfer"


def test_a_file_of_average_putts_and_a_skill_are_references_too(tmp_path):
    path = tmp_path / "club.csv"
    reference = tour_reference()
    rows = zip(reference.distance_ft, reference.average_putts, strict=True)
    lines = [f"{feet},{putts},club survey" for feet, putts in rows]
    path.write_text("\n".join(["distance_ft,average_putts,source", *lines]))
    golfer = reference_golfer(str(path), **ROLL)
    assert (golfer.name, golfer.source) == ("club", "club survey")
    same = reference_golfer(reference, **ROLL)
    assert spreads(golfer.skill) == pytest.approx(spreads(same.skill))
    given = reference_golfer(tour_times(1.0), **ROLL)
    assert (given.name, given.source) == ("reference golfer", "given")
    assert given.green(True) == pytest.approx(reference_golfer("tour", **ROLL).green(True))


def test_neither_a_level_nor_a_file_lists_the_levels():
    assert level_names() == "tour, scratch, 5, 10, 15, 20, 25"
    match = r"reference champion: neither a level \(tour, scratch, 5, 10, 15, 20, 25\) nor a file"
    with pytest.raises(UsageError, match=match):
        reference_golfer("champion", **ROLL)
