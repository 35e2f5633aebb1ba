"""One golfer's case: the golfer, what practice does, and the round and green of the strokes."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from putlab.base.errors import FitError
from putlab.base.settings import SEED
from putlab.green.skill import Skill, interpolation_weights
from putlab.model.priors import by_name
from putlab.model.readings import COMPONENTS
from putlab.posterior.player import Golfer, green_setting
from putlab.practice.learning import Learning, PracticeEffect
from putlab.practice.saving import (
    Option,
    RoundSetting,
    RoundStrokes,
    Savings,
    kept_strokes,
    options_of,
    round_setting,
)
from putlab.rounds.expected import new_day_skill

# Draws of the skill whose strokes are computed, which cost time, and of what practice does for
# each of them, which cost none. Together a probability is known to within 0.03.
DRAWS, REPEATS = 200, 5


@dataclass(frozen=True)
class GolferState:
    """What a decision needs to know of a golfer, from a full fit or any other."""

    player: str
    skill: Skill  # posterior draws on a new day, without the reading of a green
    practised: pd.DataFrame  # distance_ft, rising, and putts struck at each
    # By component: change of log spread per unit of log(1 + putts / 100), and the sd of its
    # prior, which is centred on nought.
    trend: Mapping[str, np.ndarray]  # (draws,)
    trend_prior_sd: Mapping[str, float]

    @property
    def lengths_ft(self) -> np.ndarray:
        """Lengths practised, shape (lengths,)."""
        return self.practised["distance_ft"].to_numpy(float)


def golfer_state(golfer: Golfer) -> GolferState:
    """The state of a fitted golfer; `FitError` where no putt tells about practice."""
    if golfer.practised.empty:
        raise FitError(
            f"{golfer.player} has only follow-up putts in the log, so nothing can be said of "
            "what to practise; add practice putts or the first putts of a game."
        )
    priors = {name: by_name(golfer.fit.designs[name].data["priors"]) for name in COMPONENTS}
    return GolferState(
        player=golfer.player,
        skill=new_day_skill(golfer),
        practised=golfer.practised[["distance_ft", "putts"]],
        trend={name: golfer.draws(name, "trend") for name in COMPONENTS},
        trend_prior_sd={name: float(priors[name]["trend_sd"]) for name in COMPONENTS},
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
    def options(self) -> list[Option]:
        """Every length practised, line and pace."""
        return options_of(self.golfer.lengths_ft)

    @cached_property
    def effects(self) -> list[PracticeEffect]:
        """What practice does: `REPEATS` lists of draws, one for every draw of the skill."""
        draws = len(self.strokes.visits)
        rows = np.linspace(0, len(self.golfer.trend["line"]) - 1, draws).round().astype(int)
        rng = np.random.default_rng([self.seed, 5])
        nodes = self.strokes.distance_ft
        return [draw_effect(self.golfer, self.learning, nodes, rows, rng) for _ in range(REPEATS)]

    def savings(self, minutes: float) -> Savings:
        """Strokes lost now, and saved by `minutes` that all go to one option, for every option."""
        strokes = self.strokes
        saved = np.array([_saved(strokes, e, self.options, minutes) for e in self.effects])
        lengths = np.log(self.golfer.lengths_ft)
        share = interpolation_weights(lengths, np.log(strokes.distance_ft)).T
        lost = np.stack([strokes.lost_a_round(name) @ share for name in COMPONENTS], axis=-1)
        columns = np.moveaxis(saved, 1, -1).reshape(-1, len(self.options))
        return Savings(self.options, lost.reshape(len(lost), -1), columns)

    def savings_by_skill(self, minutes: float, *, mixings: int = 4) -> np.ndarray:
        """What every option saves by draw of the skill, all else at its mean, (draws, options)."""
        # Readings of the skill could tell about that. Every draw of practice meets so many
        # others of the skill.
        strokes = replace(self.strokes, visits=self.strokes.visits_given)
        size = len(strokes.visits)
        found = [
            _saved(strokes, effect.rolled(k * size // mixings), self.options, minutes)
            for effect in self.effects
            for k in range(mixings)
        ]
        return np.mean(found, axis=0).T


def _saved(
    strokes: RoundStrokes, effect: PracticeEffect, options: list[Option], minutes: float
) -> list[np.ndarray]:
    """Strokes a round saved by each option, shape (options, draws)."""
    saved = []
    for distance_ft, component in options:
        putts = dict.fromkeys(COMPONENTS, [0.0])
        putts[component] = [minutes * float(effect.learning.putts_a_minute(distance_ft))]
        saved.append(strokes.saved_a_round(effect.changes([distance_ft], putts)))
    return saved


def make_case(
    golfer: Golfer | GolferState,
    *,
    learning: Learning | None = None,
    seed: int = SEED,
    draws: int = DRAWS,
    **setting: Any,
) -> Case:
    """One golfer's case; unless given, the green is the golfer's own where the log tells of it."""
    if isinstance(golfer, GolferState):
        state = golfer
    else:
        state = golfer_state(golfer)
        if setting.get("green") is None and (own := green_setting(golfer)):
            setting |= own | {"green_estimated": True}
    made = round_setting(**setting)
    strokes = kept_strokes(state.skill.thinned(draws), made)
    return Case(state, learning or Learning(), made, strokes, seed)


def draw_effect(
    golfer: GolferState,
    learning: Learning,
    nodes_ft: np.ndarray,
    rows: np.ndarray,
    rng: np.random.Generator,
) -> PracticeEffect:
    """What practice does for one golfer: as many draws as ``rows`` of the golfer's trend."""

    def lognormal(median: float, log_sd: float, *size: int) -> np.ndarray:
        return median * np.exp(log_sd * rng.standard_normal((rows.size, *size)))

    own = {
        name: learning.rates(golfer.trend[name], golfer.trend_prior_sd[name]) for name in COMPONENTS
    }
    lengths = golfer.lengths_ft.size
    return PracticeEffect(
        learning=learning,
        practised=golfer.practised,
        nodes_ft=nodes_ft,
        rates={name: rates[rows] for name, rates in own.items()},
        yields={c: lognormal(1.0, learning.yield_log_sd, lengths) for c in COMPONENTS},
        bias_putts={c: lognormal(learning.bias_putts, learning.bias_log_sd) for c in own},
        carry_range=lognormal(learning.carry_range, learning.carry_log_sd),
    )
