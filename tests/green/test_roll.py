"""One putt on a slope, asked of the front door; the command's own tests simulate it."""

import numpy as np
import pytest
from slope_simulation import roll_out

from putlab.base.errors import UsageError
from putlab.green.roll import Roll, roll
from putlab.green.slope import NeverStops


def test_straight_putt_stops_where_it_does_step_by_step():
    putt = roll(14, slope_pct=3, slope_to_deg=110, stimp_ft=11, past_ft=2)
    along, right, _ = roll_out(11, 3, [110], 1e6, 0, 16, step_s=0.005)
    assert putt.stop_along_ft == pytest.approx(along[0], abs=1e-3)
    assert putt.stop_right_ft == pytest.approx(right[0], abs=1e-3)


def test_a_green_that_falls_left_is_the_mirror_image_of_one_that_falls_right():
    right, left = (roll(8, slope_pct=2, slope_to_deg=to) for to in (70, -70))
    for name in ("stop_right_ft", "break_ft", "aim_deg"):
        assert getattr(left, name) == pytest.approx(-getattr(right, name), abs=1e-6)
    assert left.one_putt == pytest.approx(right.one_putt, abs=1e-6)


def test_table_and_sentence_say_the_same():
    putt = Roll(11.0, 0.4, 0.3, -1.25, 10.5, 0.8, 0.5)
    assert putt.table.iloc[0].tolist() == [11.0, 0.4, 0.3, -1.25, 10.5, 0.8, 0.5]
    assert putt.sentence == (
        "Start it 1.25 degrees left of the straight line to the hole with the pace that rolls "
        "10.50 ft on the flat: it drops 50.0% of the time."
    )


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"distance_ft": 0.1}, "distance_ft 0.1: expected more than the hole's radius, 0.177"),
        ({"distance_ft": np.nan}, "distance_ft nan"),
        ({"distance_ft": 201}, "at most 200"),
        ({"past_ft": -10}, "past_ft -10: expected a target in front of the ball"),
        ({"slope_to_deg": np.inf}, "slope_to_deg inf"),
        ({"line_sd_deg": 0}, "line_sd_deg 0: expected 0.01 to 30"),
        ({"pace_sd_pct": 100}, "pace_sd_pct 100: expected 0.1 to 60"),
    ],
)
def test_what_makes_no_putt_is_refused_by_the_name_of_the_argument(given, said):
    with pytest.raises(UsageError, match=said):
        roll(**{"distance_ft": 10} | given)


def test_a_ball_that_would_not_stop_is_said_so():
    with pytest.raises(NeverStops, match="slope of 8 % at a green speed of 12 ft"):
        roll(10, slope_pct=8, stimp_ft=12)
