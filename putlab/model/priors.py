"""What is believed before the first putt, in the units a golfer uses."""

from dataclasses import astuple, dataclass, fields
from typing import Any

import numpy as np

from putlab.green.published import green_spread


# Defaults are shared by line and pace, for these concern log spread and have no unit:
# - players of one roster typically differ by a third in spread (assumption);
# - slope: doubling the length changes spread by up to 20 % either way (assumption);
# - spot: a weak spot of 10 to 15 % is ordinary, one of 50 % is not ruled out;
# - visit form: a good or a bad day is 5 to 10 % (assumption, estimated where sessions tell);
# - trend: the power law of practice (Newell and Rosenbloom 1981) has exponents of 0 to 0.2
#   for trained skills; centred on nought so that the log decides the sign;
# - warm-up, counted: within 20 % either way;
# - effect: a change of grip, putter or routine moves spread by up to a third, mostly less;
#   its sd is that of the difference of two conditions divided by the root of two;
# - mishits: 3 % of putts, at most one in ten (common practice).
@dataclass(frozen=True, kw_only=True)
class SpreadPriors:
    """Priors of one component; ``unit`` is degrees for line, percent for pace.

    Spreads and scales that no golfer has exactly at nought (what a visit shares, spots over
    lengths) have log-normal priors: a median and a log standard deviation.

    Parameters
    ----------
    sd_median, sd_log_sd : float
        Spread at 10 ft on an ordinary day over golfers at large: median (unit), log sd.
    between_median, between_log_sd : float
        How much players of one roster differ in log spread.
    slope_sd : float
        Sd of the change of log spread per unit of log distance.
    spot_median, spot_log_sd : float
        How far log spread at one length strays from the straight line over lengths.
    bias_sd : float
        Sd of a player's overall bias (unit).
    bias_spot_median, bias_spot_log_sd : float
        How far the bias at one length strays from the player's own (unit).
    visit_bias_median, visit_bias_log_sd : float
        Sd of the offset that one visit's putts share (unit).
    visit_form_median, visit_form_log_sd : float
        Sd of log spread from visit to visit.
    trend_sd : float
        Sd of the change of log spread per unit of log(1 + putts struck / 100).
    warm_up_sd, counted_sd : float
        Sd of the change of log spread in the first putts of a visit, and when it counts.
    effect_sd, effect_slope_sd : float
        Sd of a condition's change of log spread, and of how that varies with log distance.
    shift_sd : float
        Sd of a condition's change of bias (unit).
    mishit_a, mishit_b : float
        Beta prior of the share of mishits, as a part of the most that it can be (a fifth).
    """

    sd_median: float
    sd_log_sd: float
    between_median: float = 0.3
    between_log_sd: float = 0.4
    slope_sd: float = 0.15
    spot_median: float = 0.1
    spot_log_sd: float = 0.7
    bias_sd: float
    bias_spot_median: float
    bias_spot_log_sd: float
    visit_bias_median: float
    visit_bias_log_sd: float
    visit_form_median: float = 0.07
    visit_form_log_sd: float = 0.7
    trend_sd: float = 0.1
    warm_up_sd: float = 0.1
    counted_sd: float = 0.15
    effect_sd: float = 0.2 / 2**0.5
    effect_slope_sd: float = 0.07
    shift_sd: float
    mishit_a: float = 1.5
    mishit_b: float = 8.5

    @property
    def vector(self) -> np.ndarray:
        """The priors as a model reads them; `by_name` is the way back."""
        return np.array(astuple(self))


def by_name(vector: Any) -> dict[str, Any]:
    """Return the entries of `SpreadPriors.vector`, numbers or PyTensor's, by name."""
    return {field.name: vector[i] for i, field in enumerate(fields(SpreadPriors))}


# Line: a tour professional's made rates need 1.5° with the green's reading in it (Gelman and
# Nolan 2002), so technique alone lies below; club golfers reach beyond 2°.
LINE_PRIORS = SpreadPriors(
    sd_median=1.0, sd_log_sd=0.5, bias_sd=0.7, bias_spot_median=0.12, bias_spot_log_sd=0.7,
    visit_bias_median=0.25, visit_bias_log_sd=0.7, shift_sd=0.4,
)  # fmt: skip

# Pace: 6.8 % over repeats of one 6 m putt by skilled golfers, 10.6 % over forty putts with
# the reading of the green (Karlsen and Nilsson 2008); club golfers are wider.
PACE_PRIORS = SpreadPriors(
    sd_median=9.0, sd_log_sd=0.5, bias_sd=6.0, bias_spot_median=1.5, bias_spot_log_sd=0.7,
    visit_bias_median=2.5, visit_bias_log_sd=0.7, shift_sd=3.0,
)  # fmt: skip

PRIORS = {"line": LINE_PRIORS, "pace": PACE_PRIORS}

# How far golfers and greens differ from the middle, line and pace: within half and double for
# two in three or so (assumption; where a log has putts on a green, it is estimated). For line the
# middle is not published: reading is the largest of three causes of direction errors (J.
# Karlsen's thesis, 2010), so at least a third of the tour's variance, 0.8 degrees; and an elite
# stroke alone scatters by 0.39 degrees (Karlsen, Smith and Nilsson 2008, from memory), which
# leaves 1.35. That is a log sd of 0.16 more, in quadrature.
GREEN_LOG_SD = (0.525, 0.5)


def green_priors(*, mixed: bool = True) -> np.ndarray:
    """Return median and log sd (columns) of the green's extra spread, of line and of pace."""
    return np.column_stack([green_spread(mixed=mixed), GREEN_LOG_SD])
