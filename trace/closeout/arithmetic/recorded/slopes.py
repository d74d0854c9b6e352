"""The derivative of a recorded formula at its inputs: one slope an operation, then the chain rule.

The slope of an operation is that of :mod:`.gradient.gradient` on ranges of no width, of
which the middle is taken; so there is one table of derivatives. The chain rule goes from the
quantity back to the inputs, in plain numbers, whatever their count. Where an operation has a kink
or a jump, the slope is that of one of its sides, named at :func:`_kinked`. Pure: no process, no
file.

A. Griewank, A. Walther, Evaluating Derivatives (2nd ed., 2008), chapter 3: the reverse mode.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from math import inf, isfinite
from typing import Any

from closeout.arithmetic.gradient import functions as gradient_functions  # noqa: F401  enters them into closeout.math
from closeout.arithmetic.gradient.gradient import Gradient, seed
from closeout.arithmetic.interval.interval import point
from closeout.arithmetic.recorded.recorded import COMPUTE, Condition, Node, Value
from closeout.arithmetic.symbol.symbolic import nodes_below

# Wider than this, relative to itself, it is no slope at a point but that of both sides of a kink.
_NARROW = 1e-9


def derivatives(value: Value) -> dict[Node, float] | None:
    """Return the derivative of a recorded value by each node that it rests on, at the inputs.

    None where some operation on the way has no slope there.
    """
    found: dict[Node, float] = {value: 1.0}
    for node in reversed(nodes_below([value])):
        slope = found.get(node, 0.0)
        # What has no influence may have no slope: a branch that is not taken.
        if slope == 0.0 or node.operation == "input" or isinstance(node, Condition):
            continue
        for operand, by in zip(node.operands, _slopes(node), strict=True):
            if isinstance(operand, Value):
                found[operand] = found.get(operand, 0.0) + slope * by
    return found if all(map(isfinite, found.values())) else None


def _slopes(node: Node) -> Sequence[float]:
    """Return the slope of an operation by each operand; infinite where it has none."""
    values = [one.value if isinstance(one, Node) else one for one in node.operands]
    kinked = _kinked(node.operation, values)
    if kinked is not None:
        return kinked
    seeded = [
        seed(point(number), i) if isinstance(one, Node) else one
        for i, (one, number) in enumerate(zip(node.operands, values, strict=True))
    ]
    found = COMPUTE[node.operation](*seeded)
    if not isinstance(found, Gradient):
        return [inf] * len(values)
    return [_middle(*found.slopes.get(i, (0.0, 0.0))) for i in range(len(values))]


def _middle(low: float, high: float) -> float:
    middle = low + (high - low) / 2.0
    return middle if high - low <= _NARROW * abs(middle) or low == high else inf


def _kinked(operation: str, values: Sequence[Any]) -> Sequence[float] | None:
    """Return the slopes of what has kinks, None of anything else.

    At a tie the first of the smallest or largest counts, at zero the size rises, at a point of a
    table the line to the right counts.
    """
    match operation:
        case "minimum" | "maximum":
            chosen = values.index((min if operation == "minimum" else max)(values))
            return [float(i == chosen) for i in range(len(values))]
        case "where":
            return [0.0, 1.0, 0.0] if values[0] else [0.0, 0.0, 1.0]
        case "absolute":
            return [1.0 if values[0] >= 0.0 else -1.0]
        case "table":
            return [slope_of_table(*values), 0.0]
        case "hypot" if not any(values):
            return [inf, inf]  # the point of a cone
    return None


def slope_of_table(x: float, points: Sequence[tuple[float, float]]) -> float:
    """Return the slope of straight lines between points: at a point to the right, at the last left.

    Args:
        x: not outside of the points.
        points: pairs (x, y) in rising x.
    """
    after = bisect_right(points, x, key=lambda one: one[0])
    right = max(min(after, len(points) - 1), 1)
    (x0, y0), (x1, y1) = points[right - 1], points[right]
    return (y1 - y0) / (x1 - x0)
