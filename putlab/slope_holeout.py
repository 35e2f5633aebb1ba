"""Putts to hole out on a plane slope, and the aim and pace a golfer would choose there.

Each putt is struck at the golfer's spreads for its distance, about an aim and a pace. Spread
of pace is relative to the flat roll-out of the blow: the hands scatter alike uphill and
down, the green does the rest (an assumption of this kit; on the flat it is the same thing).
A miss is played next from where it lies, on the same slope, now seen from another direction:
M(k), the chance that more than k putts are taken, is a function of distance and direction
held on a polar grid, and M(k + 1) is the mean of M(k) over the misses. Average putts are the
sum of M(0) to M(9), as a hole ends at ten.

Everything is deterministic: no simulation.
"""

from dataclasses import dataclass, field

import numpy as np

from putlab.errors import UsageError
from putlab.published import HOLE_RADIUS_FT
from putlab.roll import stop_ft
from putlab.settings import STIMP_FT
from putlab.sloped_green.aim import aim_past
from putlab.sloped_green.choice import choose
from putlab.sloped_green.green import Green
from putlab.sloped_green.lies import Lies, Strike
from putlab.sloped_green.misses import NEGLIGIBLE, Misses
from putlab.sloped_green.polar import PolarGrid
from putlab.sloped_green.slope_result import SlopeHoleOut

# As on the flat: a hole ends at ten putts, so that an average exists for any skill.
MOST_PUTTS = 10

# What a golfer may seek: the most putts holed, or the fewest putts taken.
SEEKS = ("holed", "putts")
# Rounds of choosing anew on the putts that the last choice leaves. The first takes almost all
# of the gain over holing most; a second moves no average by 0.001 (see the tests).
SWEEPS = 1
# The grid reaches as far as a leave can matter: half as far again as the putt, or this.
SHORTEST_GRID_FT = 40.0


@dataclass
class SlopePutts:
    """A golfer's putts from everywhere round the hole on one plane slope.

    Parameters
    ----------
    skill : Skill
        Spreads and biases; each draw is another golfer, the aims are chosen once, for the
        means over draws.
    green : Green
        Its speed and slope.
    seek : {"holed", "putts"}, optional
        What the golfer seeks with every putt: the most holed, or the fewest putts.
    past_ft : float, optional
        Instead of seeking: every putt is struck over the middle of the hole to finish this
        far past it, at least 0.
    longest_ft : float
        Longest putt that will be asked for.
    refine : int
        Multiplies the grid and the nodes of every integral.

    Raises
    ------
    NeverStops
        The green is too steep to hold a ball.
    UsageError
        Neither or both of ``seek`` and ``past_ft`` are given, or they make no sense.

    Notes
    -----
    Refined twice, for spreads of 0.2 to 4 degrees and 2 to 25 % and up to 60 ft, one-putt
    chances move by less than 0.0005 and three-putt chances and average putts by less than
    0.0015 on slopes up to 0.6 of the steepest that holds a ball (4.7 % at a green speed of
    10 ft), and by 0.001 and 0.004 up to 0.8 of it. A slope takes a second or two to solve
    (twice that when seeking the fewest putts), and each further draw half a second.
    """

    skill: object
    green: object
    seek: str | None = None
    past_ft: float | None = None
    longest_ft: float = 60.0
    refine: int = 1
    _grid: PolarGrid = field(init=False, repr=False)
    _chains: list = field(init=False, repr=False)
    _next_putts: object = field(init=False, repr=False)

    def __post_init__(self):
        """Choose the aims round the hole and solve for M(k) there, draw by draw."""
        self._check()
        longest = max(SHORTEST_GRID_FT, 1.5 * self.longest_ft)
        flat = self.green.ratio == 0
        self._grid = PolarGrid.up_to(longest, flat=flat, refine=self.refine)
        lies = Lies.on(self.green, *self._grid.places())
        aims = self._settle(lies)
        if np.any(self.skill.line_bias_deg):
            # A bias to one side has no mirror image.
            aims = [
                self._grid.whole_values(part, sign=s)
                for part, s in zip(aims, (-1, 1), strict=True)
            ]
            self._grid = self._grid.whole()
            lies = Lies.on(self.green, *self._grid.places())
        self._chains = self._solve(lies, aims, _spreads(self.skill, lies.distance_ft))

    def _check(self):
        if (self.seek is None) == (self.past_ft is None):
            raise UsageError("give either seek ('holed' or 'putts') or past_ft, not both.")
        if self.seek is not None and self.seek not in SEEKS:
            raise UsageError(f"seek: got {self.seek!r}; expected one of {SEEKS}.")
        if self.past_ft is not None and not (np.isfinite(self.past_ft) and self.past_ft >= 0):
            raise UsageError(f"past_ft must be 0 or more; got {self.past_ft:g}.")

    def _settle(self, lies):
        """Return the aims round the hole, settled on the putts they leave if need be."""
        if self.seek != "putts":
            return self._aims(lies, self.seek)
        spreads = _choosers(self.skill, lies.distance_ft)
        aims = self._aims(lies, "holed")
        for _ in range(SWEEPS):
            (chain,) = self._solve(lies, aims, spreads)
            self._next_putts = self._grid.function(1 + np.sum(chain, axis=0))
            aims = self._aims(lies, "putts")
        return aims

    def _aims(self, lies, seek):
        """Return aim and pace for lies."""
        if seek is None:
            past, to = self.past_ft, lies.slope_to_deg
            return aim_past(self.green, lies.distance_ft, past, slope_to_deg=to)
        line_sd, _, pace_sd, _ = (part[0] for part in _choosers(self.skill, lies.distance_ft))
        later = self._next_putts if seek == "putts" else None
        return choose(lies, line_sd, pace_sd, next_putts=later)

    def _solve(self, lies, aims, spreads):
        """Return M(1) to M(9) at lies that cover the grid, for every draw."""
        fine = lies.around(_all_draws(aims, spreads), refine=self.refine)
        chains = []
        for strike in _each_draw(aims, spreads):
            misses = Misses.of(fine, strike, refine=self.refine)
            chain = [misses.share]
            while len(chain) < MOST_PUTTS - 1 and np.max(chain[-1]) > NEGLIGIBLE:
                chain.append(misses.more(self._grid.function(chain[-1]), chain[-1]))
            chain += [np.zeros_like(misses.share)] * (MOST_PUTTS - 1 - len(chain))
            chains.append(chain)
        return chains

    def hole_out(self, distance_ft, *, slope_to_deg=0.0, aim_deg=None, roll_flat_ft=None):
        """Return chances and averages from given lies.

        Parameters
        ----------
        distance_ft : array_like, shape (n,)
            Lengths of the first putt, in feet, more than the hole's radius and at most
            ``longest_ft``.
        slope_to_deg : array_like, shape (n,)
            Directions of downhill, degrees clockwise from the line ball to hole.
        aim_deg, roll_flat_ft : array_like, shape (n,), optional
            Aim and pace of the first putt; default: those that the golfer would choose.

        Returns
        -------
        SlopeHoleOut
            One entry a putt.

        Raises
        ------
        UsageError
            A distance is out of range, or only one of aim and pace is given.
        """
        distance, to = _lies_asked_for(distance_ft, slope_to_deg, self.longest_ft)
        if (aim_deg is None) != (roll_flat_ft is None):
            raise UsageError("give both aim_deg and roll_flat_ft, or neither.")
        lies = Lies.on(self.green, distance, to)
        aims = (aim_deg, roll_flat_ft) if aim_deg is not None else self._aims(lies, self.seek)
        aims = tuple(np.broadcast_to(np.asarray(part, dtype=float), to.shape) for part in aims)
        spreads = _spreads(self.skill, distance)
        fine = lies.around(_all_draws(aims, spreads), refine=self.refine)
        more_than, leaves = [], []
        for strike, chain in zip(_each_draw(aims, spreads), self._chains, strict=True):
            misses = Misses.of(fine, strike, refine=self.refine)
            more = [np.ones(distance.size), misses.share]
            for part in chain[:-1]:
                more.append(misses.more(self._grid.function(part), more[-1]))
            more_than.append(more)
            leaves.append(misses.mean_leave_ft)
        return SlopeHoleOut(
            distance,
            to,
            *aims,
            _past(self.green, distance, to, *aims),
            np.stack(more_than, axis=1),
            np.array(leaves),
        )


def _spreads(skill, distance_ft):
    """Return a skill's four arrays at distances in any order, each of shape (draws, n)."""
    wanted, place = np.unique(distance_ft, return_inverse=True)
    there = skill.at(wanted)
    names = ("line_sd_deg", "line_bias_deg", "pace_sd_pct", "pace_bias_pct")
    return [getattr(there, name)[:, place] for name in names]


def _choosers(skill, distance_ft):
    """Return the same for the one golfer who chooses: the mean draw, without biases."""
    line_sd, _, pace_sd, _ = (
        part.mean(axis=0, keepdims=True) for part in _spreads(skill, distance_ft)
    )
    return line_sd, np.zeros_like(line_sd), pace_sd, np.zeros_like(pace_sd)


def _all_draws(aims, spreads):
    """Return strikes of shape (lies, draws)."""
    line_sd, line_bias, pace_sd, pace_bias = (part.T for part in spreads)
    return Strike(aims[0][:, None], aims[1][:, None], line_sd, line_bias, pace_sd, pace_bias)


def _each_draw(aims, spreads):
    """Yield strikes of shape (lies,), draw by draw."""
    for draw in zip(*spreads, strict=True):
        yield Strike(*aims, *draw)


def _lies_asked_for(distance_ft, slope_to_deg, longest_ft):
    distance, to = np.broadcast_arrays(
        np.atleast_1d(np.asarray(distance_ft, dtype=float)),
        np.asarray(slope_to_deg, dtype=float),
    )
    if not (np.all(distance > HOLE_RADIUS_FT) and np.all(distance <= longest_ft)):
        raise UsageError(
            f"distance_ft: got {distance.min():g} to {distance.max():g}; expected more than "
            f"the hole's radius, {HOLE_RADIUS_FT:.3f} ft, and at most longest_ft, "
            f"{longest_ft:g} ft."
        )
    if not np.all(np.isfinite(to)):
        raise UsageError("slope_to_deg must be finite numbers.")
    return distance, to


def _past(green, distance, to, aim_deg, roll_flat_ft):
    """Return how far past the hole the putt as meant would stop; below 0 short of it."""
    along, right = stop_ft(green, aim_deg, roll_flat_ft, slope_to_deg=to)
    return np.where(along < distance, -1.0, 1.0) * np.hypot(along - distance, right)


def best_targets(skill, distance_ft, slope_pct, slope_to_deg, *, stimp_ft=STIMP_FT):
    """Return the best aim, pace and distance past the hole, by distance, slope and direction.

    Parameters
    ----------
    skill : Skill
        Spreads and biases; chances are means over draws.
    distance_ft, slope_pct, slope_to_deg : array_like
        Distances, slopes and directions of downhill: every combination is worked out.
    stimp_ft : float
        Green speed in feet.

    Returns
    -------
    pandas.DataFrame
        The columns of `SlopeHoleOut.table` after ``seek`` (``holed``: dropping most often;
        ``putts``: needing fewest) and ``slope_pct``; about three seconds a slope and draw.

    Raises
    ------
    NeverStops
        A slope is too steep to hold a ball on this green.
    """
    import pandas as pd

    distance, to = (
        part.ravel()
        for part in np.meshgrid(
            np.asarray(distance_ft, dtype=float), np.asarray(slope_to_deg, dtype=float)
        )
    )
    tables = []
    for slope in np.unique(slope_pct):
        for seek in SEEKS:
            green = Green(stimp_ft, float(slope))
            putts = SlopePutts(skill, green, seek=seek, longest_ft=float(distance.max()))
            table = putts.hole_out(distance, slope_to_deg=to).table()
            table.insert(0, "slope_pct", slope)
            table.insert(0, "seek", seek)
            tables.append(table)
    return pd.concat(tables, ignore_index=True)
