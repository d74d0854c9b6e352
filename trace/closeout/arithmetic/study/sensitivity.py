"""What drives a quantity: its slope by each parameter, and what each adds to its spread.

First order, at the nominal point. Exact derivatives where the analysis has a symbolic form,
differences elsewhere. Pure: no process, no file.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from closeout import Absent
from closeout.arithmetic.recorded.recorded import Value
from closeout.arithmetic.symbol.symbolic import Symbolic
from closeout.arithmetic.types import Box, Evaluate, Key

# Step of a difference, as a share of the half-width. Rounding of a march (some 1e-12 of the value)
# and what the curvature adds (its square) are both far below what anyone reads off a slope.
STEP = 1e-3


class Sensitivity(NamedTuple):
    """What one parameter does to a quantity; everything in the units of the analysis.

    ``derivative`` is the slope at the inputs, and ``effect_low`` and ``effect_high`` are what it
    makes of the two ends of the tolerance (derivative times end less input). ``spread`` is
    derivative times half the width of the tolerance, without sign. ``share`` is its part of the
    sum of the squares of the spreads, in percent: the part of the variance, to first order, of
    parameters that are independent and distributed alike. ``exact`` says that the derivative is
    that of the formula. All are None where the quantity has no value beside the inputs.
    """

    parameter: str
    derivative: float | None
    effect_low: float | None
    effect_high: float | None
    spread: float | None
    share: float | None
    exact: bool


def sensitivities(
    evaluate: Evaluate,
    inputs: Mapping[str, float],
    box: Box,
    key: Key,
    symbolic: Symbolic | None = None,
) -> tuple[Sensitivity, ...]:
    """Return what each side of the box does to a quantity, the greatest spread first.

    At a kink (of minimum, maximum, where, a table) the slope is that of one of its sides.

    Args:
        evaluate: the analysis on numbers.
        inputs: the nominal point, by argument.
        box: low and high end of each parameter that has a spread.
        key: the quantity and case.
        symbolic: the symbolic form at the same inputs, or None.
    """
    exact = None if symbolic is None else gradient(symbolic, key)
    found = []
    for name, low, high in box:
        if low == high:
            continue
        slope = _difference(evaluate, inputs, (name, low, high), key) if exact is None else (
            exact[name]
        )  # fmt: skip
        found.append((name, slope, low - inputs[name], high - inputs[name]))
    total = sum((d * (up - down) / 2.0) ** 2 for _, d, down, up in found if d is not None)
    all_ = [_sensitivity(*one, total, exact is not None) for one in found]
    return tuple(sorted(all_, key=_order))


def _order(one: Sensitivity) -> tuple[float, str]:
    return (float("inf") if one.spread is None else -one.spread, one.parameter)


def _sensitivity(
    name: str, slope: float | None, down: float, up: float, total: float, exact: bool
) -> Sensitivity:
    if slope is None:
        return Sensitivity(name, None, None, None, None, None, exact)
    spread = abs(slope) * (up - down) / 2.0
    share = 100.0 * spread * spread / total if total > 0.0 else 0.0
    return Sensitivity(name, slope, slope * down, slope * up, spread, share, exact)


def gradient(symbolic: Symbolic, key: Key) -> dict[str, float] | None:
    """Return the exact derivative of a quantity by each input, at the inputs; None without a form.

    None also where a derivative has no value at this point.
    """
    from closeout.arithmetic.recorded.slopes import derivatives

    stage = symbolic.stage(key)
    if stage is None:
        return None
    slopes = derivatives(stage.node) if isinstance(stage.node, Value) else {}
    if slopes is None:
        return None
    return {name: slopes.get(node, 0.0) for name, node in symbolic.inputs.items()}


def _difference(
    evaluate: Evaluate, inputs: Mapping[str, float], side: tuple[str, float, float], key: Key
) -> float | None:
    """Return the slope by a difference inside the box: central, or from one side at its end."""
    name, low, high = side
    at = inputs[name]
    step = STEP * (high - low) / 2.0

    def value(x: float) -> float | None:
        found = evaluate({**inputs, name: x}).get(key)
        return None if found is None or isinstance(found, Absent) else found

    below, above = at - step >= low, at + step <= high
    if below and above:
        a, b = at - step, at + step
        first, second = value(a), value(b)
        return None if first is None or second is None else (second - first) / (b - a)
    step = step if above else -step
    here, near, far = value(at), value(at + step), value(at + 2.0 * step)
    if here is None or near is None or far is None:
        return None
    return (4.0 * near - 3.0 * here - far) / (2.0 * step)
