"""What checks answer: their table, and which of them failed."""

from dataclasses import FrozenInstanceError

import pandas as pd
import pytest

from putlab.posterior.checks import FAIL, NOTE, PASS, Verdict, failures, verdict_table

VERDICTS = [
    Verdict("R-hat", PASS, "The chains agree."),
    Verdict("tails", NOTE, "A few putts are far out.", pd.DataFrame({"putt": [3]})),
    Verdict("divergences", FAIL, "The sampler lost its way."),
]


def test_the_table_has_a_row_a_check_in_their_order():
    table = verdict_table(VERDICTS)
    assert table.to_dict("list") == {
        "check": ["R-hat", "tails", "divergences"],
        "result": ["pass", "note", "fail"],
        "sentence": [
            "The chains agree.",
            "A few putts are far out.",
            "The sampler lost its way.",
        ],
    }


def test_no_checks_make_an_empty_table_of_the_same_columns():
    table = verdict_table([])
    assert list(table.columns) == ["check", "result", "sentence"]
    assert table.empty


def test_only_a_fail_keeps_a_fit_out():
    assert failures(VERDICTS) == [VERDICTS[2]]
    assert failures(VERDICTS[:2]) == []


def test_a_check_without_numbers_has_an_empty_table_and_a_short_name_for_itself():
    assert VERDICTS[0].table.empty
    assert "table" not in repr(VERDICTS[1])


def test_an_answer_cannot_be_changed_afterwards():
    with pytest.raises(FrozenInstanceError, match="result"):
        VERDICTS[2].result = PASS
