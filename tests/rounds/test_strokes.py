"""Strokes gained: the published tour record, and references of the user's own."""

import numpy as np
import pytest

from putlab.base.errors import UsageError
from putlab.rounds.reference import read_reference, tour_reference


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
    assert read_reference(path, source="counted by hand").source == "counted by hand"


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
        ("distance_ft,average_putts\n5,1.4\n9,two\n", "average_putts 'two' in row 3"),
        ("distance_ft,average_putts\n5,1.4\n9,\n", "average_putts 'nan' in row 3"),
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
