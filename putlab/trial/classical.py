"""The textbook analysis of the same readings, to stand beside the kit's own.

Brown and Forsythe's test asks whether two arms scatter alike (M. B. Brown and A. B. Forsythe,
"Robust tests for the equality of variances", JASA 69, 1974): `scipy.stats.levene` around
medians. A mixed model of the same absolute deviations gives the ratio, with a random effect
for each visit (`statsmodels`). Both take a reading as exact and count a mishit in full, and
neither knows how often the log has been looked at.
"""

import warnings
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from putlab.base.settings import INTERVAL
from putlab.trial.boundary import CANNOT_TELL, HELPED, HURT, NO_DIFFERENCE, TWO_SIDED

# Fewer readings in an arm than this leave no textbook interval to speak of.
FEWEST = 10

# A mixed model further than this many ordinary standard errors from the ordinary one, or with
# standard errors so many times as wide, has not been fitted.
FAR_SE = 5.0


@dataclass(frozen=True)
class Classical:
    """Result of the textbook analysis of one component.

    Attributes
    ----------
    brown_forsythe_p : float
        Two-sided p of equal spread.
    ratio, lo, hi : float
        Ratio of mean absolute deviations, after to before, and the kit's interval width.
    mixed_p : float
        Two-sided p of no change in the mixed model.
    model : str
        ``mixed`` with a random visit, or ``ordinary`` where no visit effect can be told.
    putts : int
        Readings used.
    """

    brown_forsythe_p: float
    ratio: float
    lo: float
    hi: float
    mixed_p: float
    model: str
    putts: int

    @property
    def says(self):
        """``helped`` or ``hurt`` where Brown and Forsythe's p is under 5 %, else None."""
        if self.brown_forsythe_p >= TWO_SIDED:
            return None
        return HELPED if self.ratio < 1 else HURT

    @property
    def sentence(self):
        """The finding in one sentence."""
        return (
            f"Textbook analysis of {self.putts:,} readings: spread {self.ratio:.2f} times that "
            f"before ({INTERVAL:.0%} interval {self.lo:.2f} to {self.hi:.2f}, {self.model} "
            f"model); Brown-Forsythe p = {self.brown_forsythe_p:.2g}."
        )


def classical(rows, before, after):
    """Compare the spread of two arms by the book.

    Parameters
    ----------
    rows : pandas.DataFrame
        Counted cells of one player and component (`putlab.model.readings.cells`).
    before, after : str
        Conditions.

    Returns
    -------
    Classical or None
        None where an arm has too few readings.
    """
    readings = readings_of(rows[rows["condition"].isin([before, after])])
    arms = [readings[readings["condition"] == name] for name in (before, after)]
    if min(map(len, arms)) < FEWEST:
        return None
    deviations = deviations_of(readings)
    groups = [deviations.loc[deviations["condition"] == name, "error"] for name in (before, after)]
    _, p = stats.levene(*groups, center="median")
    ratio, lo, hi, mixed_p, model = _mixed_ratio(deviations, after)
    return Classical(float(p), ratio, lo, hi, mixed_p, model, len(readings))


def readings_of(rows):
    """Return one row a reading, each at the middle of its interval.

    Parameters
    ----------
    rows : pandas.DataFrame
        Counted cells.

    Returns
    -------
    pandas.DataFrame
        ``session, length, condition, value``; readings without an end are left out.
    """
    closed = rows[np.isfinite(rows["lo"]) & np.isfinite(rows["hi"])]
    repeated = closed.loc[closed.index.repeat(closed["count"])]
    value = (repeated["lo"] + repeated["hi"]) / 2
    kept = repeated[["session", "length", "condition"]].assign(value=value)
    return kept.reset_index(drop=True)


def deviations_of(readings):
    """Return errors around what a length, a condition and a visit have in common.

    Parameters
    ----------
    readings : pandas.DataFrame
        From `readings_of`.

    Returns
    -------
    pandas.DataFrame
        With ``error`` in units of the length's mean absolute deviation, and its ``size``.
    """
    keys = ["length", "condition"]
    error = readings["value"] - readings.groupby(keys)["value"].transform("median")
    error = error - error.groupby(readings["session"]).transform("median")
    scale = error.abs().groupby(readings["length"]).transform("mean")
    kept = readings.assign(error=error / scale)[scale > 0]
    return kept.assign(size=kept["error"].abs())


def _mixed_ratio(deviations, after):
    """Return ratio, interval, p and kind of model of mean absolute deviations."""
    import statsmodels.formula.api as smf

    table = deviations.assign(changed=(deviations["condition"] == after).astype(float))
    plain = smf.ols("size ~ changed", table).fit()
    mixed = _mixed(smf, table, plain)
    fitted, kind = (plain, "ordinary") if mixed is None else (mixed, "mixed")
    names = ["Intercept", "changed"]
    mean = np.asarray(fitted.params[names], dtype=float)
    covariance = fitted.cov_params().loc[names, names].to_numpy(float)
    return *_ratio(mean, covariance), float(fitted.pvalues["changed"]), kind


def _mixed(smf, table, plain):
    """Return the fitted mixed model, or None where no visit effect can be told.

    A visit effect of nought lies on the edge of what a mixed model can fit, and there its
    search may warn, stop, or end far from where any answer can be.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            model = smf.mixedlm("size ~ changed", table, groups=table["session"])
            fitted = model.fit(reml=True)
        except np.linalg.LinAlgError:
            return None
        far = np.abs(fitted.fe_params - plain.params) > FAR_SE * plain.bse
        wide = ~(fitted.bse_fe < FAR_SE * plain.bse)
    return fitted if fitted.converged and not (far | wide).any() else None


def _ratio(mean, covariance):
    """Return (a + b) / a and its interval, by the delta method on the log."""
    a, b = mean
    gradient = np.array([1 / (a + b) - 1 / a, 1 / (a + b)])
    half = stats.norm.ppf(0.5 + INTERVAL / 2) * np.sqrt(gradient @ covariance @ gradient)
    ratio = 1 + b / a
    return tuple(float(r) for r in (ratio, ratio * np.exp(-half), ratio * np.exp(half)))


def disagreement(verdict, twin):
    """Return a sentence where the textbook and the kit say different things.

    Parameters
    ----------
    verdict : str
        The kit's verdict on the same component.
    twin : Classical or None
        The textbook's.

    Returns
    -------
    str
        Empty where they agree, or there is no textbook result.
    """
    if twin is None or twin.says == (verdict if verdict in (HELPED, HURT) else None):
        return ""
    p = f"Brown-Forsythe p = {twin.brown_forsythe_p:.2g}"
    if verdict == CANNOT_TELL:
        return (
            f"The textbook test alone would say {twin.says} ({p}); the kit waits, for that "
            "test allows neither for looking more than once nor for what practice alone "
            "may do."
        )
    if verdict == NO_DIFFERENCE:
        return f"The textbook test sees a difference ({p}), but one too small to matter."
    if twin.says is None:
        return (
            f"The textbook test alone would not say {verdict} ({p}); the kit also uses how "
            "each reading was made, and what lengths and visits share."
        )
    return f"The textbook test says the opposite ({p}): look at the readings before acting."


def twin_table(twins):
    """Return the textbook results as a table.

    Parameters
    ----------
    twins : dict of str to Classical
        By component; None where there was none.

    Returns
    -------
    pandas.DataFrame
        A row a component.
    """
    rows = [{"component": name} | vars(twin) for name, twin in twins.items() if twin]
    return pd.DataFrame(rows)
