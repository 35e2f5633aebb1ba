"""One golfer's case: the golfer, what practice does, and the round and green of the strokes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from putlab.base.errors import FitError
from putlab.base.settings import SEED
from putlab.base.words import lengths_said, quantity, sure
from putlab.green.skill import SPREAD_AND_BIAS, Skill
from putlab.model.design import log_distance
from putlab.model.priors import by_name
from putlab.model.readings import COMPONENTS
from putlab.posterior.player import Golfer, OwnCurve, green_setting, own_curve
from putlab.practice.learning import ASSUMED, Learning, PracticeEffect
from putlab.practice.saving import (
    OPTIONS,
    PRACTICE_FT,
    RoundStrokes,
    Savings,
    kept_strokes,
    putts_of,
)
from putlab.rounds.strokes import (
    EDGES_FT,
    RoundSetting,
    StrokesLost,
    lost_to,
    round_setting,
    within_and_on_day,
)

# Draws of the skill whose strokes are computed, which cost time, and of what practice does for
# each of them, which cost none. Together a probability is known to within 0.03.
DRAWS, REPEATS = 200, 5


@dataclass(frozen=True)
class GolferState:
    """What a decision needs to know of a golfer, from a full fit or any other."""

    player: str
    skill: Skill  # posterior draws on a new day, without the reading of a green
    within: Skill  # the same within a visit
    practised: pd.DataFrame  # distance_ft, rising, and putts struck at each
    # By component: change of log spread per unit of log(1 + putts / 100), and the sd of its
    # prior, which is centred on nought.
    trend: Mapping[str, np.ndarray]  # (draws,)
    trend_prior_sd: Mapping[str, float]
    own_curve: OwnCurve | None = None  # each length against the golfer's others, if known

    def middle_words(self, component: str, lengths_ft: Sequence[float]) -> str:
        """Where the middle of putts from some lengths lies: ``0.35° right``."""
        name = SPREAD_AND_BIAS[component][1]
        return quantity(float(getattr(self.skill.at(lengths_ft), name).mean()), name)

    @property
    def measured(self) -> np.ndarray:
        """Putts of the log in each stretch, shape (stretches,)."""
        lengths, putts = self.practised["distance_ft"], self.practised["putts"]
        return np.histogram(lengths, EDGES_FT, weights=putts)[0].round().astype(int)


def golfer_state(golfer: Golfer) -> GolferState:
    """The state of a fitted golfer; `FitError` where no putt tells about practice."""
    if golfer.practised.empty:
        raise FitError(
            f"{golfer.player} has only follow-up putts in the log, so nothing can be said of "
            "what to practise; add practice putts or the first putts of a game."
        )
    priors = {name: by_name(golfer.fit.designs[name].data["priors"]) for name in COMPONENTS}
    within, on_day = within_and_on_day(golfer)
    return GolferState(
        player=golfer.player,
        skill=on_day,
        within=within,
        practised=golfer.practised[["distance_ft", "putts"]],
        trend={name: golfer.draws(name, "trend") for name in COMPONENTS},
        trend_prior_sd={name: float(priors[name]["trend_sd"]) for name in COMPONENTS},
        own_curve=own_curve(golfer),
    )


@dataclass(frozen=True)
class Case:
    """All that a decision about one golfer's time rests on."""

    golfer: GolferState
    learning: Learning
    round: RoundSetting
    strokes: RoundStrokes  # for draws evenly taken from the golfer's
    seed: int

    @cached_property
    def lost(self) -> StrokesLost:
        """Strokes lost now, by stretch and cause."""
        return lost_to(self.golfer.player, self.golfer.within, self.golfer.skill, self.round)

    @cached_property
    def effects(self) -> list[PracticeEffect]:
        """What practice does: `REPEATS` lists of draws, one for every draw of the skill."""
        rng = np.random.default_rng([self.seed, 5])
        draws, nodes = len(self.strokes.visits), self.strokes.distance_ft
        return [draw_effect(self.golfer, self.learning, nodes, draws, rng) for _ in range(REPEATS)]

    def savings(self, minutes: float) -> Savings:
        """Strokes a round saved by `minutes` that all go to one option, for every option."""
        putts = [putts_of(option, minutes, self.learning) for option in OPTIONS]
        changes = [[effect.changes(PRACTICE_FT, p) for p in putts] for effect in self.effects]
        saved = np.array([[self.strokes.saved_parts(one) for one in each] for each in changes])
        # (repeats, options, middle or scatter, draws) to (options, middle or scatter, all draws)
        return Savings(*np.concatenate(np.moveaxis(saved, -1, 1)).transpose(2, 0, 1))

    def saved(self, minutes: np.ndarray) -> np.ndarray:
        """Strokes a round saved by minutes of each option together, shape (all draws,)."""
        each = [putts_of(*pair, self.learning) for pair in zip(OPTIONS, minutes, strict=True)]
        putts = {name: np.sum([one[name] for one in each], axis=0) for name in COMPONENTS}
        changes = (effect.changes(PRACTICE_FT, putts) for effect in self.effects)
        return np.concatenate([self.strokes.saved_a_round(one) for one in changes])

    def savings_by_skill(self, minutes: float) -> np.ndarray:
        """What every option saves by draw of the skill, (draws, options), all else on average."""
        # Readings of the skill could tell about that; the own mix of putts, they could not.
        strokes, found = replace(self.strokes, visits=self.strokes.visits_given), []
        for option in OPTIONS:
            changes = self.effects[0].changes(PRACTICE_FT, putts_of(option, minutes, self.learning))
            mean = {name: np.mean(both, axis=1, keepdims=True) for name, both in changes.items()}
            found.append(strokes.saved_a_round(mean))
        return np.stack(found, axis=1)


def make_case(
    golfer: Golfer | GolferState,
    *,
    learning: Learning | None = None,
    seed: int = SEED,
    draws: int = DRAWS,
    **setting: Any,
) -> Case:
    """One golfer's case; unless given, the green is the golfer's own where the log tells of it."""
    state = golfer if isinstance(golfer, GolferState) else golfer_state(golfer)
    if isinstance(golfer, Golfer) and setting.get("green") is None:
        setting |= green_setting(golfer)
    made = round_setting(**setting)
    strokes = kept_strokes(state.skill, made, draws)
    return Case(state, learning or Learning(), made, strokes, seed)


def draw_effect(
    golfer: GolferState,
    learning: Learning,
    nodes_ft: np.ndarray,
    draws: int,
    rng: np.random.Generator,
) -> PracticeEffect:
    """What practice does for one golfer, so many draws."""

    def lognormal(median: float, log_sd: float) -> np.ndarray:
        return median * np.exp(log_sd * rng.standard_normal(draws))

    struck = float(golfer.practised["putts"].sum())
    trend = (golfer.trend, golfer.trend_prior_sd)
    rates, before = learning.of_golfer(*trend, struck, draws, rng)
    halves = {name: getattr(learning, f"{name}_bias_putts") for name in COMPONENTS}
    return PracticeEffect(
        learning=learning,
        practised=golfer.practised,
        nodes_ft=nodes_ft,
        rates=rates,
        before=before,
        yields={
            name: lognormal(1.0, learning.yield_log_sd)[:, None] ** log_distance(nodes_ft)
            for name in COMPONENTS
        },
        bias_putts={name: lognormal(half, learning.bias_log_sd) for name, half in halves.items()},
        carry_range=lognormal(learning.carry_range, learning.carry_log_sd),
    )


def assumption_table(case: Case) -> pd.DataFrame:
    """What advice rests on, from data or a prior: ``name, meaning, value, from, source``."""
    learning, round_, effect = case.learning, case.round, case.effects[0]
    rows: list[tuple] = []
    for name, rate in effect.rates.items():
        known = 1 - np.var(np.log(rate)) / max(learning.rate_log_sd, 1e-9) ** 2
        share = float(np.clip(known, 0.0, 1.0))
        whence = f"{sure(share)} from these putts, {sure(1 - share)} assumed"
        meaning, median = f"How fast practice narrows {name}", float(np.median(rate))
        source = "the log's own trend and the prior below"
        rows.append((f"own_{name}_rate", meaning, median, whence, source))
    green = ("data" if round_.green_estimated else "prior", round_.green_source)
    line, pace = map(float, map(np.median, round_.green))
    who, mix = round_.reference, round_.mix
    rows += [
        ("green_line_sd_deg", "line spread that a real green adds, median", line, *green),
        ("green_pace_sd_pct", "pace spread that a real green adds, median", pace, *green),
        ("stimp_ft", "green speed", round_.stimp_ft, "prior", "given, or an ordinary green"),
        ("past_ft", "how far past the hole the golfer aims", round_.past_ft, "prior", ASSUMED),
        ("mix", "first putts of a round", mix.level, "prior", lengths_said(mix.source)),
        ("mix_log_sd", "how far one's own may stray, log sd", round_.mix_log_sd, "prior", ASSUMED),
        ("reference", "who strokes are lost to", who.name, "prior", who.source),
    ]
    table = pd.DataFrame(rows, columns=["name", "meaning", "value", "from", "source"])
    return pd.concat([table, learning.table()], ignore_index=True)
