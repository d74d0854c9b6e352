"""Numbers with their bounds: intervals that round outward, and closeout.math on them.

Each operation returns an interval that holds the result of the real operation and of the
floating-point one at every point of its operands. So an interval holds what the formula gives on
plain numbers, with NumPy too, and not only what it gives on paper. Importing this module enters the
functions in :mod:`closeout.math`.

Sums, products and quotients are rounded to nearest by the processor, and stepped outward by one
unit in the last place (IEEE 754: the result is within half a unit). Elementary functions are not:
the C library errs by up to two units (its tanh), NumPy's vector loops by up to four (its own
documentation). Their ends are evaluated by mpmath's libmp with 60 bits and moved outward by eight
units, which covers all three. mpmath.iv alone would not do: it has no asin, acos, atan, sinh, cosh,
tanh and hypot.

All ends are finite. An overflow, a division by an interval that holds zero and a logarithm that
reaches below zero give an :class:`~closeout.arithmetic.undecided.Undefined`: no bound at all rather
than an infinite one, since atan(1/x) would turn that into a finite bound of a value that does not
exist at zero.
"""

from __future__ import annotations

import math as numbers
import sys
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache, lru_cache
from math import inf, nextafter
from typing import Any, NoReturn

from closeout import math
from closeout.arithmetic.undecided import OneNumber, Truth, Undecided, Undefined, first_undefined

__all__ = [
    "Interval", "TooLong", "acos", "asin", "atan", "atan2", "cos", "cosh", "exp", "exprel",
    "exprel_slope", "hull", "hypot", "limited", "log", "log1prel", "log1prel_slope", "log10",
    "maximum", "minimum", "point", "power", "sin", "sinh", "sqrt", "table", "tan", "tanh", "where",
]  # fmt: skip

# Eight units in the last place, at least: see above.
_SLACK = 2.0**-49
_LEAST = 4e-323  # the same among the subnormal numbers
_BITS = 60
_HALF_PI = numbers.pi / 2.0
_NO_NUMBER = Undefined("NaN, which is no number")
# Quarter turns beyond which the position of the extremes of a sine is not worth knowing.
_MOST_QUARTERS = 2.0**40

# Values of each elementary function that are kept.
KEPT = 8192

_left: float = inf


class TooLong(Undecided):
    """The evaluation takes more operations than it was allowed: a march, or a loop without end."""


@contextmanager
def limited(operations: int) -> Iterator[None]:
    """Raise :class:`TooLong` inside the context after so many operations on intervals."""
    global _left
    before, _left = _left, operations
    try:
        yield
    finally:
        _left = before


class Interval(OneNumber):
    """All numbers from ``low`` to ``high``, both finite; immutable.

    Arithmetic with intervals and numbers gives an interval, or an ``Undefined`` where the result
    may not exist. A comparison that holds for all points, or for none, gives a bool, else a
    ``Truth``.
    """

    __slots__ = ("high", "low")
    low: float
    high: float

    def __init__(self, low: float, high: float) -> None:
        if not -inf < low <= high < inf:
            raise ValueError(f"no interval: from {low!r} to {high!r}")
        _set_low(self, float(low))
        _set_high(self, float(high))

    def __setattr__(self, name: str, value: object) -> NoReturn:
        raise AttributeError(f"an interval is immutable: {name}")

    def __repr__(self) -> str:
        return f"Interval({self.low!r}, {self.high!r})"

    def __str__(self) -> str:
        return f"[{self.low!r}, {self.high!r}]"

    def __bool__(self) -> bool:
        if self.low <= 0.0 <= self.high:
            raise Undecided(f"{self} may be zero")
        return True

    def __neg__(self) -> Interval:
        return _exact(-self.high, -self.low)

    def __pos__(self) -> Interval:
        return self

    def __abs__(self) -> Interval:
        if self.low >= 0.0:
            return self
        return -self if self.high <= 0.0 else _exact(0.0, max(-self.low, self.high))

    def __add__(self, other: Any) -> Any:
        ends = _ends(other)
        return ends if ends is NotImplemented else _sum(self.low, self.high, *ends)

    __radd__ = __add__

    def __sub__(self, other: Any) -> Any:
        ends = _ends(other)
        return ends if ends is NotImplemented else _sum(self.low, self.high, -ends[1], -ends[0])

    def __rsub__(self, other: Any) -> Any:
        ends = _ends(other)
        return ends if ends is NotImplemented else _sum(ends[0], ends[1], -self.high, -self.low)

    def __mul__(self, other: Any) -> Any:
        if other is self:  # one value, so no product is below zero
            return power(self, 2)
        ends = _ends(other)
        return ends if ends is NotImplemented else _product(self.low, self.high, *ends)

    __rmul__ = __mul__

    def __truediv__(self, other: Any) -> Any:
        ends = _ends(other)
        return ends if ends is NotImplemented else _quotient(self.low, self.high, *ends)

    def __rtruediv__(self, other: Any) -> Any:
        ends = _ends(other)
        return ends if ends is NotImplemented else _quotient(ends[0], ends[1], self.low, self.high)

    def __pow__(self, other: Any) -> Any:
        if _ends(other) is NotImplemented:
            return NotImplemented
        if isinstance(other, int) or (isinstance(other, float) and other.is_integer()):
            return power(self, int(other))
        if isinstance(other, float) and other == 0.5:
            return sqrt(self)
        return math.exp(other * log(self))

    def __rpow__(self, other: Any) -> Any:
        if _ends(other) is NotImplemented:
            return NotImplemented
        if other <= 0.0:
            return Undefined(f"{other!r} to the power {self}")
        return math.exp(self * log(point(other)))

    def __lt__(self, other: Any) -> Any:
        ends = _ends(other)
        if ends is NotImplemented:
            return ends
        if self.high < ends[0] or self.low >= ends[1]:
            return self.high < ends[0]
        return Truth(f"{self} < {other}")

    def __le__(self, other: Any) -> Any:
        ends = _ends(other)
        if ends is NotImplemented:
            return ends
        if self.high <= ends[0] or self.low > ends[1]:
            return self.high <= ends[0]
        return Truth(f"{self} <= {other}")

    def __gt__(self, other: Any) -> Any:
        ends = _ends(other)
        if ends is NotImplemented:
            return ends
        if self.low > ends[1] or self.high <= ends[0]:
            return self.low > ends[1]
        return Truth(f"{self} > {other}")

    def __ge__(self, other: Any) -> Any:
        ends = _ends(other)
        if ends is NotImplemented:
            return ends
        if self.low >= ends[1] or self.high < ends[0]:
            return self.low >= ends[1]
        return Truth(f"{self} >= {other}")


# Past `__setattr__`, which refuses.
_new = object.__new__
_set_low: Callable[[Interval, float], None] = Interval.__dict__["low"].__set__
_set_high: Callable[[Interval, float], None] = Interval.__dict__["high"].__set__


def _exact(low: float, high: float) -> Interval:
    """Return an interval of ends that are known to be finite and in order."""
    global _left
    _left -= 1
    if _left < 0:
        raise TooLong("it takes too many operations for an evaluation on ranges")
    made = _new(Interval)
    _set_low(made, low)
    _set_high(made, high)
    return made


def _bounded(low: float, high: float) -> Interval | Undefined:
    if low > -inf and high < inf:  # NaN is neither
        return _exact(low, high)
    return Undefined("an overflow, or a number that is not finite")


def point(value: float) -> Interval:
    """Return the interval of one number."""
    return Interval(value, value)


def hull(x: Any, y: Any) -> Any:
    """Return the smallest interval that holds both intervals or numbers."""
    (a, b), (c, d) = _ends(x), _ends(y)
    return _bounded(min(a, c), max(b, d)) if a + c == a + c else _NO_NUMBER


def _ends(value: Any) -> Any:
    """Return low and high of an interval or a number; NotImplemented for whatever else."""
    if value.__class__ is Interval:
        return value.low, value.high
    if isinstance(value, (float, int)):
        number = float(value)
        return number, number
    return NotImplemented


# A sum is zero only where it is exact, so zero stays zero: the sign of a value is worth more than
# the last bit of its size. Likewise for products, but for those too small for a number.


def _sum(a: float, b: float, c: float, d: float) -> Interval | Undefined:
    low, high = a + c, b + d
    return _bounded(nextafter(low, -inf) if low else 0.0, nextafter(high, inf) if high else 0.0)


def _product(a: float, b: float, c: float, d: float) -> Interval | Undefined:
    if a >= 0.0 and c >= 0.0:
        low, high = a * c, b * d
    else:
        ends = (a * c, a * d, b * c, b * d)
        low, high = min(ends), max(ends)
    negative = a < 0.0 < d or c < 0.0 < b  # some product is below zero, be it ever so small
    positive = (b > 0.0 and d > 0.0) or (a < 0.0 and c < 0.0)
    return _bounded(
        nextafter(low, -inf) if low or negative else 0.0,
        nextafter(high, inf) if high or positive else 0.0,
    )


def _quotient(a: float, b: float, c: float, d: float) -> Interval | Undefined:
    if c <= 0.0 <= d:
        return Undefined(f"division by [{c!r}, {d!r}], which holds zero")
    ends = (a / c, a / d, b / c, b / d)
    low, high = min(ends), max(ends)
    negative = a < 0.0 if c > 0.0 else b > 0.0
    positive = b > 0.0 if c > 0.0 else a < 0.0
    return _bounded(
        nextafter(low, -inf) if low or negative else 0.0,
        nextafter(high, inf) if high or positive else 0.0,
    )


def _below(value: float) -> float:
    return value - (abs(value) * _SLACK + _LEAST) if value else 0.0


def _above(value: float) -> float:
    return value + (abs(value) * _SLACK + _LEAST) if value else 0.0


@cache
def _libmp() -> Any:
    from mpmath import libmp  # type: ignore[import-untyped]

    return libmp


@cache
def _near(name: str) -> Callable[..., float]:
    """Return a function of libmp as one of numbers, right to a unit in the last place.

    It is zero only where it is exactly zero, or too small for a number.
    """
    libmp = _libmp()
    function, read, told = getattr(libmp, f"mpf_{name}"), libmp.from_float, libmp.to_float

    # Parts of a box share most of their ends, so the same numbers come again and again.
    @lru_cache(maxsize=KEPT)
    def near(*values: float) -> float:
        return float(told(function(*map(read, values), _BITS, "n")))

    return near


def _rising(name: str, x: Interval, floor: float = -inf, ceiling: float = inf) -> Any:
    """Return a function that rises, of a range that is known."""
    near = _near(name)
    return _bounded(max(_below(near(x.low)), floor), min(_above(near(x.high)), ceiling))


def exp(x: Interval, /) -> Any:
    """Return e to the power x."""
    if x.high > 710.0:
        return Undefined(f"overflow of exp of {x}")
    near = _near("exp")
    return _bounded(max(_below(near(x.low)), 0.0), _above(near(x.high)) or _LEAST)


def exprel(x: Interval, /) -> Any:
    """Return (e^x - 1) / x, 1 at zero; it rises."""
    if x.high > 710.0:
        return Undefined(f"overflow of exprel of {x}")
    return _bounded(max(_below(_exprel(x.low)), 0.0), _above(_exprel(x.high)))


def exprel_slope(x: Interval, /) -> Any:
    """Return the derivative of :func:`exprel`, (e^x (x - 1) + 1) / x^2; it rises."""
    return _bounded(max(_below(_exprel_slope(x.low)), 0.0), _above(_exprel_slope(x.high)))


def log1prel(x: Interval, /) -> Any:
    """Return ln(1 + x) / x, 1 at zero; it falls."""
    if x.low <= -1.0:
        return Undefined(f"logarithm of 1 + {x}")
    return _bounded(max(_below(_log1prel(x.high)), 0.0), _above(_log1prel(x.low)))


def log1prel_slope(x: Interval, /) -> Any:
    """Return the derivative of :func:`log1prel`, (x / (1 + x) - ln(1 + x)) / x^2; it rises."""
    return _bounded(_below(_log1prel_slope(x.low)), min(_above(_log1prel_slope(x.high)), 0.0))


# Differences that nearly cancel need more bits: two powers of the argument, down to _TINY, where
# the first term of the series is all that a number can hold.
_MANY_BITS = 280
_TINY = 1e-30


def _exprel(x: float) -> float:
    if abs(x) < _TINY:
        return 1.0
    m, a = _libmp(), _libmp().from_float(x)
    above = m.mpf_sub(m.mpf_exp(a, _MANY_BITS, "n"), m.fone, _MANY_BITS, "n")
    return float(m.to_float(m.mpf_div(above, a, _BITS, "n")))


def _exprel_slope(x: float) -> float:
    if abs(x) < _TINY:
        return 0.5
    m, a = _libmp(), _libmp().from_float(x)
    grown = m.mpf_mul(m.mpf_exp(a, _MANY_BITS, "n"), m.mpf_sub(a, m.fone), _MANY_BITS, "n")
    return float(m.to_float(m.mpf_div(m.mpf_add(grown, m.fone), m.mpf_mul(a, a), _BITS, "n")))


def _log1prel(x: float) -> float:
    if abs(x) < _TINY:
        return 1.0
    m, a = _libmp(), _libmp().from_float(x)
    natural = m.mpf_log(m.mpf_add(m.fone, a), _MANY_BITS, "n")
    return float(m.to_float(m.mpf_div(natural, a, _BITS, "n")))


def _log1prel_slope(x: float) -> float:
    if abs(x) < _TINY:
        return -0.5
    m, a = _libmp(), _libmp().from_float(x)
    one_more = m.mpf_add(m.fone, a)
    share = m.mpf_div(a, one_more, _MANY_BITS, "n")
    below = m.mpf_sub(share, m.mpf_log(one_more, _MANY_BITS, "n"))
    return float(m.to_float(m.mpf_div(below, m.mpf_mul(a, a), _BITS, "n")))


def log(x: Interval, /) -> Any:
    """Return the natural logarithm of x."""
    return _rising("log", x) if x.low > 0.0 else Undefined(f"logarithm of {x}")


def log10(x: Interval, /) -> Any:
    """Return the common logarithm of x."""
    if x.low <= 0.0:
        return Undefined(f"logarithm of {x}")
    return _bounded(_below(_log10(x.low)), _above(_log10(x.high)))


def _log10(x: float) -> float:
    libmp = _libmp()
    natural = libmp.mpf_log(libmp.from_float(x), _BITS, "n")
    return float(libmp.to_float(libmp.mpf_div(natural, libmp.mpf_ln10(_BITS), _BITS, "n")))


def sqrt(x: Interval, /) -> Any:
    """Return the square root of x."""
    if x.low < 0.0:
        return Undefined(f"square root of {x}")
    # IEEE 754 rounds a square root correctly, so a step outward is enough.
    low, high = numbers.sqrt(x.low), numbers.sqrt(x.high)
    return _exact(nextafter(low, 0.0), nextafter(high, inf) if high else 0.0)


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
    near = _near(name)
    ends = near(x.low), near(x.high)
    low = -1.0 if 3 in peaks else max(_below(min(ends)), -1.0)
    high = 1.0 if 1 in peaks else min(_above(max(ends)), 1.0)
    return _exact(low, high)


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
    return _rising("tan", x)


def asin(x: Interval, /) -> Any:
    """Return the arc sine of x, in radians."""
    return _rising("asin", x) if x.low >= -1.0 and x.high <= 1.0 else Undefined(f"arc sine of {x}")


def acos(x: Interval, /) -> Any:
    """Return the arc cosine of x, in radians."""
    if x.low < -1.0 or x.high > 1.0:
        return Undefined(f"arc cosine of {x}")
    near = _near("acos")
    return _exact(_below(near(x.high)), _above(near(x.low)))


def atan(x: Interval, /) -> Any:
    """Return the arc tangent of x, in radians."""
    return _rising("atan", x)


def sinh(x: Interval, /) -> Any:
    """Return the hyperbolic sine of x."""
    if max(abs(x.low), abs(x.high)) > 711.0:
        return Undefined(f"overflow of sinh of {x}")
    return _rising("sinh", x)


def cosh(x: Interval, /) -> Any:
    """Return the hyperbolic cosine of x."""
    size = abs(x)
    if size.high > 711.0:
        return Undefined(f"overflow of cosh of {x}")
    return _rising("cosh", size, floor=1.0)


def tanh(x: Interval, /) -> Any:
    """Return the hyperbolic tangent of x."""
    return _rising("tanh", x, -1.0, 1.0)


def hypot(x: Any, y: Any, /) -> Any:
    """Return the square root of x squared plus y squared."""
    if (lost := first_undefined(x, y)) is not None:
        return lost
    a, b = abs(hull(x, x)), abs(hull(y, y))
    near = _near("hypot")
    return _bounded(_below(near(a.low, b.low)), _above(near(a.high, b.high)))


def atan2(y: Any, x: Any, /) -> Any:
    """Return the angle of the point (x, y), in radians."""
    if (lost := first_undefined(y, x)) is not None:
        return lost
    (a, b), (c, d) = _ends(y), _ends(x)
    if a <= 0.0 <= b and c <= 0.0:
        # At the cut it jumps; -0.0 is on the other side of it, and cannot be told from 0.0 here.
        return _exact(-_above(numbers.pi), _above(numbers.pi))
    near = _near("atan2")
    # Without the cut the angle has its extremes at corners.
    angles = [near(up, along) for up in (a, b) for along in (c, d)]
    return _exact(_below(min(angles)), _above(max(angles)))


def minimum(x: Any, y: Any, /) -> Any:
    """Return the smaller of the two."""
    if (lost := first_undefined(x, y)) is not None:
        return lost
    (a, b), (c, d) = _ends(x), _ends(y)
    return _bounded(min(a, c), min(b, d)) if a + c == a + c else _NO_NUMBER


def maximum(x: Any, y: Any, /) -> Any:
    """Return the larger of the two."""
    if (lost := first_undefined(x, y)) is not None:
        return lost
    (a, b), (c, d) = _ends(x), _ends(y)
    return _bounded(max(a, c), max(b, d)) if a + c == a + c else _NO_NUMBER


def where(_condition: Any, then: Any, otherwise: Any, /) -> Any:
    """Return an interval of both, since the condition is undecided."""
    lost = first_undefined(then, otherwise)
    return hull(then, otherwise) if lost is None else lost


def power(x: Interval, n: int, /) -> Any:
    """Return x to the whole number n."""
    if n < 0:
        return 1.0 / power(x, -n)
    if n == 0:
        return point(1.0)
    if n % 2 == 0:
        x = abs(x)
    try:
        low, high = x.low**n, x.high**n
    except OverflowError:
        return Undefined(f"overflow of {x} to the power {n}")
    # A number too small is not zero.
    below, above = _below(low), _above(high)
    if not low and x.low < 0.0:
        below = -_LEAST
    if not high and x.high > 0.0:
        above = _LEAST
    return _bounded(below if n % 2 else max(below, 0.0), above)


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
    return _bounded(max(min(ends), float(min(heights))), min(max(ends), float(max(heights))))


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
    spare = max(abs(y0), abs(y1)) * _SLACK + _LEAST
    return y - spare, y + spare


math.extend(Interval, sys.modules[__name__])
math.extend(Truth, sys.modules[__name__])
