"""Each other story is noticed where it is true, and the model's own world is quiet.

Readings are made here from a known middle and spread, which stand in for the fitted ones; with
fits behind them the same is measured in `tests/calibration/worlds.py`.
"""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from putlab.log.rules import ReadingRules
from putlab.posterior.checks import _streaks, putt_places, residual_checks
from putlab.posterior.fit import Fit

VISITS, PUTTS = 12, 60
STEP = {"line": 0.25, "pace": 0.5}


def struck(rng, line=None, pace=None, *, days=None):
    """Return a fit that knows the truth (sd 1, no bias) and its readings' places under it."""
    size = VISITS * PUTTS
    z = {"line": line, "pace": pace}
    session = np.repeat([f"visit {i:02d}" for i in range(VISITS)], PUTTS)
    rows = pd.DataFrame({"player": "birch", "session": session, "distance_ft": 10.0})
    designs, posteriors, scores = {}, {}, {}
    for i, name in enumerate(z):
        value = rng.normal(size=size) if z[name] is None else z[name]
        read = np.round(value / STEP[name]) * STEP[name]
        reading = {"line": {"line_deg": read}, "pace": {"roll_ft": read + 10, "target_ft": 10.0}}
        half = STEP[name] / 2
        places = rows.assign(
            row=np.arange(size) % PUTTS, noise=0.0, lo=read - half, hi=read + half, **reading[name]
        )
        if name == "pace":
            places = places.assign(lo=10 * places["lo"], hi=10 * places["hi"])
        sd = {"line": 1.0, "pace": 10.0}[name]
        rules = ReadingRules(line_step_deg=STEP["line"], roll_step_ft=STEP["pace"])
        scores[name] = putt_places(places, (0.0, sd, 0.005), rules, name, seed=1)
        visits = rows[["player", "session"]].drop_duplicates()
        offset = rng.normal(size=VISITS) if days is None else days[i]
        posteriors[name] = {
            "posterior": xr.DataTree(
                xr.Dataset({"visit_bias": (("chain", "draw", "session"), offset[None, None])})
            )
        }
        designs[name] = SimpleNamespace(sessions=visits, rows=visits)
    fit = SimpleNamespace(seed=1, players=["birch"], designs=designs, posteriors=posteriors)
    return fit, scores


def noted(found):
    """Return what spoke up."""
    return {(part, v.name) for part, found in found.items() for v in found if v.result != "pass"}


def student(rng):
    return {name: rng.standard_t(3, VISITS * PUTTS) / np.sqrt(3) for name in ("line", "pace")}


def skewed(rng):
    return {"pace": (4 - rng.gamma(4, size=VISITS * PUTTS)) / 2}


def moving(rng):
    line, other = rng.normal(size=(2, VISITS * PUTTS))
    return {"line": line, "pace": 0.5 * line + np.sqrt(0.75) * other}


def capped(rng):
    return {"line": rng.normal(size=VISITS * PUTTS).clip(-2, 2)}


def tiring(rng):
    """Spread that has grown by 30 % at a visit's end."""
    width = np.tile(np.linspace(0.87, 1.13, PUTTS), VISITS)
    return {name: width * rng.normal(size=VISITS * PUTTS) for name in ("line", "pace")}


def in_streaks(rng):
    days = rng.normal(size=(2, VISITS)).cumsum(axis=1)
    return {"days": days}


@pytest.mark.parametrize(
    ("world", "part", "name", "word"),
    [
        (student, "line with pace", "tails", "in every degree"),
        (skewed, "pace", "two sides", "run farther short than long"),
        (capped, "line", "largest", "Declare line_limit_deg"),
        (moving, "line with pace", "together", "start right are struck hard"),
        (tiring, "line with pace", "within a visit", "grows wider"),
        (in_streaks, "line with pace", "streaks", "come in streaks"),
    ],
)
def test_another_world_is_noticed_and_said_in_words(rng, world, part, name, word):
    found = residual_checks(*struck(rng, **world(rng)))
    assert (part, name) in noted(found)
    (verdict,) = [v for v in found[part] if v.name == name]
    assert verdict.sentence.startswith("birch: ")
    assert word in verdict.sentence
    assert verdict.table["p_value"].item() < 0.02
    told = Fit.doubts(SimpleNamespace(checks=found), "birch")
    assert verdict.sentence.removeprefix("birch: ").lower() in [text.lower() for text in told]


def test_the_models_own_world_is_quiet(rng):
    """Eight checks may speak up in one log of twenty; in thirty, six would be one in 300."""
    loud = []
    for _ in range(30):
        mishits = np.where(rng.random((2, VISITS * PUTTS)) < 0.005, 4, 1)
        line, pace = mishits * rng.normal(size=mishits.shape)
        loud += [noted(residual_checks(*struck(rng, line, pace)))]
    assert sum(map(bool, loud)) <= 5


def test_a_putt_is_paired_with_itself_though_each_file_numbers_its_rows_anew(rng):
    fit, scores = struck(rng, **moving(rng))
    pairs = next(v for v in residual_checks(fit, scores)["line with pace"] if v.name == "together")
    z = [scores[name]["z"] for name in ("line", "pace")]
    assert pairs.table["size"].item() == pytest.approx(np.corrcoef(*z)[0, 1], abs=0.03)


def test_little_is_not_judged(rng):
    fit, scores = struck(rng, **skewed(rng))
    few = {name: rows.iloc[:30] for name, rows in scores.items()}
    found = residual_checks(fit, few)
    assert noted(found) <= {("line with pace", "streaks")}
    assert found["pace"][0].table.empty


def test_an_order_of_few_visits_is_among_the_orders_it_is_held_against(rng):
    """Of four visits there are 24 orders, and the one seen and its reverse are two of them."""
    sessions = [f"visit {i}" for i in range(4)] * 2
    rows = pd.DataFrame({"session": sessions, "component": np.repeat(["line", "pace"], 4)})
    for _ in range(20):
        offset = np.concatenate([np.sort(rng.normal(size=4)) for _ in range(2)])
        p_value, _ = _streaks(rows.assign(offset=offset), rng)
        assert p_value > 0.06
