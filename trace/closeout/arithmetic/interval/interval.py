"""Numbers with their bounds: intervals that round outward.

Each operation returns an interval that holds the result of the real operation and of the
floating-point one at every point of its operands. So an interval holds what the formula gives on
plain numbers, with NumPy too, and not only what it gives on paper. The functions of
:mod:`closeout.math` on intervals are those of :mod:`closeout.arithmetic.interval.functions`.

Sums, products and quotients are rounded to nearest by the processor, and stepped outward by one
unit in the last place (IEEE 754: the result is within half a unit).

All ends are finite. An overflow, a division by an interval that holds zero and a logarithm that
reaches below zero give an :class:`~closeout.arithmetic.undecided.Undefined`: no bound at all rather
than an infinite one, since atan(1/x) would turn that into a finite bound of a value that does not
exist at zero.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from math import inf, nextafter
from typing import Any, NoReturn

from closeout import math
from closeout.arithmetic.interval.powers import power_ends
from closeout.arithmetic.interval.rounded import LEAST, above, below
from closeout.arithmetic.undecided import OneNumber, Truth, Undecided, Undefined

__all__ = [
    "NO_NUMBER", "Interval", "TooLong", "bounded", "ends_of", "exact", "hull", "limited", "point",
    "power",
]  # fmt: skip

NO_NUMBER = Undefined("NaN, which is no number")

_left: float = inf


class TooLong(Undecided):
    """The evaluation takes more operations than it was allowed: a march, or a loop without end."""

    def _where(self) -> str:
        return ""  # any line of it might have been the last


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

    def _text(self) -> str:
        return f"[{self.low!r}, {self.high!r}]"

    def _full_text(self) -> str:
        return f"Interval({self.low!r}, {self.high!r})"

    def __bool__(self) -> bool:
        if self.low <= 0.0 <= self.high:
            raise Undecided(f"{self} may be zero")
        return True

    def __neg__(self) -> Interval:
        return exact(-self.high, -self.low)

    def __pos__(self) -> Interval:
        return self

    def __abs__(self) -> Interval:
        if self.low >= 0.0:
            return self
        return -self if self.high <= 0.0 else exact(0.0, max(-self.low, self.high))

    def __add__(self, other: Any) -> Any:
        ends = ends_of(other)
        return ends if ends is NotImplemented else _sum(self.low, self.high, *ends)

    __radd__ = __add__

    def __sub__(self, other: Any) -> Any:
        ends = ends_of(other)
        return ends if ends is NotImplemented else _sum(self.low, self.high, -ends[1], -ends[0])

    def __rsub__(self, other: Any) -> Any:
        ends = ends_of(other)
        return ends if ends is NotImplemented else _sum(ends[0], ends[1], -self.high, -self.low)

    def __mul__(self, other: Any) -> Any:
        if other is self:  # one value, so no product is below zero
            return power(self, 2)
        ends = ends_of(other)
        return ends if ends is NotImplemented else _product(self.low, self.high, *ends)

    __rmul__ = __mul__

    def __truediv__(self, other: Any) -> Any:
        ends = ends_of(other)
        return ends if ends is NotImplemented else _quotient(self.low, self.high, *ends)

    def __rtruediv__(self, other: Any) -> Any:
        ends = ends_of(other)
        return ends if ends is NotImplemented else _quotient(ends[0], ends[1], self.low, self.high)

    def __pow__(self, other: Any) -> Any:
        if ends_of(other) is NotImplemented:
            return NotImplemented
        if isinstance(other, int) or (isinstance(other, float) and other.is_integer()):
            return power(self, int(other))
        if isinstance(other, float) and other == 0.5:
            return math.sqrt(self)  # type: ignore[arg-type]
        found = power_ends(self.low, self.high, *ends_of(other))
        return found if isinstance(found, Undefined) else bounded(*found)

    def __rpow__(self, other: Any) -> Any:
        if ends_of(other) is NotImplemented:
            return NotImplemented
        if other == 0.0 and self.low > 0.0:
            return point(0.0)
        if other <= 0.0:
            return Undefined(f"{other!r} to the power {self}")
        return math.exp(self * math.log(point(other)))  # type: ignore[arg-type]

    def __lt__(self, other: Any) -> Any:
        ends = ends_of(other)
        if ends is NotImplemented:
            return ends
        if self.high < ends[0] or self.low >= ends[1]:
            return self.high < ends[0]
        return Truth(f"{self} < {other}")

    def __le__(self, other: Any) -> Any:
        ends = ends_of(other)
        if ends is NotImplemented:
            return ends
        if self.high <= ends[0] or self.low > ends[1]:
            return self.high <= ends[0]
        return Truth(f"{self} <= {other}")

    def __gt__(self, other: Any) -> Any:
        ends = ends_of(other)
        if ends is NotImplemented:
            return ends
        if self.low > ends[1] or self.high <= ends[0]:
            return self.low > ends[1]
        return Truth(f"{self} > {other}")

    def __ge__(self, other: Any) -> Any:
        ends = ends_of(other)
        if ends is NotImplemented:
            return ends
        if self.low >= ends[1] or self.high < ends[0]:
            return self.low >= ends[1]
        return Truth(f"{self} >= {other}")


# Past `__setattr__`, which refuses.
_new = object.__new__
_set_low: Callable[[Interval, float], None] = Interval.__dict__["low"].__set__
_set_high: Callable[[Interval, float], None] = Interval.__dict__["high"].__set__


def exact(low: float, high: float) -> Interval:
    """Return an interval of ends that are known to be finite and in order."""
    global _left
    _left -= 1
    if _left < 0:
        raise TooLong("it takes too many operations for an evaluation on ranges")
    made = _new(Interval)
    _set_low(made, low)
    _set_high(made, high)
    return made


def bounded(low: float, high: float) -> Interval | Undefined:
    if low > -inf and high < inf:  # NaN is neither
        return exact(low, high)
    return Undefined("an overflow, or a number that is not finite")


def point(value: float) -> Interval:
    """Return the interval of one number."""
    return Interval(value, value)


def hull(x: Any, y: Any) -> Any:
    """Return the smallest interval that holds both intervals or numbers."""
    (a, b), (c, d) = ends_of(x), ends_of(y)
    return bounded(min(a, c), max(b, d)) if a + c == a + c else NO_NUMBER


def ends_of(value: Any) -> Any:
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
    return bounded(nextafter(low, -inf) if low else 0.0, nextafter(high, inf) if high else 0.0)


def _product(a: float, b: float, c: float, d: float) -> Interval | Undefined:
    if a >= 0.0 and c >= 0.0:
        low, high = a * c, b * d
    else:
        ends = (a * c, a * d, b * c, b * d)
        low, high = min(ends), max(ends)
    negative = a < 0.0 < d or c < 0.0 < b  # some product is below zero, be it ever so small
    positive = (b > 0.0 and d > 0.0) or (a < 0.0 and c < 0.0)
    return bounded(
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
    return bounded(
        nextafter(low, -inf) if low or negative else 0.0,
        nextafter(high, inf) if high or positive else 0.0,
    )


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
    floor, ceiling = below(low), above(high)
    if not low and x.low < 0.0:
        floor = -LEAST
    if not high and x.high > 0.0:
        ceiling = LEAST
    return bounded(floor if n % 2 else max(floor, 0.0), ceiling)
