"""The functions of ``closeout.math`` on SymPy expressions; entered when this module is imported.

SymPy is imported here, so import this module where it is needed, never at the top of another one.

``where`` becomes a Piecewise. ``minimum``, ``maximum`` and ``table`` stay functions of one name:
SymPy's Min and Max ask about the signs of their arguments for as long as it takes, and a table of
seventeen lines copies its argument seventeen times. Each rewrites itself on demand:
``expression.rewrite(Max)``, ``rewrite(Min)``, ``rewrite(Piecewise)``.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Sequence
from functools import cache, reduce
from itertools import count, pairwise
from typing import Any

import sympy  # type: ignore[import-untyped]
from sympy.codegen.cfunctions import log2 as _log2  # type: ignore[import-untyped]
from sympy.codegen.cfunctions import log10 as _log10

from closeout import math as elementary
from closeout.arithmetic.recorded.recorded import FUNCTIONS
from closeout.arithmetic.recorded.slopes import slope_of_table

Points = tuple[tuple[float, float], ...]

# Below this the slopes of exprel and log1prel come from their series, of so many terms.
NEAR_ZERO = 0.1
TERMS = 20

_numbers = count(1)  # of tables, whose functions need names


def _on_numbers(function: Callable[[float], float]) -> Any:
    """Return how SymPy is to evaluate a function: on its own numbers it would come back here."""
    return staticmethod(lambda x: function(float(x)))


class FirstIsGreater(sympy.Function):  # type: ignore[misc]
    """1 where the first argument is the greater one or both are equal, else 0: a slope."""

    nargs = 2

    def fdiff(self, argindex: int = 1) -> Any:  # noqa: ARG002
        return sympy.Integer(0)

    @staticmethod
    def _imp_(x: float, y: float) -> float:
        return 1.0 if x >= y else 0.0


class Greater(sympy.Function):  # type: ignore[misc]
    """The larger of two; at a tie its derivative is the one of the first."""

    nargs = 2

    @classmethod
    def eval(cls, x: Any, y: Any) -> Any:
        if x.is_Number and y.is_Number:
            return x if x >= y else y
        return None

    def fdiff(self, argindex: int = 1) -> Any:
        first = FirstIsGreater(*self.args)
        return first if argindex == 1 else 1 - first

    def _eval_rewrite_as_Max(self, x: Any, y: Any, **_: Any) -> Any:  # noqa: N802
        return sympy.Max(x, y)

    @staticmethod
    def _imp_(x: float, y: float) -> float:
        return max(x, y)


class Smaller(sympy.Function):  # type: ignore[misc]
    """The smaller of two; at a tie its derivative is the one of the first."""

    nargs = 2

    @classmethod
    def eval(cls, x: Any, y: Any) -> Any:
        if x.is_Number and y.is_Number:
            return x if x <= y else y
        return None

    def fdiff(self, argindex: int = 1) -> Any:
        x, y = self.args
        first = FirstIsGreater(y, x)
        return first if argindex == 1 else 1 - first

    def _eval_rewrite_as_Min(self, x: Any, y: Any, **_: Any) -> Any:  # noqa: N802
        return sympy.Min(x, y)

    @staticmethod
    def _imp_(x: float, y: float) -> float:
        return min(x, y)


class Exprel(sympy.Function):  # type: ignore[misc]
    """(e^x - 1)/x, a function of its own: written out it loses all digits near 0."""

    nargs = 1

    def fdiff(self, argindex: int = 1) -> Any:  # noqa: ARG002
        return ExprelSlope(self.args[0])

    def _eval_rewrite_as_exp(self, x: Any, **_: Any) -> Any:
        return (sympy.exp(x) - 1) / x

    _imp_ = _on_numbers(elementary.exprel)


class ExprelSlope(sympy.Function):  # type: ignore[misc]
    """The derivative of :class:`Exprel`, (e^x (x - 1) + 1)/x^2."""

    nargs = 1

    def fdiff(self, argindex: int = 1) -> Any:  # noqa: ARG002
        (x,) = self.args
        return (sympy.exp(x) - 2 * self) / x

    def _eval_rewrite_as_quotient(self, x: Any, **_: Any) -> Any:
        return (sympy.exp(x) - Exprel(x)) / x

    @staticmethod
    def _imp_(x: float) -> float:
        if abs(x) >= NEAR_ZERO:
            return (math.exp(x) * (x - 1.0) + 1.0) / (x * x)
        return math.fsum(x**k / (math.factorial(k) * (k + 2)) for k in range(TERMS))


class Log1prel(sympy.Function):  # type: ignore[misc]
    """ln(1 + x)/x, a function of its own: written out it loses all digits near 0."""

    nargs = 1

    def fdiff(self, argindex: int = 1) -> Any:  # noqa: ARG002
        return Log1prelSlope(self.args[0])

    def _eval_rewrite_as_log(self, x: Any, **_: Any) -> Any:
        return sympy.log(1 + x) / x

    _imp_ = _on_numbers(elementary.log1prel)


class Log1prelSlope(sympy.Function):  # type: ignore[misc]
    """The derivative of :class:`Log1prel`, (x/(1 + x) - ln(1 + x))/x^2."""

    nargs = 1

    def fdiff(self, argindex: int = 1) -> Any:  # noqa: ARG002
        (x,) = self.args
        return (-1 / (1 + x) ** 2 - 2 * self) / x

    def _eval_rewrite_as_quotient(self, x: Any, **_: Any) -> Any:
        return (1 / (1 + x) - Log1prel(x)) / x

    @staticmethod
    def _imp_(x: float) -> float:
        if abs(x) >= NEAR_ZERO:
            return (x / (1.0 + x) - math.log1p(x)) / (x * x)
        return math.fsum(-(k + 1) * (-x) ** k / (k + 2) for k in range(TERMS))


class Stairs(sympy.Function):  # type: ignore[misc]
    """A function that is constant but for jumps; where it jumps its derivative is zero, too."""

    nargs = 1

    def fdiff(self, argindex: int = 1) -> Any:  # noqa: ARG002
        return sympy.Integer(0)


class Floor(Stairs):
    """The largest whole number that is not above x; SymPy's own has no derivative."""

    _imp_ = _on_numbers(elementary.floor)


class Ceil(Stairs):
    """The smallest whole number that is not below x."""

    _imp_ = _on_numbers(elementary.ceil)


class Sign(Stairs):
    """-1, 0 or 1."""

    _imp_ = _on_numbers(elementary.sign)


class Cbrt(sympy.Function):  # type: ignore[misc]
    """The cube root with the sign of x; SymPy's is a complex number below zero."""

    nargs = 1

    def fdiff(self, argindex: int = 1) -> Any:  # noqa: ARG002
        return 1 / (3 * self**2)

    _imp_ = _on_numbers(elementary.cbrt)


class NormalCdf(sympy.Function):  # type: ignore[misc]
    """The standard normal distribution function: written with erf it loses its lower tail."""

    nargs = 1

    def fdiff(self, argindex: int = 1) -> Any:  # noqa: ARG002
        return sympy.exp(-(self.args[0] ** 2) / 2) / sympy.sqrt(2 * sympy.pi)

    def _eval_rewrite_as_erf(self, x: Any, **_: Any) -> Any:
        return (1 + sympy.erf(x / sympy.sqrt(2))) / 2

    _imp_ = _on_numbers(elementary.normal_cdf)


class Table(sympy.Function):  # type: ignore[misc]
    """Straight lines between points; each table is a subclass of its own, made by :func:`table`.

    At a point its derivative is the slope to the right, at the last point the one to the left.
    """

    nargs = 1
    points: Points = ()

    def fdiff(self, argindex: int = 1) -> Any:  # noqa: ARG002
        return _slope_of(self.points)(self.args[0])

    def _eval_rewrite_as_Piecewise(self, x: Any, **_: Any) -> Any:  # noqa: N802
        lines: list[Any] = [
            (y0 + (y1 - y0) * ((x - x0) / (x1 - x0)), x <= x1)
            for (x0, y0), (x1, y1) in pairwise(self.points)
        ]
        first, last = self.points[0][0], self.points[-1][0]
        outside = (sympy.nan, (x < first) | (x > last))
        return sympy.Piecewise(outside, *lines[:-1], (lines[-1][0], True))


class Slope(sympy.Function):  # type: ignore[misc]
    """The slope of a table: constant between its points."""

    nargs = 1
    points: Points = ()

    def fdiff(self, argindex: int = 1) -> Any:  # noqa: ARG002
        return sympy.Integer(0)


@cache
def _table_of(points: Points) -> Any:
    """Return the function of a table: the same class for the same points, as SymPy compares."""

    def look_up(x: float) -> float:
        return elementary.table(x, points)

    name = f"table_{next(_numbers)}"
    members: dict[str, Any] = {"points": points, "_imp_": _on_numbers(look_up)}
    return type(name, (Table,), members)


@cache
def _slope_of(points: Points) -> Any:
    def slope(x: float) -> float:
        return slope_of_table(x, points)

    name = f"slope_{next(_numbers)}"
    members: dict[str, Any] = {"points": points, "_imp_": _on_numbers(slope)}
    return type(name, (Slope,), members)


exp: Callable[..., Any] = sympy.exp
log: Callable[..., Any] = sympy.log
log10: Callable[..., Any] = _log10
log2: Callable[..., Any] = _log2
sqrt: Callable[..., Any] = sympy.sqrt
sin: Callable[..., Any] = sympy.sin
cos: Callable[..., Any] = sympy.cos
tan: Callable[..., Any] = sympy.tan
asin: Callable[..., Any] = sympy.asin
acos: Callable[..., Any] = sympy.acos
atan: Callable[..., Any] = sympy.atan
atan2: Callable[..., Any] = sympy.atan2
sinh: Callable[..., Any] = sympy.sinh
cosh: Callable[..., Any] = sympy.cosh
tanh: Callable[..., Any] = sympy.tanh
asinh: Callable[..., Any] = sympy.asinh
acosh: Callable[..., Any] = sympy.acosh
atanh: Callable[..., Any] = sympy.atanh
erf: Callable[..., Any] = sympy.erf
normal_cdf: Callable[..., Any] = NormalCdf
cbrt: Callable[..., Any] = Cbrt
floor: Callable[..., Any] = Floor
ceil: Callable[..., Any] = Ceil
sign: Callable[..., Any] = Sign


def minimum(*values: Any) -> Any:
    """Return the smallest of the values, two by two."""
    return reduce(Smaller, values)


def maximum(*values: Any) -> Any:
    """Return the largest of the values, two by two."""
    return reduce(Greater, values)


def hypot(x: Any, y: Any) -> Any:
    """Return the square root of x squared plus y squared."""
    return sympy.sqrt(x**2 + y**2)


exprel: Callable[..., Any] = Exprel
log1prel: Callable[..., Any] = Log1prel


def power(x: Any, n: int) -> Any:
    """Return x to the whole number n."""
    return x ** sympy.Integer(n)


def where(condition: Any, then: Any, otherwise: Any) -> Any:
    """Return a Piecewise of the two; SymPy may have decided the condition already."""
    if condition in (sympy.true, sympy.false):
        return then if condition else otherwise
    return sympy.Piecewise((then, condition), (otherwise, True), evaluate=False)


def table(x: Any, points: Sequence[tuple[float, float]]) -> Any:
    """Return the function of these points, at x; outside of them it has no value."""
    return _table_of(tuple((float(a), float(b)) for a, b in points))(x)


class _Functions:
    """What ``closeout.math`` calls on an expression; a module would do, but for ``clip``."""


for _name in FUNCTIONS:
    setattr(_Functions, _name, staticmethod(globals()[_name]))
elementary.extend(sympy.Basic, _Functions)

# What a recorded operation is on expressions; the other names are those of the functions above.
OPERATIONS: dict[str, Callable[..., Any]] = {
    "add": operator.add, "subtract": operator.sub, "multiply": operator.mul,
    "divide": operator.truediv, "raise": operator.pow, "negative": operator.neg,
    "absolute": lambda x: Greater(x, -x),  # SymPy's Abs doubts that its argument is real
    "<": lambda a, b: sympy.StrictLessThan(a, b, evaluate=False),
    "<=": lambda a, b: sympy.LessThan(a, b, evaluate=False),
    ">": lambda a, b: sympy.StrictGreaterThan(a, b, evaluate=False),
    ">=": lambda a, b: sympy.GreaterThan(a, b, evaluate=False),
    "and": sympy.And, "or": sympy.Or, "not": sympy.Not,
}  # fmt: skip


def apply(operation: str, *operands: Any) -> Any:
    """Return a recorded operation on expressions; numbers in it stay exact to the last digit."""
    if operation in OPERATIONS:
        return OPERATIONS[operation](*(sympy.sympify(operand) for operand in operands))
    function = getattr(_Functions, operation)
    if operation in ("table", "power"):
        return function(sympy.sympify(operands[0]), operands[1])
    return function(*(sympy.sympify(operand) for operand in operands))


def real_symbol(name: str) -> Any:
    """Return the symbol of an input: equal to any other of the same name from here."""
    return sympy.Symbol(name, real=True)


def own_symbol(name: str) -> Any:
    """Return a symbol that differs from every other one, also of the same name."""
    return sympy.Dummy(name, real=True)
