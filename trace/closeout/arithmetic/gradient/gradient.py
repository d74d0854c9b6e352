"""Intervals with the bounds of their slopes: automatic differentiation, forward mode.

A :class:`Gradient` holds the range of a value over a box and, for each side of the box on which it
depends, the range of its partial derivative. Where the value has a kink (abs, minimum, maximum, the
points of a table) the slope covers both sides of it, which keeps the mean value theorem. Where it
may jump (an undecided ``where``, the cut of atan2) no slope is enough, and those of the sides that
the jump depends on are unbounded. The functions of :mod:`closeout.math` on gradients are those of
:mod:`closeout.arithmetic.gradient.functions`.

R. E. Moore, R. B. Kearfott, M. J. Cloud, Introduction to Interval Analysis (2009), chapters 6 and
9; L. B. Rall, Automatic Differentiation (1981), chapter 2.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf, nextafter
from typing import Any

from closeout import math
from closeout.arithmetic.interval import interval
from closeout.arithmetic.interval.interval import Interval
from closeout.arithmetic.interval.powers import slope_by_base, slope_by_exponent
from closeout.arithmetic.types import Slope
from closeout.arithmetic.undecided import OneNumber, Truth, Undecided, Undefined, noted

__all__ = [
    "UNBOUNDED", "Gradient", "GradientTruth", "Slope", "Slopes", "chained", "ends_of", "hulled",
    "made", "parts_of", "power", "scaled", "seed", "summed",
]  # fmt: skip

Slopes = dict[int, Slope]  # by side of the box; a side that is not there has no influence

UNBOUNDED: Slope = (-inf, inf)
_ONE: Slope = (1.0, 1.0)


class Gradient(OneNumber):
    """The range of a value over a box, and of its derivative with respect to each side.

    Treat as immutable. Arithmetic and comparisons are those of
    :class:`~closeout.arithmetic.interval.interval.Interval`.
    """

    __slots__ = ("slopes", "value")

    def __init__(self, value: Interval, slopes: Slopes) -> None:
        self.value = value
        self.slopes = slopes

    @property
    def sides(self) -> frozenset[int]:
        """The sides of the box that the value depends on, by number."""
        return frozenset(self.slopes)

    def _text(self) -> str:
        return str(self.value)

    def _full_text(self) -> str:
        return f"Gradient({self.value!r}, {self.slopes!r})"

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
        parts = parts_of(other)
        if parts is None:
            return NotImplemented
        value, slopes = parts
        return made(self.value + value, summed(self.slopes, slopes))

    __radd__ = __add__

    def __sub__(self, other: Any) -> Any:
        parts = parts_of(other)
        if parts is None:
            return NotImplemented
        value, slopes = parts
        return made(self.value - value, summed(self.slopes, _negative(slopes)))

    def __rsub__(self, other: Any) -> Any:
        return -self + other

    def __mul__(self, other: Any) -> Any:
        if other is self:
            return power(self, 2)
        parts = parts_of(other)
        if parts is None:
            return NotImplemented
        value, slopes = parts
        found = scaled(self.slopes, ends_of(value))
        if slopes:
            found = summed(found, scaled(slopes, ends_of(self.value)))
        return made(self.value * value, found)

    __rmul__ = __mul__

    def __truediv__(self, other: Any) -> Any:
        parts = parts_of(other)
        return NotImplemented if parts is None else _divided(self.value, self.slopes, *parts)

    def __rtruediv__(self, other: Any) -> Any:
        parts = parts_of(other)
        return NotImplemented if parts is None else _divided(*parts, self.value, self.slopes)

    def __pow__(self, other: Any) -> Any:
        if isinstance(other, int) or (isinstance(other, float) and other.is_integer()):
            return power(self, int(other))
        if isinstance(other, float) and other == 0.5:
            return math.sqrt(self)  # type: ignore[arg-type]
        parts = parts_of(other)
        if parts is None:
            return NotImplemented
        value, slopes = parts
        return _raised(self, value, slopes)

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


def _raised(base: Gradient, exponent: Any, by: Slopes) -> Gradient | Undefined:
    """Return a base to a power with any exponent, a range or a number."""
    value = base.value**exponent
    if not isinstance(value, Interval):
        return noted(value.reason, base.sides | frozenset(by))
    ends = (base.value.low, base.value.high, *ends_of(exponent))
    found = scaled(base.slopes, slope_by_base(*ends))
    return Gradient(value, summed(found, scaled(by, slope_by_exponent(*ends))) if by else found)


class GradientTruth(Truth):
    """A comparison that is open, of values whose sides of the box are known."""

    __slots__ = ()


def seed(value: Interval, side: int | None) -> Gradient:
    """Return the variable of a side of the box; of no side, a constant."""
    return Gradient(value, {} if side is None else {side: _ONE})


def parts_of(other: Any) -> tuple[Any, Slopes] | None:
    """Return value and slopes of an operand; None where it is no number."""
    if other.__class__ is Gradient:
        return other.value, other.slopes
    return (other, {}) if isinstance(other, (float, int, Interval)) else None


def made(value: Any, slopes: Slopes) -> Gradient | Undefined:
    if value.__class__ is Interval:
        return Gradient(value, slopes)
    return noted(value.reason, frozenset(slopes))


def _compared(x: Gradient, other: Any, comparison: str) -> Any:
    parts = parts_of(other)
    if parts is None:
        return NotImplemented
    answer = getattr(x.value, comparison)(parts[0])
    if isinstance(answer, Truth):
        return GradientTruth(answer.reason, x.sides | frozenset(parts[1]))
    return answer


# Arithmetic of slopes. They may be unbounded; zero times unbounded is zero, since every slope is a
# number, however large.


def ends_of(value: Any) -> Slope:
    return (value.low, value.high) if isinstance(value, Interval) else (value, value)


def _size(slope: Slope) -> float:
    return max(-slope[0], slope[1])


def _negative(slopes: Slopes) -> Slopes:
    return {i: (-b, -a) for i, (a, b) in slopes.items()}


def scaled(slopes: Slopes, by: Slope) -> Slopes:
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


def summed(x: Slopes, y: Slopes) -> Slopes:
    if not x or not y:
        return x or y
    found = dict(x)
    for i, (c, d) in y.items():
        if i in found:
            low, high = found[i][0] + c, found[i][1] + d
            c, d = nextafter(low, -inf) if low else 0.0, nextafter(high, inf) if high else 0.0
        found[i] = c, d
    return found


def hulled(x: Slopes, y: Slopes) -> Slopes:
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
    inverse = ends_of(1.0 / bottom)
    against = scaled(bottom_slopes, (-value.high, -value.low))
    return Gradient(value, scaled(summed(top_slopes, against), inverse))


def chained(x: Gradient, value: Any, slope: Callable[[], Any]) -> Any:
    """Return a function of x: its value, and the slopes of x times the slope of the function.

    ``slope`` gives the range of the derivative, an ``Undefined`` where it has no bounds; it is
    asked only where the value exists.
    """
    if not isinstance(value, Interval):
        return noted(value.reason, x.sides)
    found = slope()
    if isinstance(found, Undefined):
        return Gradient(value, dict.fromkeys(x.slopes, UNBOUNDED))
    return Gradient(
        value, scaled(x.slopes, ends_of(found) if isinstance(found, Interval) else found)
    )


def power(x: Gradient, n: int, /) -> Any:
    """Return x to the whole number n."""
    value = interval.power(x.value, n)
    return chained(x, value, lambda: n * interval.power(x.value, n - 1) if n else (0.0, 0.0))
