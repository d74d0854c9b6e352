"""The sides of a box along which a proof searches: one input each, or several that move together.

A side of several inputs is a path through their part of the box, in a coordinate from -1 to 1: at
-1 and at 1 each input is at an end of its own, at 0 each is at its nominal value (moved into the
box, where it is outside), and between it moves in straight lines.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import inf, nextafter
from typing import NamedTuple

import closeout.arithmetic.gradient.functions  # noqa: F401  enters what ranges may be given to
from closeout.arithmetic.gradient.gradient import Gradient, seed
from closeout.arithmetic.interval import interval
from closeout.arithmetic.interval.interval import Interval
from closeout.arithmetic.types import Point, Slope

Region = tuple[tuple[float, float], ...]  # low and high of each side

# Eight roundings of a double, as a share of the largest number that they meet; a point of a path
# takes less than half of that, also where it crosses zero.
_ROUNDING = 2.0**-50


class Member(NamedTuple):
    """An input that moves along a path: its values at -1, at 0 and at 1, in rising or falling."""

    name: str
    first: float
    middle: float
    last: float

    def at(self, x: float) -> float:
        """Return the nearest number at a coordinate, never outside of the ends."""
        if x in (-1.0, 0.0, 1.0):
            return (self.first, self.middle, self.last)[int(x) + 1]
        end = self.first if x < 0.0 else self.last
        value = self.middle + abs(x) * (end - self.middle)
        low, high = sorted((self.first, self.last))
        return min(max(value, low), high)

    def over(self, low: float, high: float) -> Interval:
        """Return a range that holds the real path between two coordinates."""
        ends = sorted((self._around(low), self._around(high)), key=lambda end: end.low)
        return Interval(ends[0].low, max(end.high for end in ends))

    def _around(self, x: float) -> Interval:
        value = self.at(x)
        if x in (-1.0, 0.0, 1.0):
            return interval.point(value)
        spare = _ROUNDING * max(abs(self.first), abs(self.middle), abs(self.last))
        low, high = sorted((self.first, self.last))
        return Interval(max(value - spare, low), min(value + spare, high))

    def slope(self, low: float, high: float) -> Slope:
        """Return the range of its derivative by the coordinate between two of them."""
        steps = [self.middle - self.first] if low < 0.0 else []
        steps += [self.last - self.middle] if high > 0.0 else []
        least, most = min(steps), max(steps)
        # Zero stays zero: a sign that is certain must stay so.
        return (
            nextafter(least, -inf) if least else 0.0,
            nextafter(most, inf) if most else 0.0,
        )


class Sides:
    """What a region and a point of a search mean for the inputs.

    ``whole`` is the region of all, ``at_inputs`` the point of the nominal values.
    """

    def __init__(
        self,
        names: Iterable[str],
        box: Region,
        nominal: Point,
        bundles: Iterable[Mapping[str, bool]] = (),
    ) -> None:
        """Take the inputs that vary, their ends and nominal values, and which move together.

        Each bundle says of its inputs whether they rise along the path.
        """
        self._names = tuple(names)
        ends = dict(zip(self._names, box, strict=True))
        middles = dict(zip(self._names, nominal, strict=True))
        together = [
            [_member(name, *ends[name], middles[name], rises) for name, rises in bundle.items()]
            for bundle in bundles
        ]
        bundled = {member.name for members in together for member in members}
        self._alone = [name for name in self._names if name not in bundled]
        self._together = together
        paths = [_ends(members) for members in together]
        self.whole: Region = (*(ends[name] for name in self._alone), *paths)
        self.at_inputs: Point = (*(middles[name] for name in self._alone), *(0.0 for _ in paths))

    def inputs(self, point: Point) -> Point:
        """Return the inputs at a point, in the order in which they were given."""
        values = dict(zip(self._alone, point, strict=False))
        for members, x in zip(self._together, point[len(self._alone) :], strict=True):
            values |= {member.name: member.at(x) for member in members}
        return tuple(values[name] for name in self._names)

    def ranges(self, point: Point) -> dict[str, Interval]:
        """Return ranges that hold the inputs at a point, by name."""
        found = {name: interval.point(x) for name, x in zip(self._alone, point, strict=False)}
        for members, x in zip(self._together, point[len(self._alone) :], strict=True):
            found |= {member.name: member.over(x, x) for member in members}
        return found

    def gradients(self, region: Region) -> dict[str, Gradient]:
        """Return the inputs over a region with their slopes along its sides, by name."""
        found: dict[str, Gradient] = {}
        for i, (low, high) in enumerate(region):
            members = () if i < len(self._alone) else self._together[i - len(self._alone)]
            if not members:
                found[self._alone[i]] = seed(Interval(low, high), i if low < high else None)
            for member in members:
                slopes: dict[int, Slope] = {i: member.slope(low, high)} if low < high else {}
                found[member.name] = Gradient(member.over(low, high), slopes)
        return found


def _member(name: str, low: float, high: float, middle: float, rises: bool) -> Member:
    middle = min(max(middle, low), high)
    return Member(name, low, middle, high) if rises else Member(name, high, middle, low)


def _ends(members: Iterable[Member]) -> tuple[float, float]:
    """Return the ends of a path, without a half along which nothing moves."""
    moves = [(one.first != one.middle, one.last != one.middle) for one in members]
    return (-1.0 if any(m for m, _ in moves) else 0.0), (1.0 if any(m for _, m in moves) else 0.0)
