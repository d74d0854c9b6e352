"""SymPy's expressions as formulas of our own nodes, as an author might have written them.

SymPy is imported here, so import this module where it is needed, never at the top of another one.
What comes back (:mod:`.recorded.recorded`) stands on the nodes of the arguments and
stages that it was made of: it has a value, can be evaluated elsewhere
(:func:`closeout.arithmetic.symbol.symbolic.replayed`), and is typeset like any other.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Container, Mapping, Sequence
from fractions import Fraction
from functools import reduce
from math import nan
from typing import Any, NamedTuple

import sympy  # type: ignore[import-untyped]

from closeout.arithmetic.recorded.recorded import (
    COMPUTE,
    CONDITIONS,
    FUNCTIONS,
    Condition,
    Node,
    Tape,
    Value,
)
from closeout.arithmetic.symbol import symbol
from closeout.arithmetic.symbol.symbolic import nodes_below, replayed

# A fraction of longer numbers is written as a decimal number.
LONG = 100


class NotRestated(ValueError):
    """SymPy gave something that has no place in a formula here; the text says what."""


class Restated(NamedTuple):
    """A formula, or a number alone; and how the tables in it are called, by their nodes."""

    node: Value | float
    tables: Mapping[Node, str]

    @property
    def value(self) -> float:
        """The number with the values of its nodes; NaN where it has none."""
        return float(self.node.value if isinstance(self.node, Value) else self.node)

    def nodes(self, stop: Container[Node] = ()) -> list[Node]:
        """Return the nodes that it is made of, as :func:`nodes_below` does."""
        return nodes_below([self.node], stop) if isinstance(self.node, Value) else []

    def operations(self, known: Container[Node]) -> int:
        """Return how many operations there are to read, down to what is known."""
        nodes = self.nodes(known)
        return sum(node.operation != "input" and node not in known for node in nodes)

    def at(self, point: Mapping[str, float]) -> float:
        """Return the number at a point of the inputs; raises what the numbers raise."""
        if not isinstance(self.node, Value):
            return self.node
        return float(replayed(self.nodes(), point, MORE)[self.node])


def restated(
    expression: Any, nodes: Mapping[Any, Node], tables: Mapping[Any, str] | None = None
) -> Restated:
    """Return an expression as a formula on the nodes of its symbols.

    Args:
        expression: of SymPy, on functions of :mod:`.symbol.symbol` and SymPy's own.
        nodes: what each of its symbols stands for.
        tables: how look-ups are called, by the points of the table.

    Raises:
        NotRestated: something in it has no counterpart.
    """
    writing = _Writing(nodes, tables or {})
    return Restated(writing.node(expression), writing.named)


# Functions of SymPy, and those of ours on expressions, by how a formula calls them.
_CALLED: dict[Any, str] = {
    **{getattr(symbol, name): name for name in FUNCTIONS if name not in ("hypot", "power")},
    symbol.Greater: "maximum", symbol.Smaller: "minimum", sympy.Max: "maximum",
    sympy.Min: "minimum", sympy.Abs: "absolute", sympy.sign: "sign", sympy.floor: "floor",
    sympy.ceiling: "ceil", sympy.StrictLessThan: "<", sympy.LessThan: "<=",
    sympy.StrictGreaterThan: ">", sympy.GreaterThan: ">=", sympy.And: "and", sympy.Or: "or",
    sympy.Not: "not",
}  # fmt: skip


class _Writing:
    """One walk over an expression, that makes a node of each operation."""

    def __init__(self, nodes: Mapping[Any, Node], tables: Mapping[Any, str]) -> None:
        self.named: dict[Node, str] = {}
        self._nodes = nodes
        self._tables = tables
        self._tape = Tape()

    def make(
        self, operation: str, *operands: Any, compute: Callable[..., Any] | None = None
    ) -> Any:
        """Return a node; its value is NaN where the operation has none."""
        values = [one.value if isinstance(one, Node) else one for one in operands]
        try:
            value = (compute or MORE.get(operation) or COMPUTE[operation])(*values)
        except (ArithmeticError, ValueError, TypeError):
            value = nan
        kind = Condition if operation in CONDITIONS else Value
        return kind(self._tape, operation, operands, nan if isinstance(value, complex) else value)

    def node(self, expression: Any) -> Any:
        """Return the node of an expression, or a number."""
        if expression in self._nodes:
            return self._nodes[expression]
        if expression.is_Rational:
            return self._rational(Fraction(int(expression.p), int(expression.q)))
        if expression.is_Float or expression is sympy.pi:
            return float(expression)
        if expression.is_Add:
            return self._sum(expression)
        if expression.is_Mul or expression.is_Pow:
            return self._product(expression)
        if expression.is_Piecewise:
            return self._cases(expression.args)
        return self._call(expression)

    def _rational(self, number: Fraction) -> Any:
        """Return a fraction as a decimal number where that is short, or the fraction is long."""
        near = float(number)
        is_short = Fraction(repr(near)) == number and len(repr(near)) <= 12
        if is_short or max(abs(number.numerator), number.denominator) >= LONG:
            return near
        return self.make("divide", float(number.numerator), float(number.denominator))

    def _sum(self, expression: Any) -> Any:
        """Return a sum; a difference where something is taken off, what is added first."""
        signed = [(one.could_extract_minus_sign(), one) for one in expression.as_ordered_terms()]
        signed.sort(key=operator.itemgetter(0))
        (negative, first), *rest = signed
        total = self.make("negative", self.node(-first)) if negative else self.node(first)
        for negative, one in rest:
            total = (
                self.make("subtract", total, self.node(-one))
                if negative
                else self.make("add", total, self.node(one))
            )
        return total

    def _product(self, expression: Any) -> Any:
        """Return a product as a fraction where something divides, with its sign before it."""
        if expression.could_extract_minus_sign() and expression.is_Mul:
            return self.make("negative", self.node(-expression))
        above, below = [], []
        for factor in expression.as_ordered_factors():
            base, exponent = factor.as_base_exp()
            if factor.is_Rational and not factor.is_Integer:
                written = self._rational(Fraction(int(factor.p), int(factor.q)))
                if isinstance(written, float):
                    above.append(written)
                else:
                    above += [float(factor.p)] * (factor.p != 1)
                    below.append(float(factor.q))
            elif isinstance(factor, sympy.exp):
                above.append(self._call(factor))
            elif factor.is_Pow and exponent.could_extract_minus_sign():
                below.append(self._power(base, -exponent))
            elif factor.is_Pow:
                above.append(self._power(base, exponent))
            else:
                above.append(self.node(factor))
        top = reduce(lambda a, b: self.make("multiply", a, b), above) if above else 1.0
        if not below:
            return top
        return self.make("divide", top, reduce(lambda a, b: self.make("multiply", a, b), below))

    def _power(self, base: Any, exponent: Any) -> Any:
        if exponent == 1:
            return self.node(base)
        if exponent == sympy.Rational(1, 2):
            return self.make("sqrt", self.node(base))
        if exponent.is_Integer:
            return self.make("power", self.node(base), int(exponent))
        return self.make("raise", self.node(base), self.node(exponent))

    def _cases(self, branches: Sequence[Any]) -> Any:
        (value, when), *rest = branches
        if when == sympy.true or not rest:
            return self.node(value)
        return self.make("where", self.node(when), self.node(value), self._cases(rest))

    def _call(self, expression: Any) -> Any:
        kind = expression.func
        if isinstance(expression, (symbol.Table, symbol.Slope)):
            return self._looked_up(expression)
        if kind is symbol.FirstIsGreater:
            when = sympy.Ge(*expression.args, evaluate=False)
            return self._cases([(sympy.Integer(1), when), (sympy.Integer(0), sympy.true)])
        if kind in (symbol.ExprelSlope, symbol.Log1prelSlope):
            return self.node(expression.rewrite("quotient"))
        if kind is symbol.Greater and expression.args[1] == -expression.args[0]:
            return self.make("absolute", self.node(expression.args[0]))
        if kind not in _CALLED:
            raise NotRestated(f"{kind.__name__} is no function of closeout.math")
        operands = [self.node(one) for one in expression.args]
        if _CALLED[kind] in ("and", "or"):
            return reduce(lambda a, b: self.make(_CALLED[kind], a, b), operands)
        return self.make(_CALLED[kind], *operands)

    def _looked_up(self, expression: Any) -> Any:
        (x,) = expression.args
        points = expression.points
        name = self._tables.get(points, "table")
        if isinstance(expression, symbol.Table):
            found = self.make("table", self.node(x), points)
        else:
            found = self.make(f"slope of {name}", self.node(x), compute=expression.func._imp_)
        self.named[found] = name
        return found


def _lambert(x: float) -> float:
    from mpmath import lambertw  # type: ignore[import-untyped]

    return float(lambertw(x).real) if x >= -0.36787944117144233 else nan


def _inverse_erf(x: float) -> float:
    from mpmath import erfinv

    return float(erfinv(x))


# What SymPy's solutions hold beside the functions of closeout.math: W of Lambert, its upper branch.
MORE: dict[str, Callable[..., float]] = {"W": _lambert, "inverse erf": _inverse_erf}
_CALLED |= {sympy.LambertW: "W", sympy.erfinv: "inverse erf"}
