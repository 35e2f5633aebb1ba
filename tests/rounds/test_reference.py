"""Whom a golfer is compared with: the tour's record and golfer, references of the user's own."""

import numpy as np
import pytest

from putlab.base.errors import UsageError
from putlab.rounds.reference import (
    read_reference,
    reference_skill,
    tour_golfer,
    tour_reference,
    tour_skill,
)


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
    golfer = tour_golfer()
    written = (float(part[0, 0]) for part in (tour_skill().line_sd_deg, tour_skill().pace_sd_pct))
    assert list(written) == pytest.approx([golfer.line_sd_deg, golfer.pace_sd_pct], rel=1e-4)
    # Technique is 34 % of the variance (Karlsen and Nilsson 2008).
    technique = tour_skill(technique_only=True).pace_sd_pct[0, 0]
    assert technique**2 / golfer.pace_sd_pct**2 == pytest.approx(0.34, rel=1e-3)


def test_tour_golfer_says_how_near_it_comes_to_the_record():
    golfer = tour_golfer()
    worst = golfer.table.groupby("figure")["off"].agg(lambda off: off.abs().max())
    assert f"within {worst['average putts']:.3f} of the published" in golfer.sentence
    assert f"within {100 * worst['share holed']:.1f} points" in golfer.sentence


def test_the_tours_own_average_putts_make_a_golfer_near_the_one_fitted_to_both_records():
    skill, name, source = reference_skill(tour_reference(), stimp_ft=11.0, past_ft=1.0)
    assert skill.line_sd_deg[0, 0] == pytest.approx(tour_golfer().line_sd_deg, rel=0.1)
    assert (name, "Broadie" in source) == ("tour average", True)
