"""Did the change help? Two conditions of one player compared, and one verdict.

A ratio below 1 means that the change narrowed the spread; fewer strokes are below 0. The
verdict is given on one metric, chosen before looking: line spread, unless said otherwise.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from putlab.base.errors import UsageError, expect
from putlab.base.settings import SEED
from putlab.log.read import Log
from putlab.model.priors import SpreadPriors, by_name
from putlab.posterior.fit import Fit, fit_log
from putlab.posterior.player import summary
from putlab.rounds.first_putts import RoundMix, shipped_mix
from putlab.trial import boundary, conditions, contrast
from putlab.trial.boundary import CANNOT_TELL, NOT_BY_DESIGN, Boundary, p_below, two_figures
from putlab.trial.classical import classical
from putlab.trial.comparison import METRICS, NOT_YET, Comparison, Summary, gauge
from putlab.trial.conditions import Conditions, Plan, choose_conditions, putt_counts, rows_of
from putlab.trial.contrast import Contrast
from putlab.trial.design import design_trial
from putlab.trial.quick import quick_fit

# Where other draws might turn the verdict it is asked of so many, from a seed of the kit's
# own, so that neither the seed of a fit nor its luck decides.
SETTLING: dict[str, Any] = {"seed": 4711, "draws": 4000}

# Visits at which the diary asks, the last ones.
MOST_LINES = 30


def compare(
    fit_or_log: Fit | Log,
    before: str,
    after: str,
    *,
    player: str | None = None,
    metric: str | None = None,
    too_small_pct: float = boundary.TOO_SMALL_PCT,
    too_small_strokes: float = boundary.TOO_SMALL_STROKES,
    detect_pct: float | None = None,
    mix: RoundMix | None = None,
    seed: int = SEED,
) -> Comparison:
    """Compare two conditions of one player and say whether the change helped.

    Parameters
    ----------
    fit_or_log : putlab.posterior.fit.Fit or putlab.log.read.Log
        A fitted log, or a log, which is then fitted.
    before, after : str
        Labels of the conditions; ``none`` is the putts without a label.
    player : str, optional
        Label; may be left out where only one player has both conditions.
    metric : {"line", "pace", "strokes"}, optional
        What the verdict is on; default: as planned, or line spread, or pace where line was
        not read. Choose before looking: the best of three looks is no single look.
    too_small_pct, too_small_strokes : float
        A change of spread of less than this percent, or of less than this many strokes a
        round, is too small to matter.
    detect_pct : float, optional
        Change of spread in percent that the trial was designed to see (`design_trial`);
        default: as planned, or 20. It fixes when a check is an early one, and early checks
        ask for more.
    mix : putlab.rounds.first_putts.RoundMix, optional
        First putts of a round; default: the kit's.
    seed : int
        Seed of the fit of a log.

    Returns
    -------
    Comparison
        Ratios, changes, probabilities and the verdict.

    Raises
    ------
    UsageError
        An unknown label, player or metric, or a condition without putts.
    FitError
        The fit did not converge.
    """
    expect(metric in (None, *METRICS), "metric", metric, f"one of {', '.join(METRICS)}")
    good = detect_pct is None or 0 < detect_pct < 100
    expect(good, "detect_pct", detect_pct, "percent above 0 and below 100")
    sizes = {"too_small_pct": too_small_pct, "too_small_strokes": too_small_strokes}
    for name, size in sizes.items():
        expect(0 <= size < 100, name, size, "0 or more, and below 100")
    # Labels are looked up before the fit, so that a typing error costs no minute.
    counts = putt_counts(fit_or_log)
    pair = choose_conditions(counts, before, after, player)
    fit = fit_or_log if isinstance(fit_or_log, Fit) else fit_log(fit_or_log, seed=seed)
    plan = conditions.plan_of(fit.log, pair)
    sizes["detect_pct"] = detect_pct or (plan.detect_pct if plan else boundary.DETECT_PCT)
    sizes = {name: float(size) for name, size in sizes.items()}
    case = _Case(pair, mix or shipped_mix(), sizes).of(fit)
    metric = case.readable(metric or (plan.metric if plan else None))
    if plan and (plan.metric, plan.detect_pct) != (metric, sizes["detect_pct"]):
        plan = None
    case = replace(case, metric=metric, planned=plan is not None)
    if case.near:
        priors = {c: SpreadPriors(**by_name(d.data["priors"])) for c, d in fit.designs.items()}
        case = case.of(fit_log(fit.log, priors=priors, **SETTLING))
    found = _comparison(case, plan)
    return replace(found, diary=_diary(case, found, counts))


def _comparison(case: "_Case", plan: Plan | None) -> Comparison:
    fit, pair, changes = case.fit, case.pair, case.contrasts
    designed = plan.putts if plan else case.designed_putts()
    per_putt = case.boundary.designed_information / designed
    how: dict[str, Any] = {"sd_fit": case.sd_fit, "per_putt": per_putt}
    further = case.boundary.putts_to_verdict(case.mean, case.sd, **how)
    ratios = {name: _improvement(c.log_ratio, np.exp) for name, c in changes.items()}
    biases = {name: _summary(c.bias_change) for name, c in changes.items()}
    rows = {name: rows_of(fit, pair.player, name) for name in changes}
    books = {name: classical(rows[name], pair.before, pair.after) for name in changes}
    return Comparison(
        conditions=pair,
        metric=case.metric,
        line_sd_ratio=ratios.get("line"),
        pace_sd_ratio=ratios.get("pace"),
        by_distance=case.by_distance(),
        line_bias_change_deg=biases.get("line"),
        pace_bias_change_pct=biases.get("pace"),
        strokes_per_round_change=(
            None if case.strokes is None else _improvement(case.strokes, np.asarray)
        ),
        p_too_small_to_matter=float(case.boundary.p_too_small(case.mean, case.sd)),
        p_needed=case.p_needed,
        p_detect=case.p_detect,
        verdict=case.verdict,
        putts_still_needed=further if case.verdict == CANNOT_TELL else 0,
        plan=plan,
        designed_putts=designed,
        worth_putts=two_figures(case.boundary.information(case.sd_fit) / per_putt),
        fault=case.fault,
        mix=case.mix.level,
        classical={name: book for name, book in books.items() if book},
        several=case.several(),
        meta=fit.meta() | {"log_sha256": fit.log.digest},
        **case.sizes,
    )


def _diary(case: "_Case", found: Comparison, counts: pd.DataFrame) -> pd.DataFrame:
    """The comparison as it stood after each visit, by the quick answer; the last is its own."""
    pair, lines = case.pair, []
    sessions = list(pair.visits["session"])
    counts = counts[counts["player"] == pair.player]
    for done in range(max(len(sessions) - MOST_LINES, 1), len(sessions)):
        held = counts[counts["session"].isin(sessions[:done])]
        if {pair.before, pair.after} <= set(held.loc[held["putts"] > 0, "condition"]):
            then = replace(case, pair=choose_conditions(held, *pair.labels, pair.player))
            lines.append(_line(then.after(case, sessions[:done])))
    table, left = pd.DataFrame([*lines, _line(case)]), found.visits_left
    to_come = np.nan if left is None else left + len(sessions) - table["visits"]
    # Where the gauge has told, or going on would hardly tell, there is no visit to come.
    return table.assign(
        visits_left=pd.Series(to_come, table.index).mask(table["gauge"] != NOT_YET, 0)
    )


def _line(case: "_Case") -> dict[str, object]:
    return {
        "session": case.pair.visits["session"].iloc[-1],
        "visits": case.pair.sessions,
        "putts": case.pair.putts,
        **_improvement(case.change, np.asarray if case.metric == "strokes" else np.exp),
        "p_needed": case.p_needed,
        "verdict": case.verdict,
        "gauge": gauge(case.verdict, case.p_detect),
    }


@dataclass(frozen=True)
class _Case:
    """What a comparison is worked out from, and what is asked of the change judged."""

    pair: Conditions
    mix: RoundMix
    sizes: dict[str, float]
    metric: str = ""
    planned: bool = False  # whether this pair was named beforehand
    fit: Fit = None  # type: ignore[assignment]
    contrasts: dict[str, Contrast] = None  # type: ignore[assignment]
    strokes: np.ndarray | None = None

    def of(self, fit: Fit) -> "_Case":
        """The same by a fit."""
        changes = contrast.contrasts(fit, self.pair)
        strokes = contrast.strokes_change(fit, self.pair, changes, self.mix)
        return replace(self, fit=fit, contrasts=changes, strokes=strokes)

    def after(self, whole: "_Case", sessions: list[str]) -> "_Case":
        """The same as it stood after some of the visits, by the quick answer."""
        quick, strokes = quick_fit(whole.fit, self.pair.player, sessions), None
        changes = contrast.contrasts(quick, self.pair)
        if whole.strokes is not None:
            # Strokes follow the changes of spread and bias nearly straight.
            slopes = np.linalg.lstsq(_terms(whole.contrasts, whole.strokes.size), whole.strokes)[0]
            strokes = _terms(changes) @ slopes
        return replace(self, contrasts=changes, strokes=strokes)

    def readable(self, wanted: str | None) -> str:
        """The metric of the verdict, or why it can't be judged."""
        if not self.contrasts:
            before, after = self.pair.labels
            raise UsageError(
                f"{self.pair.player}: no component was read under both {before!r} and {after!r}, "
                "so there is nothing to compare."
            )
        if wanted == "strokes" and self.strokes is None:
            raise UsageError("metric 'strokes': both line and roll-out must have been read.")
        if wanted not in (None, "strokes", *self.contrasts):
            raise UsageError(f"metric {wanted!r}: {wanted} was not read under both conditions.")
        return wanted or next(iter(self.contrasts))

    @cached_property
    def judged(self) -> tuple[np.ndarray, float, Boundary]:
        """Draws of the change that is judged, its sd in the fit, and what is asked of it."""
        sizes, pairs = self.sizes, self.pairs
        if self.metric == "strokes" and self.strokes is not None:
            sd_fit, prior_sd = _strokes_sds(self.strokes, self.contrasts)
            saved = contrast.strokes_saved(self.fit, self.pair, sizes["detect_pct"], self.mix)
            bar = Boundary(sizes["too_small_strokes"], saved, prior_sd, pairs)
            return self.strokes, sd_fit, bar
        change, small = self.contrasts[self.metric], np.log1p(sizes["too_small_pct"] / 100)
        detect = -np.log1p(-sizes["detect_pct"] / 100)
        return change.log_ratio, change.sd_fit, Boundary(small, detect, change.prior_sd, pairs)

    change = property(lambda self: self.judged[0])
    sd_fit = property(lambda self: self.judged[1])
    boundary = property(lambda self: self.judged[2])
    mean = property(lambda self: self.change.mean())
    sd = property(lambda self: self.change.std(ddof=1))
    p_needed = property(lambda self: float(self.boundary.p_needed(self.sd, self.sd_fit)))
    p_detect = property(lambda self: float(p_below(self.mean, self.sd, -self.boundary.detect)))

    @property
    def pairs(self) -> int:
        """Pairs of conditions that might have been compared: one where a plan names it."""
        table = next(iter(self.fit.designs.values())).conditions
        held = set(table.loc[table["player"] == self.pair.player, "condition"])
        # Putts from before anything was under test are no condition tried.
        tried = len(held | {self.pair.before, self.pair.after} if held - {""} else held)
        tried -= "" in held and "" not in (self.pair.before, self.pair.after)
        return 1 if self.planned else max(tried * (tried - 1) // 2, 1)

    @property
    def fault(self) -> str | None:
        """What went along with the change by design, so that the two can't be told apart."""
        if self.pair.design in (conditions.BEFORE_AFTER, conditions.IN_ONE_ORDER):
            return self.pair.design
        shared = [change.putts.min(axis=0).any() for change in self.contrasts.values()]
        return None if all(shared) else conditions.APART

    @property
    def verdict(self) -> str:
        """The verdict on the metric."""
        found = self.boundary.verdict(self.mean, self.sd, self.sd_fit)
        return NOT_BY_DESIGN if self.fault else str(found)

    @property
    def near(self) -> bool:
        """Whether other draws of the same fit might turn the verdict."""
        return not self.fault and self.boundary.near(self.mean, self.sd, self.sd_fit)

    def designed_putts(self) -> int:
        """Putts of the trial that would see the change asked for, as `putlab trial` has it."""
        golfer, at_ft = self.fit.golfer(self.pair.player), self.by_distance()["distance_ft"]
        how: dict[str, Any] = {"metric": self.metric, "rules": self.fit.log.rules}
        design = design_trial(list(at_ft), self.sizes["detect_pct"], golfer=golfer, **how)
        return 2 * design.putts_a_condition

    def several(self) -> pd.DataFrame | None:
        """The table of all the player's conditions, where there are more than two."""
        component = self.metric if self.metric in self.contrasts else next(iter(self.contrasts))
        how = (self.fit, self.pair.player, component)
        if len(contrast.conditions_in_order(*how)) < 3:
            return None
        return contrast.change_table(*how, self.pair.before)

    def by_distance(self) -> pd.DataFrame:
        """Ratios length by length; a component that was not read has no columns."""
        tables = []
        for name, change in self.contrasts.items():
            ratios = _improvement(change.log_ratio_at, np.exp)
            table = pd.DataFrame(ratios, change.distance_ft).add_prefix(f"{name}_sd_ratio_")
            table[f"{name}_putts_before"], table[f"{name}_putts_after"] = change.putts
            tables.append(table)
        return pd.concat(tables, axis=1).rename_axis("distance_ft").reset_index()


def _terms(changes: dict[str, Contrast], draws: int | None = None) -> np.ndarray:
    """Changes of spread and bias, as many draws as are kept of strokes."""
    terms = np.stack([of for c in changes.values() for of in (c.log_ratio, c.bias_change)], axis=1)
    kept = np.linspace(0, len(terms) - 1, draws or len(terms)).astype(int)
    return np.column_stack([terms[kept], np.ones(kept.size)])


def _strokes_sds(change: np.ndarray, contrasts: dict[str, Contrast]) -> tuple[float, float]:
    """Sd of the change of strokes as the fit has it, and that of its prior."""
    # Strokes follow the log ratios nearly straight; what is left is the change of biases.
    columns = _terms(contrasts, change.size)[:, ::2]
    slopes, *_ = np.linalg.lstsq(columns, change)
    left = (change - columns @ slopes).var()
    sds = np.array([[c.sd_fit, c.prior_sd] for c in contrasts.values()])
    sd_fit, prior_sd = np.sqrt(np.square(slopes[:-1]) @ np.square(sds) + left).tolist()
    return sd_fit, prior_sd


def _summary(draws: np.ndarray) -> Summary:
    """Mean and interval over draws, shape (draws, ...)."""
    return dict(zip(("mean", "lo", "hi"), np.array(summary(draws)).tolist(), strict=True))


def _improvement(change: np.ndarray, shown: Callable[[np.ndarray], np.ndarray]) -> Summary:
    """The same of a change, on the scale on which it is shown, and its chance of being below 0."""
    p_improved = p_below(change.mean(axis=0), change.std(axis=0, ddof=1))
    return _summary(shown(change)) | {"p_improved": np.asarray(p_improved).tolist()}
