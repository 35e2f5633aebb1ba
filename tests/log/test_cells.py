"""Single cells: what is a number, a flag, a label, and what is not."""

import datetime

import numpy as np
import pandas as pd
import pytest

from putlab.base.words import printable
from putlab.log.cells import quoted, read_flags, read_labels, read_numbers, text_of


def text(*cells):
    return pd.Series(cells, dtype=object)


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("12", 12.0),
        (" 12.5 ", 12.5),
        ("12,5", 12.5),
        ("+3", 3.0),
        ("-.5", -0.5),
        ("\u22122", -2.0),  # the minus sign of typesetting
        ("1e1", 10.0),
        ("5.", 5.0),
        ("\u00a07", 7.0),  # a space that does not break
        ("-0", 0.0),
    ],
)
def test_numbers_people_write(cell, value):
    read, wrong = read_numbers(text(cell))
    assert read[0] == value
    assert not np.signbit(read[0]) or value < 0
    assert not wrong


@pytest.mark.parametrize("cell", ["", "  ", "NA", "n/a", "NaN", "null", "None", None, np.nan])
def test_blanks_are_missing_not_wrong(cell):
    read, wrong = read_numbers(text(cell, "1"))
    assert np.isnan(read[0])
    assert not wrong
    assert read_labels(text(cell, "a"))[0].isna().tolist() == [True, False]
    assert read_flags(text(cell, "yes"))[0].isna().tolist() == [True, False]


@pytest.mark.parametrize(
    ("cell", "reason"),
    [
        ("12 ft", "ft where no unit is expected"),
        ("R2", "not a plain number"),
        ("1.234,5", "not a plain number"),
        ("1_000", "not a plain number"),
        ("0x10", "not a plain number"),
        ("\u0661\u0662", "not a plain number"),
        ("--2", "not a plain number"),
        ("=1+1", "not a plain number"),
        ("inf", "not a finite number"),
        ("-Infinity", "not a finite number"),
        ("1e999", "not a finite number"),
        ("2025-05-12", "a date where a number is expected"),
    ],
)
def test_what_is_no_number(cell, reason):
    read, wrong = read_numbers(text("1", cell))
    assert read[0] == 1
    assert np.isnan(read[1])
    assert wrong[1].startswith(reason)


def test_a_count_takes_no_comma_that_could_mean_thousands():
    assert read_numbers(text("1,000"), whole=True)[1] == {0: "a comma in a whole number"}


def test_true_and_false_are_no_numbers():
    read, wrong = read_numbers(pd.Series([True, None], dtype="boolean"))
    assert np.isnan(read).all()
    assert list(wrong) == [0]


@pytest.mark.parametrize("cell", ["true", "TRUE", "Yes", "y", "1", 1, 1.0, True])
def test_holed(cell):
    assert read_flags(text(cell))[0].tolist() == [True]


@pytest.mark.parametrize("cell", ["false", "No", "N", "0", 0, 0.0, False])
def test_missed(cell):
    assert read_flags(text(cell))[0].tolist() == [False]


@pytest.mark.parametrize("cell", ["maybe", "2", "wahr", "x"])
def test_neither(cell):
    read, wrong = read_flags(text(cell))
    assert read.isna().tolist() == [True]
    assert wrong == {0: "not true or false"}


def test_labels_are_trimmed_and_composed():
    # The same name with the accent as one character and as two (Unicode forms C and D).
    read, _ = read_labels(text("Zoë", " Zoe\u0308 ", "zoë"))
    assert list(read) == ["Zoë", "Zoë", "zoë"]


@pytest.mark.parametrize("label", ["<script>alert(1)</script>", "=1+1", "@x", "{{7*7}}", "'"])
def test_markup_and_formulas_are_plain_text(label):
    assert list(read_labels(text(label))[0]) == [label]


def test_the_apostrophe_that_makes_a_formula_text_is_taken_off():
    assert list(read_labels(text("'=1+1", "'quoted'"))[0]) == ["=1+1", "'quoted'"]


@pytest.mark.parametrize("label", ["a\nb", "a\x00b", "a\x1b[31m", "\ud800"])
def test_control_characters_are_refused_in_labels(label):
    read, wrong = read_labels(pd.Series([label], dtype=object))
    assert read.isna().tolist() == [True]
    assert "control character" in wrong[0]


def test_only_known_drills_are_drills():
    read, wrong = read_labels(text("Line", "putting"), choices=("line", "pace"))
    assert list(read)[:1] == ["line"]
    assert wrong == {1: "not an accepted label"}


@pytest.mark.parametrize(
    ("value", "typed"),
    [
        (12.0, "12"),
        (0.1, "0.1"),
        (1e-7, "0.0000001"),
        (True, "true"),
        (datetime.datetime(2025, 3, 14), "2025-03-14"),
        (datetime.datetime(2025, 3, 14, 18, 5), "2025-03-14 18:05"),
        (datetime.date(2025, 3, 14), "2025-03-14"),
        (pd.NaT, ""),
        (float("nan"), "nan"),
        (" x ", "x"),
    ],
)
def test_a_value_as_it_would_be_typed(value, typed):
    assert text_of(value) == typed


def test_a_quoted_cell_is_short_and_harmless():
    assert quoted("\x1b[2J") == "\\x1b[2J"
    assert quoted("a\u202eb") == "ab"  # turned the direction of what followed; nobody saw it
    assert quoted(None) == quoted(pd.NA) == ""
    assert printable("plain Zoë") == "plain Zoë"


def test_made_and_missed_may_be_words():
    values, unreadable = read_flags(pd.Series(["made", "Missed", "in", "out", "holed"]))
    assert list(values) == [True, False, True, False, True]
    assert unreadable == {}
