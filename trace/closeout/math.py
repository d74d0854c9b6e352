"""Elementary functions for analyses: one name for each, whatever the formula is evaluated on.

Write a formula with these and plain arithmetic. Today they evaluate numbers; the signatures leave
room for the other arithmetics (array, interval, symbol) of the same formula. Standard library only.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence

__all__ = [
    "acos", "asin", "atan", "atan2", "clip", "cos", "cosh", "exp", "hypot", "log", "log10",
    "maximum", "minimum", "pi", "power", "sin", "sinh", "sqrt", "table", "tan", "tanh", "where",
]  # fmt: skip

pi = math.pi


def exp(x: float, /) -> float:
    """Return e to the power x."""
    return math.exp(x)


def log(x: float, /) -> float:
    """Return the natural logarithm of x."""
    return math.log(x)


def log10(x: float, /) -> float:
    """Return the common logarithm of x."""
    return math.log10(x)


def sqrt(x: float, /) -> float:
    """Return the square root of x."""
    return math.sqrt(x)


def sin(x: float, /) -> float:
    """Return the sine of x radians."""
    return math.sin(x)


def cos(x: float, /) -> float:
    """Return the cosine of x radians."""
    return math.cos(x)


def tan(x: float, /) -> float:
    """Return the tangent of x radians."""
    return math.tan(x)


def asin(x: float, /) -> float:
    """Return the arc sine of x, in radians."""
    return math.asin(x)


def acos(x: float, /) -> float:
    """Return the arc cosine of x, in radians."""
    return math.acos(x)


def atan(x: float, /) -> float:
    """Return the arc tangent of x, in radians."""
    return math.atan(x)


def atan2(y: float, x: float, /) -> float:
    """Return the angle of the point (x, y), in radians."""
    return math.atan2(y, x)


def sinh(x: float, /) -> float:
    """Return the hyperbolic sine of x."""
    return math.sinh(x)


def cosh(x: float, /) -> float:
    """Return the hyperbolic cosine of x."""
    return math.cosh(x)


def tanh(x: float, /) -> float:
    """Return the hyperbolic tangent of x."""
    return math.tanh(x)


def hypot(x: float, y: float, /) -> float:
    """Return the square root of x squared plus y squared."""
    return math.hypot(x, y)


def minimum(x: float, y: float, /) -> float:
    """Return the smaller of the two."""
    return min(x, y)


def maximum(x: float, y: float, /) -> float:
    """Return the larger of the two."""
    return max(x, y)


def clip(x: float, low: float, high: float, /) -> float:
    """Return x, held between low and high."""
    return minimum(maximum(x, low), high)


def where(condition: bool, then: float, otherwise: float, /) -> float:
    """Return ``then`` where the condition holds, else ``otherwise``; both are evaluated."""
    return then if condition else otherwise


def power(x: float, n: int, /) -> float:
    """Return x to the whole number n."""
    return float(x**n)


def table(x: float, points: Sequence[tuple[float, float]], /) -> float:
    """Return y(x) by straight lines between points (x, y) in rising x.

    Raises:
        ValueError: x lies outside the table; there is no extrapolation.
    """
    if not points[0][0] <= x <= points[-1][0]:
        raise ValueError(f"{x!r} is outside the table, {points[0][0]!r} to {points[-1][0]!r}")
    i = min(bisect_right(points, x, key=lambda point: point[0]), len(points) - 1)
    (x0, y0), (x1, y1) = points[i - 1], points[i]
    return y0 + (y1 - y0) * ((x - x0) / (x1 - x0))
