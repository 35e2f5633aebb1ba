"""How readings were made: their steps, limits and noise, declared or read off the data."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from putlab.base.errors import UsageError
from putlab.base.settings import FAR
from putlab.log.schema import COLUMN, M_PER_FT, closest

DECLARED, READ_OFF, ASSUMED = "declared", "read off the data", "assumed"

MEANINGS = {
    "line_step_deg": "Step of the direction display, degrees; 0 where finer than matters.",
    "line_limit_deg": "Largest direction the display can show, either side, degrees.",
    "roll_step_ft": "Step of the roll-out reading, feet.",
    "roll_limit_ft": "Distance from the ball to a backstop or the end of the mat, feet.",
    "line_noise_deg": "Known spread of the direction sensor itself, degrees.",
    "roll_noise_ft": "Known spread of the roll-out sensor itself, feet.",
    "aim_past_ft": "How far past the mark or hole every ball was to roll, feet, where no row says.",
}

# Largest value each rule can have: a step of a right angle reads nothing.
MOST = dict.fromkeys(MEANINGS, 30.0) | dict.fromkeys(("line_step_deg", "line_noise_deg"), 45.0)
MOST |= {"line_limit_deg": 90.0, "roll_limit_ft": COLUMN["roll_ft"].most}
MOST |= {"aim_past_ft": COLUMN["aim_past_ft"].most}

# Rules that may be None: no limit, and nothing said of the aim.
OPEN = ("line_limit_deg", "roll_limit_ft", "aim_past_ft")

# Steps that displays and tapes have, largest first: in degrees or metres, and in feet, where
# inches are twelfths.
STEPS = (1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.001)
ROLL_STEPS_FT = (1.0, 0.5, 0.25, 0.2, 0.1, 1 / 12, 0.05, 1 / 24, 0.02, 0.01, 0.001)

# Share of readings that must sit on a step, so that a typing error or two does not hide it.
ON_STEP = 0.98

# How far off a step, as a part of it, a reading may be: room for narrow floats.
SLACK = 0.01


@dataclass(frozen=True)
class ReadingRules:
    """How the readings of a log were made.

    Parameters
    ----------
    line_step_deg, roll_step_ft : float
        Step of the reading: a display that shows +1 in steps of 1 says 0.5 to 1.5.
        0 where the reading is finer than matters.
    line_limit_deg, roll_limit_ft : float or None
        Largest reading possible; one at or beyond it says *at least*. None: no limit.
    line_noise_deg, roll_noise_ft : float
        Known spread of the sensor itself; adds in quadrature to the golfer's.
    aim_past_ft : float or None
        How far past the mark or hole every ball was to roll. None: to the mark where there is
        no hole, a foot past the hole where there is one.
    source : dict of str to str
        For each field ``declared``, ``read off the data`` or ``assumed``. Fields given to
        the constructor are declared, the rest assumed, unless said otherwise.
    """

    line_step_deg: float = None  # type: ignore[assignment]  # 0 once made
    line_limit_deg: float | None = None
    roll_step_ft: float = None  # type: ignore[assignment]
    roll_limit_ft: float | None = None
    line_noise_deg: float = None  # type: ignore[assignment]
    roll_noise_ft: float = None  # type: ignore[assignment]
    aim_past_ft: float | None = None
    source: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Check every value given and fill in what was not."""
        source = dict(self.source)
        for name in MEANINGS:
            value = getattr(self, name)
            source.setdefault(name, ASSUMED if value is None else DECLARED)
            if value is not None:
                value = _checked(name, value)
            elif name not in OPEN:
                value = 0.0
            object.__setattr__(self, name, value)
        object.__setattr__(self, "source", source)

    @property
    def declared(self) -> dict[str, float]:
        """The declared fields and their values."""
        return {n: getattr(self, n) for n in MEANINGS if self.source[n] == DECLARED}


def _checked(name: str, value: Any, scale: float = 1.0) -> float:
    number = value if isinstance(value, int | float | np.number) else math.nan
    number = math.inf if isinstance(value, int) and abs(value) > FAR else number / scale
    lowest = "above 0" if "limit" in name else "0 or more"
    too_low = number <= 0 if "limit" in name else number < 0
    if isinstance(value, bool) or not math.isfinite(number) or too_low or number > MOST[name]:
        raise UsageError(
            f"reading rule {name}: got {str(value)[:40]!r}; expected a number, {lowest} and at "
            f"most {MOST[name]:g}. {MEANINGS[name]}"
        )
    return float(number)


def declared_rules(given: Mapping[str, Any] | ReadingRules | None) -> dict[str, float]:
    """Check rules given by name; one that is None is as if not given."""
    if given is None:
        return {}
    if isinstance(given, ReadingRules):
        return given.declared
    if not isinstance(given, Mapping):
        raise UsageError(f"reading rules must be names and numbers; got {str(given)[:60]!r}.")
    made = {}
    for name, value in given.items():
        metric = str(name).endswith("_m")
        known = str(name).removesuffix("_m") + "_ft" * metric
        if known not in MEANINGS:
            near = closest(name, tuple(MEANINGS))
            hint = f" Did you mean {near}?" if near else ""
            raise UsageError(
                f"{str(name)[:60]!r} is no reading rule.{hint} Known: {', '.join(MEANINGS)}."
            )
        if value is not None:
            made[known] = _checked(known, value, M_PER_FT if metric else 1.0)
    return made


def complete_rules(declared: dict[str, float], rows: pd.DataFrame) -> ReadingRules:
    """Add the steps read off the data to the rules declared."""
    rules = ReadingRules(**declared)  # type: ignore[arg-type]
    found = {}
    if "line_step_deg" not in declared and rows["line_deg"].notna().any():
        found["line_step_deg"] = common_step(rows["line_deg"].to_numpy(), STEPS)
    if "roll_step_ft" not in declared and rows["roll_ft"].notna().any():
        in_ft = common_step(rows.loc[~rows["roll_in_m"], "roll_ft"].to_numpy(), ROLL_STEPS_FT)
        rolls_m = rows.loc[rows["roll_in_m"], "roll_ft"].to_numpy() * M_PER_FT
        # One step serves the log; the coarser one never claims more than was read.
        found["roll_step_ft"] = max(in_ft, common_step(rolls_m, STEPS) / M_PER_FT)
    source = {**rules.source, **dict.fromkeys(found, READ_OFF)}
    return replace(rules, **found, source=source)  # type: ignore[arg-type]


def common_step(readings: np.ndarray, steps: Sequence[float]) -> float:
    """Return the greatest step that (nearly) all readings are multiples of, or 0."""
    present = readings[~np.isnan(readings)]
    for step in steps if present.size else ():
        off = np.abs(present / step - np.round(present / step))
        if np.mean(off < SLACK) >= ON_STEP:
            return step
    return 0.0
