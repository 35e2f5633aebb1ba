"""The two invented logs that come with the kit, made from known truth.

``python tests/helpers/demo_maker.py FOLDER`` writes them, their descriptions and truths.
"""

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from simulate import TrueComponent, rounded, simulate_errors
from written_logs import write_datapackage, write_log

from putlab.base.settings import PAST_FT, STIMPMETER_FT_S
from putlab.base.writing import write_text
from putlab.green.flat import capture_limit_ft_s
from putlab.green.published import HOLE_RADIUS_FT
from putlab.log.schema import M_PER_FT
from putlab.model.design import session_table

HALL = """A village hall league in winter: three players, a 12 m indoor strip with marks at six
lengths, ten Tuesday evenings. Each evening every player strikes eight putts at each length,
mixed, without a hole, then plays nine counted holes of par two on the marks. The start
direction is shown in whole degrees, the roll-out in tenths of a foot, and a board behind the
strip stops the ball. One player, birch, tries a new routine before each putt: until
December by turns with the usual one, in shuffled blocks, from January on alone. Some evenings
somebody typed a number wrong. Invented, made from known truth; nothing was measured on
anybody."""
ATTIC = """One player, hazel, alone on a 9 m strip in an attic with marks at five lengths and
nothing behind them, seven Sundays, six putts at each length, mixed, without a hole. The start
direction is shown in tenths of a degree, the roll-out in centimetres. After three Sundays the
old putter gives way to another. Invented, made from known truth; nothing was measured on
anybody."""

# The first seed from 1203 on whose log raises no doubt and whose fit is a typical one; how often
# intervals hold the truth is measured on many logs (`tests/calibration`), not on this one.
DEMO_SEED = 1211
PLAYERS = ["alder", "birch", "rowan"]
LENGTHS_FT = np.array([3.0, 6.0, 10.0, 16.0, 24.0, 36.0])
EVENINGS = [f"2025-{day}" for day in ("11-04", "11-11", "11-18", "11-25", "12-02", "12-09")] + [
    f"2026-01-{day:02d}" for day in (6, 13, 20, 27)
]
PUTTS_EACH, HOLES = 8, 9
OLD, NEW = "usual routine", "new routine"
TRIAL_EVENINGS = 6  # in which birch takes turns
STIMP_FT = 9.5
RULES = {"line_step_deg": 1.0, "roll_step_ft": 0.1, "roll_limit_ft": 39.0}

ATTIC_LENGTHS_M = np.array([1.0, 2.0, 3.5, 5.0, 7.0])
SUNDAYS = [f"2026-{day}" for day in ("02-01", "02-08", "02-15", "02-22", "03-01", "03-08", "03-15")]
ATTIC_EACH, OLD_SUNDAYS = 6, 3
OLD_PUTTER, NEW_PUTTER = "old putter", "other putter"
ATTIC_RULES = {"line_step_deg": 0.1}
ATTIC_CUT_PCT = 5.0  # too little for seven Sundays to show

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
    change = {("birch", OLD): 0.2, ("birch", NEW): -0.2}
    moved = {("birch", OLD): 0.15, ("birch", NEW): -0.15}
    return {
        "line": TrueComponent(**line, effect=change, shift=moved),
        "pace": TrueComponent(**pace),
    }


def attic_truth() -> dict[str, TrueComponent]:
    """Return what is true of the attic's one player."""

    def component(sd: list, bias: list, **each: float) -> dict[str, Any]:
        arrays = {"level": np.log([sd]), "bias": np.array([bias], float)}
        return arrays | {name: np.array([value]) for name, value in each.items()}

    line = component(
        [1.25, 1.2, 1.1, 1.1, 1.05], [-0.4] * 5, visit_bias_sd=0.25, visit_form_sd=0.06,
        trend=-0.03, warm_up=0.1, counted=0.0, mishit_share=0.02,
    )  # fmt: skip
    pace = component(
        [11.0, 9.5, 9.0, 9.5, 11.0], [4, 2, 0, -5, -9], visit_bias_sd=2.0, visit_form_sd=0.06,
        trend=-0.03, warm_up=0.1, counted=0.0, mishit_share=0.02,
    )  # fmt: skip
    change = {("hazel", NEW_PUTTER): float(np.log1p(-ATTIC_CUT_PCT / 100))}
    return {"line": TrueComponent(**line, effect=change), "pace": TrueComponent(**pace)}


def truth_table(
    putts: pd.DataFrame,
    truth: dict[str, TrueComponent],
    players: list[str],
    lengths_ft: np.ndarray,
    now: str,
) -> pd.DataFrame:
    """Return the spread and bias that hold at the end of the log, within a visit."""
    visits = session_table(putts)
    total = putts.groupby("player", sort=False).size()
    first = visits.groupby("player", sort=False).first()
    practised = np.log1p(total / 100) - (np.log1p(first["putts_before"] / 100) - first["practised"])
    rows = []
    for p, player in enumerate(players):
        at: dict[str, Any] = {"player": player, "distance_ft": lengths_ft}
        for (name, t), unit in zip(truth.items(), ("deg", "pct"), strict=True):
            log_sd = t.level[p] + t.trend[p] * practised[player] + t.effect.get((player, now), 0)
            at[f"{name}_sd_{unit}"] = np.exp(log_sd)
            at[f"{name}_bias_{unit}"] = t.bias[p] + t.shift.get((player, now), 0.0)
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


def attic_putts(seed: int = DEMO_SEED) -> pd.DataFrame:
    """Simulate the attic's putts, in metres as they were written down."""
    rng, lengths_ft = np.random.default_rng([seed, 2]), ATTIC_LENGTHS_M / M_PER_FT
    blocks = [
        pd.DataFrame(
            {
                "player": "hazel",
                "session": day,
                "putt": np.arange(1, ATTIC_EACH * lengths_ft.size + 1),
                "distance_ft": rng.permutation(np.repeat(lengths_ft, ATTIC_EACH)),
                "condition": OLD_PUTTER if number < OLD_SUNDAYS else NEW_PUTTER,
            }
        )
        for number, day in enumerate(SUNDAYS)
    ]
    putts = pd.concat(blocks, ignore_index=True)
    at = {"players": ["hazel"], "lengths_ft": lengths_ft}
    line, pace = (simulate_errors(putts, t, rng, **at) for t in attic_truth().values())
    roll_m = putts["distance_ft"] * M_PER_FT * (1 + pace / 100)
    return putts.assign(
        distance_m=(putts["distance_ft"] * M_PER_FT).round(2),
        line_deg=rounded(line, 0.1).round(1),
        roll_m=np.clip(roll_m, 0, None).round(2),
    )


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
        condition: Any = None
        if player == "birch":
            condition = NEW
            if number < TRIAL_EVENINGS:
                practice, condition = _in_turns(rng, (OLD, NEW)[number % 2])
        block: dict[str, Any] = {"player": player, "session": EVENINGS[number]}
        block |= {"distance_ft": np.concatenate([practice, game]), "condition": condition}
        block |= {"drill": ["both"] * practice.size + ["counted"] * HOLES}
        block |= {"hole_no": [np.nan] * practice.size + list(range(1, HOLES + 1))}
        blocks.append(pd.DataFrame(block))
    return pd.concat(blocks, ignore_index=True)


def _in_turns(rng: np.random.Generator, in_the_game: str) -> tuple[np.ndarray, list[str]]:
    """Shuffle blocks in which each length is struck once in each routine; then comes the game."""
    turns = [(length, routine) for length in LENGTHS_FT for routine in (OLD, NEW)]
    blocks = [turns[i] for _ in range(PUTTS_EACH // 2) for i in rng.permutation(len(turns))]
    lengths, routines = zip(*blocks, strict=True)
    return np.array(lengths), [*routines, *[in_the_game] * HOLES]


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
        ("line_deg", "left"), ("line_deg", "?"), ("line_deg", 110),
        ("roll_ft", "12..4"), ("roll_ft", "8,5,2"), ("roll_ft", 1024),
    ]  # fmt: skip
    for row, (column, text) in zip(rows, mistakes, strict=True):
        typed.loc[row, column] = text
    return typed


def write_demo(folder: str | Path, seed: int = DEMO_SEED) -> None:
    """Write both logs, each in its folder; the description above names the hall's."""
    folder = Path(folder)
    for name, write in (("hall", write_hall), ("attic", write_attic)):
        (folder / name).mkdir(parents=True, exist_ok=True)
        write(folder / name, seed)
    describe_hall(folder, "hall/")


def describe_hall(folder: Path, inside: str = "") -> None:
    """Write the hall's ``datapackage.json`` into its folder, or into one that it lies in."""
    hall = {"name": "village-hall-league", "title": "Village hall league (invented)"}
    files = [f"{inside}{evening}.csv" for evening in EVENINGS]
    write_datapackage(folder, files, RULES, **hall, description=in_one_line(HALL))


def write_hall(folder: Path, seed: int) -> None:
    """Write the hall's log, a file an evening, with its ``datapackage.json`` and truth."""
    putts = demo_putts(seed)
    typed = with_typing_errors(putts, np.random.default_rng([seed, 1]))
    for evening in EVENINGS:
        write_log(typed[typed["session"] == evening], folder / f"{evening}.csv")
    describe_hall(folder)
    table = truth_table(putts, demo_truth(), PLAYERS, LENGTHS_FT, NEW)
    _write_truth(folder, seed, table, new_routine_line_sd_ratio=float(np.exp(-0.4)))


def write_attic(folder: Path, seed: int) -> None:
    """Write the attic's log, one file in metres, with its ``datapackage.json`` and truth."""
    putts = attic_putts(seed)
    columns = ["player", "session", "putt", "distance_m", "line_deg", "roll_m", "condition"]
    text = putts[columns].to_csv(index=False, lineterminator="\n")
    write_text(folder / "sundays.csv", text)
    attic = {"name": "attic-sundays", "title": "Sundays in an attic (invented)"}
    write_datapackage(folder, ["sundays.csv"], ATTIC_RULES, **attic, description=in_one_line(ATTIC))
    lengths_ft = ATTIC_LENGTHS_M / M_PER_FT
    table = truth_table(putts, attic_truth(), ["hazel"], lengths_ft, NEW_PUTTER)
    _write_truth(folder, seed, table, other_putter_line_sd_ratio=1 - ATTIC_CUT_PCT / 100)


def in_one_line(text: str) -> str:
    """Return a text without its line breaks."""
    return " ".join(text.split())


def _write_truth(folder: Path, seed: int, table: pd.DataFrame, **known: float) -> None:
    truth = {"seed": seed, "within_a_visit_at_the_end": table.to_dict("records")} | known
    write_text(folder / "truth.json", json.dumps(truth, indent=1) + "\n")


if __name__ == "__main__":
    write_demo(sys.argv[1])
