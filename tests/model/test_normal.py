"""Chances of normal intervals: as compiled, as SciPy has them, and to three hundred digits."""

import mpmath
import numpy as np
import pytensor
import pytensor.tensor as pt
import pytest
from scipy.stats import norm

from putlab.model.normal import NormalInterval

ENDS = np.array(
    [(-1e6, 1e6), (-1e6, 0.3), (-0.2, 1.1), (0.0, 0.5), (-3.0, -2.5), (4.0, 4.1), (9.0, 9.0001),
     (-20.0, -19.0), (30.0, 1e6)]
)  # fmt: skip


@pytest.fixture(scope="module", params=["NUMBA", "FAST_COMPILE"])
def interval(request):
    a, b = pt.dvectors(2)
    chance = NormalInterval()(a, b)[0]
    slopes = pytensor.grad(chance.sum(), [a, b])
    return pytensor.function([a, b], [chance, *slopes], mode=request.param)


def test_chances_keep_their_digits_far_out_and_in_narrow_intervals(interval):
    """Against mpmath's normal distribution."""
    mpmath.mp.dps = 300  # one less a tail of 1e-198 is not one
    exact = [float(mpmath.ncdf(b) - mpmath.ncdf(a)) for a, b in ENDS]
    chance, _, _ = interval(*ENDS.T)
    # Narrower intervals are differences of two numbers that each hold sixteen digits.
    assert chance / exact == pytest.approx(np.ones(len(ENDS)), rel=1e-9)


def test_slopes_are_the_densities_at_the_ends(interval):
    _, by_a, by_b = interval(*ENDS.T)
    assert by_a == pytest.approx(-norm.pdf(ENDS[:, 0]), rel=1e-11, abs=1e-290)
    assert by_b == pytest.approx(norm.pdf(ENDS[:, 1]), rel=1e-11, abs=1e-290)


def test_what_is_compiled_and_what_is_not_agree():
    """The one for sampling, the other for looking at a draw."""
    rng = np.random.default_rng(1)
    a = rng.normal(0, 4, 5000)
    b = a + rng.choice([1e-4, 0.1, 1.0, 30.0], a.size)
    x, y = pt.dvectors(2)
    both = (
        pytensor.function([x, y], NormalInterval()(x, y), mode=mode)
        for mode in ("NUMBA", "FAST_COMPILE")
    )
    for fast, plain in zip(*(function(a, b) for function in both), strict=True):
        assert fast == pytest.approx(plain, abs=3e-13)
