"""Names stay out of what is shown and written when labels are asked for."""

from dataclasses import replace

import pandas as pd
from made_logs import log_of

from putlab.log.read import with_pseudonyms


def a_log(names):
    putts = pd.DataFrame({"player": names, "session": "s", "distance_ft": 10.0, "line_deg": 0.0})
    return log_of(putts)


def test_labels_follow_the_order_of_first_putts():
    labelled = with_pseudonyms(a_log(["wren", "finch", "wren"]))
    assert labelled.putts["player"].tolist() == ["player 1", "player 2", "player 1"]


def test_a_log_that_grows_keeps_its_labels():
    short, long = (with_pseudonyms(a_log(names)) for names in (["b", "a"], ["b", "a", "0"]))
    assert long.putts["player"].tolist()[:2] == short.putts["player"].tolist()


def test_rejected_values_and_warnings_hold_no_names():
    log = a_log(["Ann", "Anna"])
    rejects = pd.DataFrame({"column": ["player", "line_deg"], "value": ["Ann" * 99, "2 left"]})
    hidden = with_pseudonyms(replace(log, rejects=rejects, warnings=["Anna and Ann differ"]))
    assert hidden.rejects["value"].tolist() == ["(hidden)", "2 left"]
    assert hidden.warnings == ["player 2 and player 1 differ"]
