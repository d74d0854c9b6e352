"""Down from a point of a box to the bottom near it: a quasi-Newton descent with limits.

Broyden, Fletcher, Goldfarb and Shanno's update of the inverse of the second derivatives, on the
sides that are not stopped at an end of theirs; steps are folded back into the box and halved until
they go down enough (J. Nocedal, S. J. Wright, Numerical Optimization, 2006, chapters 3 and 6; D. P.
Bertsekas, SIAM Journal on Control and Optimization 20 (1982) 221). In plain floats: a library's
would make what is found depend on its version.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from math import inf, isfinite
from operator import mul

Function = Callable[[list[float]], float]
Matrix = list[list[float]]

# A step for differences, as a share of a side, and the first step of a descent.
DIFFERENCE = 1e-6
FIRST = 0.2
# Of what a straight line promises, so much a step has to bring; and how often one is cut.
ENOUGH = 1e-4
MOST_CUTS = 6
# Of a value, so little is no progress.
LEAST = 1e-13


class UsedUp(Exception):
    """No evaluation is left."""


def descend(function: Function, start: Iterable[float]) -> None:
    """Evaluate a function of shares of the sides of a box, from 0 to 1, on the way down.

    Args:
        function: is called with points of the box, and keeps what it gave; it ends the descent by
            raising :class:`UsedUp`. A value that is not finite is no way to go.
        start: where to begin.
    """
    point = list(start)
    try:
        _descend(function, point, function(point))
    except UsedUp:
        return


def _descend(function: Function, point: list[float], value: float) -> None:
    slopes = _slopes(function, point, value)
    inverse: Matrix | None = None
    while slopes is not None:
        free = _free(point, slopes)
        way = _way(inverse, slopes, free)
        if not any(way):
            return
        reached = _along(function, point, value, slopes, way)
        if reached is None:
            if inverse is None:
                return
            inverse = None  # begin anew, the steepest way
            continue
        there, less = reached
        after = _slopes(function, there, less)
        if after is None or value - less <= LEAST * abs(value):
            return
        moved = [b - a for a, b in zip(point, there, strict=True)]
        bent = [b - a for a, b in zip(slopes, after, strict=True)]
        inverse = _updated(inverse, moved, bent)
        point, value, slopes = there, less, after


def _slopes(function: Function, point: list[float], value: float) -> list[float] | None:
    """Return the slope along each side, by a difference into the box; None where one is none."""
    found = []
    for i, x in enumerate(point):
        step = DIFFERENCE if x <= 0.5 else -DIFFERENCE
        found.append((function([*point[:i], x + step, *point[i + 1 :]]) - value) / step)
    return found if all(map(isfinite, found)) else None


def _free(point: list[float], slopes: list[float]) -> list[bool]:
    """Return which sides are not stopped at an end of theirs by the slope."""
    return [
        not ((x <= 0.0 and slope > 0.0) or (x >= 1.0 and slope < 0.0))
        for x, slope in zip(point, slopes, strict=True)
    ]


def _way(inverse: Matrix | None, slopes: list[float], free: list[bool]) -> list[float]:
    """Return which way to go, along free sides only: Newton's, or the steepest."""
    projected = [slope if is_free else 0.0 for slope, is_free in zip(slopes, free, strict=True)]
    if inverse is not None:
        found = [
            -sum(map(mul, row, projected)) if is_free else 0.0
            for row, is_free in zip(inverse, free, strict=True)
        ]
        if sum(map(mul, found, projected)) < 0.0:
            return found
    most = max(map(abs, projected))
    return [-FIRST * slope / most for slope in projected] if most else projected


def _along(
    function: Function, point: list[float], value: float, slopes: list[float], way: list[float]
) -> tuple[list[float], float] | None:
    """Return a point along a way, folded into the box, that is lower enough; None for none."""
    step = 1.0
    for _ in range(MOST_CUTS):
        there = [min(max(x + step * d, 0.0), 1.0) for x, d in zip(point, way, strict=True)]
        promised = sum(s * (b - a) for s, a, b in zip(slopes, point, there, strict=True))
        if there == point or promised >= 0.0:
            return None
        found = function(there)
        if found <= value + ENOUGH * promised:
            return there, found
        # The bottom of the parabola through both values and the slope, within reason.
        bottom = -0.5 * promised / (found - value - promised) if found < inf else 0.0
        step *= min(max(bottom, 0.1), 0.5)
    return None


def _updated(inverse: Matrix | None, moved: list[float], bent: list[float]) -> Matrix | None:
    """Return the inverse of the second derivatives with what a step has shown of it."""
    curved, square = sum(map(mul, moved, bent)), sum(map(mul, bent, bent))
    if not 1e-12 * (square * sum(map(mul, moved, moved))) ** 0.5 < curved < inf or not square:
        return inverse
    size = range(len(moved))
    if inverse is None:
        scale = curved / square
        inverse = [[scale if i == j else 0.0 for j in size] for i in size]
    seen = [sum(map(mul, row, bent)) for row in inverse]
    more = (1.0 + sum(map(mul, bent, seen)) / curved) / curved
    return [
        [
            inverse[i][j]
            + more * moved[i] * moved[j]
            - (moved[i] * seen[j] + seen[i] * moved[j]) / curved
            for j in size
        ]
        for i in size
    ]
