"""Did the change help? Two conditions of one player compared, and one verdict.

A ratio below 1 means that the change narrowed the spread; fewer strokes are below 0. The
verdict is given on one metric, chosen before looking: line spread, unless said otherwise.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from putlab.base.errors import UsageError, expect
from putlab.base.settings import SEED
from putlab.log.read import Log
from putlab.model.design import REFERENCE_FT
from putlab.posterior.fit import Fit, fit_log
from putlab.posterior.player import summary
from putlab.rounds.first_putts import RoundMix, shipped_mix
from putlab.trial.boundary import DETECT_PCT, TOO_SMALL_PCT, TOO_SMALL_STROKES, Boundary, p_below
from putlab.trial.classical import classical
from putlab.trial.comparison import METRICS, Comparison, Summary
from putlab.trial.conditions import Conditions, choose_conditions, putt_counts, rows_of
from putlab.trial.contrast import (
    Contrast,
    change_table,
    conditions_in_order,
    contrasts,
    share_of_exact,
    strokes_change,
    strokes_saved,
)


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
    expect(metric in (None, *METRICS), "metric", metric, f"one of {', '.join(METRICS)}")
    expect(0 < detect_pct < 100, "detect_pct", detect_pct, "percent above 0 and below 100")
    sizes = {"too_small_pct": too_small_pct, "too_small_strokes": too_small_strokes}
    for name, size in sizes.items():
        expect(0 <= size < 100, name, size, "0 or more, and below 100")
    sizes = {name: float(size) for name, size in (sizes | {"detect_pct": detect_pct}).items()}
    # Labels are looked up before the fit, so that a typing error costs no minute.
    pair = choose_conditions(putt_counts(fit_or_log), before, after, player)
    fit = fit_or_log if isinstance(fit_or_log, Fit) else fit_log(fit_or_log, seed=seed)
    mix, changes = mix or shipped_mix(), contrasts(fit, pair)
    strokes = strokes_change(fit, pair, changes, mix)
    case = _Case(fit, pair, mix, sizes, changes, strokes)
    metric = case.metric(metric)
    change, sd_fit, boundary = case.judged(metric)
    mean, sd = change.mean(), change.std(ddof=1)
    per_putt = case.information_per_putt(metric, float(boundary.information(sd_fit)))
    ratios = {name: _improvement(c.log_ratio, np.exp) for name, c in changes.items()}
    biases = {name: _summary(c.bias_change) for name, c in changes.items()}
    rows = {name: rows_of(fit, pair.player, name) for name in changes}
    books = {name: classical(rows[name], pair.before, pair.after) for name in changes}
    return Comparison(
        conditions=pair,
        metric=metric,
        line_sd_ratio=ratios.get("line"),
        pace_sd_ratio=ratios.get("pace"),
        by_distance=case.by_distance(),
        line_bias_change_deg=biases.get("line"),
        pace_bias_change_pct=biases.get("pace"),
        strokes_per_round_change=None if strokes is None else _improvement(strokes, np.asarray),
        p_too_small_to_matter=float(boundary.p_too_small(mean, sd)),
        p_needed=float(boundary.p_needed(sd, sd_fit)),
        verdict=str(boundary.verdict(mean, sd, sd_fit)),
        putts_still_needed=boundary.putts_to_verdict(
            mean, sd, sd_fit=sd_fit, per_putt=per_putt, seed=seed
        ),
        mix=mix.level,
        classical={name: book for name, book in books.items() if book},
        several=case.several(metric),
        **sizes,
    )


@dataclass(frozen=True)
class _Case:
    """What a comparison is worked out from."""

    fit: Fit
    pair: Conditions
    mix: RoundMix
    sizes: dict[str, float]
    contrasts: dict[str, Contrast]
    strokes: np.ndarray | None

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
        golfer = self.fit.golfer(self.pair.player)
        rows = rows_of(self.fit, golfer.player, metric)
        width = (rows["hi"] - rows["lo"]).replace(np.inf, np.nan).median()
        # Two conditions of n putts tell n/2 between them of a difference: a half a putt.
        return 0.5 * share_of_exact(golfer, metric, REFERENCE_FT, width, rows["noise"].median())

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
