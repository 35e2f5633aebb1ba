"""Putting practice study kit: a log of putts in; true line and pace spread, strokes, practice out.

The front door: `import putlab as pl`. The names below are all that is public, and each is
loaded when it is first used. The rooms behind it may move.
"""

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

# Where each public name lives, in the order of the line from a log to a verdict.
FRONT_DOOR = {
    "read_log": "log.read.read_log",
    "keep_columns": "log.files.keep_columns",
    "demo_log": "log.read.demo_log",
    "intervals": "model.readings.intervals",
    "Priors": "model.priors.SpreadPriors",
    "fit": "posterior.fit.fit_log",
    "backtest": "posterior.backtest.backtest",
    "Skill": "green.skill.Skill",
    "hole_out": "green.hole_out.hole_out",
    "roll": "green.roll.roll",
    "published": "green.published",
    "estimate": "rounds.estimate.estimate",
    "strokes_lost": "rounds.strokes.strokes_lost",
    "new_day_skill": "rounds.expected.new_day_skill",
    "tour_reference": "rounds.reference.tour_reference",
    "reference_golfer": "rounds.reference.reference_golfer",
    "read_reference": "rounds.reference.read_reference",
    "tour_golfer": "rounds.reference.tour_golfer",
    "aims": "rounds.aims.aims",
    "round_mix": "rounds.first_putts.round_mix",
    "games": "rounds.games",
    "judge_games": "rounds.games.judge_games",
    "deal_game": "rounds.games.deal_game",
    "Learning": "practice.learning.Learning",
    "advise": "practice.advice.advise",
    "what_if": "practice.sensitivity.what_if",
    "drill_minutes": "practice.split.drill_minutes",
    "plan": "practice.plan.plan",
    "first_visit": "practice.plan.first_visit",
    "write_sheet": "pages.sheet.write_sheet",
    "review": "practice.review.review",
    "review_everybody": "practice.review.review_everybody",
    "design_trial": "trial.design.design_trial",
    "compare": "trial.compare.compare",
    "findings": "pages.findings.player_findings",
    "charts": "pages.charts",
    "play": "pages.play",
    "report": "pages.page.report",
}

__all__ = list(FRONT_DOOR)


def __getattr__(name: str) -> Any:
    if name not in FRONT_DOOR:
        raise AttributeError(f"putlab has no {name!r}; it offers {', '.join(FRONT_DOOR)}.")
    path = f"{__name__}.{FRONT_DOOR[name]}"
    try:
        found = import_module(path)
    except ModuleNotFoundError as error:
        if error.name != path:
            raise
        module, _, attribute = path.rpartition(".")
        found = getattr(import_module(module), attribute)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
