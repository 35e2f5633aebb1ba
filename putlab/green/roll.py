"""One putt on a plane slope: where it goes started straight at the hole, and how to hole it."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np

from putlab.base.errors import expect
from putlab.base.late import pd
from putlab.base.result import Result
from putlab.base.settings import LINE_SD_DEG, PACE_SD_PCT, PAST_FT, STIMP_FT
from putlab.green.lies import Lies, SlopeScatter
from putlab.green.published import CAPTURE_FT_S, HOLE_RADIUS_FT
from putlab.green.skill import Skill
from putlab.green.slope import Green, break_ft, stop_ft, through_hole, velocity

# Longer than any putt that a green allows.
LONGEST_FT = 200

# The search for an aim. First look: arrival speeds as shares of the capture limit, and lines
# in units of the spread. Then the eight about the best and itself, each time half as far away.
SPEEDS = np.linspace(0.06, 0.9, 10)
OFFSETS = np.linspace(-1, 1, 7)
NEAR = np.stack(np.meshgrid([-1, 0, 1], [-1, 0, 1])).reshape(2, -1)
ROUNDS = 4
# Lines over the middle of the hole between which others are looked up.
CENTRE_LINES = 48


@dataclass(frozen=True)
class Roll(Result):
    """What one putt does on a slope, and the aim and pace that hole it most often.

    Attributes
    ----------
    stop_along_ft, stop_right_ft : float
        Where the putt started straight at the hole would stop, hole covered: along and right
        of the line ball to hole.
    break_ft : float
        How far right of that line it is where it passes the hole's distance; NaN where it
        never gets that far.
    aim_deg, roll_flat_ft : float
        The aim that drops most often: start direction, + right, and pace as the distance
        that the same blow rolls on the flat.
    aim_past_ft : float
        How far from the hole that putt would stop, hole covered.
    one_putt : float
        How often it drops.
    table : pandas.DataFrame
        The above in one row.
    """

    stop_along_ft: float
    stop_right_ft: float
    break_ft: float
    aim_deg: float
    roll_flat_ft: float
    aim_past_ft: float
    one_putt: float

    @property
    def table(self) -> pd.DataFrame:
        """The numbers in one row."""
        return pd.DataFrame([asdict(self)])

    @property
    def sentence(self) -> str:
        """Where to start it and how hard."""
        side = "right" if self.aim_deg >= 0 else "left"
        return (
            f"Start it {abs(self.aim_deg):.2f} degrees {side} of the straight line to the hole "
            f"with the pace that rolls {self.roll_flat_ft:.2f} ft on the flat: it drops "
            f"{self.one_putt:.1%} of the time."
        )


def roll(
    distance_ft: float,
    *,
    slope_pct: float = 0.0,
    slope_to_deg: float = 0.0,
    stimp_ft: float = STIMP_FT,
    past_ft: float = PAST_FT,
    line_sd_deg: float = LINE_SD_DEG,
    pace_sd_pct: float = PACE_SD_PCT,
) -> Roll:
    """Return where a putt started straight at the hole stops, and how to hole it most often.

    The straight putt has the pace that on the flat would roll the distance and ``past_ft``
    more. The aim is sought for the spreads given, in this kit's model of a plane green.

    Parameters
    ----------
    distance_ft : float
        Length of the putt, more than the hole's radius and at most 200 ft.
    slope_pct, slope_to_deg : float
        Steepness of the green, and which way is downhill: degrees clockwise from the line
        ball to hole, 0 downhill putt, 90 falls to the right, 180 uphill.
    stimp_ft : float
        Green speed in feet.
    past_ft : float
        How far past the hole the straight putt would roll on the flat.
    line_sd_deg, pace_sd_pct : float
        The golfer's spread of start direction, in degrees, and of roll-out, in percent.

    Returns
    -------
    Roll
        Numbers to a billionth.

    Raises
    ------
    NeverStops
        The green is too steep to hold a ball.
    UsageError
        An argument is out of range.

    Examples
    --------
    >>> putt = roll(10, slope_pct=2, slope_to_deg=90)
    >>> round(putt.stop_along_ft, 2), round(putt.stop_right_ft, 2)
    (11.18, 1.5)
    """
    reach = f"more than the hole's radius, {HOLE_RADIUS_FT:.3f}, and at most {LONGEST_FT}"
    expect(HOLE_RADIUS_FT < distance_ft <= LONGEST_FT, "distance_ft", distance_ft, reach)
    target = f"a target in front of the ball and at most {LONGEST_FT} past the hole"
    expect(-distance_ft < past_ft <= LONGEST_FT, "past_ft", past_ft, target)
    expect(bool(np.isfinite(slope_to_deg)), "slope_to_deg", slope_to_deg, "a number of degrees")
    expect(0.01 <= line_sd_deg <= 30, "line_sd_deg", line_sd_deg, "0.01 to 30 degrees")
    expect(0.1 <= pace_sd_pct <= 60, "pace_sd_pct", pace_sd_pct, "0.1 to 60 percent")
    green = Green(stimp_ft, slope_pct)
    rolled = distance_ft + past_ft
    stop = stop_ft(green, 0.0, rolled, slope_to_deg=slope_to_deg)
    drift = break_ft(green, distance_ft, rolled, slope_to_deg=slope_to_deg)
    golfer = Skill.constant(line_sd_deg, pace_sd_pct)
    lies = Lies.on(green, distance_ft, slope_to_deg)
    line, pace = best_aim(lies, golfer)
    aims = SlopeScatter.of(golfer, lies.distance_ft, line, pace)
    holed = Lies.on(green, distance_ft, slope_to_deg, aims).holed_chance(aims)
    along, right = stop_ft(green, line, pace, slope_to_deg=slope_to_deg)
    values = (*stop, drift, line, pace, np.hypot(along - distance_ft, right), holed.item())
    # To a billionth: rounding of sines is no drift, and no zero is signed.
    return Roll(*(round(float(value), 9) + 0.0 for value in values))


def best_aim(lies: Lies, golfer: Skill) -> tuple[float, float]:
    """Return the line and flat roll-out that drop most often from one lie, to 1e-4 of the best."""
    arrival, centre_deg, log_roll = _over_the_middle(lies)
    there = golfer.at(lies.distance_ft)
    speeds, offsets = (part.ravel() for part in np.meshgrid(SPEEDS, OFFSETS))
    step = np.array([SPEEDS[1] - SPEEDS[0], OFFSETS[1] - OFFSETS[0]])
    for _ in range(ROUNDS + 1):
        centre, log_pace = (np.interp(speeds, arrival, part) for part in (centre_deg, log_roll))
        # By how much the right line changes for a spread of pace.
        firmer = np.interp(log_pace + np.log1p(there.pace_sd_pct[0] / 100), log_roll, centre_deg)
        line = centre + offsets * np.hypot(there.line_sd_deg[0], firmer - centre)
        roll = np.exp(log_pace)
        aims = SlopeScatter.of(golfer, lies.distance_ft, line[None], roll[None])
        best = np.argmax(lies.holed_chance(aims))
        step /= 2
        speeds = np.clip(speeds[best] + NEAR[0] * step[0], 0.005, 0.99)
        offsets = offsets[best] + NEAR[1] * step[1]
    return line[best], roll[best]


def _over_the_middle(lies: Lies) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    # Putts over the middle of the hole from dying in it to the capture limit: rising share of
    # the limit at which they arrive, line and log of flat roll-out.
    green, to = lies.green, lies.slope_to_deg

    def putts(share: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        line, roll = through_hole(green, lies.distance_ft, share, slope_to_deg=to)
        _, speed = velocity(np.radians(line - to), share, green.ratio)
        return speed * green.start_speed_ft_s(roll) / CAPTURE_FT_S, line, roll

    share = np.linspace(0, 1 - 1e-3, CENTRE_LINES) ** (1 / (1 - green.ratio))
    # Again, with the places spread over the speeds that matter.
    wanted = np.linspace(0, 1, CENTRE_LINES)
    arrival, line, roll = putts(np.interp(wanted, putts(share)[0], share))
    return arrival, np.unwrap(line, period=360), np.log(roll)
