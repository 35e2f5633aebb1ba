"""Strokes gained and lost on a reference: the tour's published record, or the user's own."""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

from putlab.base.errors import UsageError
from putlab.base.settings import PAST_FT
from putlab.green.hole_out import hole_out
from putlab.green.published import VARIANCE_SHARE, table
from putlab.green.skill import Skill

COLUMNS = ("distance_ft", "average_putts")


@dataclass(frozen=True)
class Reference:
    """Average putts to hole out of some group of golfers.

    Attributes
    ----------
    name : str
        Who: "tour average", say.
    source : str
        Where the figures come from.
    distance_ft, average_putts : ndarray, shape (n,)
        Rising distances, and the average putts from each.
    """

    name: str
    source: str
    distance_ft: np.ndarray
    average_putts: np.ndarray

    def at(self, distance_ft):
        """Return average putts from other distances.

        Parameters
        ----------
        distance_ft : array_like
            Distances in feet.

        Returns
        -------
        ndarray, same shape
            Straight between the distances known; NaN outside them: nothing is claimed there.
        """
        known = self.distance_ft, self.average_putts
        return np.interp(distance_ft, *known, left=np.nan, right=np.nan)

    def gained(self, distance_ft, putts):
        """Return strokes gained on the reference.

        Parameters
        ----------
        distance_ft : array_like
            Length of the first putt in feet.
        putts : array_like
            Putts taken, or expected, from there.

        Returns
        -------
        ndarray
            Above 0 where fewer were taken than the reference takes; NaN where it is silent.
        """
        return self.at(distance_ft) - np.asarray(putts, dtype=float)


def tour_reference():
    """Return the published average putts of tour professionals, 1 to 75 ft.

    Returns
    -------
    Reference
        With its source.
    """
    published = table("tour_average_putts")
    columns = (published.frame[name].to_numpy(dtype=float) for name in COLUMNS)
    return Reference("tour average", published.source, *columns)


def read_reference(path, *, source=None):
    """Read a reference of the user's own.

    Parameters
    ----------
    path : path-like
        A CSV with columns ``distance_ft`` and ``average_putts``, and perhaps ``source``.
    source : str, optional
        Where the figures come from, if no column says so.

    Returns
    -------
    Reference
        Named after the file; where no source is given, its source says just that.

    Raises
    ------
    UsageError
        The file cannot be read, lacks a column, or holds what cannot be average putts.
    """
    path = Path(path)
    frame = _frame(path)
    columns = [_numbers(path, frame, name) for name in COLUMNS]
    distance_ft, average_putts = columns
    if distance_ft.size < 2:
        raise _wrong(path, f"{distance_ft.size} row(s)", "two distances or more")
    if distance_ft[0] <= 0 or np.any(np.diff(distance_ft) <= 0):
        row = int(np.argmax(np.diff(distance_ft, prepend=0.0) <= 0))
        got = f"distance_ft {distance_ft[row]:g} in row {row + 2}"
        raise _wrong(path, got, "distances above 0, each longer than the one before")
    wrong = (average_putts < 1) | (average_putts > 10)
    if wrong.any():
        row = int(np.argmax(wrong))
        got = f"average_putts {average_putts[row]:g} in row {row + 2}"
        raise _wrong(path, got, "averages of 1 to 10 putts")
    return Reference(path.stem, _source(path, frame, source), *columns)


def _frame(path):
    import pandas as pd

    try:
        return pd.read_csv(path)
    except FileNotFoundError as error:
        raise UsageError(f"{path}: no such file. Give a CSV of {' and '.join(COLUMNS)}.") from error
    except (OSError, ValueError) as error:
        raise UsageError(f"{path} could not be read as CSV: {error}") from error


def _numbers(path, frame, name):
    if name not in frame:
        known = ", ".join(map(str, frame.columns))
        raise _wrong(path, f"the columns {known}", f"a column {name}")
    numbers = frame[name].map(_number)
    if numbers.isna().any():
        row = int(np.argmax(numbers.isna()))
        raise _wrong(path, f"{name} '{frame[name].iloc[row]}' in row {row + 2}", "a number")
    return numbers.to_numpy(dtype=float)


def _number(value):
    try:
        number = float(value)
    except (TypeError, ValueError):
        return np.nan
    return number if np.isfinite(number) else np.nan


def _wrong(path, got, expected):
    return UsageError(f"{path}, reference of average putts: got {got}; expected {expected}.")


def _source(path, frame, source):
    if source:
        return source
    if "source" in frame:
        stated = frame["source"].dropna().astype(str).unique()
        if stated.size:
            return "; ".join(stated)
    return f"{path.name}, which states no source"


# One golfer of constant line and pace spread who putts as tour professionals do.


# Greens of the tour are fast: about 11 ft (common practice). At 10 and 12 ft the fit moves by
# less than 0.02 degrees and 0.1 %.
TOUR_STIMP_FT = 11.0

# Published rates at 2 ft and below hold tap-ins, and beyond 50 ft few putts.
TOUR_FROM_FT, TOUR_TO_FT = 3.0, 50.0


@dataclass(frozen=True)
class TourGolfer:
    """The fitted golfer.

    Attributes
    ----------
    line_sd_deg, pace_sd_pct : float
        Spread of direction and of roll-out, the same at all distances, on tour greens:
        reading them included.
    stimp_ft, past_ft : float
        Green speed and aim that the fit assumes.
    average_putts_off, one_putt_off : pandas.Series
        Fitted less published, by distance in feet.
    """

    line_sd_deg: float
    pace_sd_pct: float
    stimp_ft: float
    past_ft: float
    average_putts_off: object
    one_putt_off: object

    @property
    def skill(self):
        """The golfer on a tour green, as a `Skill` of one draw."""
        return Skill.constant(self.line_sd_deg, self.pace_sd_pct)

    @property
    def technique(self):
        """What is left without reading and surface, as a `Skill`: see `green_spread`."""
        share = np.sqrt(VARIANCE_SHARE["technique"])
        return Skill.constant(share * self.line_sd_deg, share * self.pace_sd_pct)


@lru_cache
def tour_golfer():
    """Fit the golfer to the published made rates and average putts together.

    Least squares over both records, 3 to 50 ft, each distance counting once.

    Returns
    -------
    TourGolfer
        Line and pace spread, and how far each published figure is missed.
    """
    import pandas as pd

    made, average = (_between(name) for name in ("putts_made_broadie_2018", "tour_average_putts"))
    rate, putts = (made["made"] / made["tries"]).to_numpy(), average["average_putts"].to_numpy()

    def misses(log_spreads):
        skill = Skill.constant(*np.exp(log_spreads))
        first, second = (
            hole_out(skill, f["distance_ft"], stimp_ft=TOUR_STIMP_FT, past_ft=PAST_FT)
            for f in (average, made)
        )
        return np.concatenate([first.average_putts[0] - putts, second.one_putt[0] - rate])

    # Steps well above the rounding of the integrals (single precision).
    fit = least_squares(misses, np.log([1.5, 10.0]), diff_step=1e-3)
    average_off, rate_off = np.split(fit.fun, [putts.size])
    return TourGolfer(
        *np.exp(fit.x),
        TOUR_STIMP_FT,
        PAST_FT,
        pd.Series(average_off, average["distance_ft"]),
        pd.Series(rate_off, made["distance_ft"]),
    )


def _between(name):
    frame = table(name).frame
    return frame[frame["distance_ft"].between(TOUR_FROM_FT, TOUR_TO_FT)]


# Who a golfer is compared with, as spreads of line and pace on a real green.


# Where average putts tell line from pace: below they are all near 1, beyond few are known.
FIT_FROM_FT, FIT_TO_FT = 2.5, 60.0


def reference_skill(reference, *, stimp_ft, past_ft):
    """Return the reference's spreads, its name and its source.

    Parameters
    ----------
    reference : putlab.rounds.reference.Reference, putlab.green.skill.Skill or None
        Average putts by distance, spreads of one draw, or None for the tour's record.
    stimp_ft, past_ft : float
        Green speed and aim with which average putts are turned into spreads.

    Returns
    -------
    tuple of (putlab.green.skill.Skill, str, str)
        One draw, reading the green included; name; source.

    Raises
    ------
    UsageError
        Average putts at fewer than two distances between 2.5 and 60 ft.
    """
    if reference is None:
        source = "fitted to published tour made rates and average putts (`putlab.rounds.reference`)"
        return tour_golfer().skill, "tour golfer", source
    if isinstance(reference, Skill):
        return reference, "reference golfer", "given"
    known = (tuple(reference.distance_ft), tuple(reference.average_putts))
    spreads = _fitted(*known, stimp_ft, past_ft)
    return Skill.constant(*spreads), reference.name, reference.source


@lru_cache
def _fitted(distance_ft, average_putts, stimp_ft, past_ft):
    """Return the constant line and pace spread whose average putts come nearest."""
    from scipy.optimize import least_squares

    from putlab.green.hole_out import hole_out

    known, putts = np.array(distance_ft), np.array(average_putts)
    use = (known >= FIT_FROM_FT) & (known <= FIT_TO_FT)
    if use.sum() < 2:
        raise UsageError(
            f"the reference needs average putts from two distances or more between "
            f"{FIT_FROM_FT:g} and {FIT_TO_FT:g} ft to tell line from pace; it has {use.sum()}."
        )

    def misses(log_spreads):
        skill = Skill.constant(*np.exp(log_spreads))
        out = hole_out(skill, known[use], stimp_ft=stimp_ft, past_ft=past_ft)
        return out.average_putts[0] - putts[use]

    # Steps well above the rounding of the integrals; bounds of any golfer at all.
    bounds = np.log([0.1, 1.0]), np.log([6.0, 50.0])
    fit = least_squares(misses, np.log([1.5, 10.0]), bounds=bounds, diff_step=1e-3)
    return tuple(np.exp(fit.x))
