"""The aim and pace a golfer would choose for a putt on a slope.

Two aims are worth telling apart: the one that drops most often, and the one that needs the
fewest putts, which counts what a miss leaves. Both are found by looking at arrival speeds
from dying to nearly too fast and at lines either side of the one through the middle of the
hole, then closer and closer about the best.

The softest pace looked at dies in the hole: an aim short of it, which a very long putt could
make the fewest putts of, is not one a golfer takes (as on the flat).

The golfer is taken to know the spreads and not the biases: who knew a bias would have aimed
it away. So the choice is made as if unbiased, and the biases act on it afterwards.
"""

from dataclasses import dataclass

import numpy as np

from putlab.published import CAPTURE_FT_S
from putlab.sloped_green.aim import arrival, through_hole
from putlab.sloped_green.lies import Strike

# First look: arrival speeds as shares of the capture limit, and lines in units of the spread.
SPEEDS = np.linspace(0.06, 0.9, 10)
OFFSETS = np.linspace(-1, 1, 7)
# Then the eight about the best and itself, each time half as far away.
NEAR = np.stack(np.meshgrid([-1, 0, 1], [-1, 0, 1]), -1).reshape(-1, 2)
ROUNDS = 4
# Candidates × lies worked on at once.
CHUNK = 4000


@dataclass(frozen=True)
class Middle:
    """Lines and paces over the middle of the hole, one a lie and arrival speed.

    Attributes
    ----------
    speed : ndarray, shape (lies, places)
        Arrival speed as a share of the capture limit at the middle, rising.
    line_deg, log_roll : ndarray, shape (lies, places)
        Start direction and logarithm of flat roll-out.
    """

    speed: np.ndarray
    line_deg: np.ndarray
    log_roll: np.ndarray

    @classmethod
    def of(cls, lies, places=48):
        """Return the lines and paces for lies, from dying in the hole to the capture limit."""
        power = 1 / (1 - lies.green.ratio)
        distance, to = lies.distance_ft[:, None], lies.slope_to_deg[:, None]
        shares = np.linspace(0, 1 - 1e-3, places) ** power
        line, roll = through_hole(lies.green, distance, shares, slope_to_deg=to)
        speed, _ = arrival(lies.green, line, roll, shares, slope_to_deg=to)
        # Again, with the places spread over the speeds that matter.
        wanted = np.linspace(0, 1, places)
        pace = _look_up(wanted, speed / CAPTURE_FT_S, np.broadcast_to(shares, speed.shape))
        line, roll = through_hole(lies.green, distance, pace, slope_to_deg=to)
        speed, _ = arrival(lies.green, line, roll, pace, slope_to_deg=to)
        line = np.degrees(np.unwrap(np.radians(line), axis=1))
        return cls(speed / CAPTURE_FT_S, line, np.log(roll))

    def at(self, speed):
        """Return line and flat roll-out at arrival speeds, shape (lies, ...)."""
        line = _look_up(speed, self.speed, self.line_deg)
        return line, np.exp(_look_up(speed, self.speed, self.log_roll))

    def lean(self, speed, pace_sd_pct):
        """Return by how much the right line changes for a spread of pace, in degrees."""
        line, roll = self.at(speed)
        firmer = np.log(roll * (1 + pace_sd_pct / 100))
        return np.abs(_look_up(firmer, self.log_roll, self.line_deg) - line)


def _look_up(wanted, known, values):
    """Interpolate row by row, level outside."""
    wanted = np.broadcast_to(wanted, (known.shape[0], *np.shape(wanted)[-1:]))
    rows = zip(wanted, known, values, strict=True)
    return np.stack([np.interp(*row) for row in rows])


def choose(lies, line_sd_deg, pace_sd_pct, *, next_putts=None):
    """Return the aim and pace that drop most often, or that need the fewest putts.

    Parameters
    ----------
    lies : Lies
        Where the putts lie.
    line_sd_deg, pace_sd_pct : ndarray, shape (lies,)
        The golfer's spreads there.
    next_putts : callable, optional
        ``next_putts(leave_ft, slope_to_deg)``: mean putts still to come from where a miss
        stops. Where it is given the fewest putts are sought, otherwise the most holed.

    Returns
    -------
    line_deg, roll_flat_ft : ndarray, shape (lies,)
        Aim and pace. The best found is within 1e-4 of the best there is in what it seeks.
    """
    size = max(1, CHUNK // (SPEEDS.size * OFFSETS.size))
    count = lies.distance_ft.size
    line_sd, pace_sd = (np.broadcast_to(part, (count,)) for part in (line_sd_deg, pace_sd_pct))
    pieces = [
        _choose(lies[i : i + size], line_sd[i : i + size], pace_sd[i : i + size], next_putts)
        for i in range(0, count, size)
    ]
    return tuple(np.concatenate(column) for column in zip(*pieces, strict=True))


def _choose(lies, line_sd, pace_sd, next_putts):
    middle = Middle.of(lies)
    line_sd, pace_sd = line_sd[:, None], pace_sd[:, None]
    speeds, offsets = (part.ravel() for part in np.meshgrid(SPEEDS, OFFSETS))
    speeds, offsets = (np.tile(part, (lies.distance_ft.size, 1)) for part in (speeds, offsets))
    step = np.array([SPEEDS[1] - SPEEDS[0], OFFSETS[1] - OFFSETS[0]])
    rows = np.arange(lies.distance_ft.size)
    for _ in range(ROUNDS + 1):
        line, roll = middle.at(speeds)
        line = line + offsets * np.hypot(line_sd, middle.lean(speeds, pace_sd))
        best = np.argmin(_cost(lies, line, roll, line_sd, pace_sd, next_putts), axis=1)
        step /= 2
        near = NEAR * step
        speeds = np.clip(speeds[rows, best][:, None] + near[:, 0], 0.005, 0.99)
        offsets = offsets[rows, best][:, None] + near[:, 1]
    return line[rows, best], roll[rows, best]


def _cost(lies, line, roll, line_sd, pace_sd, next_putts):
    none = np.zeros_like(line_sd)
    strike = Strike(line, roll, line_sd, none, pace_sd, none)
    if next_putts is None:
        return -lies.holed_chance(strike)
    leave, to, chance = lies.rests(strike, nodes=(15, 29), dropping=3, reach=4.2)
    return np.sum(chance * next_putts(leave, to), axis=-1)
