"""The textbook analysis of the same readings, to stand beside the kit's own.

Brown and Forsythe's test asks whether two conditions scatter alike (M. B. Brown and A. B.
Forsythe, "Robust tests for the equality of variances", JASA 69, 1974): `scipy.stats.levene`
around medians. A mixed model of the same absolute deviations gives the ratio, with a random
effect for each visit (`statsmodels`). Both take a reading as exact and count a mishit in full,
and neither knows how often the log has been looked at.
"""

import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import scipy
from scipy.special import ndtri

from putlab.base.cache import kept_plain, result_key
from putlab.base.settings import INTERVAL
from putlab.base.words import percent
from putlab.trial.boundary import HELPED, HURT, TWO_SIDED

# Fewer readings under a condition than this leave no textbook interval to speak of.
FEWEST = 10

# A mixed model further than this many ordinary standard errors from the ordinary one, or with
# standard errors so many times as wide, has not been fitted.
FAR_SE = 5.0


@dataclass(frozen=True)
class Classical:
    """Result of the textbook analysis of one component."""

    brown_forsythe_p: float  # two-sided p of equal spread
    ratio: float  # of mean absolute deviations, after to before
    lo: float  # ends of the kit's interval of the ratio
    hi: float
    mixed_p: float  # two-sided p of no change in the mixed model
    model: str  # mixed with a random visit, or ordinary where no visit effect can be told
    putts: int

    @property
    def says(self) -> str | None:
        """Helped or hurt where Brown and Forsythe's p is under 5 %, else None."""
        if self.brown_forsythe_p >= TWO_SIDED:
            return None
        return HELPED if self.ratio < 1 else HURT

    @property
    def sentence(self) -> str:
        """The finding in one sentence."""
        return (
            f"Textbook analysis of {self.putts:,} readings: spread {self.ratio:.2f} times that "
            f"before ({percent(INTERVAL)} interval {self.lo:.2f} to {self.hi:.2f}, {self.model} "
            f"model); Brown-Forsythe p = {self.brown_forsythe_p:.2g}."
        )


def classical(rows: pd.DataFrame, before: str, after: str) -> Classical | None:
    """Compare spreads by the book, from one player's counted cells; None for few readings."""
    readings = readings_of(rows[rows["condition"].isin([before, after])])
    putts = readings["condition"].value_counts().reindex([before, after], fill_value=0)
    if putts.min() < FEWEST:
        return None
    # Loading the libraries takes longest: spared where the answer is known.
    key = result_key("trial", "classical", readings, before, after)
    return Classical(*kept_plain(key, lambda: _by_the_book(readings, before, after)))


def _by_the_book(readings: pd.DataFrame, before: str, after: str) -> tuple[Any, ...]:
    table = deviations_of(readings)
    groups = [table.loc[table["condition"] == name, "error"] for name in (before, after)]
    p = float(scipy.stats.levene(*groups, center="median").pvalue)
    return p, *_mixed_ratio(table, after), len(readings)


def readings_of(rows: pd.DataFrame) -> pd.DataFrame:
    """Readings at the middle of their intervals: ``session, length, condition, value``."""
    closed = rows[np.isfinite(rows["lo"]) & np.isfinite(rows["hi"])]
    repeated = closed.loc[closed.index.repeat(closed["count"])]
    value = (repeated["lo"] + repeated["hi"]) / 2
    kept = repeated[["session", "length", "condition"]].assign(value=value)
    return kept.reset_index(drop=True)


def deviations_of(readings: pd.DataFrame) -> pd.DataFrame:
    """Readings with their ``error`` around what a length, a condition and a visit share.

    In units of the length's mean absolute deviation; ``size`` is the absolute value.
    """
    error = readings["value"] - readings.groupby(["length", "condition"])["value"].transform(
        "median"
    )
    error = error - error.groupby(readings["session"]).transform("median")
    scale = error.abs().groupby(readings["length"]).transform("mean")
    kept = readings.assign(error=error / scale)[scale > 0]
    return kept.assign(size=kept["error"].abs())


def _mixed_ratio(deviations: pd.DataFrame, after: str) -> tuple[float, float, float, float, str]:
    """Ratio of mean absolute deviations, its interval, p, and the kind of model."""
    table = deviations.assign(changed=(deviations["condition"] == after).astype(float))
    fitted, kind = _regression(table)
    names = ["Intercept", "changed"]
    a, b = np.asarray(fitted.params[names], dtype=float)
    covariance = fitted.cov_params().loc[names, names].to_numpy(float)
    # (a + b) / a and its interval, by the delta method on the log.
    gradient = np.array([1 / (a + b) - 1 / a, 1 / (a + b)])
    half = ndtri(0.5 + INTERVAL / 2) * np.sqrt(gradient @ covariance @ gradient)
    ratio = 1 + b / a
    lo, hi = ratio * np.exp([-half, half])
    return float(ratio), float(lo), float(hi), float(fitted.pvalues["changed"]), kind


def _regression(table: pd.DataFrame) -> tuple[Any, str]:
    """The mixed model, or the ordinary one where no visit effect can be told."""
    from statsmodels.formula.api import mixedlm, ols

    plain = ols("size ~ changed", table).fit()
    # An effect of nought lies on the edge of what a mixed model can fit, and there its search
    # may warn, stop, or end far from any answer.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            mixed = mixedlm("size ~ changed", table, groups=table["session"]).fit(reml=True)
        except np.linalg.LinAlgError:
            return plain, "ordinary"
        near = np.abs(mixed.fe_params - plain.params) <= FAR_SE * plain.bse
        narrow = mixed.bse_fe < FAR_SE * plain.bse
    fine = mixed.converged and (near & narrow).all()
    return (mixed, "mixed") if fine else (plain, "ordinary")


def disagreement(verdict: str, textbook: Classical) -> str:
    """A sentence where the textbook and the kit say different things, else nothing."""
    if textbook.says == (verdict if verdict in (HELPED, HURT) else None):
        return ""
    return (
        f"The textbook test alone would say {textbook.says or 'nothing'} (Brown-Forsythe p = "
        f"{textbook.brown_forsythe_p:.2g}); it asks neither how the putts were laid out, nor how "
        "often one checks, nor what is too small to matter."
    )
