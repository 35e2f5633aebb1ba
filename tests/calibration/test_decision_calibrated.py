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
from scipy.stats import binom, t

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))
sys.path.insert(0, str(Path(__file__).parent))

from decision_runs import RESULTS, SPOTS, drawn_golfer, main  # noqa: E402
from record import record  # noqa: E402
from simulated_golfers import OPTIONS, play_log, quick_fit  # noqa: E402

from putlab.practice.advice import advise_case
from putlab.practice.case import make_case

pytestmark = pytest.mark.calibration

PLANTED, EVEN, DRAWN = 100, 100, 260
COMPARED = 30
OPTION_NAMES = np.array([f"{c} {d:g} ft" for d, c in OPTIONS])
RIVALS = ["equal", "longest", "shortest", "worst_average", "random"]


def rows(kind, count):
    """Return the rows of a kind of golfer, running those that are missing."""
    main(kind, count)
    return pd.read_csv(RESULTS / f"decision_{kind}.csv").head(count)


def test_a_planted_weak_spot_is_named_or_tied():
    found = rows("planted", PLANTED)
    by_spot = found.groupby("spot")["spot_tied"].mean()
    record(
        "decision_planted",
        what="weak spots planted, 300 putts; share named or tied, named outright, mean ties",
        logs=PLANTED,
        named_or_tied=found["spot_tied"].mean(),
        named_outright=(found["spot"] == found["choice"]).mean(),
        best_named_or_tied=found["tied"].mean(),
        choice_saves_share_of_best=(found["saved_choice"] / found["saved_best"]).mean(),
        mean_ties=found["ties"].mean(),
        by_tie_chance=tied_by_chance(found).to_dict("records"),
        by_spot=by_spot.to_dict(),
    )
    assert len(by_spot) == len(SPOTS)
    assert found["spot_tied"].mean() >= 0.90


def tied_by_chance(found):
    """Return what other limits of the kit's `TIE_CHANCE` would have called tied."""
    better = np.array([row.split() for row in found["better_all"]], dtype=float)
    rows = []
    for chance in (0.2, 0.25, 0.3, 1 / 3, 0.4):
        tied = (better >= chance) | (found["choice"].to_numpy()[:, None] == OPTION_NAMES)
        spot = found["spot"].to_numpy()[:, None] == OPTION_NAMES
        rows.append(
            {
                "tie_chance": chance,
                "named_or_tied": (tied & spot).any(axis=1).mean(),
                "mean_ties": tied.sum(axis=1).mean(),
            }
        )
    return pd.DataFrame(rows)


def test_without_a_weak_spot_no_choice_is_called_likely():
    found = rows("even", EVEN)
    record(
        "decision_even",
        what="no weak spot, 300 putts; share of logs whose highest p_best is above 0.6",
        logs=EVEN,
        share_above_060=(found["highest_p"] > 0.6).mean(),
        mean_highest_p=found["highest_p"].mean(),
        choice_saves_share_of_best=(found["saved_choice"] / found["saved_best"]).mean(),
        largest=found["highest_p"].max(),
        share_with_ties=(found["ties"] > 1).mean(),
    )
    assert (found["highest_p"] > 0.6).mean() <= 0.10
    assert (found["ties"] > 1).mean() >= 0.90


def margins(found):
    """Return mean strokes a round that the advice saves over each rival, with 90 % ends."""
    table = {}
    for rival in [*RIVALS, "nothing"]:
        gap = found[rival] - found["advice"]
        half = t.ppf(0.95, len(gap) - 1) * gap.sem()
        table[rival] = {"mean": gap.mean(), "lo": gap.mean() - half, "hi": gap.mean() + half}
    return table


def test_acting_on_the_advice_beats_every_rival():
    found = rows("drawn", DRAWN)
    table = margins(found)
    split = (found["advice"] - found["split"]).mean()
    record(
        "decision_ten_hours",
        what="strokes a round after ten hours, rival less advice; 90 % intervals over golfers",
        golfers=DRAWN,
        margins=table,
        split_less_advice=-split,
    )
    assert all(table[rival]["lo"] > 0 for rival in RIVALS)


def test_a_chance_of_a_half_or_two_thirds_comes_true_as_often():
    found = rows("drawn", DRAWN)
    said = found[found["p_choice"].between(0.5, 0.7)]
    expected, right = said["p_choice"].mean(), int(said["right"].sum())
    low, high = binom.interval(0.99, len(said), expected)
    table = reliability(found)
    record(
        "decision_reliability",
        what="choices said to be best with probability 0.5 to 0.7, and the share that are",
        golfers=DRAWN,
        choices=len(said),
        mean_probability=expected,
        share_right=right / len(said),
        all_options=table.to_dict("records"),
        regret_expected=found["regret_expected"].mean(),
        regret_true=(found["saved_best"] - found["saved_choice"]).mean(),
    )
    assert len(said) >= 20
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
                "tied": quick.choice in full.ties,
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
        rows=table.to_dict("records"),
    )
    assert table["tied"].all()
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


def reliability(found):
    """Return how often options of like probability were the best, over all options."""
    ps = np.array([row.split() for row in found["p_all"]], dtype=float)
    best = found["best"].to_numpy()[:, None] == OPTION_NAMES
    bins = pd.cut(ps.ravel(), [-0.01, 0.05, 0.15, 0.3, 0.5, 0.7, 1.0])
    table = pd.DataFrame({"bin": bins.astype(str), "p": ps.ravel(), "best": best.ravel()})
    table = table.groupby("bin").agg(
        options=("p", "size"), said=("p", "mean"), were=("best", "mean")
    )
    return table.reset_index()
