"""The functions of :mod:`closeout.math` on gradients, entered there when this is imported."""

from __future__ import annotations

import math as numbers
import sys
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from functools import partial, reduce
from math import inf
from typing import Any

from closeout import math
from closeout.arithmetic.gradient.gradient import (
    UNBOUNDED,
    Gradient,
    GradientTruth,
    Slopes,
    chained,
    ends_of,
    hulled,
    made,
    parts_of,
    power,
    scaled,
    summed,
)
from closeout.arithmetic.interval import functions as on_ranges
from closeout.arithmetic.interval.interval import Interval, hull, point
from closeout.arithmetic.interval.interval import power as power_of
from closeout.arithmetic.interval.rounded import above, below
from closeout.arithmetic.types import Slope
from closeout.arithmetic.undecided import Truth, Undefined, first_undefined, noted

__all__ = [
    "acos", "acosh", "asin", "asinh", "atan", "atan2", "atanh", "cbrt", "ceil", "cos", "cosh",
    "erf", "exp", "exprel", "floor", "hypot", "log", "log1prel", "log2", "log10", "maximum",
    "minimum", "normal_cdf", "power", "sign", "sin", "sinh", "sqrt", "table", "tan", "tanh",
    "where",
]  # fmt: skip


def _around(value: float) -> Interval:
    """Return an interval that holds a constant, of which some roundings are known."""
    return Interval(below(value), above(value))


_LN_2, _LN_10 = _around(numbers.log(2.0)), _around(numbers.log(10.0))
# The slopes of erf and of the normal distribution function at zero, where they are greatest.
_ERF_SLOPE = _around(2.0 / numbers.sqrt(numbers.pi))
_NORMAL_DENSITY = _around(1.0 / numbers.sqrt(2.0 * numbers.pi))
# The slope of what rises by jumps: from one point to another it rises by a share of any size.
_JUMPS_UP: Slope = (0.0, inf)


def exp(x: Gradient, /) -> Any:
    """Return e to the power x."""
    value = on_ranges.exp(x.value)
    return chained(x, value, lambda: value)


def exprel(x: Gradient, /) -> Any:
    """Return (e^x - 1) / x, 1 at zero."""
    return chained(x, on_ranges.exprel(x.value), lambda: on_ranges.exprel_slope(x.value))


def log1prel(x: Gradient, /) -> Any:
    """Return ln(1 + x) / x, 1 at zero."""
    return chained(x, on_ranges.log1prel(x.value), lambda: on_ranges.log1prel_slope(x.value))


def log(x: Gradient, /) -> Any:
    """Return the natural logarithm of x."""
    return chained(x, on_ranges.log(x.value), lambda: 1.0 / x.value)


def log10(x: Gradient, /) -> Any:
    """Return the common logarithm of x."""
    return chained(x, on_ranges.log10(x.value), lambda: 1.0 / (_LN_10 * x.value))


def log2(x: Gradient, /) -> Any:
    """Return the binary logarithm of x."""
    return chained(x, on_ranges.log2(x.value), lambda: 1.0 / (_LN_2 * x.value))


def cbrt(x: Gradient, /) -> Any:
    """Return the cube root of x."""
    value = on_ranges.cbrt(x.value)
    return chained(x, value, lambda: _slope_of_cbrt(value))


def _slope_of_cbrt(root: Interval) -> Slope:
    """Return the range of 1 / (3 root^2), infinite where the root reaches zero."""
    square = 3.0 * power_of(root, 2)
    if square.low > 0.0:
        return ends_of(1.0 / square)
    return (1.0 / point(square.high)).low if square.high else 0.0, inf


def sqrt(x: Gradient, /) -> Any:
    """Return the square root of x."""
    return chained(x, on_ranges.sqrt(x.value), lambda: _inverse_of_root(x.value, 0.5))


def _inverse_of_root(x: Any, factor: float) -> Slope:
    """Return the range of factor / sqrt(x), infinite where x reaches zero."""
    if isinstance(x, Undefined) or x.high <= 0.0:
        return 0.0, inf
    low = factor / on_ranges.sqrt(point(x.high))
    high = factor / on_ranges.sqrt(point(max(x.low, 0.0)))
    top = high.high if isinstance(high, Interval) else inf
    return (low.low if isinstance(low, Interval) else 0.0), top


def sin(x: Gradient, /) -> Any:
    """Return the sine of x radians."""
    return chained(x, on_ranges.sin(x.value), lambda: on_ranges.cos(x.value))


def cos(x: Gradient, /) -> Any:
    """Return the cosine of x radians."""
    return chained(x, on_ranges.cos(x.value), lambda: -on_ranges.sin(x.value))


def tan(x: Gradient, /) -> Any:
    """Return the tangent of x radians."""
    value = on_ranges.tan(x.value)
    return chained(x, value, lambda: 1.0 + power_of(value, 2))


def asin(x: Gradient, /) -> Any:
    """Return the arc sine of x, in radians."""
    return chained(x, on_ranges.asin(x.value), lambda: _arc(x.value))


def acos(x: Gradient, /) -> Any:
    """Return the arc cosine of x, in radians."""
    return chained(x, on_ranges.acos(x.value), lambda: _turned(_arc(x.value)))


def _arc(x: Interval) -> Slope:
    """Return the range of the slope of the arc sine."""
    return _inverse_of_root(1.0 - power_of(x, 2), 1.0)


def _turned(slope: Slope) -> Slope:
    return -slope[1], -slope[0]


def atan(x: Gradient, /) -> Any:
    """Return the arc tangent of x, in radians."""
    return chained(
        x, on_ranges.atan(x.value), lambda: _within_one(1.0 / (1.0 + power_of(x.value, 2)))
    )


def _within_one(slope: Any) -> Slope:
    """Return the range of a slope that lies from 0 to 1, whatever is known of it beside."""
    if isinstance(slope, Undefined):
        return 0.0, 1.0
    return max(slope.low, 0.0), min(slope.high, 1.0)


def sinh(x: Gradient, /) -> Any:
    """Return the hyperbolic sine of x."""
    return chained(x, on_ranges.sinh(x.value), lambda: on_ranges.cosh(x.value))


def cosh(x: Gradient, /) -> Any:
    """Return the hyperbolic cosine of x."""
    return chained(x, on_ranges.cosh(x.value), lambda: on_ranges.sinh(x.value))


def tanh(x: Gradient, /) -> Any:
    """Return the hyperbolic tangent of x."""
    value = on_ranges.tanh(x.value)
    return chained(x, value, lambda: _within_one(1.0 - power_of(value, 2)))


def asinh(x: Gradient, /) -> Any:
    """Return the inverse hyperbolic sine of x."""
    return chained(
        x, on_ranges.asinh(x.value), lambda: _within_one(1.0 / on_ranges.hypot(1.0, x.value))
    )


def acosh(x: Gradient, /) -> Any:
    """Return the inverse hyperbolic cosine of x."""
    return chained(x, on_ranges.acosh(x.value), lambda: _slope_of_acosh(x.value))


def _slope_of_acosh(x: Interval) -> Slope:
    """Return the range of 1 / (sqrt(x - 1) sqrt(x + 1)), infinite where x reaches one."""
    near, far = _inverse_of_root(x - 1.0, 1.0), _inverse_of_root(x + 1.0, 1.0)
    return scaled({0: near}, far)[0]


def atanh(x: Gradient, /) -> Any:
    """Return the inverse hyperbolic tangent of x."""
    return chained(x, on_ranges.atanh(x.value), lambda: _slope_of_atanh(abs(x.value)))


def _slope_of_atanh(size: Interval) -> Any:
    """Return the range of 1 / ((1 - x) (1 + x)) by the size of x, with which it rises."""
    least, most = (1.0 / ((1.0 - point(x)) * (1.0 + point(x))) for x in (size.low, size.high))
    return hull(least, most)


def erf(x: Gradient, /) -> Any:
    """Return the error function."""
    return chained(x, on_ranges.erf(x.value), lambda: _bell(x.value, 1.0, _ERF_SLOPE))


def normal_cdf(x: Gradient, /) -> Any:
    """Return the distribution function of the standard normal distribution."""
    return chained(x, on_ranges.normal_cdf(x.value), lambda: _bell(x.value, 0.5, _NORMAL_DENSITY))


def _bell(x: Interval, factor: float, height: Interval) -> Slope:
    """Return the range of height e^(-factor x^2), which is above zero."""
    square = power_of(x, 2)
    if isinstance(square, Undefined):
        return 0.0, height.high
    found = height * on_ranges.exp(-factor * square)
    return max(found.low, 0.0), min(found.high, height.high)


def floor(x: Gradient, /) -> Any:
    """Return the largest whole number that is not above x."""
    return _stairs(x, on_ranges.floor(x.value))


def ceil(x: Gradient, /) -> Any:
    """Return the smallest whole number that is not below x."""
    return _stairs(x, on_ranges.ceil(x.value))


def sign(x: Gradient, /) -> Any:
    """Return -1, 0 or 1."""
    return _stairs(x, on_ranges.sign(x.value))


def _stairs(x: Gradient, value: Interval) -> Any:
    """Return what is constant but for jumps upward; with a jump inside no slope is an end of it."""
    return chained(x, value, lambda: (0.0, 0.0) if value.low == value.high else _JUMPS_UP)


def hypot(x: Any, y: Any, /) -> Any:
    """Return the square root of x squared plus y squared."""
    if (lost := first_undefined(x, y)) is not None:
        return lost
    (a, by_a), (b, by_b) = _both(x, y)
    value = on_ranges.hypot(a, b)
    slopes = summed(scaled(by_a, _cosine(a, value)), scaled(by_b, _cosine(b, value)))
    return made(value, slopes)


def _cosine(part: Interval, whole: Any) -> Slope:
    """Return the range of part / whole, which lies from -1 to 1 and has the sign of the part."""
    share = part / whole if isinstance(whole, Interval) else whole
    low, high = ends_of(share) if isinstance(share, Interval) else (-1.0, 1.0)
    floor = 0.0 if part.low >= 0.0 else -1.0
    ceiling = 0.0 if part.high <= 0.0 else 1.0
    return max(low, floor), min(high, ceiling)


def atan2(y: Any, x: Any, /) -> Any:
    """Return the angle of the point (x, y), in radians."""
    if (lost := first_undefined(y, x)) is not None:
        return lost
    (up, by_up), (along, by_along) = _both(y, x)
    value = on_ranges.atan2(up, along)
    square = power_of(up, 2) + power_of(along, 2)
    jumps = up.low <= 0.0 <= up.high and along.low <= 0.0
    if jumps or not isinstance(square, Interval) or square.low <= 0.0:
        return Gradient(value, dict.fromkeys({**by_up, **by_along}, UNBOUNDED))
    slopes = summed(scaled(by_up, ends_of(along / square)), scaled(by_along, ends_of(-up / square)))
    return Gradient(value, slopes)


def _both(x: Any, y: Any) -> tuple[tuple[Interval, Slopes], tuple[Interval, Slopes]]:
    """Return values and slopes of two operands, of which one may be a number."""
    return _lifted(x), _lifted(y)


def _lifted(x: Any) -> tuple[Interval, Slopes]:
    if isinstance(x, Gradient):
        return x.value, x.slopes
    return (x if isinstance(x, Interval) else point(x)), {}


def minimum(*values: Any) -> Any:
    """Return the smallest of the values."""
    return reduce(partial(_chosen, smaller=True), values)


def maximum(*values: Any) -> Any:
    """Return the largest of the values."""
    return reduce(partial(_chosen, smaller=False), values)


def _chosen(x: Any, y: Any, *, smaller: bool) -> Any:
    if (lost := first_undefined(x, y)) is not None:
        return lost
    value = (on_ranges.minimum if smaller else on_ranges.maximum)(*(parts_of(z)[0] for z in (x, y)))  # type: ignore[index]
    (_, by_x), (_, by_y) = parts_of(x), parts_of(y)  # type: ignore[misc]
    if not isinstance(value, Interval):
        return noted(value.reason, frozenset({**by_x, **by_y}))
    first = x <= y  # one of them is a Gradient
    if isinstance(first, Truth):
        return Gradient(value, hulled(by_x, by_y))
    return Gradient(value, by_x if first is smaller else by_y)


def where(condition: Truth, then: Any, otherwise: Any, /) -> Any:
    """Return a value of both, since the condition is undecided.

    It may jump along the sides that the condition depends on; along the rest it is one of the
    two.
    """
    if (lost := first_undefined(then, otherwise)) is not None:
        return Undefined(lost.reason, lost.sides | condition.sides)
    (a, by_a), (b, by_b) = parts_of(then), parts_of(otherwise)  # type: ignore[misc]
    slopes = {**hulled(by_a, by_b), **dict.fromkeys(condition.sides, UNBOUNDED)}
    return made(hull(a, b), slopes)


def table(x: Gradient, points: Sequence[tuple[float, float]], /) -> Any:
    """Return y(x) by straight lines between points (x, y) in rising x."""
    value = on_ranges.table(x.value, points)
    if not isinstance(value, Interval):
        return noted(value.reason, x.sides)
    begin = min(max(bisect_right(points, x.value.low, key=_across), 1), len(points) - 1)
    end = min(max(bisect_left(points, x.value.high, key=_across), begin), len(points) - 1)
    lines = [_steepness(points[i - 1], points[i]) for i in range(begin, end + 1)]
    return chained(x, value, lambda: (min(a for a, _ in lines), max(b for _, b in lines)))


def _across(one: tuple[float, float]) -> float:
    return one[0]


def _steepness(left: tuple[float, float], right: tuple[float, float]) -> Slope:
    (x0, y0), (x1, y1) = left, right
    if y0 == y1:
        return 0.0, 0.0
    rise: Any = point(y1) - y0
    return ends_of(rise / (point(x1) - x0))


math.extend(Gradient, sys.modules[__name__])
math.extend(GradientTruth, sys.modules[__name__])
