"""Who a golfer is compared with: average putts by distance, or spreads of line and pace.

The tour stands for both: its published average putts (`tour_reference`), and the one golfer of
steady spread who comes nearest to its published record (`tour_golfer`). Other levels of play
are that golfer with wider spreads (`level_skill`).
"""

import os
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import scipy
from numpy.typing import ArrayLike

from putlab.base.cache import kept_plain, result_key
from putlab.base.errors import UsageError
from putlab.base.result import Result
from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.green import published
from putlab.green.hole_out import hole_out
from putlab.green.skill import Skill

COLUMNS = ("distance_ft", "average_putts")

# Levels of play by handicap. Assumptions: the tour plays to five better than scratch, and who
# scores 90 on a par of 72 to 18.
TOUR = "tour"
LEVELS = {TOUR: -5, "scratch": 0} | {f"handicap {n}": n for n in (5, 10, 15, 20, 25)}
NINETY_HANDICAP = 18

# Where the golfer of a level comes from: of any, and of the tour.
LEVEL_SOURCE = (
    f"assumption: log spreads straight in handicap through the tour golfer ({LEVELS[TOUR]:g}) and "
    f"one who scores 90 ({NINETY_HANDICAP:g}), fitted to one-putt rates of M. Broadie, Every Shot "
    "Counts (2014), second-hand",
    "fitted to published tour made rates and average putts (`putlab.rounds.reference`)",
)

# Greens of the tour are fast: about 11 ft (common practice). At 10 and 12 ft the fit moves by
# less than 0.02 degrees and 0.1 %.
TOUR_STIMP_FT = 11.0

# Published rates at 2 ft and below hold tap-ins, and beyond 50 ft few putts.
TOUR_FROM_FT, TOUR_TO_FT = 3.0, 50.0

# Where average putts tell line from pace: below they are all near 1, beyond few are known.
FIT_FROM_FT, FIT_TO_FT = 2.5, 60.0

# Line and pace spread, least and most, between which any golfer at all lies.
ANY_GOLFER = [[0.1, 1.0], [6.0, 50.0]]


@dataclass(frozen=True)
class Reference:
    """Average putts to hole out of some group of golfers.

    Attributes
    ----------
    name, source : str
        Who ("tour average", say), and where the figures come from.
    distance_ft, average_putts : ndarray, shape (n,)
        Rising distances, and the average putts from each.
    """

    name: str
    source: str
    distance_ft: np.ndarray
    average_putts: np.ndarray

    def at(self, distance_ft: ArrayLike) -> np.ndarray:
        """Return average putts, straight between the distances known, NaN (no claim) outside."""
        known = self.distance_ft, self.average_putts
        return np.interp(np.asarray(distance_ft, dtype=float), *known, left=np.nan, right=np.nan)

    def gained(self, distance_ft: ArrayLike, putts: ArrayLike) -> np.ndarray:
        """Return strokes gained: above 0 where fewer putts were taken than the reference takes."""
        return self.at(distance_ft) - np.asarray(putts, dtype=float)


def tour_reference() -> Reference:
    """Return the published average putts of tour professionals, 1 to 75 ft.

    Returns
    -------
    Reference
        With its source.
    """
    record = published.table("tour_average_putts")
    columns = (record.frame[name].to_numpy(dtype=float) for name in COLUMNS)
    return Reference("tour average", record.source, *columns)


def read_reference(path: str | PathLike[str]) -> Reference:
    """Read a reference of the user's own.

    Parameters
    ----------
    path : path-like
        A CSV with columns ``distance_ft`` and ``average_putts``, and perhaps ``source``.

    Returns
    -------
    Reference
        Named after the file; where no source is given, its source says just that.

    Raises
    ------
    UsageError
        The file cannot be read, lacks a column, or holds what cannot be average putts.
    """
    rises = (lambda feet: np.diff(feet, prepend=0.0) > 0), "distances above 0, rising"
    likely = (lambda putts: putts.between(1, 10)), "averages of 1 to 10 putts"
    wanted = dict(zip(COLUMNS, (rises, likely), strict=True))
    frame, source = read_columns(path, "reference of average putts", wanted)
    if len(frame) < 2:
        raise UsageError(f"{path}: got {len(frame)} row(s); expected two distances or more.")
    return Reference(Path(path).stem, source, *(frame[name].to_numpy(float) for name in COLUMNS))


def read_columns(
    path: str | PathLike[str],
    what: str,
    expected: dict[str, tuple[Callable[[pd.Series], ArrayLike], str]],
) -> tuple[pd.DataFrame, str]:
    """Read number columns of a CSV of the user's own, each cell as expected, and its source."""
    path = Path(path)
    if not os.path.isfile(path):  # nor a folder, a device or a pipe, which may never end
        raise UsageError(f"{path}: no such file. Give a CSV of {' and '.join(expected)}.")
    try:
        frame = pd.read_csv(path)
    except (OSError, ValueError) as error:
        raise UsageError(f"{path} could not be read as CSV: {error}") from error
    for name, (good, wanted) in expected.items():
        if name not in frame:
            known = ", ".join(map(str, frame.columns))
            raise UsageError(f"{path}, {what}: got the columns {known}; expected a column {name}.")
        numbers = pd.to_numeric(frame[name], errors="coerce")
        wrong = ~(np.isfinite(numbers.to_numpy(float)) & good(numbers))
        if wrong.any():
            row = int(np.argmax(wrong))
            got = f"{name} {frame[name].iloc[row]} in row {row + 2}"
            raise UsageError(f"{path}, {what}: got {got}; expected {wanted}.")
        frame[name] = numbers
    stated = frame.get("source", pd.Series(dtype=str)).dropna().astype(str).unique()
    return frame, "; ".join(stated) or f"{path.name}, which states no source"


@dataclass(frozen=True)
class TourGolfer(Result):
    """One golfer of constant line and pace spread who putts as tour professionals do.

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
    average_putts_off: pd.Series
    one_putt_off: pd.Series

    @property
    def skill(self) -> Skill:
        """The golfer on a tour green, as a skill of one draw."""
        return Skill.constant(self.line_sd_deg, self.pace_sd_pct)

    @property
    def table(self) -> pd.DataFrame:
        """Fitted less published: ``figure, distance_ft, off``, a row a published figure."""
        parts = {"average putts": self.average_putts_off, "share holed": self.one_putt_off}
        rows = [off.rename("off").reset_index().assign(figure=name) for name, off in parts.items()]
        return pd.concat(rows, ignore_index=True)[["figure", "distance_ft", "off"]]

    @property
    def sentence(self) -> str:
        """The two spreads, and how near they come to the record."""
        return (
            f"One golfer of {self.line_sd_deg:.2f}° in line and {self.pace_sd_pct:.1f} % in pace "
            f"putts as the tour does, {TOUR_FROM_FT:g} to {TOUR_TO_FT:g} ft: average putts are "
            f"within {self.average_putts_off.abs().max():.3f} of the published, shares holed "
            f"within {100 * self.one_putt_off.abs().max():.1f} points."
        )


@lru_cache
def tour_golfer() -> TourGolfer:
    """Fit one golfer to the tour's published made rates and average putts together.

    Least squares over both records, 3 to 50 ft, each distance counting once.

    Returns
    -------
    TourGolfer
        Line and pace spread, and how far each published figure is missed.
    """
    average, made = (
        published.table(name).frame.set_index("distance_ft").loc[TOUR_FROM_FT:TOUR_TO_FT]
        for name in ("tour_average_putts", "putts_made_broadie_2018")
    )
    record = {"average_putts": average["average_putts"], "one_putt": made["made"] / made["tries"]}
    (line_sd_deg, pace_sd_pct), off = _nearest(record, TOUR_STIMP_FT, PAST_FT)
    return TourGolfer(line_sd_deg, pace_sd_pct, TOUR_STIMP_FT, PAST_FT, *off)


def level_named(text: str) -> str | None:
    """Return the level that a text names ("5" is "handicap 5"), None where it names none."""
    return next((name for name in LEVELS if text in (name, _short(name))), None)


def level_names() -> str:
    """Return the levels as one may write them, in words."""
    return ", ".join(map(_short, LEVELS))


def _short(level: str) -> str:
    return level.removeprefix("handicap ")


def toward_ninety(handicap: float) -> float:
    """Return how far a handicap lies from the tour's (0) to that of who scores 90 (1)."""
    return (handicap - LEVELS[TOUR]) / (NINETY_HANDICAP - LEVELS[TOUR])


def level_skill(level: str) -> Skill:
    """Return the golfer of a level on a green: log spreads straight in handicap (assumption)."""
    return tour_times(published.NINETY_TIMES_TOUR ** toward_ninety(LEVELS[level]))


def tour_times(times: float) -> Skill:
    """Return the tour golfer with line and pace so many times as wide."""
    return Skill.constant(times * published.TOUR_LINE_SD_DEG, times * published.TOUR_PACE_SD_PCT)


@dataclass(frozen=True)
class ReferenceGolfer:
    """Who strokes are lost to."""

    name: str
    skill: Skill  # one draw, on a green, reading it included
    source: str

    def green(self, mixed: bool) -> tuple[float, float]:
        """The part of the spread that practice, of mixed lengths or not, would not show."""
        # Of the least spread, so that some is left for technique at all distances.
        least = [sd.min() for sd in (self.skill.line_sd_deg, self.skill.pace_sd_pct)]
        line_sd_deg, pace_sd_pct = np.sqrt(published.green_share(mixed=mixed)) * least
        return float(line_sd_deg), float(pace_sd_pct)


def reference_golfer(
    reference: "str | PathLike[str] | Reference | Skill | ReferenceGolfer | None" = None,
    *,
    stimp_ft: float = STIMP_FT,
    past_ft: float = PAST_FT,
) -> ReferenceGolfer:
    """Return the golfer that a level of play, or average putts, stand for.

    Parameters
    ----------
    reference : str, path, Reference or Skill, optional
        A level ("tour", "scratch", "5" ... "25"), a CSV of ``distance_ft, average_putts``, what
        was read of one, or spreads on a green; default: the tour.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims: average putts become the
        constant spreads whose average putts there come nearest.

    Returns
    -------
    ReferenceGolfer
        Skill on a green, name and source.

    Raises
    ------
    UsageError
        Neither a level nor a file, or a file that can't be read.
    """
    if isinstance(reference, ReferenceGolfer):
        return reference
    reference = TOUR if reference is None else reference
    if isinstance(reference, Skill):
        return ReferenceGolfer("reference golfer", reference, "given")
    if isinstance(reference, str) and (level := level_named(reference)):
        name = level if level == _short(level) else f"{_short(level)}-handicap"
        return ReferenceGolfer(f"{name} golfer", level_skill(level), LEVEL_SOURCE[level == TOUR])
    if not isinstance(reference, Reference):
        if not os.path.exists(reference):
            known = f"neither a level ({level_names()}) nor a file"
            raise UsageError(f"reference {reference}: {known}.")
        reference = read_reference(reference)
    record = tuple(zip(reference.distance_ft, reference.average_putts, strict=True))
    skill = Skill.constant(*_spreads_of(record, stimp_ft, past_ft))
    return ReferenceGolfer(reference.name, skill, reference.source)


@lru_cache
def _spreads_of(record: tuple[tuple[float, float], ...], stimp_ft: float, past_ft: float) -> Any:
    putts = pd.Series(dict(record))[FIT_FROM_FT:FIT_TO_FT]
    if putts.size < 2:
        raise UsageError(
            f"the reference needs average putts from two distances or more between "
            f"{FIT_FROM_FT:g} and {FIT_TO_FT:g} ft to tell line from pace; it has {putts.size}."
        )
    return _nearest({"average_putts": putts}, stimp_ft, past_ft, bounds=np.log(ANY_GOLFER))[0]


def _nearest(
    record: dict[str, pd.Series], stimp_ft: float, past_ft: float, **bounds: Any
) -> tuple[np.ndarray, list[pd.Series]]:
    """Return the spreads that come nearest to outcomes by distance, and by how much they miss."""

    def misses(log_spreads: np.ndarray) -> list[pd.Series]:
        skill = Skill.constant(*np.exp(log_spreads))
        solved = partial(hole_out, skill, stimp_ft=stimp_ft, past_ft=past_ft)
        return [getattr(solved(told.index), name)[0] - told for name, told in record.items()]

    def found() -> list[float]:
        # Steps well above the rounding of the integrals (single precision).
        start, how = np.log([1.5, 10.0]), bounds | {"diff_step": 1e-3}
        fit = scipy.optimize.least_squares(lambda p: np.concatenate(misses(p)), start, **how)
        return fit.x.tolist()

    told = {name: list(putts.items()) for name, putts in record.items()}
    key = result_key("rounds", "nearest", told, stimp_ft, past_ft, bounds)
    log_spreads = np.array(kept_plain(key, found))
    return np.exp(log_spreads), misses(log_spreads)
