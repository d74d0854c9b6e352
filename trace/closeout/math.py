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
    "asin",
    "atan",
    "atan2",
    "clip",
    "cos",
    "cosh",
    "exp",
    "exprel",
    "extend",
    "hypot",
    "log",
    "log1prel",
    "log10",
    "maximum",
    "minimum",
    "pi",
    "power",
    "sin",
    "sinh",
    "sqrt",
    "table",
    "tan",
    "tanh",
    "where",
]

pi = math.pi

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


def sqrt(x: float, /) -> float:
    """Return the square root of x."""
    return math.sqrt(x) if isinstance(x, (float, int)) else _other("sqrt", x)


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


def atan2(y: float, x: float, /) -> float:
    """Return the angle of the point (x, y), in radians."""
    return math.atan2(y, x) if _plain(y, x) else _other("atan2", y, x)


def hypot(x: float, y: float, /) -> float:
    """Return the square root of x squared plus y squared."""
    return math.hypot(x, y) if _plain(x, y) else _other("hypot", x, y)


def minimum(x: float, y: float, /) -> float:
    """Return the smaller of the two."""
    return min(x, y) if _plain(x, y) else _other("minimum", x, y)


def maximum(x: float, y: float, /) -> float:
    """Return the larger of the two."""
    return max(x, y) if _plain(x, y) else _other("maximum", x, y)


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
    i = min(bisect_right(points, x, key=lambda point: point[0]), len(points) - 1)
    (x0, y0), (x1, y1) = points[i - 1], points[i]
    return y0 + (y1 - y0) * ((x - x0) / (x1 - x0))
