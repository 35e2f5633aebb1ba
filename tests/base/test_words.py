"""Numbers in words: places, units, sides, and what a small chance is called."""

import pytest

from putlab.base import words
from putlab.base.words import THIN


@pytest.mark.parametrize(
    ("value", "name", "said"),
    [
        (0.8349, "line_sd_deg", "0.83°"),
        (7.36, "pace_sd_pct", f"7.4{THIN}%"),
        (0.644, "line_bias_deg", "0.64° right"),
        (-0.644, "line_bias_deg", "0.64° left"),
        (-4.81, "pace_bias_pct", f"4.8{THIN}% short"),
        (2.2, "pace_bias_pct", f"2.2{THIN}% long"),
        (0.001, "line_bias_deg", "0.00°"),
        (0.369, "one_putt", f"37{THIN}%"),
        (0.0004, "three_putt", f"<1{THIN}%"),
        (0.9991, "one_putt", f">99{THIN}%"),
        (1.0, "one_putt", f"100{THIN}%"),
        (0.0, "three_putt", f"0{THIN}%"),
        (1.637, "average_putts", "1.64"),
        (-0.0312, "strokes_lost", "−0.03"),
    ],
)
def test_a_quantity_has_the_places_unit_and_side_of_its_column(value, name, said):
    assert words.quantity(value, name) == said


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (0.32, 1.01, "0.32 to 1.01 right"),
        (-1.01, -0.32, "0.32 to 1.01 left"),
        (-0.02, 0.25, "0.02 left to 0.25 right"),
        (0.0, 0.25, "0.00 to 0.25 right"),
    ],
)
def test_an_interval_of_a_bias_names_its_sides(low, high, said):
    assert words.interval(low, high, "line_bias_deg") == said


def test_signed_numbers_carry_their_sign_and_nought_none():
    assert words.signed(0.64, "line_bias_deg") == "+0.64°"
    assert words.signed(-0.001, "line_bias_deg") == "0.00°"
    assert words.signed_interval(-0.02, 0.25, "line_bias_deg") == "−0.02 to +0.25"


@pytest.mark.parametrize(
    ("text", "said"),
    [("-0.58 to 0.33", "−0.58 to 0.33"), ("-0.00", "0.00"), ("a-b", "a-b"), ("-0.05", "−0.05")],
)
def test_minus_is_a_true_minus_and_never_before_nought(text, said):
    assert words.minus(text) == said


def test_no_probability_is_called_certain_or_impossible():
    said = [words.sure(p) for p in (0.0, 0.004, 0.62, 0.996, 1.0)]
    assert said == [f"under 1{THIN}%"] * 2 + [f"62{THIN}%"] + [f"over 99{THIN}%"] * 2
    assert words.sure(0.99996, 3) == f"99.996{THIN}%"
    assert words.sure(1.0, 1) == f"over 99.9{THIN}%"
    assert words.sure(0.0, 2) == f"under 0.01{THIN}%"


def test_an_interval_below_what_is_shown_says_so_once():
    assert words.interval(0.0001, 0.004, "three_putt") == "<1"
    assert words.interval(0.0001, 0.02, "three_putt") == "<1 to 2"
    assert words.interval(0.9991, 0.9999, "one_putt") == ">99"
    assert words.interval(1.0, 1.004, "average_putts") == "1.00 to 1.00"


def test_an_interval_in_a_narrow_column_takes_two_lines_at_most():
    assert words.together("0.72 to 0.96").split(" ") == ["0.72", "to\u00a00.96"]


def test_lists_counts_distances_and_cuts():
    assert words.listed(["3", "6", "10"]) == "3, 6 and 10"
    assert words.listed(["3"]) == "3"
    assert words.counted(1, "putt") == "1 putt"
    assert words.counted(1887, "row") == "1,887 rows"
    assert words.length_words(6.5616798) == "6.6\u00a0ft"
    assert words.shortened("x" * 30, most=10) == "x" * 9 + "…"


@pytest.mark.parametrize(
    ("metres", "said"),
    [(1.5, "1.5"), (1.25, "1.25"), (1.41, "1.4"), (7.62, "7.6"), (10, "10"), (0.3048, "0.3")],
)
def test_lengths_of_a_log_in_metres_are_said_in_metres_as_people_do(metres, said):
    # The international foot is 0.3048 m by definition (1959 agreement).
    with words.lengths_in("m"):
        assert words.length_words(metres / 0.3048) == f"{said}\u00a0m"
        told = words.lengths_said("first putts of 27 ft, then 6.2 ft, of 18 holes (after 3)")
    # 27 x 0.3048 = 8.23, 6.2 x 0.3048 = 1.89.
    assert told == "first putts of 8.2\u00a0m, then 1.9\u00a0m, of 18 holes (after 3)"
    assert words.length_words(10.0) == "10\u00a0ft"
