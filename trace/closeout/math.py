"""Elementary functions for analyses: one name for each, whatever the formula is evaluated on.

Write a formula with these and plain arithmetic, and it can be evaluated on a number, on a NumPy
array (Monte Carlo), on an interval (proved bounds) and on a SymPy symbol (derivation). Numbers are
answered here; the other arithmetics enter their functions with :func:`extend`. Standard library
only.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from typing import Any

__all__ = [
    "acos",
    "acosh",
    "asin",
    "asinh",
    "atan",
    "atan2",
    "atanh",
    "cbrt",
    "ceil",
    "clip",
    "cos",
    "cosh",
    "erf",
    "exp",
    "exprel",
    "extend",
    "floor",
    "hypot",
    "log",
    "log1prel",
    "log2",
    "log10",
    "maximum",
    "minimum",
    "normal_cdf",
    "pi",
    "power",
    "sign",
    "sin",
    "sinh",
    "sqrt",
    "table",
    "tan",
    "tanh",
    "where",
]

pi = math.pi
_SQRT_2 = math.sqrt(2.0)

_arithmetics: dict[type, Any] = {}


def extend(kind: type, functions: Any) -> None:
    """Let the functions of this module take values of a type.

    Args:
        kind: the type, its subclasses included.
        functions: an object or module with a function of each name below that the type supports,
            of the same arguments; one that it lacks raises TypeError when it is called.
    """
    _arithmetics[kind] = functions


def _other(name: str, *values: Any) -> Any:
    """Return what the arithmetic of the first value that is no plain number answers."""
    for value in values:
        for kind in type(value).__mro__:
            if kind in _arithmetics:
                function = getattr(_arithmetics[kind], name, None)
                if function is None:
                    raise TypeError(f"{name} cannot be evaluated on {type(value).__name__}")
                return function(*values)
    names = ", ".join(type(value).__name__ for value in values)
    raise TypeError(f"{name} takes numbers, not {names}")


def _plain(*values: Any) -> bool:
    return all(isinstance(value, (float, int)) for value in values)


def exp(x: float, /) -> float:
    """Return e to the power x."""
    return math.exp(x) if isinstance(x, (float, int)) else _other("exp", x)


def log(x: float, /) -> float:
    """Return the natural logarithm of x."""
    return math.log(x) if isinstance(x, (float, int)) else _other("log", x)


def log10(x: float, /) -> float:
    """Return the common logarithm of x."""
    return math.log10(x) if isinstance(x, (float, int)) else _other("log10", x)


def log2(x: float, /) -> float:
    """Return the binary logarithm of x."""
    return math.log2(x) if isinstance(x, (float, int)) else _other("log2", x)


def sqrt(x: float, /) -> float:
    """Return the square root of x."""
    return math.sqrt(x) if isinstance(x, (float, int)) else _other("sqrt", x)


def cbrt(x: float, /) -> float:
    """Return the cube root of x, which has the sign of x."""
    return math.cbrt(x) if isinstance(x, (float, int)) else _other("cbrt", x)


def exprel(x: float, /) -> float:
    """Return (e to the power x, less 1) over x, which is 1 at 0: growth per step, without loss."""
    if not isinstance(x, (float, int)):
        return _other("exprel", x)
    return math.expm1(x) / x if x else 1.0


def log1prel(x: float, /) -> float:
    """Return the natural logarithm of 1 + x over x, which is 1 at 0."""
    if not isinstance(x, (float, int)):
        return _other("log1prel", x)
    return math.log1p(x) / x if x else 1.0


def sin(x: float, /) -> float:
    """Return the sine of x radians."""
    return math.sin(x) if isinstance(x, (float, int)) else _other("sin", x)


def cos(x: float, /) -> float:
    """Return the cosine of x radians."""
    return math.cos(x) if isinstance(x, (float, int)) else _other("cos", x)


def tan(x: float, /) -> float:
    """Return the tangent of x radians."""
    return math.tan(x) if isinstance(x, (float, int)) else _other("tan", x)


def asin(x: float, /) -> float:
    """Return the arc sine of x, in radians."""
    return math.asin(x) if isinstance(x, (float, int)) else _other("asin", x)


def acos(x: float, /) -> float:
    """Return the arc cosine of x, in radians."""
    return math.acos(x) if isinstance(x, (float, int)) else _other("acos", x)


def atan(x: float, /) -> float:
    """Return the arc tangent of x, in radians."""
    return math.atan(x) if isinstance(x, (float, int)) else _other("atan", x)


def sinh(x: float, /) -> float:
    """Return the hyperbolic sine of x."""
    return math.sinh(x) if isinstance(x, (float, int)) else _other("sinh", x)


def cosh(x: float, /) -> float:
    """Return the hyperbolic cosine of x."""
    return math.cosh(x) if isinstance(x, (float, int)) else _other("cosh", x)


def tanh(x: float, /) -> float:
    """Return the hyperbolic tangent of x."""
    return math.tanh(x) if isinstance(x, (float, int)) else _other("tanh", x)


def asinh(x: float, /) -> float:
    """Return the inverse hyperbolic sine of x."""
    return math.asinh(x) if isinstance(x, (float, int)) else _other("asinh", x)


def acosh(x: float, /) -> float:
    """Return the inverse hyperbolic cosine of x, which is 0 or more; x is 1 or more."""
    return math.acosh(x) if isinstance(x, (float, int)) else _other("acosh", x)


def atanh(x: float, /) -> float:
    """Return the inverse hyperbolic tangent of x; x lies between -1 and 1."""
    return math.atanh(x) if isinstance(x, (float, int)) else _other("atanh", x)


def erf(x: float, /) -> float:
    """Return the error function at x: 2/sqrt(pi) times the integral of e^(-t^2) from 0 to x."""
    return math.erf(x) if isinstance(x, (float, int)) else _other("erf", x)


def normal_cdf(x: float, /) -> float:
    """Return the distribution function of the standard normal distribution at x, often Phi(x).

    The probability that a normal variable of mean 0 and standard deviation 1 is at most x. Its
    digits are kept in the lower tail: write normal_cdf(-x), not 1 - normal_cdf(x).
    """
    if not isinstance(x, (float, int)):
        return _other("normal_cdf", x)
    return 0.5 * math.erfc(-x / _SQRT_2)


def floor(x: float, /) -> float:
    """Return the largest whole number that is not above x, as a float."""
    return float(math.floor(x)) if isinstance(x, (float, int)) else _other("floor", x)


def ceil(x: float, /) -> float:
    """Return the smallest whole number that is not below x, as a float."""
    return float(math.ceil(x)) if isinstance(x, (float, int)) else _other("ceil", x)


def sign(x: float, /) -> float:
    """Return 1 where x is above zero, -1 where it is below, and 0 at zero."""
    if not isinstance(x, (float, int)):
        return _other("sign", x)
    return float((x > 0) - (x < 0)) if x == x else x


def atan2(y: float, x: float, /) -> float:
    """Return the angle of the point (x, y), in radians."""
    plain = isinstance(y, (float, int)) and isinstance(x, (float, int))
    return math.atan2(y, x) if plain else _other("atan2", y, x)


def hypot(x: float, y: float, /) -> float:
    """Return the square root of x squared plus y squared."""
    plain = isinstance(x, (float, int)) and isinstance(y, (float, int))
    return math.hypot(x, y) if plain else _other("hypot", x, y)


def minimum(x: float, y: float, /, *more: float) -> float:
    """Return the smallest of two values or more."""
    plain = isinstance(x, (float, int)) and isinstance(y, (float, int))
    plain = plain and (not more or _plain(*more))
    return min(x, y, *more) if plain else _other("minimum", x, y, *more)


def maximum(x: float, y: float, /, *more: float) -> float:
    """Return the largest of two values or more."""
    plain = isinstance(x, (float, int)) and isinstance(y, (float, int))
    plain = plain and (not more or _plain(*more))
    return max(x, y, *more) if plain else _other("maximum", x, y, *more)


def clip(x: float, low: float, high: float, /) -> float:
    """Return x, held between low and high."""
    return minimum(maximum(x, low), high)


def where(condition: bool, then: float, otherwise: float, /) -> float:
    """Return ``then`` where the condition holds, else ``otherwise``; both are evaluated.

    ``condition`` is a comparison of values, as ``x < 3.0``; on an interval that lies on both sides
    the answer covers both.
    """
    if isinstance(condition, bool):
        return then if condition else otherwise
    return _other("where", condition, then, otherwise)


def power(x: float, n: int, /) -> float:
    """Return x to the whole number n."""
    return float(x**n) if isinstance(x, (float, int)) else _other("power", x, n)


def table(x: float, points: Sequence[tuple[float, float]], /) -> float:
    """Return y(x) by straight lines between points (x, y) in rising x; the points are numbers.

    Raises:
        ValueError: x lies outside the table; there is no extrapolation.
    """
    if not isinstance(x, (float, int)):
        return _other("table", x, points)
    if not points[0][0] <= x <= points[-1][0]:
        raise ValueError(f"{x!r} is outside the table, {points[0][0]!r} to {points[-1][0]!r}")
    if isinstance(points[0], tuple):  # in half the time
        i = bisect_right(points, (x, math.inf))
    else:
        i = bisect_right(points, x, key=lambda point: point[0])
    i = min(i, len(points) - 1)
    (x0, y0), (x1, y1) = points[i - 1], points[i]
    return y0 + (y1 - y0) * ((x - x0) / (x1 - x0))
