"""Root sum square as an answer: ends of each quantity, and how far the straight lines are off."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from closeout import Absent
from closeout.arithmetic.conditions import points_of
from closeout.arithmetic.rss import RootSumSquare, rss
from closeout.arithmetic.search import Box, Key
from closeout.model.answer import Answer, Assurance, Extent

Point = tuple[tuple[str, float], ...]


def answer(
    evaluate: Callable[[Mapping[str, Any]], Mapping[Key, Any]],
    inputs: Mapping[str, float],
    box: Box,
    detail: Mapping[str, Any],
) -> Answer:
    """Return the value of each quantity at the inputs and its ends by root sum square.

    A condition that is given as a pair (named in ``sides`` of the detail) is no chance: the ends
    are taken at points of it, its own ends among them, and the worst of them count.

    Args:
        detail: ``groups`` of parameters that move together, by parameter: two of one group are
            refused, since root sum square holds for independent ones; and ``sides``.
    """
    count = 0

    def counted(point: Mapping[str, Any]) -> Mapping[Key, Any]:
        nonlocal count
        count += 1
        return evaluate(point)

    nominal = counted(inputs)
    drawn = tuple(side for side in box if side[0] not in detail["sides"])
    sides = tuple(side for side in box if side[0] in detail["sides"])
    found: dict[Key, list[tuple[Point, RootSumSquare]]] = {}
    for at in points_of(sides):
        for key, one in rss(counted, {**inputs, **at}, drawn, detail["groups"]).items():
            found.setdefault(key, []).append((tuple(at.items()), one))
    extents = {key: _extent(nominal[key], some) for key, some in found.items()}
    return Answer(extents, Assurance.SEARCHED, count)


def _extent(value: float, found: list[tuple[Point, RootSumSquare]]) -> Extent:
    """Return the worst of what was found at points of the conditions, and at which of them."""
    known = None if isinstance(value, Absent) else value
    lows = [(one.low, at) for at, one in found if one.low]
    highs = [(one.high, at) for at, one in found if one.high]
    reason = next((one.absent for _, one in found if one.absent is not None), None)
    if known is None or reason is not None or not lows or not highs:
        return Extent(known, absent=reason or "no value at the inputs")
    low, low_at = min(lows, key=lambda end: end[0].bound)
    high, high_at = max(highs, key=lambda end: end[0].bound)
    error = max(abs(end.error) for end in (low, high))
    return Extent(
        known,
        min(low.bound, known),
        max(high.bound, known),
        low_at,
        high_at,
        unproved=f"straight lines are off by up to {error:.2g}",
        off=error,
    )
