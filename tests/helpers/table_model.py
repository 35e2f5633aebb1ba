"""A table of putts tried and made by distance, as one golfer of steady spread: a PyMC model.

For published tables whose estimates are published too: the kit's chance of holing must give
them again.
"""

import numpy as np
import pymc as pm
import pytensor.tensor as pt
from hole_chances import made_chance

from putlab.base.settings import PAST_FT


def build_table_model(table, hole, *, past_ft=PAST_FT, pace_sd_pct=None, extra=False):
    """Return the unfitted model of a table of putts made.

    In the order of the code:

        line_sd_deg ~ HalfNormal(1 radian)        (flat, where there are putts)
        pace_sd_pct ~ HalfNormal(100 %)           (or given)
        made        ~ Binomial(tried, chance)
        or, with ``extra``, the rate made / tried
                    ~ Normal(chance, sqrt(chance (1 - chance) / tried + extra_sd^2))

    With millions of putts what the model leaves out outweighs chance: hence ``extra``.
    """
    tries, made = table["tries"].to_numpy(), table["made"].to_numpy()
    with pm.Model() as model:
        line_sd_deg = pm.HalfNormal("line_sd_deg", np.degrees(1.0))
        if pace_sd_pct is None:
            pace_sd_pct = pm.HalfNormal("pace_sd_pct", 100.0)
        distance_ft = table["distance_ft"].to_numpy(float)
        chance = made_chance(distance_ft, line_sd_deg, pace_sd_pct, hole=hole, past_ft=past_ft)
        if extra:
            extra_sd = pm.HalfNormal("extra_sd", 1.0)
            spread = pt.sqrt(chance * (1 - chance) / tries + extra_sd**2)
            pm.Normal("rate", chance, spread, observed=made / tries)
        else:
            pm.Binomial("made", tries, chance, observed=made)
    return model
