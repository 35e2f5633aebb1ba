"""Who a golfer is compared with, as spreads of line and pace on a real green."""

from functools import lru_cache

import numpy as np

from putlab.errors import UsageError
from putlab.skill import Skill

# Where average putts tell line from pace: below they are all near 1, beyond few are known.
FIT_FROM_FT, FIT_TO_FT = 2.5, 60.0


def reference_skill(reference, *, stimp_ft, past_ft):
    """Return the reference's spreads, its name and its source.

    Parameters
    ----------
    reference : putlab.strokes.Reference, putlab.skill.Skill or None
        Average putts by distance, spreads of one draw, or None for the tour's record.
    stimp_ft, past_ft : float
        Green speed and aim with which average putts are turned into spreads.

    Returns
    -------
    tuple of (putlab.skill.Skill, str, str)
        One draw, reading the green included; name; source.

    Raises
    ------
    UsageError
        Average putts at fewer than two distances between 2.5 and 60 ft.
    """
    if reference is None:
        from putlab.tour import tour_golfer

        source = "fitted to published tour made rates and average putts (`putlab.tour`)"
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

    from putlab.holeout import hole_out

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
