"""Did the change help? Two conditions of one player compared, and one verdict.

A ratio below 1 means that the change narrowed the spread; fewer strokes are below 0. The
verdict is given on one metric, chosen before looking: line spread, unless said otherwise.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
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
from putlab.trial.boundary import (
    CANNOT_TELL,
    DETECT_PCT,
    HELPED,
    HURT,
    NO_DIFFERENCE,
    NOT_BY_DESIGN,
    TOO_SMALL_PCT,
    TOO_SMALL_STROKES,
    Boundary,
    p_below,
)
from putlab.trial.classical import classical
from putlab.trial.comparison import METRICS, Comparison, Summary, gauge
from putlab.trial.conditions import (
    APART,
    BEFORE_AFTER,
    IN_ONE_ORDER,
    Conditions,
    Plan,
    choose_conditions,
    plan_of,
    putt_counts,
    rows_of,
)
from putlab.trial.contrast import (
    Contrast,
    change_table,
    conditions_in_order,
    contrasts,
    strokes_change,
    strokes_saved,
)
from putlab.trial.design import TrialDesign, design_trial
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
    too_small_pct: float = TOO_SMALL_PCT,
    too_small_strokes: float = TOO_SMALL_STROKES,
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
        Seed of the fit, and of the forecast of putts still needed.

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
    plan = plan_of(fit.log, pair)
    mix = mix or shipped_mix()
    sizes["detect_pct"] = detect_pct or (plan.detect_pct if plan else DETECT_PCT)
    sizes = {name: float(size) for name, size in sizes.items()}
    case = _case(fit, pair, mix, sizes)
    metric = case.metric(metric or (plan.metric if plan else None))
    if plan and (plan.metric, plan.detect_pct) != (metric, sizes["detect_pct"]):
        plan = None
    case = replace(case, planned=plan is not None)
    if case.near(metric):
        case = replace(_case(_settled(fit), pair, mix, sizes), planned=case.planned)
    return _comparison(case, metric, plan, counts, seed)


def _case(fit: Fit, pair: Conditions, mix: RoundMix, sizes: dict[str, float]) -> "_Case":
    changes = contrasts(fit, pair)
    return _Case(fit, pair, mix, sizes, changes, strokes_change(fit, pair, changes, mix))


def _settled(fit: Fit) -> Fit:
    """The same log fitted with so many draws that the verdict is theirs no longer."""
    priors = {c: SpreadPriors(**by_name(d.data["priors"])) for c, d in fit.designs.items()}
    return fit_log(fit.log, priors=priors, **SETTLING)


def _comparison(
    case: "_Case", metric: str, plan: Plan | None, counts: pd.DataFrame, seed: int
) -> Comparison:
    fit, pair, changes = case.fit, case.pair, case.contrasts
    change, sd_fit, boundary = case.judged(metric)
    mean, sd = change.mean(), change.std(ddof=1)
    verdict = case.verdict(metric)
    designed = plan.putts if plan else 2 * case.designed(metric).putts_an_arm
    per_putt = boundary.designed_information / designed
    how: dict[str, Any] = {"sd_fit": sd_fit, "per_putt": per_putt, "seed": seed}
    further = boundary.putts_to_verdict(mean, sd, **how) if verdict == CANNOT_TELL else 0
    ratios = {name: _improvement(c.log_ratio, np.exp) for name, c in changes.items()}
    biases = {name: _summary(c.bias_change) for name, c in changes.items()}
    rows = {name: rows_of(fit, pair.player, name) for name in changes}
    books = {name: classical(rows[name], pair.before, pair.after) for name in changes}
    found = Comparison(
        conditions=pair,
        metric=metric,
        line_sd_ratio=ratios.get("line"),
        pace_sd_ratio=ratios.get("pace"),
        by_distance=case.by_distance(),
        line_bias_change_deg=biases.get("line"),
        pace_bias_change_pct=biases.get("pace"),
        strokes_per_round_change=(
            None if case.strokes is None else _improvement(case.strokes, np.asarray)
        ),
        p_too_small_to_matter=float(boundary.p_too_small(mean, sd)),
        p_needed=float(boundary.p_needed(sd, sd_fit)),
        p_detect=float(p_below(mean, sd, -boundary.detect)),
        verdict=verdict,
        putts_still_needed=further,
        plan=plan,
        designed_putts=designed,
        fault=case.fault(),
        mix=case.mix.level,
        classical={name: book for name, book in books.items() if book},
        several=case.several(metric),
        meta=fit.meta() | {"log_sha256": fit.log.digest},
        **case.sizes,
    )
    return replace(found, diary=_diary(case, found, counts))


def _diary(case: "_Case", found: Comparison, counts: pd.DataFrame) -> pd.DataFrame:
    """The comparison as it stood after each visit, by the quick answer; the last is its own."""
    pair, lines = case.pair, []
    sessions = list(pair.visits["session"])
    counts = counts[counts["player"] == pair.player]
    for done in range(max(len(sessions) - MOST_LINES, 1), len(sessions)):
        held = counts[counts["session"].isin(sessions[:done])]
        if not {pair.before, pair.after} <= set(held.loc[held["putts"] > 0, "condition"]):
            continue
        then = choose_conditions(held, *pair.labels, pair.player)
        lines.append(_line(case.after(then, sessions[:done]), found.metric))
    lines.append(_line(case, found.metric))
    table, left = pd.DataFrame(lines), found.visits_left
    to_come = np.nan if left is None else left + len(sessions) - table["visits"]
    said = table["verdict"].isin([HELPED, HURT, NO_DIFFERENCE])
    return table.assign(visits_left=pd.Series(to_come, table.index).mask(said, 0))


def _line(case: "_Case", metric: str) -> dict[str, object]:
    change, sd_fit, boundary = case.judged(metric)
    verdict, (mean, sd) = case.verdict(metric), (change.mean(), change.std(ddof=1))
    return {
        "session": case.pair.visits["session"].iloc[-1],
        "visits": case.pair.sessions,
        "putts": case.pair.putts,
        **_improvement(change, np.asarray if metric == "strokes" else np.exp),
        "p_needed": float(boundary.p_needed(sd, sd_fit)),
        "verdict": verdict,
        "gauge": gauge(verdict, float(p_below(mean, sd, -boundary.detect))),
    }


@dataclass(frozen=True)
class _Case:
    """What a comparison is worked out from."""

    fit: Fit
    pair: Conditions
    mix: RoundMix
    sizes: dict[str, float]
    contrasts: dict[str, Contrast]
    strokes: np.ndarray | None
    planned: bool = False  # whether this pair was named beforehand

    def metric(self, wanted: str | None) -> str:
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

    def judged(self, metric: str) -> tuple[np.ndarray, float, Boundary]:
        """Draws of the change that is judged, its sd in the fit, and what is asked of it."""
        sizes, pairs = self.sizes, self.pairs
        if metric == "strokes" and self.strokes is not None:
            sd_fit, prior_sd = _strokes_sds(self.strokes, list(self.contrasts.values()))
            saved = strokes_saved(self.fit, self.pair, sizes["detect_pct"], self.mix)
            bar = Boundary(sizes["too_small_strokes"], saved, prior_sd, pairs)
            return self.strokes, sd_fit, bar
        change, small = self.contrasts[metric], np.log1p(sizes["too_small_pct"] / 100)
        detect = -np.log1p(-sizes["detect_pct"] / 100)
        return change.log_ratio, change.sd_fit, Boundary(small, detect, change.prior_sd, pairs)

    @property
    def pairs(self) -> int:
        """Pairs of conditions that might have been compared: one where a plan names it."""
        table = next(iter(self.fit.designs.values())).conditions
        held = set(table.loc[table["player"] == self.pair.player, "condition"])
        # Putts from before anything was under test are no condition tried.
        tried = len(held | {self.pair.before, self.pair.after} if held - {""} else held)
        tried -= "" in held and "" not in (self.pair.before, self.pair.after)
        return 1 if self.planned else max(tried * (tried - 1) // 2, 1)

    def fault(self) -> str | None:
        """What went along with the change by design, so that the two can't be told apart."""
        if self.pair.design in (BEFORE_AFTER, IN_ONE_ORDER):
            return self.pair.design
        shared = [change.putts.min(axis=0).any() for change in self.contrasts.values()]
        return None if all(shared) else APART

    def verdict(self, metric: str) -> str:
        """The verdict on a metric."""
        change, sd_fit, boundary = self.judged(metric)
        found = boundary.verdict(change.mean(), change.std(ddof=1), sd_fit)
        return NOT_BY_DESIGN if self.fault() else str(found)

    def near(self, metric: str) -> bool:
        """Whether other draws of the same fit might turn the verdict."""
        change, sd_fit, boundary = self.judged(metric)
        return not self.fault() and boundary.near(change.mean(), change.std(ddof=1), sd_fit)

    def after(self, pair: Conditions, sessions: list[str]) -> "_Case":
        """The same as it stood after some of the visits, by the quick answer."""
        changes = contrasts(quick_fit(self.fit, pair.player, sessions), pair)
        strokes = None
        if self.strokes is not None:
            # Strokes follow the changes of spread and bias nearly straight.
            slopes = np.linalg.lstsq(_terms(self.contrasts, self.strokes.size), self.strokes)[0]
            strokes = _terms(changes) @ slopes
        return replace(self, pair=pair, contrasts=changes, strokes=strokes)

    def designed(self, metric: str) -> TrialDesign:
        """The trial that would see the change asked for, as `putlab trial` lays it out."""
        golfer, at_ft = self.fit.golfer(self.pair.player), self.by_distance()["distance_ft"]
        how: dict[str, Any] = {"golfer": golfer, "rules": self.fit.log.rules}
        return design_trial(list(at_ft), self.sizes["detect_pct"], metric=metric, **how)

    def several(self, metric: str) -> pd.DataFrame | None:
        """The table of all the player's conditions, where there are more than two."""
        component = metric if metric in self.contrasts else next(iter(self.contrasts))
        player, small = self.pair.player, self.sizes["too_small_pct"]
        if len(conditions_in_order(self.fit, player, component)) < 3:
            return None
        return change_table(self.fit, player, component, self.pair.before, small)

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


def _strokes_sds(change: np.ndarray, contrasts: list[Contrast]) -> tuple[float, float]:
    """Sd of the change of strokes as the fit has it, and that of its prior."""
    # Strokes follow the log ratios nearly straight; what is left is the change of biases.
    # The rows are the draws that the golfer's own skill keeps.
    kept = np.linspace(0, len(contrasts[0].log_ratio) - 1, change.size).astype(int)
    columns = np.stack([*(c.log_ratio[kept] for c in contrasts), np.ones(change.size)], axis=1)
    slopes, *_ = np.linalg.lstsq(columns, change)
    left = (change - columns @ slopes).var()
    sds = np.array([[c.sd_fit, c.prior_sd] for c in contrasts])
    sd_fit, prior_sd = np.sqrt(np.square(slopes[:-1]) @ np.square(sds) + left).tolist()
    return sd_fit, prior_sd


def _summary(draws: np.ndarray) -> Summary:
    """Mean and interval over draws, shape (draws, ...)."""
    return dict(zip(("mean", "lo", "hi"), np.array(summary(draws)).tolist(), strict=True))


def _improvement(change: np.ndarray, shown: Callable[[np.ndarray], np.ndarray]) -> Summary:
    """The same of a change, on the scale on which it is shown, and its chance of being below 0."""
    p_improved = p_below(change.mean(axis=0), change.std(axis=0, ddof=1))
    return _summary(shown(change)) | {"p_improved": np.asarray(p_improved).tolist()}
