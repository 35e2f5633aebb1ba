"""What a result says of itself where nothing more is asked of it."""

from dataclasses import dataclass, field

import pandas as pd

from putlab.base.result import Result


@dataclass(frozen=True)
class Told(Result):
    draws: list = field(default_factory=lambda: list(range(10_000)))
    sentence = "Practise line."


@dataclass(frozen=True)
class Rows(Result):
    table: pd.DataFrame


def test_a_result_is_shown_by_its_sentence_or_the_size_of_its_table_and_not_by_its_draws():
    assert repr(Told()) == "<Told: Practise line.>"
    assert repr(Rows(pd.DataFrame({"a": [1, 2]}))) == "<Rows: 2 rows>"
