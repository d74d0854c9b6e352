"""The derivative of a quantity by an input as a formula, by SymPy, for whoever wants to read it.

Each stage is differentiated by what stands in it, and the chain rule puts the stages together, so
that a formula stays as short as its author wrote it. Of a minimum, a maximum, a case distinction
and a table stands the branch that holds at the inputs. The number is not taken from here
(:mod:`closeout.arithmetic.recorded.slopes`), but has to agree with it.

SymPy is imported here, so import this module where it is needed, never at the top of another one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import sympy  # type: ignore[import-untyped]

from closeout.arithmetic.recorded.recorded import Node, Value
from closeout.arithmetic.study.derivation import written
from closeout.arithmetic.symbol import symbol
from closeout.arithmetic.symbol.expressions import forms
from closeout.arithmetic.symbol.restated import NotRestated, Restated, restated
from closeout.arithmetic.symbol.symbolic import Stage, Symbolic
from closeout.arithmetic.symbol.typeset import Writer
from closeout.arithmetic.types import Key
from closeout.model.study import Differentiated

# A formula of more operations is no longer read.
MOST_WRITTEN = 60
# How far formula and number may differ, relative to the larger of them.
AGREEMENT = 1e-9


def differentiated(
    form: Symbolic, key: Key, slopes: Mapping[str, float]
) -> tuple[Differentiated, ...]:
    """Return the derivatives of a quantity by some inputs, in the order of ``slopes``.

    Args:
        form: the symbolic form.
        key: the quantity and case; it has a form.
        slopes: the derivative by each wanted input, as a number.
    """
    stage = form.stage(key)
    assert stage is not None
    assert isinstance(stage.node, Value)
    on = forms(form, key)
    nodes = {one: node for node, one in on.symbols.items()}
    tables = {node.operands[1]: name for node, name in form.tables.items()}
    found = []
    for name, slope in slopes.items():
        by = on.symbols[form.inputs[name]]
        whole = _chained(list(on.forms.items()), on.symbols, by, nodes)
        try:
            one = restated(whole[on.symbols[stage.node]], nodes, tables)
        except (NotRestated, KeyError):
            found.append(Differentiated(name, reason="SymPy gives none that can be written here"))
            continue
        found.append(_shown(form, stage, name, one, slope))
    return tuple(found)


def _chained(
    stages: Sequence[tuple[Node, Any]],
    symbols: Mapping[Node, Any],
    by: Any,
    nodes: Mapping[Any, Node],
) -> dict[Any, Any]:
    """Return the derivative of each stage that rests on an input, by its symbol."""
    slopes: dict[Any, Any] = {by: sympy.Integer(1)}
    for node, form in stages:
        parts = [
            _in_force(form.diff(one), nodes) * slopes[one]
            for one in sorted(form.free_symbols & slopes.keys(), key=str)
        ]
        if parts:
            slopes[symbols[node]] = sympy.Add(*parts)
    return slopes


def _in_force(expression: Any, nodes: Mapping[Any, Node]) -> Any:
    """Return an expression with the branches that hold at the inputs."""

    def number(one: Any) -> Any:
        return restated(one, nodes).value

    def chosen(one: Any) -> Any:
        if isinstance(one, sympy.Piecewise):
            return next(value for value, when in one.args if when == sympy.true or number(when))
        if isinstance(one, (symbol.Greater, symbol.Smaller)):
            first, second = one.args
            is_first = (number(first) >= number(second)) is isinstance(one, symbol.Greater)
            return first if is_first or number(first) == number(second) else second
        value = one.func._imp_(*(number(argument) for argument in one.args))
        return sympy.Integer(int(value)) if float(value).is_integer() else sympy.Float(value)

    kinds = (
        sympy.Piecewise, symbol.Greater, symbol.Smaller, symbol.FirstIsGreater, symbol.Slope,
    )  # fmt: skip
    return expression.replace(lambda one: isinstance(one, kinds), chosen)


def _shown(form: Symbolic, stage: Stage, name: str, one: Restated, slope: float) -> Differentiated:
    value = one.value
    if not abs(value - slope) <= AGREEMENT * max(abs(value), abs(slope)):
        text = f"SymPy's formula gives {value!r} at the inputs, and the derivative is {slope!r}"
        return Differentiated(name, reason=text)
    own = form.made
    operations = one.operations(own)
    if operations > MOST_WRITTEN:
        text = f"its formula has {operations} operations, too long to read"
        return Differentiated(name, reason=text)

    def left(writer: Writer) -> str:
        above = writer.row(writer.sign("d"), writer.name(stage.quantity, stage.case))
        below = writer.row(writer.sign("d"), writer.name(name, None))
        return writer.fraction(above, below)

    return Differentiated(name, *written(left, one.node, own, {**form.tables, **one.tables}))
