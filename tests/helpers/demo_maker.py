"""The invented log that comes with the kit, made from known truth.

A village hall league in winter: three players, a 12 m indoor strip with marks at six
lengths, ten Tuesday evenings. Each evening every player strikes eight putts at each length,
mixed, without a hole, then plays nine counted holes of par two on the marks. The start
direction is shown in whole degrees, the roll-out in tenths of a foot, and a board behind the
strip stops the ball. Half way one player, birch, takes up a new routine before each putt.
Some evenings somebody typed a number wrong. Nothing here was measured on anybody.

``python tests/helpers/demo_maker.py FOLDER`` writes the log, its description and its truth.
"""

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from simulate import TrueComponent, rounded, simulate_errors

from putlab.base.settings import PAST_FT, STIMPMETER_FT_S
from putlab.base.writing import write_text
from putlab.green.flat import capture_limit_ft_s
from putlab.green.published import HOLE_RADIUS_FT
from putlab.log.files import write_datapackage
from putlab.log.read import write_log
from putlab.model.design import session_table

DEMO_SEED = 1203
PLAYERS = ["alder", "birch", "rowan"]
LENGTHS_FT = np.array([3.0, 6.0, 10.0, 16.0, 24.0, 36.0])
EVENINGS = [f"2025-{day}" for day in ("11-04", "11-11", "11-18", "11-25", "12-02", "12-09")] + [
    f"2026-01-{day:02d}" for day in (6, 13, 20, 27)
]
PUTTS_EACH, HOLES = 8, 9
OLD, NEW = "usual routine", "new routine"
STIMP_FT = 9.5
RULES = {"line_step_deg": 1.0, "roll_step_ft": 0.1, "roll_limit_ft": 39.0}

# A hole ends at ten putts, here as in the hole-out model.
MOST_PUTTS = 10


def demo_truth() -> dict[str, TrueComponent]:
    """Return what is true of the demo's players."""
    line_sd = [
        [0.85, 0.80, 0.80, 0.85, 0.80, 0.85],
        [1.05, 1.10, 1.60, 1.15, 1.05, 1.05],
        [1.90, 1.80, 1.75, 1.70, 1.75, 1.70],
    ]
    pace_sd = [
        [8.5, 7.5, 7.0, 7.0, 8.0, 9.5],
        [9.0, 8.0, 8.0, 8.5, 8.0, 8.0],
        [15.0, 14.0, 13.0, 13.0, 13.5, 14.0],
    ]
    line_bias = [[0.1] * 6, [0.7, 0.7, 0.8, 0.7, 0.6, 0.6], [-0.3] * 6]
    pace_bias = [[3, 2, 1, -1, -4, -7], [2] * 6, [5, 4, 3, 1, 0, -2]]

    def component(sd: list, bias: list, **each: list[float]) -> dict[str, Any]:
        arrays = {
            "level": np.log(sd),
            "bias": np.array(bias, float),
            "visit_form_sd": np.full(3, 0.06),
        }
        return arrays | {name: np.array(values) for name, values in each.items()}

    line = component(
        line_sd, line_bias, visit_bias_sd=[0.2, 0.25, 0.4], trend=[0.0, -0.02, -0.06],
        warm_up=[0.05, 0.1, 0.1], counted=[0.0, 0.05, 0.15], mishit_share=[0.01, 0.02, 0.04],
    )  # fmt: skip
    pace = component(
        pace_sd, pace_bias, visit_bias_sd=[1.5, 2.0, 3.0], trend=[0.0, 0.0, -0.08],
        warm_up=[0.1, 0.05, 0.1], counted=[0.05, 0.05, 0.1], mishit_share=[0.01, 0.01, 0.03],
    )  # fmt: skip
    change = {("birch", OLD): 0.15, ("birch", NEW): -0.15}
    return {
        "line": TrueComponent(**line, effect=change, shift=change),
        "pace": TrueComponent(**pace),
    }


def truth_table(putts: pd.DataFrame) -> pd.DataFrame:
    """Return the spread and bias that hold at the end of the log, within a visit."""
    visits = session_table(putts)
    total = putts.groupby("player", sort=False).size()
    first = visits.groupby("player", sort=False).first()
    practised = np.log1p(total / 100) - (np.log1p(first["putts_before"] / 100) - first["practised"])
    rows = []
    for p, player in enumerate(PLAYERS):
        at: dict[str, Any] = {"player": player, "distance_ft": LENGTHS_FT}
        for (name, t), unit in zip(demo_truth().items(), ("deg", "pct"), strict=True):
            log_sd = t.level[p] + t.trend[p] * practised[player] + t.effect.get((player, NEW), 0)
            at[f"{name}_sd_{unit}"] = np.exp(log_sd)
            at[f"{name}_bias_{unit}"] = t.bias[p] + t.shift.get((player, NEW), 0.0)
        rows.append(pd.DataFrame(at))
    return pd.concat(rows, ignore_index=True)


def demo_putts(seed: int = DEMO_SEED) -> pd.DataFrame:
    """Simulate the demo's putts, before anybody typed anything wrong."""
    rng = np.random.default_rng(seed)
    plan = pd.concat([_evening(i, rng) for i in range(len(EVENINGS))], ignore_index=True)
    truth = demo_truth()
    for name, t in truth.items():
        errors = simulate_errors(plan, t, rng, players=PLAYERS, lengths_ft=LENGTHS_FT)
        plan[f"{name}_true"] = errors
    practice = plan[plan["drill"] == "both"].assign(holed=None, hole_no=np.nan, putt_no=np.nan)
    practice["roll_true"] = practice["distance_ft"] * (1 + practice["pace_true"] / 100)
    practice["line_deg"] = rounded(practice["line_true"], RULES["line_step_deg"])
    practice["roll_ft"] = shown_roll_ft(practice["roll_true"])
    games = [_play_hole(hole, truth, rng) for hole in plan[plan["drill"] == "counted"].itertuples()]
    putts = pd.concat([practice, pd.concat(games)], ignore_index=True)
    order = {player: i for i, player in enumerate(PLAYERS)}
    putts = putts.assign(who=putts["player"].map(order), game=putts["drill"] == "counted")
    putts = putts.sort_values(["session", "who", "game"], kind="stable", ignore_index=True)
    putts["putt"] = putts.groupby(["session", "player"], sort=False).cumcount() + 1
    return putts.assign(stimp_ft=STIMP_FT)


def shown_roll_ft(roll_ft: ArrayLike) -> np.ndarray:
    """Return roll-outs as the strip shows them: in steps, and stopped by the board."""
    shown = rounded(np.clip(roll_ft, 0, RULES["roll_limit_ft"]), RULES["roll_step_ft"])
    return np.round(shown, 1)


def _evening(number: int, rng: np.random.Generator) -> pd.DataFrame:
    """Plan one evening: mixed practice, then the lengths of nine counted holes."""
    blocks = []
    for player in PLAYERS:
        practice = rng.permutation(np.repeat(LENGTHS_FT, PUTTS_EACH))
        game = rng.choice(LENGTHS_FT, HOLES, p=[0.14, 0.16, 0.18, 0.2, 0.18, 0.14])
        routine = NEW if number >= len(EVENINGS) / 2 else OLD
        block: dict[str, Any] = {"player": player, "session": EVENINGS[number]}
        block |= {"distance_ft": np.concatenate([practice, game])}
        block |= {"condition": routine if player == "birch" else None}
        block |= {"drill": ["both"] * practice.size + ["counted"] * HOLES}
        block |= {"hole_no": [np.nan] * practice.size + list(range(1, HOLES + 1))}
        blocks.append(pd.DataFrame(block))
    return pd.concat(blocks, ignore_index=True)


def _play_hole(
    first: Any, truth: dict[str, TrueComponent], rng: np.random.Generator
) -> pd.DataFrame:
    """Play one counted hole to its end, rolling a little past each time."""
    rows, distance, line, pace = [], first.distance_ft, first.line_true, first.pace_true
    for putt_no in range(1, MOST_PUTTS + 1):
        row = _strike(distance, line, pace)
        rows.append({"distance_ft": distance, "putt_no": putt_no} | row)
        if row["holed"]:
            break
        distance = max(row["leave_ft"], 0.2)
        line, pace = _follow_up(first, distance, truth, rng)
    same = {name: getattr(first, name) for name in ("player", "session", "condition", "hole_no")}
    return pd.DataFrame(rows).assign(drill="counted", **same)


def _strike(distance_ft: float, line_deg: float, pace_pct: float) -> dict[str, Any]:
    """Return what one putt at the hole shows: holed, or where it stopped."""
    roll = max((distance_ft + PAST_FT) * (1 + pace_pct / 100), 0.0)
    along = distance_ft * np.cos(np.radians(line_deg))
    offset = abs(distance_ft * np.sin(np.radians(line_deg)))
    inside = offset < HOLE_RADIUS_FT and along > 0
    arrives = inside and roll >= along - np.sqrt(HOLE_RADIUS_FT**2 - offset**2)
    speed = STIMPMETER_FT_S * np.sqrt(max(roll - along, 0) / STIMP_FT)
    holed = bool(arrives and speed <= capture_limit_ft_s(offset))
    shown = {"line_deg": float(rounded(line_deg, RULES["line_step_deg"])), "holed": holed}
    if holed:
        return shown | {"roll_ft": np.nan, "leave_ft": np.nan}
    leave = np.hypot(roll - along, offset)
    return shown | {"roll_ft": float(shown_roll_ft(roll)), "leave_ft": round(float(leave), 1)}


def _follow_up(
    first: Any, distance_ft: float, truth: dict[str, TrueComponent], rng: np.random.Generator
) -> tuple[float, ...]:
    """Draw a follow-up putt: spread of the nearest length, without the visit's offset."""
    p = PLAYERS.index(first.player)
    d = np.abs(np.log(LENGTHS_FT / distance_ft)).argmin()
    return tuple(
        t.bias[p, d] + np.exp(t.level[p, d] + t.counted[p]) * rng.standard_normal()
        for t in truth.values()
    )


def with_typing_errors(putts: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return the putts as text, with the mistakes that a person makes at a keyboard."""
    typed = putts.astype({"distance_ft": object, "line_deg": object, "roll_ft": object})
    practice = np.flatnonzero(putts["drill"] == "both")
    rows = rng.choice(practice, 9, replace=False)
    mistakes = [
        ("distance_ft", "1O"), ("distance_ft", "six"), ("distance_ft", -10),
        ("line_deg", "2 left"), ("line_deg", "?"), ("line_deg", 110),
        ("roll_ft", "12..4"), ("roll_ft", "8,5,2"), ("roll_ft", 1024),
    ]  # fmt: skip
    for row, (column, text) in zip(rows, mistakes, strict=True):
        typed.loc[row, column] = text
    return typed


def write_demo(folder: str | Path, seed: int = DEMO_SEED) -> None:
    """Write the demo: a file an evening, ``datapackage.json``, ``truth.json``."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    putts = demo_putts(seed)
    typed = with_typing_errors(putts, np.random.default_rng([seed, 1]))
    for evening in EVENINGS:
        write_log(typed[typed["session"] == evening], folder / f"{evening}.csv")
    write_datapackage(
        folder,
        [f"{evening}.csv" for evening in EVENINGS],
        RULES,
        name="village-hall-league",
        title="Village hall league, one winter (invented)",
        description=" ".join(__doc__.split("``python")[0].split()),
    )
    truth = {"seed": seed, "within_a_visit_at_the_end": truth_table(putts).to_dict("records")}
    truth["new_routine_line_sd_ratio"] = float(np.exp(-0.3))
    write_text(folder / "truth.json", json.dumps(truth, indent=1) + "\n")


if __name__ == "__main__":
    write_demo(sys.argv[1])
