"""An analysis evaluated on numbers that remember how they were made.

Each value is a node: an operation on earlier nodes, and the number that it gave. The nodes of one
evaluation are the formula as its author wrote it, in its order; a field of the result that the
author computed from another is seen to be computed from it, as it is the same node. From here the
formula goes to SymPy (:mod:`closeout.arithmetic.symbol.symbol`) and to paper
(:mod:`closeout.arithmetic.study.derivation`). Standard library only.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Mapping
from typing import Any, NoReturn

from closeout import math as elementary
from closeout.arithmetic.types import Key

# A formula of more operations is a loop or a march; nobody reads it as a formula.
MOST_OPERATIONS = 20_000

# Those of closeout.math but for ``clip``, which is made of two of them.
FUNCTIONS = (
    "acos", "acosh", "asin", "asinh", "atan", "atan2", "atanh", "cbrt", "ceil", "cos", "cosh",
    "erf", "exp", "exprel", "floor", "hypot", "log", "log1prel", "log2", "log10", "maximum",
    "minimum", "normal_cdf", "power", "sign", "sin", "sinh", "sqrt", "table", "tan", "tanh",
    "where",
)  # fmt: skip

COMPUTE: dict[str, Callable[..., Any]] = {
    **{name: getattr(elementary, name) for name in FUNCTIONS},
    "add": operator.add, "subtract": operator.sub, "multiply": operator.mul,
    "divide": operator.truediv, "raise": operator.pow, "negative": operator.neg,
    "absolute": abs, "<": operator.lt, "<=": operator.le, ">": operator.gt, ">=": operator.ge,
    "and": lambda a, b: bool(a and b), "or": lambda a, b: bool(a or b),
    "not": operator.not_,
}  # fmt: skip


class NoFormula(TypeError):
    """What was evaluated is no formula in the inputs; the text says why, and a cure."""


class Tape(list["Node"]):
    """The nodes of one evaluation, in their order.

    ``refused`` is the first reason why it is no formula, also where the analysis caught that.
    """

    refused: str | None = None

    def refuse(self, reason: str) -> NoReturn:
        """Take note of a reason, and raise it."""
        self.refused = self.refused or reason
        raise NoFormula(reason)


class Node:
    """A value and how it was made; its operands are nodes, numbers or the points of a table."""

    __slots__ = ("index", "operands", "operation", "tape", "value")
    # NumPy's numbers then leave arithmetic with a node to the node.
    __array_ufunc__ = None

    def __init__(self, tape: Tape, operation: str, operands: tuple[Any, ...], value: Any):
        if len(tape) >= MOST_OPERATIONS:
            tape.refuse(f"it takes more than {MOST_OPERATIONS} operations, as a long loop does")
        self.tape = tape
        self.operation = operation
        self.operands = operands
        self.value = value
        self.index = len(tape)
        tape.append(self)

    @property
    def nodes(self) -> tuple[Node, ...]:
        """The operands that are nodes."""
        return tuple(operand for operand in self.operands if isinstance(operand, Node))

    def __bool__(self) -> NoReturn:
        self.tape.refuse(
            "a decision of Python (if, while, min, max, and, or, not) depends on an input; "
            "write it with where, minimum or maximum of closeout.math"
        )

    def __eq__(self, other: object) -> NoReturn:
        self.tape.refuse("values are compared with == or !=; use < or > in where of closeout.math")

    __hash__ = object.__hash__


class Value(Node):
    """A number of the formula, with plain arithmetic."""

    __slots__ = ()

    def is_input(self, name: str) -> bool:
        """Return whether this is the argument of that name."""
        return self.operation == "input" and self.operands[0] == name

    def __add__(self, other: Any) -> Any:
        return _operate("add", self, other)

    def __radd__(self, other: Any) -> Any:
        return _operate("add", other, self)

    def __sub__(self, other: Any) -> Any:
        return _operate("subtract", self, other)

    def __rsub__(self, other: Any) -> Any:
        return _operate("subtract", other, self)

    def __mul__(self, other: Any) -> Any:
        return _operate("multiply", self, other)

    def __rmul__(self, other: Any) -> Any:
        return _operate("multiply", other, self)

    def __truediv__(self, other: Any) -> Any:
        return _operate("divide", self, other)

    def __rtruediv__(self, other: Any) -> Any:
        return _operate("divide", other, self)

    def __pow__(self, other: Any) -> Any:
        return _operate("raise", self, other)

    def __rpow__(self, other: Any) -> Any:
        return _operate("raise", other, self)

    def __neg__(self) -> Any:
        return _operate("negative", self)

    def __pos__(self) -> Value:
        return self

    def __abs__(self) -> Any:
        return _operate("absolute", self)

    def __lt__(self, other: Any) -> Any:
        return _operate("<", self, other)

    def __le__(self, other: Any) -> Any:
        return _operate("<=", self, other)

    def __gt__(self, other: Any) -> Any:
        return _operate(">", self, other)

    def __ge__(self, other: Any) -> Any:
        return _operate(">=", self, other)

    def __float__(self) -> NoReturn:
        self.tape.refuse(
            "a library call or a conversion takes an input as a plain number; "
            "use the functions of closeout.math"
        )

    __int__ = __index__ = __float__

    def __round__(self, digits: int | None = None) -> NoReturn:
        self.__float__()


class Condition(Node):
    """A comparison of values, for ``where``."""

    __slots__ = ()

    def __and__(self, other: Any) -> Any:
        return _operate("and", self, other)

    def __rand__(self, other: Any) -> Any:
        return _operate("and", other, self)

    def __or__(self, other: Any) -> Any:
        return _operate("or", self, other)

    def __ror__(self, other: Any) -> Any:
        return _operate("or", other, self)

    def __invert__(self) -> Any:
        return _operate("not", self)


CONDITIONS = frozenset(("<", "<=", ">", ">=", "and", "or", "not"))


def _operate(operation: str, *operands: Any) -> Any:
    if not all(isinstance(operand, (Node, int, float)) for operand in operands):
        return NotImplemented
    return _node(operation, operands)


def _node(operation: str, operands: tuple[Any, ...]) -> Node:
    tape = next(operand.tape for operand in operands if isinstance(operand, Node))
    if operation == "table":
        operands = (operands[0], _points(operands[1], tape))
    value = COMPUTE[operation](*(o.value if isinstance(o, Node) else o for o in operands))
    kind = Condition if operation in CONDITIONS else Value
    return kind(tape, operation, operands, value)


def _points(points: Any, tape: Tape) -> tuple[tuple[float, float], ...]:
    """Return the points of a table as they are now: an author may use a list again."""
    found = []
    for x, y in points:
        if isinstance(x, Node) or isinstance(y, Node):
            tape.refuse("the points of a table depend on an input; a table needs plain numbers")
        found.append((float(x), float(y)))
    return tuple(found)


class _Functions:
    """The functions of ``closeout.math`` on nodes."""


for _name in FUNCTIONS:
    setattr(_Functions, _name, staticmethod(lambda *operands, _name=_name: _node(_name, operands)))
elementary.extend(Node, _Functions)


def traced(
    evaluate: Callable[[Mapping[str, Any]], Mapping[Key, Any]], inputs: Mapping[str, float]
) -> tuple[Tape, dict[Key, Value | float]]:
    """Return the nodes of an evaluation at the inputs, which come first, and what it gave.

    Args:
        evaluate: the analysis; it must hand on what it is given and must not turn it into floats.
        inputs: the point, by argument.

    Raises:
        NoFormula: the analysis decides on an input, converts it, or takes too many operations.
        Exception: whatever the analysis raises.
    """
    tape = Tape()
    leaves = {name: Value(tape, "input", (name,), float(x)) for name, x in inputs.items()}
    values = dict(evaluate(leaves))
    for (quantity, case), value in values.items():
        if not isinstance(value, (Value, int, float)):
            shown = quantity if case is None else f"{quantity}[{case}]"
            tape.refuse(f"{shown} is {type(value).__name__}, not a number")
    return tape, values
