"""The session on the card: what was chosen first, one line a kind of drill."""

from types import SimpleNamespace

import pandas as pd
import pytest

from putlab.base.words import lengths_in
from putlab.pages.findings import session_lines


@pytest.mark.parametrize(
    ("component", "drills", "said"),
    [
        (
            "pace",
            [(20.0, "pace", 5), (5.0, "line", 10), (20.0, "pace", 5), (10.0, "pace", 5)],
            ["Pace: 5 from 10 ft and 10 from 20 ft", "Line: 10 from 5 ft"],
        ),
        (
            "line",
            [(3.0, "both", 20), (8.0, "both", 15)],
            ["Line and pace: 20 from 3 ft and 15 from 8 ft"],
        ),
    ],
)
def test_the_session_begins_with_what_was_chosen_and_counts_a_putt_once(component, drills, said):
    plan = SimpleNamespace(
        advice=SimpleNamespace(choice=(2, component)),
        table=pd.DataFrame(drills, columns=["distance_ft", "component", "putts"]),
        game=range(9),
    )
    with lengths_in("ft"):
        lines = [line.replace("\u00a0", " ") for line in session_lines(plan)]
    assert lines == ["Warm up for 5 minutes", *said, "A counted game of 9 holes"]
