"""What is known of a part of the box, for one end of one quantity (see :mod:`.bound`)."""

from __future__ import annotations

from collections.abc import Mapping
from math import inf, nextafter
from typing import Any, NamedTuple

from closeout.arithmetic.gradient.gradient import Gradient
from closeout.arithmetic.interval.interval import Interval
from closeout.arithmetic.proof.field import Field, Open
from closeout.arithmetic.proof.sides import Region
from closeout.arithmetic.types import Key, Point
from closeout.arithmetic.undecided import NO_SIDES, Undefined


class Examined(NamedTuple):
    """What is known of a part of the box.

    ``reach`` is the bound of real values, ``over`` that of numbers by the range over all of it,
    ``region`` its face with the extreme, ``side`` which side to halve next, and ``point`` a point
    of it at which numbers and ranges are known.
    """

    reach: float
    over: float
    region: Region
    side: int | None
    point: Point


class Parts:
    """Examines parts of the box for the upper end of a quantity times a sign.

    What is proved of faces and centred forms speaks of real values; the range over a whole part
    holds its numbers as it is: a sum of squares is never below zero. ``sides`` are those along
    which parts are cut, and ``reason`` is why a part could not be evaluated, where that is so.
    """

    def __init__(self, field: Field, key: Key, sign: float) -> None:
        self.field = field
        self.key = key
        self.sign = sign
        self.sides = field.sides
        self.reason: str | None = None

    def noise(self, point: Point) -> float:
        """Return how wide the range at a point of the sides is."""
        return _width(self._at(point))

    def noise_seen(self) -> float:
        """Return how wide the range is where the highest number was seen."""
        point = self.field.seen(self.key, self.sign)[1]
        return _width(self._value(self.field.ranges(point, self.key)))

    def examined(self, region: Region) -> Examined:
        """Return what is known of a region; its face with the extreme stands for it."""
        over = inf
        whole = region
        while any(low < high for low, high in region):
            found = self.field.slopes(region, self.key, self.sides)
            value = found if isinstance(found, Open) else found[self.key]
            if isinstance(value, (Open, Undefined)):
                self.reason = value.reason
                return Examined(inf, over, region, self._widest(region, value.sides), ())
            if isinstance(value, Interval):
                value = Gradient(value, {})
            if region is whole:
                over = self._over(value.value)
            face = self._face(region, value)
            if face == region:
                return self._centred(region, value, over)
            region = face
        point = tuple(low for low, _ in region)
        self.field.numbers(self.sides.inputs(point))
        at = self._at(point)
        if region is whole and not isinstance(at, Undefined):
            over = self._over(at)
        return Examined(self._upper(at), over, region, None, point)

    def _over(self, value: Interval) -> float:
        """Return the bound of all numbers of a region by the range over all of it.

        A path on which inputs move together holds the extremes, and not all numbers.
        """
        return self._upper(value) if self.sides is self.field.sides else inf

    def _at(self, point: Point) -> Any:
        return self._value(self.field.ranges(point, self.key, self.sides))

    def _value(self, found: Mapping[Key, Any] | Open) -> Any:
        value = Undefined(found.reason) if isinstance(found, Open) else found[self.key]
        if isinstance(value, Undefined):
            self.reason = value.reason
        return value

    def _upper(self, value: Any) -> float:
        if isinstance(value, Undefined):
            return inf
        upper: float = value.high if self.sign > 0.0 else -value.low
        return upper

    def _face(self, region: Region, value: Gradient) -> Region:
        """Fix the sides along which the quantity runs one way, or does not depend."""
        fixed = []
        for i, (low, high) in enumerate(region):
            down, up = value.slopes.get(i, (0.0, 0.0))
            if self.sign < 0.0:
                down, up = -up, -down
            if low < high and down == up == 0.0:
                low = high = min(max(self.sides.at_inputs[i], low), high)
            elif low < high and (down >= 0.0 or up <= 0.0):
                low = high = high if down >= 0.0 else low
            fixed.append((low, high))
        return tuple(fixed)

    def _centred(self, region: Region, value: Gradient, over: float) -> Examined:
        """Return the bound by natural extension or centred form, whichever is smaller."""
        centre = tuple(low + 0.5 * (high - low) for low, high in region)
        self.field.numbers(self.sides.inputs(centre))
        reach = self._upper(self._at(centre))
        smears: dict[int, float] = {}
        for i, (low, high) in enumerate(region):
            if low < high:
                down, up = value.slopes[i]
                away = nextafter(max(high - centre[i], centre[i] - low), inf)
                smears[i] = max(-down, up) * away
                reach = nextafter(reach + nextafter(smears[i], inf), inf)
        bound = min(self._upper(value.value), reach)
        if inf in smears.values():
            jumping = frozenset(i for i, smear in smears.items() if smear == inf)
            return Examined(bound, over, region, self._widest(region, jumping), centre)
        order = sorted(smears, key=lambda i: -smears[i])
        side = next((i for i in order if _divisible(*region[i])), None)
        return Examined(bound, over, region, side, centre)

    def _widest(self, region: Region, sides: frozenset[int] = NO_SIDES) -> int | None:
        """Return which side is the widest in shares of the box, of those given or of all."""
        shares = {
            i: (high - low) / (self.sides.whole[i][1] - self.sides.whole[i][0])
            for i, (low, high) in enumerate(region)
            if _divisible(low, high) and (not sides or i in sides)
        }
        return max(shares, key=lambda i: shares[i]) if shares else None


def _width(value: Any) -> float:
    return inf if isinstance(value, Undefined) else value.high - value.low


def _divisible(low: float, high: float) -> bool:
    return low < low + 0.5 * (high - low) < high
