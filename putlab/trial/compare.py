"""Did the change help? Two conditions of one player compared, and one verdict.

A ratio below 1 means that the change narrowed the spread; fewer strokes are below 0. The
verdict is given on one metric, chosen before looking: line spread, unless said otherwise.
"""

from dataclasses import dataclass, fields
from functools import cached_property
from html import escape
from typing import Any

import numpy as np
import pandas as pd

from putlab.base.errors import UsageError
from putlab.base.result import Result
from putlab.base.settings import SEED
from putlab.log.read import Log
from putlab.model.design import REFERENCE_FT
from putlab.model.readings import COMPONENTS
from putlab.posterior.fit import Fit, fit_log
from putlab.posterior.player import summary
from putlab.rounds.first_putts import RoundMix, shipped_mix
from putlab.trial.boundary import DETECT_PCT, TOO_SMALL_PCT, TOO_SMALL_STROKES, Boundary, p_below
from putlab.trial.cautions import METRICS, answer, cautions
from putlab.trial.classical import Classical, classical
from putlab.trial.conditions import Conditions, choose_conditions, label, putt_counts
from putlab.trial.contrast import (
    Contrast,
    change_table,
    contrast,
    share_of_exact,
    strokes_change,
    strokes_saved,
)

Summary = dict[str, float]


@dataclass(frozen=True)
class Comparison(Result):
    """Two conditions of one player, compared.

    Attributes
    ----------
    conditions : putlab.trial.conditions.Conditions
        Putts of each condition and how they lie in time.
    metric : str
        What the verdict is on: ``line``, ``pace`` or ``strokes``.
    line_sd_ratio, pace_sd_ratio : dict or None
        ``mean, lo, hi, p_improved`` of the ratio of spreads; None where not read.
    by_distance : pandas.DataFrame
        The same ratios at each length that both conditions share.
    line_bias_change_deg, pace_bias_change_pct : dict or None
        ``mean, lo, hi`` of the change of bias.
    strokes_per_round_change : dict or None
        ``mean, lo, hi, p_improved``; None where line or pace was never read.
    p_too_small_to_matter, p_needed : float
        Chance that the change of the metric is too small to matter; probability of
        improvement that saying ``helped`` asks for at this size of trial.
    verdict : str
        ``helped``, ``hurt``, ``no difference that matters`` or ``cannot tell yet``.
    putts_still_needed : int
        Further putts, both conditions together and shuffled, until a verdict is likely.
    too_small_pct, too_small_strokes, detect_pct : float
        What counts as too small, and what the trial is meant to see.
    mix : str
        Whose mix of first putts the strokes are for.
    classical : dict of str to putlab.trial.classical.Classical
        The textbook's results by component.
    several : pandas.DataFrame or None
        All conditions of the player together, shrunk by `putlab.trial.contrast.change_table`,
        where there are more than two.
    """

    conditions: Conditions
    metric: str
    line_sd_ratio: Summary | None
    pace_sd_ratio: Summary | None
    by_distance: pd.DataFrame
    line_bias_change_deg: Summary | None
    pace_bias_change_pct: Summary | None
    strokes_per_round_change: Summary | None
    p_too_small_to_matter: float
    p_needed: float
    verdict: str
    putts_still_needed: int
    too_small_pct: float
    too_small_strokes: float
    detect_pct: float
    mix: str
    classical: dict[str, Classical | None]
    several: pd.DataFrame | None = None

    @property
    def judged_change(self) -> Summary:
        """Mean, interval and chance of improvement of what the verdict is on."""
        strokes = self.metric == "strokes"
        name = "strokes_per_round_change" if strokes else f"{self.metric}_sd_ratio"
        return getattr(self, name)

    @property
    def table(self) -> pd.DataFrame:
        """The changes, a row a quantity: ``change, mean, lo, hi, p_improved``."""
        named = {
            "line spread, ratio": self.line_sd_ratio,
            "pace spread, ratio": self.pace_sd_ratio,
            "line bias, change in degrees": self.line_bias_change_deg,
            "pace bias, change in %": self.pace_bias_change_pct,
            "strokes a round, change": self.strokes_per_round_change,
        }
        rows = [{"change": name, **values} for name, values in named.items() if values]
        return pd.DataFrame(rows, columns=["change", "mean", "lo", "hi", "p_improved"])

    @property
    def sentence(self) -> str:
        """The answer in plain words; a plain before-and-after is named first."""
        return answer(self)

    @cached_property
    def cautions(self) -> list[str]:
        """What to bear in mind, the gravest first."""
        return list(cautions(self))

    def to_dict(self) -> dict[str, Any]:
        """The comparison as plain values, ready to be written as JSON."""
        conditions = self.conditions
        counts = ("putts_before", "putts_after", "sessions", "sessions_shared", "design")
        plain = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "conditions"}
        return {
            "player": conditions.player,
            "before": label(conditions.before),
            "after": label(conditions.after),
            **{name: getattr(conditions, name) for name in counts},
            **plain,
            "by_distance": _records(self.by_distance),
            "several": None if self.several is None else _records(self.several),
            "classical": {name: vars(book) for name, book in self.classical.items() if book},
            "cautions": self.cautions,
            "sentence": self.sentence,
        }

    def _repr_html_(self) -> str:
        noted = "".join(f"<li>{escape(text)}</li>" for text in self.cautions)
        textbook = "".join(
            f"<p>{name}: {escape(twin.sentence)}</p>"
            for name, twin in self.classical.items()
            if twin
        )
        who = f"<p><b>{escape(self.conditions.player)}</b></p>"
        return f"{who}{super()._repr_html_()}<ul>{noted}</ul>{textbook}"


def compare(
    fit_or_log: Fit | Log,
    before: str,
    after: str,
    *,
    player: str | None = None,
    metric: str | None = None,
    too_small_pct: float = TOO_SMALL_PCT,
    too_small_strokes: float = TOO_SMALL_STROKES,
    detect_pct: float = DETECT_PCT,
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
        What the verdict is on; default: line spread, or pace where line was not read.
        Choose before looking: the best of three looks is no single look.
    too_small_pct, too_small_strokes : float
        A change of spread of less than this percent, or of less than this many strokes a
        round, is too small to matter.
    detect_pct : float
        Change of spread in percent that the trial was designed to see (`design_trial`).
        It fixes when a check is an early one, and early checks ask for more.
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
    sizes = _checked(metric, too_small_pct, too_small_strokes, detect_pct)
    # Labels are looked up before the fit, so that a typing error costs no minute.
    pair = choose_conditions(putt_counts(fit_or_log), before, after, player)
    fit = fit_or_log if isinstance(fit_or_log, Fit) else fit_log(fit_or_log, seed=seed)
    case = _Case(fit, pair, mix or shipped_mix(), sizes)
    metric = case.metric(metric)
    change, sd_fit, boundary = case.judged(metric)
    mean, sd = change.mean(), change.std(ddof=1)
    per_putt = case.information_per_putt(metric, float(boundary.information(sd_fit)))
    changes = {
        name: (_summary(np.exp(c.log_ratio), c.log_ratio), _summary(c.bias_change))
        for name, c in case.contrasts.items()
    }
    line, pace = (changes.get(name, (None, None)) for name in COMPONENTS)
    strokes = case.strokes
    return Comparison(
        conditions=pair,
        metric=metric,
        line_sd_ratio=line[0],
        pace_sd_ratio=pace[0],
        by_distance=case.by_distance(),
        line_bias_change_deg=line[1],
        pace_bias_change_pct=pace[1],
        strokes_per_round_change=None if strokes is None else _summary(strokes, strokes),
        p_too_small_to_matter=float(boundary.p_too_small(mean, sd)),
        p_needed=float(boundary.p_needed(sd, sd_fit)),
        verdict=str(boundary.verdict(mean, sd, sd_fit)),
        putts_still_needed=boundary.putts_to_verdict(
            mean, sd, sd_fit=sd_fit, per_putt=per_putt, seed=seed
        ),
        mix=case.mix.level,
        classical={
            name: classical(case.rows(name), pair.before, pair.after) for name in case.contrasts
        },
        several=case.several(metric),
        **sizes,
    )


def _checked(
    metric: str | None, too_small_pct: float, too_small_strokes: float, detect_pct: float
) -> dict[str, float]:
    if metric is not None and metric not in METRICS:
        raise UsageError(f"metric {metric!r}: expected one of {', '.join(METRICS)}.")
    if not 0 < detect_pct < 100:
        raise UsageError(f"detect_pct {detect_pct:g}: expected percent above 0 and below 100.")
    small = {"too_small_pct": float(too_small_pct), "too_small_strokes": float(too_small_strokes)}
    for name, value in small.items():
        if not 0 <= value < 100:
            raise UsageError(f"{name} {value:g}: expected 0 or more, and below 100.")
    return small | {"detect_pct": float(detect_pct)}


@dataclass(frozen=True)
class _Case:
    """What a comparison is worked out from."""

    fit: Fit
    pair: Conditions
    mix: RoundMix
    sizes: dict[str, float]

    def rows(self, component: str, table: str = "rows") -> pd.DataFrame:
        """The player's counted readings, or ``conditions`` with any."""
        rows = getattr(self.fit.designs[component], table)
        return rows[rows["player"] == self.pair.player]

    @cached_property
    def contrasts(self) -> dict[str, Contrast]:
        """The changes of the components read under both conditions."""
        asked, found = {self.pair.before, self.pair.after}, {}
        for name in COMPONENTS:
            if asked <= set(self.rows(name, "conditions")["condition"]):
                found[name] = contrast(self.fit, self.pair, name)
        return found

    @cached_property
    def strokes(self) -> np.ndarray | None:
        """Change of strokes a round, (draws,); None where line or pace was never read."""
        if any(self.rows(name).empty for name in COMPONENTS):
            return None
        return strokes_change(self.fit, self.pair, self.contrasts, self.mix)

    def metric(self, wanted: str | None) -> str:
        """The metric of the verdict, or why it can't be judged."""
        if not self.contrasts:
            raise UsageError(
                f"{self.pair.player}: no component was read under both {label(self.pair.before)!r} "
                f"and {label(self.pair.after)!r}, so there is nothing to compare."
            )
        if wanted is None:
            return next(iter(self.contrasts))
        if wanted != "strokes" and wanted not in self.contrasts:
            raise UsageError(f"metric {wanted!r}: {wanted} was not read under both conditions.")
        if wanted == "strokes" and self.strokes is None:
            raise UsageError("metric 'strokes': both line and roll-out must have been read.")
        return wanted

    def judged(self, metric: str) -> tuple[np.ndarray, float, Boundary]:
        """Draws of the change that is judged, its sd in the fit, and what is asked of it."""
        sizes = self.sizes
        if metric == "strokes" and self.strokes is not None:
            sd_fit, prior_sd = _strokes_sds(self.strokes, list(self.contrasts.values()))
            saved = strokes_saved(self.fit, self.pair, sizes["detect_pct"], self.mix)
            return self.strokes, sd_fit, Boundary(sizes["too_small_strokes"], saved, prior_sd)
        change, small = self.contrasts[metric], np.log1p(sizes["too_small_pct"] / 100)
        detect = -np.log1p(-sizes["detect_pct"] / 100)
        return change.log_ratio, change.sd_fit, Boundary(small, detect, change.prior_sd)

    def information_per_putt(self, metric: str, gathered: float) -> float:
        """What one more putt tells of the change, both conditions shuffled within visits."""
        if metric == "strokes":
            return gathered / (self.pair.putts_before + self.pair.putts_after)
        golfer, rows = self.fit.golfer(self.pair.player), self.rows(metric)
        width = (rows["hi"] - rows["lo"]).replace(np.inf, np.nan).median()
        # Two conditions of n putts tell n/2 between them of a difference: a half a putt.
        return 0.5 * share_of_exact(golfer, metric, [REFERENCE_FT], width, [rows["noise"].median()])

    def several(self, metric: str) -> pd.DataFrame | None:
        """The table of all the player's conditions, where there are more than two."""
        component = metric if metric in self.contrasts else next(iter(self.contrasts))
        if len(self.rows(component, "conditions")) < 3:
            return None
        how = {"player": self.pair.player, "component": component}
        small = self.sizes["too_small_pct"]
        return change_table(self.fit, label(self.pair.before), **how, too_small_pct=small)

    def by_distance(self) -> pd.DataFrame:
        """Ratios length by length; a component that was not read has no columns."""
        tables = []
        for name, change in self.contrasts.items():
            ratios = [_summary(np.exp(log), log) for log in change.log_ratio_at.T]
            table = pd.DataFrame(ratios, index=change.distance_ft).add_prefix(f"{name}_sd_ratio_")
            table[f"{name}_putts_before"], table[f"{name}_putts_after"] = change.putts
            tables.append(table)
        return pd.concat(tables, axis=1).rename_axis("distance_ft").reset_index()


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


def _summary(draws: np.ndarray, change: np.ndarray | None = None) -> Summary:
    """Mean and interval; of a change given on its own scale also the chance that it is below 0."""
    found = dict(zip(("mean", "lo", "hi"), map(float, summary(draws)), strict=True))
    if change is not None:
        found["p_improved"] = float(p_below(change.mean(), change.std(ddof=1)))
    return found


def _records(table: pd.DataFrame) -> list[dict]:
    # A missing value is None, as JSON has it.
    return table.astype(object).where(table.notna(), None).to_dict("records")
