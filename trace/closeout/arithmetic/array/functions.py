"""The functions of :mod:`closeout.math` on NumPy arrays, entered there when this is imported.

Each acts sample by sample, under the name and with the arguments that it has there. What a number
would refuse (the logarithm of zero, an overflow) is a floating-point flag here; evaluate inside
:func:`raising`, which makes errors of the flags. NumPy stands at the top of this module alone,
since the type that it registers is NumPy's: import it only where samples are asked for.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from functools import reduce
from typing import Any

import numpy
from numpy import arccos as acos
from numpy import arccosh as acosh
from numpy import arcsin as asin
from numpy import arcsinh as asinh
from numpy import arctan as atan
from numpy import arctan2 as atan2
from numpy import arctanh as atanh
from numpy import (
    cbrt,
    ceil,
    cos,
    cosh,
    exp,
    floor,
    hypot,
    log,
    log2,
    log10,
    sign,
    sin,
    sinh,
    sqrt,
    tan,
    tanh,
    where,
)
from numpy.typing import NDArray

from closeout import math

__all__ = [
    "OutsideTable", "acos", "acosh", "asin", "asinh", "atan", "atan2", "atanh", "cbrt", "ceil",
    "cos", "cosh", "erf", "exp", "exprel", "floor", "hypot", "log", "log1prel", "log2", "log10",
    "maximum", "minimum", "normal_cdf", "power", "raising", "sign", "sin", "sinh", "sqrt", "table",
    "tan", "tanh", "where",
]  # fmt: skip


class OutsideTable(ValueError):
    """Samples lie outside a table."""


def exprel(x: NDArray[numpy.float64], /) -> NDArray[numpy.float64]:
    """Return (e^x - 1)/x, 1 at 0."""
    return _ratio(numpy.expm1(x), x)


def log1prel(x: NDArray[numpy.float64], /) -> NDArray[numpy.float64]:
    """Return ln(1 + x)/x, 1 at 0."""
    return _ratio(numpy.log1p(x), x)


def _ratio(above: Any, below: Any) -> NDArray[numpy.float64]:
    one: NDArray[numpy.float64] = numpy.divide(
        above, below, out=numpy.ones_like(below, dtype=numpy.float64), where=below != 0
    )
    return one


def erf(x: NDArray[numpy.float64], /) -> NDArray[numpy.float64]:
    """Return the error function."""
    found: NDArray[numpy.float64] = _special().erf(x)
    return found


def normal_cdf(x: NDArray[numpy.float64], /) -> NDArray[numpy.float64]:
    """Return the distribution function of the standard normal distribution."""
    found: NDArray[numpy.float64] = _special().ndtr(x)
    return found


def _special() -> Any:
    """Return SciPy's functions, which are imported with the first call that needs them.

    That call may be watched (:mod:`.code.reached`); the million calls of the import
    are none of the formula's.
    """
    watching = sys.getprofile()
    sys.setprofile(None)
    try:
        import scipy.special  # type: ignore[import-untyped]
    finally:
        sys.setprofile(watching)
    return scipy.special


def minimum(*values: Any) -> NDArray[numpy.float64]:
    """Return the smallest of the values."""
    found: NDArray[numpy.float64] = reduce(numpy.minimum, values)
    return found


def maximum(*values: Any) -> NDArray[numpy.float64]:
    """Return the largest of the values."""
    found: NDArray[numpy.float64] = reduce(numpy.maximum, values)
    return found


def power(x: Any, n: int, /) -> NDArray[numpy.float64]:
    """Return x to the whole number n."""
    return numpy.asarray(x**n, dtype=numpy.float64)


def table(
    x: NDArray[numpy.float64], points: Sequence[tuple[float, float]], /
) -> NDArray[numpy.float64]:
    """Return y(x) by straight lines between points (x, y) in rising x.

    Raises:
        OutsideTable: samples lie outside the table; says how many of how many.
    """
    across, up = zip(*points, strict=True)
    outside = int(numpy.count_nonzero(~((x >= across[0]) & (x <= across[-1]))))
    if outside:
        ends = f"{across[0]!r} to {across[-1]!r}"
        raise OutsideTable(f"{outside} of {x.size} samples are outside the table, {ends}")
    between: NDArray[numpy.float64] = numpy.interp(x, across, up)
    return between


def raising() -> numpy.errstate:
    """Return a context in which a division by zero, a domain error and an overflow are raised.

    They are raised as FloatingPointError. A result too small for a number is zero, as it is in
    :mod:`math`.
    """
    return numpy.errstate(divide="raise", invalid="raise", over="raise", under="ignore")


math.extend(numpy.ndarray, sys.modules[__name__])
