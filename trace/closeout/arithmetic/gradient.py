"""Intervals with the bounds of their slopes: automatic differentiation, forward mode.

A :class:`Gradient` holds the range of a value over a box and, for each side of the box on which it
depends, the range of its partial derivative. Where the value has a kink (abs, minimum, maximum, the
points of a table) the slope covers both sides of it, which keeps the mean value theorem. Where it
may jump (an undecided ``where``, the cut of atan2) no slope is enough, and those of the sides that
the jump depends on are unbounded. Importing this module enters the functions in
:mod:`closeout.math`.

R. E. Moore, R. B. Kearfott, M. J. Cloud, Introduction to Interval Analysis (2009), chapters 6 and
9; L. B. Rall, Automatic Differentiation (1981), chapter 2.
"""

from __future__ import annotations

import math as numbers
import sys
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from math import inf, nextafter
from typing import Any

from closeout import math
from closeout.arithmetic import interval
from closeout.arithmetic.interval import Interval
from closeout.arithmetic.undecided import (
    OneNumber,
    Truth,
    Undecided,
    Undefined,
    first_undefined,
    noted,
)

__all__ = [
    "Gradient", "GradientTruth", "Slope", "acos", "asin", "atan", "atan2", "cos", "cosh", "exp",
    "exprel", "hypot", "log", "log1prel", "log10", "maximum", "minimum", "power", "seed", "sin",
    "sinh", "sqrt", "table", "tan", "tanh", "where",
]  # fmt: skip

Slope = tuple[float, float]
Slopes = dict[int, Slope]  # by side of the box; a side that is not there has no influence

UNBOUNDED: Slope = (-inf, inf)
_ONE: Slope = (1.0, 1.0)
_LN_10 = Interval(nextafter(numbers.log(10.0), 0.0), nextafter(numbers.log(10.0), inf))


class Gradient(OneNumber):
    """The range of a value over a box, and of its derivative with respect to each side.

    Treat as immutable. Arithmetic and comparisons are those of
    :class:`~closeout.arithmetic.interval.Interval`.
    """

    __slots__ = ("slopes", "value")

    def __init__(self, value: Interval, slopes: Slopes) -> None:
        self.value = value
        self.slopes = slopes

    @property
    def sides(self) -> frozenset[int]:
        """The sides of the box that the value depends on, by number."""
        return frozenset(self.slopes)

    def __repr__(self) -> str:
        return f"Gradient({self.value!r}, {self.slopes!r})"

    def __str__(self) -> str:
        return str(self.value)

    def __bool__(self) -> bool:
        if self.value.low <= 0.0 <= self.value.high:
            raise Undecided(f"{self} may be zero", self.sides)
        return True

    def __neg__(self) -> Gradient:
        return Gradient(-self.value, _negative(self.slopes))

    def __pos__(self) -> Gradient:
        return self

    def __abs__(self) -> Gradient:
        if self.value.low >= 0.0:
            return self
        if self.value.high <= 0.0:
            return -self
        slopes = {i: (-_size(s), _size(s)) for i, s in self.slopes.items()}
        return Gradient(abs(self.value), slopes)

    def __add__(self, other: Any) -> Any:
        parts = _parts(other)
        if parts is None:
            return NotImplemented
        value, slopes = parts
        return _made(self.value + value, _summed(self.slopes, slopes))

    __radd__ = __add__

    def __sub__(self, other: Any) -> Any:
        parts = _parts(other)
        if parts is None:
            return NotImplemented
        value, slopes = parts
        return _made(self.value - value, _summed(self.slopes, _negative(slopes)))

    def __rsub__(self, other: Any) -> Any:
        return -self + other

    def __mul__(self, other: Any) -> Any:
        if other is self:
            return power(self, 2)
        parts = _parts(other)
        if parts is None:
            return NotImplemented
        value, slopes = parts
        found = _scaled(self.slopes, _ends(value))
        if slopes:
            found = _summed(found, _scaled(slopes, _ends(self.value)))
        return _made(self.value * value, found)

    __rmul__ = __mul__

    def __truediv__(self, other: Any) -> Any:
        parts = _parts(other)
        return NotImplemented if parts is None else _divided(self.value, self.slopes, *parts)

    def __rtruediv__(self, other: Any) -> Any:
        parts = _parts(other)
        return NotImplemented if parts is None else _divided(*parts, self.value, self.slopes)

    def __pow__(self, other: Any) -> Any:
        if isinstance(other, int) or (isinstance(other, float) and other.is_integer()):
            return power(self, int(other))
        if isinstance(other, float) and other == 0.5:
            return sqrt(self)
        return NotImplemented if _parts(other) is None else math.exp(other * log(self))

    def __rpow__(self, other: Any) -> Any:
        if not isinstance(other, (int, float)):
            return NotImplemented
        if other <= 0.0:
            return noted(f"{other!r} to the power {self}", self.sides)
        return math.exp(self * math.log(interval.point(other)))  # type: ignore[arg-type]

    def __lt__(self, other: Any) -> Any:
        return _compared(self, other, "__lt__")

    def __le__(self, other: Any) -> Any:
        return _compared(self, other, "__le__")

    def __gt__(self, other: Any) -> Any:
        return _compared(self, other, "__gt__")

    def __ge__(self, other: Any) -> Any:
        return _compared(self, other, "__ge__")


class GradientTruth(Truth):
    """A comparison that is open, of values whose sides of the box are known."""

    __slots__ = ()


def seed(value: Interval, side: int | None) -> Gradient:
    """Return the variable of a side of the box; of no side, a constant."""
    return Gradient(value, {} if side is None else {side: _ONE})


def _parts(other: Any) -> tuple[Any, Slopes] | None:
    """Return value and slopes of an operand; None where it is no number."""
    if other.__class__ is Gradient:
        return other.value, other.slopes
    return (other, {}) if isinstance(other, (float, int, Interval)) else None


def _made(value: Any, slopes: Slopes) -> Gradient | Undefined:
    if value.__class__ is Interval:
        return Gradient(value, slopes)
    return noted(value.reason, frozenset(slopes))


def _compared(x: Gradient, other: Any, comparison: str) -> Any:
    parts = _parts(other)
    if parts is None:
        return NotImplemented
    answer = getattr(x.value, comparison)(parts[0])
    if isinstance(answer, Truth):
        return GradientTruth(answer.reason, x.sides | frozenset(parts[1]))
    return answer


# Arithmetic of slopes. They may be unbounded; zero times unbounded is zero, since every slope is a
# number, however large.


def _ends(value: Any) -> Slope:
    return (value.low, value.high) if isinstance(value, Interval) else (value, value)


def _size(slope: Slope) -> float:
    return max(-slope[0], slope[1])


def _negative(slopes: Slopes) -> Slopes:
    return {i: (-b, -a) for i, (a, b) in slopes.items()}


def _scaled(slopes: Slopes, by: Slope) -> Slopes:
    """Return the slopes times a range, rounded outward."""
    c, d = by
    if c == d == 0.0:
        return {}
    found = {}
    for i, (a, b) in slopes.items():
        if c >= 0.0:
            low, high = a * (c if a >= 0.0 else d), b * (d if b >= 0.0 else c)
        elif d <= 0.0:
            low, high = b * (c if b >= 0.0 else d), a * (d if a >= 0.0 else c)
        else:
            low, high = min(a * d, b * c), max(a * c, b * d)
        if not low <= high:  # NaN, from zero times unbounded
            every = [0.0 if p == 0.0 or q == 0.0 else p * q for p in (a, b) for q in by]
            low, high = min(every), max(every)
        # Zero stays zero: a sign that is certain must stay so.
        found[i] = nextafter(low, -inf) if low else 0.0, nextafter(high, inf) if high else 0.0
    return found


def _summed(x: Slopes, y: Slopes) -> Slopes:
    if not x or not y:
        return x or y
    found = dict(x)
    for i, (c, d) in y.items():
        if i in found:
            low, high = found[i][0] + c, found[i][1] + d
            c, d = nextafter(low, -inf) if low else 0.0, nextafter(high, inf) if high else 0.0
        found[i] = c, d
    return found


def _hulled(x: Slopes, y: Slopes) -> Slopes:
    """Return the slopes of a value that may be either of two."""
    found = {}
    for i in {**x, **y}:
        (a, b), (c, d) = x.get(i, (0.0, 0.0)), y.get(i, (0.0, 0.0))
        found[i] = min(a, c), max(b, d)
    return found


def _divided(top: Any, top_slopes: Slopes, bottom: Any, bottom_slopes: Slopes) -> Any:
    """(a/b)' = (a' - (a/b) b') / b: the quotient stands once, so its range is used once."""
    if bottom.__class__ is not Interval:
        bottom = interval.point(bottom)
    value = top / bottom
    if not isinstance(value, Interval):
        return noted(value.reason, frozenset(bottom_slopes) or frozenset(top_slopes))
    inverse = _ends(1.0 / bottom)
    against = _scaled(bottom_slopes, (-value.high, -value.low))
    return Gradient(value, _scaled(_summed(top_slopes, against), inverse))


def _chained(x: Gradient, value: Any, slope: Any) -> Any:
    """Return a function of x: its value, and the slopes of x times the slope of the function."""
    if not isinstance(value, Interval):
        return noted(value.reason, x.sides)
    if isinstance(slope, Undefined):
        return Gradient(value, dict.fromkeys(x.slopes, UNBOUNDED))
    return Gradient(
        value, _scaled(x.slopes, _ends(slope) if isinstance(slope, Interval) else slope)
    )


def exp(x: Gradient, /) -> Any:
    """Return e to the power x."""
    value = interval.exp(x.value)
    return _chained(x, value, value)


def exprel(x: Gradient, /) -> Any:
    """Return (e^x - 1) / x, 1 at zero."""
    value = interval.exprel(x.value)
    return _chained(x, value, interval.exprel_slope(x.value) if isinstance(value, Interval) else 0)


def log1prel(x: Gradient, /) -> Any:
    """Return ln(1 + x) / x, 1 at zero."""
    value = interval.log1prel(x.value)
    return _chained(
        x, value, interval.log1prel_slope(x.value) if isinstance(value, Interval) else 0
    )


def log(x: Gradient, /) -> Any:
    """Return the natural logarithm of x."""
    return _chained(x, interval.log(x.value), 1.0 / x.value)


def log10(x: Gradient, /) -> Any:
    """Return the common logarithm of x."""
    return _chained(x, interval.log10(x.value), 1.0 / (_LN_10 * x.value))


def sqrt(x: Gradient, /) -> Any:
    """Return the square root of x."""
    return _chained(x, interval.sqrt(x.value), _inverse_of_root(x.value, 0.5))


def _inverse_of_root(x: Interval, factor: float) -> Slope:
    """Return the range of factor / sqrt(x), infinite where x reaches zero."""
    if x.high <= 0.0:
        return 0.0, inf
    low = factor / interval.sqrt(interval.point(x.high))
    high = factor / interval.sqrt(interval.point(max(x.low, 0.0)))
    top = high.high if isinstance(high, Interval) else inf
    return (low.low if isinstance(low, Interval) else 0.0), top


def sin(x: Gradient, /) -> Any:
    """Return the sine of x radians."""
    return _chained(x, interval.sin(x.value), interval.cos(x.value))


def cos(x: Gradient, /) -> Any:
    """Return the cosine of x radians."""
    return _chained(x, interval.cos(x.value), -interval.sin(x.value))


def tan(x: Gradient, /) -> Any:
    """Return the tangent of x radians."""
    value = interval.tan(x.value)
    return _chained(x, value, 1.0 + interval.power(value, 2) if value.__class__ is Interval else 0)


def asin(x: Gradient, /) -> Any:
    """Return the arc sine of x, in radians."""
    return _chained(
        x, interval.asin(x.value), _inverse_of_root(1.0 - interval.power(x.value, 2), 1.0)
    )


def acos(x: Gradient, /) -> Any:
    """Return the arc cosine of x, in radians."""
    low, high = _inverse_of_root(1.0 - interval.power(x.value, 2), 1.0)
    return _chained(x, interval.acos(x.value), (-high, -low))


def atan(x: Gradient, /) -> Any:
    """Return the arc tangent of x, in radians."""
    return _chained(x, interval.atan(x.value), 1.0 / (1.0 + interval.power(x.value, 2)))


def sinh(x: Gradient, /) -> Any:
    """Return the hyperbolic sine of x."""
    return _chained(x, interval.sinh(x.value), interval.cosh(x.value))


def cosh(x: Gradient, /) -> Any:
    """Return the hyperbolic cosine of x."""
    return _chained(x, interval.cosh(x.value), interval.sinh(x.value))


def tanh(x: Gradient, /) -> Any:
    """Return the hyperbolic tangent of x."""
    value = interval.tanh(x.value)
    slope = 1.0 - interval.power(value, 2)
    return _chained(x, value, (max(slope.low, 0.0), min(slope.high, 1.0)))


def hypot(x: Any, y: Any, /) -> Any:
    """Return the square root of x squared plus y squared."""
    if (lost := first_undefined(x, y)) is not None:
        return lost
    (a, by_a), (b, by_b) = _both(x, y)
    value = interval.hypot(a, b)
    slopes = _summed(_scaled(by_a, _cosine(a, value)), _scaled(by_b, _cosine(b, value)))
    return _made(value, slopes)


def _cosine(part: Interval, whole: Any) -> Slope:
    """Return the range of part / whole, which lies from -1 to 1 and has the sign of the part."""
    share = part / whole if isinstance(whole, Interval) else whole
    low, high = _ends(share) if isinstance(share, Interval) else (-1.0, 1.0)
    floor = 0.0 if part.low >= 0.0 else -1.0
    ceiling = 0.0 if part.high <= 0.0 else 1.0
    return max(low, floor), min(high, ceiling)


def atan2(y: Any, x: Any, /) -> Any:
    """Return the angle of the point (x, y), in radians."""
    if (lost := first_undefined(y, x)) is not None:
        return lost
    (up, by_up), (along, by_along) = _both(y, x)
    value = interval.atan2(up, along)
    square = interval.power(up, 2) + interval.power(along, 2)
    jumps = up.low <= 0.0 <= up.high and along.low <= 0.0
    if jumps or not isinstance(square, Interval) or square.low <= 0.0:
        return Gradient(value, dict.fromkeys({**by_up, **by_along}, UNBOUNDED))
    slopes = _summed(_scaled(by_up, _ends(along / square)), _scaled(by_along, _ends(-up / square)))
    return Gradient(value, slopes)


def _both(x: Any, y: Any) -> tuple[tuple[Interval, Slopes], tuple[Interval, Slopes]]:
    """Return values and slopes of two operands, of which one may be a number."""
    return _lifted(x), _lifted(y)


def _lifted(x: Any) -> tuple[Interval, Slopes]:
    if isinstance(x, Gradient):
        return x.value, x.slopes
    return (x if isinstance(x, Interval) else interval.point(x)), {}


def minimum(x: Any, y: Any, /) -> Any:
    """Return the smaller of the two."""
    return _chosen(x, y, smaller=True)


def maximum(x: Any, y: Any, /) -> Any:
    """Return the larger of the two."""
    return _chosen(x, y, smaller=False)


def _chosen(x: Any, y: Any, *, smaller: bool) -> Any:
    if (lost := first_undefined(x, y)) is not None:
        return lost
    value = (interval.minimum if smaller else interval.maximum)(*(_parts(z)[0] for z in (x, y)))  # type: ignore[index]
    (_, by_x), (_, by_y) = _parts(x), _parts(y)  # type: ignore[misc]
    if not isinstance(value, Interval):
        return noted(value.reason, frozenset({**by_x, **by_y}))
    first = x <= y  # one of them is a Gradient
    if isinstance(first, Truth):
        return Gradient(value, _hulled(by_x, by_y))
    return Gradient(value, by_x if first is smaller else by_y)


def where(condition: Truth, then: Any, otherwise: Any, /) -> Any:
    """Return a value of both, since the condition is undecided.

    It may jump along the sides that the condition depends on; along the others it is one of the
    two.
    """
    if (lost := first_undefined(then, otherwise)) is not None:
        return Undefined(lost.reason, lost.sides | condition.sides)
    (a, by_a), (b, by_b) = _parts(then), _parts(otherwise)  # type: ignore[misc]
    slopes = {**_hulled(by_a, by_b), **dict.fromkeys(condition.sides, UNBOUNDED)}
    return _made(interval.hull(a, b), slopes)


def power(x: Gradient, n: int, /) -> Any:
    """Return x to the whole number n."""
    value = interval.power(x.value, n)
    return _chained(x, value, n * interval.power(x.value, n - 1) if n else (0.0, 0.0))


def table(x: Gradient, points: Sequence[tuple[float, float]], /) -> Any:
    """Return y(x) by straight lines between points (x, y) in rising x."""
    value = interval.table(x.value, points)
    if not isinstance(value, Interval):
        return noted(value.reason, x.sides)
    begin = min(max(bisect_right(points, x.value.low, key=_across), 1), len(points) - 1)
    end = min(max(bisect_left(points, x.value.high, key=_across), begin), len(points) - 1)
    lines = [_steepness(points[i - 1], points[i]) for i in range(begin, end + 1)]
    return _chained(x, value, (min(a for a, _ in lines), max(b for _, b in lines)))


def _across(one: tuple[float, float]) -> float:
    return one[0]


def _steepness(left: tuple[float, float], right: tuple[float, float]) -> Slope:
    (x0, y0), (x1, y1) = left, right
    if y0 == y1:
        return 0.0, 0.0
    rise: Any = interval.point(y1) - y0
    return _ends(rise / (interval.point(x1) - x0))


math.extend(Gradient, sys.modules[__name__])
math.extend(GradientTruth, sys.modules[__name__])
