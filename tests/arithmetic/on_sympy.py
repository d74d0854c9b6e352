"""What SymPy makes of a recorded formula, to hold our own arithmetics against."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import mpmath
import sympy

from closeout.arithmetic.recorded.recorded import Value
from closeout.arithmetic.symbol.expressions import forms
from closeout.arithmetic.symbol.symbolic import Symbolic
from closeout.arithmetic.types import Key


def compiled(
    arguments: Sequence[Any], expressions: Sequence[Any], module: str = "math"
) -> Callable[..., list[Any]]:
    """Return a function of numbers that evaluates expressions by the standard library or mpmath."""
    own = {
        function.func.__name__: function.func._imp_
        for expression in expressions
        for function in expression.atoms(sympy.Function)
        if hasattr(function.func, "_imp_")
    }
    found: Callable[..., list[Any]] = sympy.lambdify(
        list(arguments), list(expressions), modules=[own, module], dummify=True
    )
    return found


def gradient(symbolic: Symbolic, key: Key) -> dict[str, float]:
    """Return the derivative of a quantity by each input: each stage by SymPy, then the chain rule.

    In doubles, as the standard library evaluates what SymPy differentiated.
    """
    stage = symbolic.stage(key)
    assert stage is not None
    if not isinstance(stage.node, Value):
        return dict.fromkeys(symbolic.inputs, 0.0)
    on = forms(symbolic, key)
    known = {one: node.value for node, one in on.symbols.items()}
    slopes: dict[Any, float] = {on.symbols[stage.node]: 1.0}
    for node, form in reversed(on.forms.items()):
        by = sorted(form.free_symbols, key=str)
        numbers = compiled(list(known), [form.diff(one) for one in by])(*known.values())
        for one, number in zip(by, numbers, strict=True):
            slope = slopes.get(on.symbols[node], 0.0)
            slopes[one] = slopes.get(one, 0.0) + slope * float(number)
    return {name: slopes.get(on.symbols[node], 0.0) for name, node in symbolic.inputs.items()}


def exact_gradient(symbolic: Symbolic, key: Key) -> dict[str, Any]:
    """Return the same from the whole formula, with 60 digits; of functions that mpmath has."""
    stage = symbolic.stage(key)
    assert stage is not None
    if not isinstance(stage.node, Value):
        return dict.fromkeys(symbolic.inputs, mpmath.mpf(0))
    on = forms(symbolic, key)
    whole = on.whole(stage.node)
    symbols = [on.symbols[node] for node in symbolic.inputs.values()]
    exact = {one: sympy.Rational(float(one)) for one in whole.atoms(sympy.Float)}
    by = [whole.xreplace(exact).diff(one) for one in symbols]
    with mpmath.workdps(60):
        at = [mpmath.mpf(symbolic.at[name]) for name in symbolic.inputs]
        return dict(zip(symbolic.inputs, compiled(symbols, by, "mpmath")(*at), strict=True))
