"""Before ranges are trusted: they have to agree with numbers at points of the box."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from closeout.arithmetic.gradient.gradient import Gradient
from closeout.arithmetic.interval.interval import Interval
from closeout.arithmetic.proof.field import COMPARED, Field, Open, Unprovable, shown
from closeout.arithmetic.proof.sides import Region
from closeout.arithmetic.types import Key, Point
from closeout.arithmetic.undecided import Undefined

_GOLDEN = 0.6180339887498949


def agree(field: Field) -> None:
    """Note of each quantity whether ranges agree with numbers, and whether all is defined.

    Raises:
        Unprovable: ranges cannot be evaluated even at a point.
    """
    field.numbers(field.nominal)
    root = field.slopes(field.whole)  # first, since what takes no ranges mostly fails here, early
    points = _probes(field.whole)
    _agreement(field, [field.nominal, *points])
    if not isinstance(root, Open):
        _check_slopes(field, root, points)
        field.defined = True


def _probes(whole: Region) -> list[Point]:
    """Return eight points of the box: two opposite corners, and six spread inside."""
    found = [tuple(low for low, _ in whole), tuple(high for _, high in whole)]
    for k in range(1, COMPARED - 1):
        # Multiples of the golden ratio fill a line evenly; each side has steps of its own.
        shares = ((0.5 + k * (i + 1) * _GOLDEN) % 1.0 for i in range(len(whole)))
        found.append(
            tuple(
                min(max(low + share * (high - low), low), high)
                for share, (low, high) in zip(shares, whole, strict=True)
            )
        )
    return found


def _agreement(field: Field, points: Iterable[Point]) -> None:
    """Compare ranges with numbers.

    Raises:
        Unprovable: ranges cannot be evaluated even at a point.
    """
    for point in points:
        numbers, ranges = field.numbers(point), field.ranges(point)
        if isinstance(ranges, Open):
            raise Unprovable(f"{ranges.reason}, at {shown(field.at(point))}")
        for key in field.alive:
            ranged, number = ranges[key], numbers[key]
            if isinstance(ranged, Undefined):
                field.failed[key] = f"{ranged.reason}, at {shown(field.at(point))}"
            elif not ranged.low <= number <= ranged.high:
                field.failed[key] = (
                    f"ranges do not agree with numbers: {ranged} on ranges, {number!r} on numbers, "
                    f"at {shown(field.at(point))}"
                )


def _check_slopes(field: Field, root: Mapping[Key, Any], points: list[Point]) -> None:
    """Compare the slopes with the differences of numbers, by the mean value theorem."""
    base, *rest = points
    for key in field.alive:
        if not isinstance(root[key], Gradient):
            continue
        for point in rest:
            there = _by_slopes(root[key], base, point, field.numbers(base)[key])
            here = _range_at(field, point, key)
            if here is not None and not (there[0] <= here.high and here.low <= there[1]):
                field.failed[key] = (
                    f"slopes do not agree with numbers: from {there[0]!r} to {there[1]!r} by "
                    f"slopes, {here} itself, at {shown(field.at(point))}"
                )
                break


def _range_at(field: Field, point: Point, key: Key) -> Interval | None:
    found = field.ranges(point)
    value = None if isinstance(found, Open) else found[key]
    return value if isinstance(value, Interval) else None


def _by_slopes(value: Gradient, base: Point, point: Point, number: float) -> tuple[float, float]:
    """Return where the value at a point must lie, from the number at another and the slopes."""
    low = high = spare = number
    for i, (down, up) in value.slopes.items():
        step = point[i] - base[i]
        ends = (down * step, up * step) if step else (0.0, 0.0)
        low, high = low + min(ends), high + max(ends)
        spare = max(abs(spare), abs(low), abs(high), abs(value.value.low), abs(value.value.high))
    # A check, and no part of the proof: what rounding may do is taken amply.
    return low - 1e-9 * abs(spare), high + 1e-9 * abs(spare)
