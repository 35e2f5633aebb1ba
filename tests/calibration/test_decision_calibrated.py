"""Is the advice right as often as it says, and does acting on it pay? Long runs.

``uv run pytest -n 0 -m calibration tests/calibration/test_decision_calibrated.py``; rows of
golfers already run are kept in ``tests/results/decision_*.csv``, and only missing ones are
added.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))
sys.path.insert(0, str(Path(__file__).parent))

from decision_runs import (  # noqa: E402
    LAWS,
    MAKERS,
    RIVALS,
    SPOTS,
    drawn_golfer,
    main,
    margins,
    path_of,
    write_record,
)
from record import record  # noqa: E402
from simulated_golfers import OPTIONS, play_log, quick_fit  # noqa: E402

from putlab.practice.advice import advise_case
from putlab.practice.case import make_case

pytestmark = pytest.mark.calibration

GOLFERS = 30  # of each kind
COMPARED = 30


@pytest.fixture(scope="module")
def found():
    """Rows of every kind of golfer, those that are missing run first; what they amount to kept."""
    for law in LAWS:
        for kind in MAKERS:
            main(kind, GOLFERS, law)
    write_record()
    return {kind: pd.read_csv(path_of(kind)) for kind in MAKERS} | {
        f"{kind}, old law": pd.read_csv(path_of(kind, "old")) for kind in MAKERS
    }


@pytest.mark.parametrize("kind", MAKERS)
def test_the_answer_holds_the_best_option_and_is_short(found, kind):
    # Or one that truly saves as much to a hundredth of a stroke.
    assert found[kind]["held_named"].mean() >= 0.85
    assert found[kind]["named"].mean() <= 3


def test_a_planted_weak_spot_is_named(found):
    by_spot = found["planted"].groupby("spot")["spot_named"].mean()
    assert len(by_spot) == len(SPOTS)
    assert found["planted"]["spot_named"].mean() >= 0.90


@pytest.mark.parametrize("kind", [*MAKERS, *(f"{kind}, old law" for kind in MAKERS)])
def test_no_simple_rule_is_better_after_ten_hours(found, kind):
    table = margins(found[kind])
    assert all(table[rival]["hi"] > 0 for rival in RIVALS)
    assert table["nothing"]["lo"] > 0


def test_acting_on_the_advice_beats_every_rival_over_golfers_at_large(found):
    table = margins(found["drawn"])
    assert all(table[rival]["lo"] > 0 for rival in RIVALS)


@pytest.mark.parametrize(("said", "was"), [("p_choice", "right"), ("p_chosen", "held")])
def test_what_is_said_comes_true_as_often(found, said, was):
    rows = found["drawn"]
    expected, right = rows[said].mean(), int(rows[was].sum())
    low, high = binom.interval(0.99, len(rows), expected)
    assert low <= right <= high


def test_fits_with_fewer_draws_decide_as_full_ones_do():
    rng, compared = np.random.default_rng(77), []
    for number in range(COMPARED):
        log = play_log(drawn_golfer(rng, number), rng)
        quick, full = (
            advise_case(make_case(fit.golfer(), draws=draws), minutes=60)
            for fit, draws in (
                (quick_fit(log, seed=number), 100),
                (quick_fit(log, seed=number + 50, draws=1000, tune=500, chains=4), 200),
            )
        )
        saved = [advice.table["saved_next_hour"] for advice in (quick, full)]
        compared.append(
            {
                "named": quick.choice in [*full.chosen, *full.others],
                "p_apart_mean": np.abs(quick.savings.p_best - full.savings.p_best).mean(),
                "p_apart_max": np.abs(quick.savings.p_best - full.savings.p_best).max(),
                "saved_apart": np.abs(saved[0] / saved[1] - 1).max(),
                "ends_apart_in_widths": _ends_apart(quick.table, full.table),
            }
        )
    table = pd.DataFrame(compared)
    record(
        "decision_quick_fits",
        what="600 draws and 100 of skill against 4,000 and 200: choices, chances, savings",
        logs=len(table),
        options=len(OPTIONS),
        rows=table.to_dict("records"),
    )
    assert table["named"].all()
    # A chance counted over 100 draws has a standard error of up to 0.05.
    assert table["p_apart_mean"].max() < 0.05
    assert table["ends_apart_in_widths"].mean() < 0.10


def _ends_apart(quick, full):
    """Return how far interval ends lie apart, in widths of the full one's interval."""
    width = full["saved_next_hour_hi"] - full["saved_next_hour_lo"]
    ends = [
        np.abs(quick[f"saved_next_hour_{end}"] - full[f"saved_next_hour_{end}"]) / width
        for end in ("lo", "hi")
    ]
    return float(np.mean(ends))
