"""Worst case by search: extreme values over a box (ECSS-Q-HB-30-01A, extreme value).

Corners first, then points spread inside the box, then a walk from the worst of them, and descents
by slopes from the three worst. A search proves nothing: it may miss an extreme, above all one that
is narrow against the box, or one of many nearly alike. What it returns is `searched`.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping
from itertools import product

from closeout import Absent
from closeout.arithmetic.proof.descent import UsedUp, descend
from closeout.arithmetic.types import Box, Evaluate, Key, Point, Values
from closeout.model.answer import Answer, Assurance, Extent

# Up to so many sides every corner is evaluated, 2**n of them; above, corners are searched.
ALL_CORNERS = 8
# Of these 2**n are evaluated at the least, to see where to climb from.
LEAST_DESIGN = 6
# How many times a found corner is improved by turning one side.
MOST_ROUNDS = 4
# Points spread inside the box, and evaluations of a walk from the worst point for one end.
SPREAD = 32
MOST_STEPS = 32
# Points that are looked at before that, at the least; those that are missing are drawn by lot.
LEAST_LOOKED_AT = 64
# Points from which the search descends to an end, how far apart in shares of the sides, and
# evaluations of one descent.
STARTS = 3
APART = 0.1
MOST_DESCENT = 200
# Evaluations of all descents of an analysis, where several ends are asked for.
MOST_DESCENTS = 1200
# Points along each side through the best bottom, from which it goes on where one is lower.
ACROSS = 8
_GOLDEN = 0.6180339887498949


class OtherCases(Exception):
    """An analysis gave other cases at a corner than at the nominal point."""


def answer(
    evaluate: Evaluate,
    inputs: Mapping[str, float],
    box: Box,
    nominal: Values | None = None,
    inside: Collection[Key] = (),
    ends: Collection[tuple[str, str]] | None = None,
) -> Answer:
    """Return the value of each quantity at the inputs and its extremes over the box.

    ``nominal`` are the values at the inputs where they are known, ``inside`` the quantities and
    cases to be searched inside the box as well, and ``ends`` the ends of quantities, low or high,
    to which slopes are followed there (None: all). Whatever ``evaluate`` raises goes through to the
    caller.
    """
    # A side without width that lies at the input moves nothing.
    sides = tuple(side for side in box if not side[1] == side[2] == inputs[side[0]])
    seen = _Seen(evaluate, inputs, sides, nominal)
    nominal = seen.at(None)
    if not box:
        extents = {key: _nominal(value) for key, value in nominal.items()}
        return Answer(extents, Assurance.NOMINAL, seen.count)
    if len(sides) <= ALL_CORNERS:
        for corner in product(*((low, high) for _, low, high in sides)):
            seen.at(corner or None)
    else:
        _search(seen, nominal)
    if sides and inside:
        found = [key for key in inside if not isinstance(nominal[key], Absent)]
        _look_inside(seen, found)
        _go_down_to(seen, found, ends)
    extents = {key: seen.extent(key) for key in nominal}
    return Answer(extents, Assurance.SEARCHED, seen.count)


class _Seen:
    """Every point that was evaluated, each once."""

    def __init__(
        self,
        evaluate: Evaluate,
        inputs: Mapping[str, float],
        sides: Box,
        nominal: Values | None,
    ) -> None:
        self.sides = sides
        self._evaluate = evaluate
        self._inputs = inputs
        self._values: dict[Point | None, Values] = {} if nominal is None else {None: nominal}

    @property
    def count(self) -> int:
        return len(self._values)

    def at(self, corner: Point | None) -> Values:
        """Return the values at a corner, or at the inputs for None."""
        if corner in self._values:
            return self._values[corner]
        point = dict(self._inputs)
        if corner is not None:
            point.update(self._names(corner))
        values = self._evaluate(point)
        nominal = self._values.get(None, values)
        if values.keys() != nominal.keys():
            differ = sorted(f"{q}[{c}]" for q, c in values.keys() ^ nominal.keys())
            raise OtherCases(
                f"the cases at a corner differ from those at the inputs: {', '.join(differ)}"
            )
        self._values[corner] = values
        return values

    def _names(self, corner: Point) -> dict[str, float]:
        return {name: end for (name, _, _), end in zip(self.sides, corner, strict=True)}

    def worst(self, key: Key, sign: float) -> tuple[float, Point]:
        """Return the highest value times the sign that was seen, and the point."""
        at_inputs = tuple(self._inputs[name] for name, _, _ in self.sides)
        best = max(self._values, key=lambda corner: _value(self._values[corner], key, sign))
        return _value(self._values[best], key, sign), best or at_inputs

    def worst_apart(self, key: Key, sign: float) -> list[Point]:
        """Return up to three points of the highest values times the sign, not near each other."""
        points = [point for point in self._values if point is not None]
        points.sort(key=lambda point: -_value(self._values[point], key, sign))
        found: list[Point] = []
        for point in points:
            shares = self.shares(point)
            if all(_apart(shares, self.shares(other)) for other in found):
                found.append(point)
                if len(found) == STARTS:
                    break
        return found

    def point(self, shares: Iterable[float]) -> Point:
        """Return the point at shares of the sides, from 0 at the low end to 1 at the high end."""
        pairs = zip(self.sides, shares, strict=False)
        return tuple(_between(low, high, share) for (_, low, high), share in pairs)

    def shares(self, point: Point) -> list[float]:
        """Return a point as shares of the sides."""
        pairs = zip(self.sides, point, strict=True)
        return [
            min(max((x - low) / (high - low), 0.0), 1.0) if high != low else 0.0
            for (_, low, high), x in pairs
        ]

    def extent(self, key: Key) -> Extent:
        """Return value, lowest and highest of a quantity over every point seen."""
        value = self._values[None][key]
        for corner, values in self._values.items():
            if isinstance(reason := values[key], Absent):
                where = tuple(self._names(corner).items()) if corner else ()
                known = None if isinstance(value, Absent) else value
                return Extent(known, low_at=where, high_at=where, absent=reason.reason)
        low = min(self._values, key=lambda corner: self._values[corner][key])
        high = max(self._values, key=lambda corner: self._values[corner][key])
        return Extent(
            value,
            self._values[low][key],
            self._values[high][key],
            tuple(self._names(low).items()) if low else (),
            tuple(self._names(high).items()) if high else (),
        )


def _search(seen: _Seen, nominal: Values) -> None:
    """Climb, for each end of each quantity, from corners that slopes and a design point to.

    Exact where a quantity rises or falls strictly with every side: then the slopes at the inputs
    show the corner. One that is flat at the inputs shows no slope there; the design finds it unless
    it is flat at nearly all corners. The number of points is bounded (``MOST_ROUNDS``).
    """
    sides = seen.sides
    middle = tuple(seen._inputs[name] for name, _, _ in sides)
    steps = [
        (seen.at(_turn(middle, i, low)), seen.at(_turn(middle, i, high)))
        for i, (_, low, high) in enumerate(sides)
    ]
    design = _design(len(sides))
    corners = [_corner(sides, signs) for signs in design]
    for corner in corners:
        seen.at(corner)
    for key, value in nominal.items():
        if isinstance(value, Absent):
            continue
        for sign in (1.0, -1.0):
            slopes = [_value(up, key, sign) > _value(down, key, sign) for down, up in steps]
            found = [_value(seen.at(corner), key, sign) for corner in corners]
            starts = (
                _corner(sides, slopes),
                _corner(sides, _effects(design, found)),
                corners[found.index(max(found))],
            )
            _climb(seen, key, sign, starts)


def _design(count: int) -> list[tuple[bool, ...]]:
    """Return corners that show the effect of each side apart from that of any other two.

    A fractional factorial design at two levels of resolution IV: each side follows the parity of
    an odd number of bits of a running number (NIST/SEMATECH e-Handbook of Statistical Methods,
    5.3.3.4, "Fractional factorial designs").
    """
    bits = LEAST_DESIGN
    while 2 ** (bits - 1) < count:
        bits += 1
    odd = [mask for mask in range(2**bits) if mask.bit_count() % 2]
    masks = sorted(odd, key=int.bit_count)[:count]
    return [
        tuple((number & mask).bit_count() % 2 == 1 for mask in masks) for number in range(2**bits)
    ]


def _effects(design: list[tuple[bool, ...]], found: list[float]) -> list[bool]:
    """Return, by side, whether the values are higher at its high end, taken over the design."""
    values = [value if math.isfinite(value) else 0.0 for value in found]
    return [
        sum(value if signs[i] else -value for signs, value in zip(design, values, strict=True)) > 0
        for i in range(len(design[0]))
    ]


def _corner(sides: Box, signs: Iterable[bool]) -> Point:
    pairs = zip(sides, signs, strict=True)
    return tuple(high if is_high else low for (_, low, high), is_high in pairs)


def _climb(seen: _Seen, key: Key, sign: float, starts: Iterable[Point]) -> None:
    """Turn one side after the other of the best start, as long as that improves it."""
    best, corner = max((_value(seen.at(start), key, sign), start) for start in starts)
    for _ in range(MOST_ROUNDS):
        improved = False
        for i, (_, low, high) in enumerate(seen.sides):
            turned = _turn(corner, i, low if corner[i] == high else high)
            value = _value(seen.at(turned), key, sign)
            if value > best:
                best, corner, improved = value, turned, True
        if not improved:
            return


def _look_inside(seen: _Seen, keys: list[Key]) -> None:
    """Evaluate points spread over the box, then go from the worst points to each end."""
    for k in range(1, SPREAD + 1):
        # Multiples of the golden ratio fill a line evenly; each side has steps of its own.
        shares = ((0.5 + k * (i + 1) * _GOLDEN) % 1.0 for i in range(len(seen.sides)))
        seen.at(seen.point(shares))
    from random import Random  # few boxes need it, and it is dear to load

    random = Random(0)  # its numbers are the same in every version of Python
    while seen.count < LEAST_LOOKED_AT:
        seen.at(seen.point(random.random() for _ in seen.sides))
    for key in keys:
        for sign in (1.0, -1.0):
            _walk(seen, key, sign)


def _go_down_to(seen: _Seen, keys: Iterable[Key], ends: Collection[tuple[str, str]] | None) -> None:
    """Descend to the ends that are asked for, with a share of the evaluations for each."""
    asked = [
        (key, sign)
        for key in keys
        for sign, end in ((-1.0, "low"), (1.0, "high"))
        if ends is None or (key[0], end) in ends
    ]
    last = seen.count + MOST_DESCENTS
    for number, (key, sign) in enumerate(asked):
        share = (last - seen.count) // (STARTS * (len(asked) - number))
        _go_down(seen, key, sign, min(MOST_DESCENT, share))


def _go_down(seen: _Seen, key: Key, sign: float, most: int) -> None:
    """Descend to an end from the worst points; with what is left, from across the best bottom.

    Each descent has at ``most`` so many evaluations.

    Across goes no further than along sides that are not at an end of theirs, and only where there
    was a slope to go down.
    """
    starts = seen.worst_apart(key, sign)
    lefts = [_descend(seen, key, sign, start, most) for start in starts]
    left = sum(lefts)
    if not lefts or most - min(lefts) <= len(seen.sides) + 1:
        return
    while True:
        best, point = seen.worst(key, sign)
        inside = [i for i, (_, low, high) in enumerate(seen.sides) if low < point[i] < high]
        left -= ACROSS * len(inside)
        if left < 0 or not inside:
            return
        for i in inside:
            _, low, high = seen.sides[i]
            row = [_turn(point, i, _between(low, high, k / ACROSS)) for k in range(ACROSS)]
            point = max((point, *row), key=lambda one: _value(seen.at(one), key, sign))
        if _value(seen.at(point), key, sign) <= best:
            return
        left = _descend(seen, key, sign, point, left)


def _descend(seen: _Seen, key: Key, sign: float, start: Point, most: int) -> int:
    """Go from a point to the end near it, by slopes; return how many evaluations are left."""
    left = most

    def below(shares: list[float]) -> float:
        nonlocal left
        if not left:
            raise UsedUp
        left -= 1
        return -_value(seen.at(seen.point(shares)), key, sign)

    descend(below, seen.shares(start))
    return left


def _walk(seen: _Seen, key: Key, sign: float) -> None:
    """Move one side at a time, by ever smaller steps, as long as that improves an end."""
    best, point = seen.worst(key, sign)
    step, last = 0.25, seen.count + MOST_STEPS
    while step > 0.02:
        improved = False
        for i, (_, low, high) in enumerate(seen.sides):
            for move in (-step * (high - low), step * (high - low)):
                if seen.count >= last:
                    return
                moved = _turn(point, i, min(max(point[i] + move, low), high))
                value = _value(seen.at(moved), key, sign)
                if value > best:
                    best, point, improved = value, moved, True
        step = step if improved else step / 2


def _apart(one: list[float], other: list[float]) -> bool:
    return max(abs(a - b) for a, b in zip(one, other, strict=True)) > APART


def _between(low: float, high: float, share: float) -> float:
    return min(max(low + share * (high - low), low), high)


def _turn(corner: Point, i: int, end: float) -> Point:
    return (*corner[:i], end, *corner[i + 1 :])


def _value(values: Values, key: Key, sign: float) -> float:
    # An absent case neither improves nor keeps a corner.
    value = values[key]
    return -math.inf if isinstance(value, Absent) else sign * value


def _nominal(value: float) -> Extent:
    return Extent(None, absent=value.reason) if isinstance(value, Absent) else Extent(value)
