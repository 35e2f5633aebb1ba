"""One golfer of constant line and pace spread who putts as tour professionals do."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.optimize import least_squares

from putlab.holeout import hole_out
from putlab.published import VARIANCE_SHARE, table
from putlab.settings import PAST_FT
from putlab.skill import Skill

# Greens of the tour are fast: about 11 ft (common practice). At 10 and 12 ft the fit moves by
# less than 0.02 degrees and 0.1 %.
TOUR_STIMP_FT = 11.0

# Published rates at 2 ft and below hold tap-ins, and beyond 50 ft few putts.
FIT_FROM_FT, FIT_TO_FT = 3.0, 50.0


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

    made, average = (
        _between(name) for name in ("putts_made_broadie_2018", "tour_average_putts")
    )
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
    return frame[frame["distance_ft"].between(FIT_FROM_FT, FIT_TO_FT)]
