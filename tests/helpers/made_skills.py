"""Skills made up for the tests and the bench of holing out."""

import numpy as np

from putlab.green.skill import Skill


def uneven_skills(draws, seed=1):
    """Return skills that jump about from one practised length to the next."""
    rng = np.random.default_rng(seed)
    shape = (draws, 5)
    return Skill(
        np.array([3.0, 6, 10, 20, 36]),
        1.2 * np.exp(0.2 * rng.normal(size=shape)),
        0.3 * rng.normal(size=shape),
        9 * np.exp(0.2 * rng.normal(size=shape)),
        3 * rng.normal(size=shape),
    )
