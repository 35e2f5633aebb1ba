"""The chance that a standard normal falls in an interval, with its slopes, many at a time.

The C library's functions work one number at a time, and were most of what a fit took. Without
branches or calls a compiler does as many numbers at once as the processor holds.
"""

import math
from typing import Any

import numpy as np
import pytensor.tensor as pt
from pytensor.graph.basic import Apply
from pytensor.graph.op import Op
from pytensor.link.numba.dispatch.basic import numba_njit, register_funcify_and_cache_key
from scipy.special import erfcx

from putlab.base.cache import code_digest, content_key
from putlab.model.spread import normal_interval

# The tail beyond z is exp(-z^2 / 2) / (1 + z) times a smooth function, here a polynomial in
# (z - PIVOT) / (z + PIVOT) (as Shepherd and Laframboise 1981, Mathematics of Computation 36).
PIVOT, DEGREE = 4.0, 20

# exp(x) is exp(x / 1024) squared ten times; below -700 it is as good as nought.
SQUARINGS, LEAST = 10, -700.0
EXP_TERMS = tuple(1 / math.factorial(k) for k in range(13))


def _smooth(t: Any) -> Any:
    z = PIVOT * (1 + t) / (1 - t)
    return (1 + z) * erfcx(z / np.sqrt(2)) / 2


_SERIES: Any = np.polynomial.chebyshev.chebinterpolate(_smooth, DEGREE)
TAIL_TERMS = tuple(np.polynomial.chebyshev.cheb2poly(_SERIES).tolist())


class NormalInterval(Op):
    """Chances of intervals, of vectors of ends a < b, and the densities at a and at b."""

    __props__ = ()

    def make_node(self, *ends: Any) -> Apply:
        """Take two vectors, give three."""
        return Apply(self, [*ends], [pt.dvector() for _ in range(3)])

    def perform(self, node: Any, inputs: Any, outputs: Any) -> None:
        """Work it out by SciPy, where nothing is compiled."""
        for output, value in zip(outputs, normal_interval(*inputs), strict=True):
            output[0] = value

    def pullback(self, inputs: Any, outputs: Any, cotangents: Any) -> list[Any]:
        """Return slopes by the ends; nobody asks for those of the densities."""
        return [-cotangents[0] * outputs[1], cotangents[0] * outputs[2]]


# Numba's loops look through what is in line, and no further.
_in_line = numba_njit(error_model="numpy", forceinline=True)


def _polynomial(terms: tuple[float, ...]) -> Any:
    """Return Horner's rule as functions of functions: a loop here would not be unrolled."""
    first = terms[0]
    if len(terms) == 1:
        return _in_line(lambda x: first)
    rest = _polynomial(terms[1:])
    return _in_line(lambda x: first + x * rest(x))


@register_funcify_and_cache_key(NormalInterval)
def compiled(op: NormalInterval, **_: Any) -> tuple[Any, str]:
    """Return it for Numba, and the key by which PyTensor keeps it."""
    powers, smooth = _polynomial(EXP_TERMS), _polynomial(TAIL_TERMS)

    @_in_line
    def tail(z: Any) -> Any:
        power = powers(max(-z * z / 2, LEAST) / 2**SQUARINGS)
        for _ in range(SQUARINGS):
            power *= power
        return power / (1 + z) * smooth((z - PIVOT) / (z + PIVOT)), power / np.sqrt(2 * np.pi)

    @numba_njit(error_model="numpy")
    def intervals(a: Any, b: Any) -> Any:
        chance, at_a, at_b = np.empty_like(a), np.empty_like(a), np.empty_like(a)
        for i in range(a.size):
            beyond_a, at_a[i] = tail(math.fabs(a[i]))
            beyond_b, at_b[i] = tail(math.fabs(b[i]))
            # From tails alone, where a chance keeps its digits.
            astride = (1 - math.copysign(1.0, a[i]) * math.copysign(1.0, b[i])) / 2
            one_side = math.fabs(beyond_a - beyond_b)
            chance[i] = astride * (1 - beyond_a - beyond_b) + (1 - astride) * one_side
        return chance, at_a, at_b

    return intervals, content_key(code_digest("model"), EXP_TERMS, TAIL_TERMS)
