"""The functions of :mod:`closeout.math` on intervals, entered there when this is imported.

As of every operation on intervals, what comes back holds the real result and the floating-point one
at every point of the operands: the ends are evaluated with more bits than a number has, and moved
outward by more than the C library and NumPy err (:mod:`closeout.arithmetic.interval.rounded`).
"""

from __future__ import annotations

import math as numbers
import sys
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from math import inf, nextafter
from typing import Any

from closeout import math
from closeout.arithmetic.interval import rounded
from closeout.arithmetic.interval.interval import (
    NO_NUMBER,
    Interval,
    bounded,
    ends_of,
    exact,
    hull,
    power,
)
from closeout.arithmetic.interval.rounded import LEAST, SLACK, above, below
from closeout.arithmetic.undecided import Truth, Undefined, first_undefined

__all__ = [
    "acos", "acosh", "asin", "asinh", "atan", "atan2", "atanh", "cbrt", "ceil", "cos", "cosh",
    "erf", "exp", "exprel", "exprel_slope", "floor", "hypot", "log", "log1prel", "log1prel_slope",
    "log2", "log10", "maximum", "minimum", "normal_cdf", "power", "sign", "sin", "sinh", "sqrt",
    "table", "tan", "tanh", "where",
]  # fmt: skip

_HALF_PI = numbers.pi / 2.0
# Quarter turns beyond which the position of the extremes of a sine is not worth knowing.
_MOST_QUARTERS = 2.0**40
# Below this the normal distribution function of SciPy may be zero already.
_ZERO_IN_SCIPY = 1e-300


def _rising(
    near: Callable[[float], float], x: Interval, floor: float = -inf, ceiling: float = inf
) -> Any:
    """Return a function that rises, of a range that is known.

    A floor or a ceiling of zero is one that it never reaches, however small it gets.
    """
    low, high = below(near(x.low)), above(near(x.high))
    if floor == 0.0:
        high = high or LEAST
    if ceiling == 0.0:
        low = low or -LEAST
    return bounded(max(low, floor), min(high, ceiling))


def exp(x: Interval, /) -> Any:
    """Return e to the power x."""
    if x.high > 710.0:
        return Undefined(f"overflow of exp of {x}")
    return _rising(rounded.near("exp"), x, floor=0.0)


def exprel(x: Interval, /) -> Any:
    """Return (e^x - 1) / x, 1 at zero; it rises."""
    if x.high > 710.0:
        return Undefined(f"overflow of exprel of {x}")
    return _rising(rounded.exprel, x, floor=0.0)


def exprel_slope(x: Interval, /) -> Any:
    """Return the derivative of :func:`exprel`, (e^x (x - 1) + 1) / x^2; it rises."""
    if x.high > 710.0:
        return Undefined(f"overflow of the slope of exprel of {x}")
    return _rising(rounded.exprel_slope, x, floor=0.0)


def log1prel(x: Interval, /) -> Any:
    """Return ln(1 + x) / x, 1 at zero; it falls."""
    if x.low <= -1.0:
        return Undefined(f"logarithm of 1 + {x}")
    return bounded(max(below(rounded.log1prel(x.high)), 0.0), above(rounded.log1prel(x.low)))


def log1prel_slope(x: Interval, /) -> Any:
    """Return the derivative of :func:`log1prel`, (x / (1 + x) - ln(1 + x)) / x^2; it rises."""
    if x.low <= -1.0:
        return Undefined(f"slope of log1prel of {x}")
    return _rising(rounded.log1prel_slope, x, ceiling=0.0)


def log(x: Interval, /) -> Any:
    """Return the natural logarithm of x."""
    return _rising(rounded.near("log"), x) if x.low > 0.0 else Undefined(f"logarithm of {x}")


def log10(x: Interval, /) -> Any:
    """Return the common logarithm of x."""
    return _rising(rounded.log10, x) if x.low > 0.0 else Undefined(f"logarithm of {x}")


def log2(x: Interval, /) -> Any:
    """Return the binary logarithm of x."""
    return _rising(rounded.log2, x) if x.low > 0.0 else Undefined(f"logarithm of {x}")


def cbrt(x: Interval, /) -> Any:
    """Return the cube root of x."""
    return _rising(rounded.cbrt, x)


def sqrt(x: Interval, /) -> Any:
    """Return the square root of x."""
    if x.low < 0.0:
        return Undefined(f"square root of {x}")
    # IEEE 754 rounds a square root correctly, so a step outward is enough.
    low, high = numbers.sqrt(x.low), numbers.sqrt(x.high)
    return exact(nextafter(low, 0.0), nextafter(high, inf) if high else 0.0)


def sin(x: Interval, /) -> Any:
    """Return the sine of x radians."""
    return _wave("sin", x, 0)


def cos(x: Interval, /) -> Any:
    """Return the cosine of x radians."""
    return _wave("cos", x, 1)


def _wave(name: str, x: Interval, ahead: int) -> Interval:
    """Return a sine that is ahead by quarter turns: its ends, and the extremes between them."""
    first, last = _quarters(x)
    # The sine is 1 one quarter turn after each whole one, and -1 after three.
    peaks = {(quarter + ahead) % 4 for quarter in range(first, min(last, first + 3) + 1)}
    near = rounded.near(name)
    ends = near(x.low), near(x.high)
    low = -1.0 if 3 in peaks else max(below(min(ends)), -1.0)
    high = 1.0 if 1 in peaks else min(above(max(ends)), 1.0)
    return exact(low, high)


def _quarters(x: Interval) -> tuple[int, int]:
    """Return the first and the last whole number of quarter turns inside x, or at its very ends.

    Too many rather than too few: next to an extreme it may be taken for inside.
    """
    if x.low == x.high:
        return 1, 0  # none: no number is an extreme, since pi is irrational
    low, high = x.low / _HALF_PI, x.high / _HALF_PI
    if max(abs(low), abs(high)) > _MOST_QUARTERS:
        return 0, 3
    spare = (1.0 + max(abs(low), abs(high))) * 2.0**-50
    return numbers.ceil(low - spare), numbers.floor(high + spare)


def tan(x: Interval, /) -> Any:
    """Return the tangent of x radians."""
    first, last = _quarters(x)
    if any(quarter % 2 for quarter in range(first, min(last, first + 1) + 1)):
        return Undefined(f"tangent of {x}, which may hold a pole")
    return _rising(rounded.near("tan"), x)


def asin(x: Interval, /) -> Any:
    """Return the arc sine of x, in radians."""
    return (
        _rising(rounded.near("asin"), x)
        if x.low >= -1.0 and x.high <= 1.0
        else Undefined(f"arc sine of {x}")
    )


def acos(x: Interval, /) -> Any:
    """Return the arc cosine of x, in radians."""
    if x.low < -1.0 or x.high > 1.0:
        return Undefined(f"arc cosine of {x}")
    near = rounded.near("acos")
    return exact(below(near(x.high)), above(near(x.low)))


def atan(x: Interval, /) -> Any:
    """Return the arc tangent of x, in radians."""
    return _rising(rounded.near("atan"), x)


def sinh(x: Interval, /) -> Any:
    """Return the hyperbolic sine of x."""
    if max(abs(x.low), abs(x.high)) > 711.0:
        return Undefined(f"overflow of sinh of {x}")
    return _rising(rounded.near("sinh"), x)


def cosh(x: Interval, /) -> Any:
    """Return the hyperbolic cosine of x."""
    size = abs(x)
    if size.high > 711.0:
        return Undefined(f"overflow of cosh of {x}")
    return _rising(rounded.near("cosh"), size, floor=1.0)


def tanh(x: Interval, /) -> Any:
    """Return the hyperbolic tangent of x."""
    return _rising(rounded.near("tanh"), x, -1.0, 1.0)


def asinh(x: Interval, /) -> Any:
    """Return the inverse hyperbolic sine of x."""
    return _rising(rounded.near("asinh"), x)


def acosh(x: Interval, /) -> Any:
    """Return the inverse hyperbolic cosine of x."""
    if x.low < 1.0:
        return Undefined(f"inverse hyperbolic cosine of {x}")
    return bounded(below(rounded.acosh(x.low)), above(rounded.acosh(x.high)))


def atanh(x: Interval, /) -> Any:
    """Return the inverse hyperbolic tangent of x."""
    if x.low <= -1.0 or x.high >= 1.0:
        return Undefined(f"inverse hyperbolic tangent of {x}")
    return _rising(rounded.near("atanh"), x)


def erf(x: Interval, /) -> Any:
    """Return the error function."""
    return _rising(rounded.near("erf"), x, -1.0, 1.0)


def normal_cdf(x: Interval, /) -> Any:
    """Return the distribution function of the standard normal distribution."""
    low, high = rounded.normal_cdf(x.low), rounded.normal_cdf(x.high)
    if low < _ZERO_IN_SCIPY:
        low = 0.0
    return bounded(
        max(below(low) - low * _tail(x.low), 0.0),
        min(above(high) + high * _tail(x.high), 1.0) or LEAST,
    )


def _tail(x: float) -> float:
    """Return what a number of the lower tail may be off, as a share of it, beside the usual.

    erfc(x / sqrt 2) takes the rounding of its argument to a share of it that grows with x^2: one
    unit in the last place times x^2. SciPy's ndtr errs alike. Twice that.
    """
    sigmas = min(max(x, -rounded.MOST_SIGMAS), 0.0)
    return 2.0**-51 * sigmas * sigmas


def floor(x: Interval, /) -> Any:
    """Return the largest whole number that is not above x: all of them, where it jumps inside."""
    return exact(float(numbers.floor(x.low)), float(numbers.floor(x.high)))


def ceil(x: Interval, /) -> Any:
    """Return the smallest whole number that is not below x; all of them, where it jumps inside."""
    return exact(float(numbers.ceil(x.low)), float(numbers.ceil(x.high)))


def sign(x: Interval, /) -> Any:
    """Return -1, 0 or 1; all of them, where x may have either sign."""
    return exact(math.sign(x.low), math.sign(x.high))


def hypot(x: Any, y: Any, /) -> Any:
    """Return the square root of x squared plus y squared."""
    if (lost := first_undefined(x, y)) is not None:
        return lost
    a, b = abs(hull(x, x)), abs(hull(y, y))
    near = rounded.near("hypot")
    return bounded(below(near(a.low, b.low)), above(near(a.high, b.high)))


def atan2(y: Any, x: Any, /) -> Any:
    """Return the angle of the point (x, y), in radians."""
    if (lost := first_undefined(y, x)) is not None:
        return lost
    (a, b), (c, d) = ends_of(y), ends_of(x)
    if a <= 0.0 <= b and c <= 0.0:
        # At the cut it jumps; -0.0 is on the other side of it, and cannot be distinguished from 0.0
        # here.
        return exact(-above(numbers.pi), above(numbers.pi))
    near = rounded.near("atan2")
    # Without the cut the angle has its extremes at corners.
    angles = [near(up, along) for up in (a, b) for along in (c, d)]
    # One that is too small for a number is not zero.
    low = below(min(angles)) or (-LEAST if a < 0.0 else 0.0)
    high = above(max(angles)) or (LEAST if b > 0.0 else 0.0)
    return exact(low, high)


def minimum(*values: Any) -> Any:
    """Return the smallest of the values."""
    return _chosen(min, values)


def maximum(*values: Any) -> Any:
    """Return the largest of the values."""
    return _chosen(max, values)


def _chosen(choose: Callable[..., float], values: Sequence[Any]) -> Any:
    if (lost := first_undefined(*values)) is not None:
        return lost
    lows, highs = zip(*map(ends_of, values), strict=True)
    known = all(low == low for low in lows)
    return bounded(choose(lows), choose(highs)) if known else NO_NUMBER


def where(_condition: Any, then: Any, otherwise: Any, /) -> Any:
    """Return an interval of both, since the condition is undecided."""
    lost = first_undefined(then, otherwise)
    return hull(then, otherwise) if lost is None else lost


def table(x: Interval, points: Sequence[tuple[float, float]], /) -> Any:
    """Return y(x) by straight lines between points (x, y) in rising x; exact at the points."""
    first, last = points[0][0], points[-1][0]
    if x.low < first or x.high > last:
        return Undefined(f"{x} is not all inside the table, {first!r} to {last!r}")
    begin = bisect_right(points, x.low, key=_across)
    end = bisect_left(points, x.high, key=_across)
    ends = [*_on_lines(x.low, points), *_on_lines(x.high, points)]
    ends += [float(y) for _, y in points[begin:end]]
    heights = [y for _, y in points]
    # Rounding outward must not leave the table: what comes out is often put into another one.
    return bounded(max(min(ends), float(min(heights))), min(max(ends), float(max(heights))))


def _across(one: tuple[float, float]) -> float:
    return one[0]


def _on_lines(x: float, points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return bounds of y at one x inside the table."""
    i = min(bisect_right(points, x, key=_across), len(points) - 1)
    (x0, y0), (x1, y1) = points[i - 1], points[i]
    if x in (x0, x1):
        y = float(y0 if x == x0 else y1)
        return y, y
    y = y0 + (y1 - y0) * ((x - x0) / (x1 - x0))
    spare = max(abs(y0), abs(y1)) * SLACK + LEAST
    return y - spare, y + spare


math.extend(Interval, sys.modules[__name__])
math.extend(Truth, sys.modules[__name__])
