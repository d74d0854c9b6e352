"""A formula solved for one of its inputs by SymPy, stage by stage, each step compared with numbers.

The last stage is solved for the one earlier stage in it that rests on the input, that stage for the
one before it, and so on; where there are several, the latest is put in first. What stays the same
stands as one symbol meanwhile, so that SymPy sees short equations. Of a minimum, a maximum, a table
and a case distinction each branch is an equation of its own, and the numbers tell which one holds.

SymPy is imported here, so import this module where it is needed, never at the top of another one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import islice, pairwise
from typing import Any

import sympy  # type: ignore[import-untyped]

from closeout.arithmetic.recorded.recorded import Node, Tape, Value
from closeout.arithmetic.symbol import symbol
from closeout.arithmetic.symbol.expressions import Forms
from closeout.arithmetic.symbol.restated import NotRestated, restated

# Branches of one equation that are looked at; a table has one for each of its lines.
MOST_BRANCHES = 64
# Operations of an equation; SymPy would not come to the end of a longer one.
MOST_OPERATIONS = 400
# How far the two sides of an equation may differ, relative to the larger of them.
CLOSE = 1e-9


class Isolation:
    """The search for an input at the one point at which a formula was recorded.

    ``refused`` names the equations that were not solved, and why.
    """

    def __init__(
        self, forms: Forms, names: Mapping[Node, str], unknown: Node, limit: Value
    ) -> None:
        """Take the stages on symbols, what each node is called, the input, and the limit."""
        self.refused: list[str] = []
        signed = {one: _like(node.value) for node, one in forms.symbols.items()}
        self._of = {node: signed[one] for node, one in forms.symbols.items()}
        self.nodes: dict[Any, Node] = {one: node for node, one in self._of.items()}
        self._limit = _like(limit.value)
        self.nodes[self._limit] = limit
        self._unknown = self._of[unknown]
        self._forms = {self._of[node]: form.xreplace(signed) for node, form in forms.forms.items()}
        self._order = list(self._forms)
        self._names = {self._of[node]: name for node, name in names.items() if node in self._of}
        self._moving = {self._unknown}
        for one, form in self._forms.items():
            if form.free_symbols & self._moving:
                self._moving.add(one)
        self._known: dict[Any, list[Any] | None] = {}

    def solutions(self, quantity: Node) -> Iterator[Any]:
        """Yield what the input is where a stage reaches the limit, as expressions.

        In terms of the limit and of what does not rest on the input, on the symbols of ``nodes``.
        """
        one = self._of[quantity]
        if one is self._unknown:
            yield self._limit
        else:
            yield from self._solved(one, self._forms[one], self._limit)

    def _solved(self, of: Any, form: Any, target: Any) -> Iterator[Any]:
        """Yield the solutions of ``form = target``, where ``form`` is that of a stage."""
        form, one = self._of_one(form)
        if one is None:
            return
        if form.count_ops() > MOST_OPERATIONS:
            self._refuse(of, one, "it is too long")
            return
        for found in self._of_branches(of, form, one, target):
            if one is self._unknown:
                yield found
            else:
                yield from self._solved(one, self._forms[one], found)

    def _of_one(self, form: Any) -> tuple[Any, Any]:
        """Return a form in which one symbol rests on the input, and that symbol."""
        while True:
            inside = form.free_symbols & self._moving
            if not inside:
                return form, None
            if len(inside) == 1:
                return form, inside.pop()
            latest = max(inside & self._forms.keys(), key=self._order.index)
            form = form.xreplace({latest: self._forms[latest]})

    def _of_branches(self, of: Any, form: Any, one: Any, target: Any) -> list[Any]:
        """Return the solutions of all branches that hold with the numbers of this point."""
        wanted = self._number(target)
        if wanted != wanted:
            return []
        found: list[Any] = []
        branches = list(islice(_branches(_plain(form), one), MOST_BRANCHES + 1))
        for branch in branches[:MOST_BRANCHES]:
            if one not in branch.free_symbols:
                continue
            for solution in self._of_equation(of, branch, one, target, wanted):
                number = self._number(solution)
                if self._holds(form, one, number, wanted) and solution not in found:
                    found.append(solution)
        if len(branches) > MOST_BRANCHES:
            self._refuse(of, one, f"it has more than {MOST_BRANCHES} branches")
        return found

    def _of_equation(self, of: Any, form: Any, one: Any, target: Any, wanted: float) -> list[Any]:
        """Return what SymPy finds for a symbol, in terms of all other symbols.

        Equations that differ in constants only, as the lines of a table do, are solved once.
        """
        right = _like(wanted, "right")
        constants: dict[Any, Any] = {}
        short = self._shortened(form, one, constants).xreplace({one: _UNKNOWN})
        if (short, right) not in self._known:
            self._known[short, right] = _solved(short - right)
        found = self._known[short, right]
        if found is None:
            self._refuse(of, one, "SymPy finds no formula for it")
            return []
        back = {symbol_: expression for expression, symbol_ in constants.items()} | {right: target}
        return [solution.xreplace(back) for solution in found]

    def _shortened(self, form: Any, one: Any, constants: dict[Any, Any]) -> Any:
        """Return a form in which all that does not rest on a symbol stands as symbols."""
        if form == one or form.is_Integer:
            return form
        if one not in form.free_symbols:
            if form.is_number and not form.is_Rational:
                return form
            if form not in constants:
                constants[form] = _like(self._number(form), f"constant_{len(constants)}")
            return constants[form]
        if form.is_Add or form.is_Mul:
            still = form.func(*(part for part in form.args if one not in part.free_symbols))
            parts = [part for part in form.args if one in part.free_symbols]
            shortened = [self._shortened(part, one, constants) for part in parts]
            return form.func(*shortened, self._shortened(still, one, constants))
        if form.is_Pow and form.exp.is_number:
            return form.func(self._shortened(form.base, one, constants), form.exp)
        return form.func(*(self._shortened(part, one, constants) for part in form.args))

    def _holds(self, form: Any, one: Any, number: float, wanted: float) -> bool:
        """Return whether a form reaches a value where a symbol has some number."""
        there = {**self.nodes, one: Value(Tape(), "input", ("unknown",), number)}
        found = _number_of(form, there)
        return abs(found - wanted) <= CLOSE * max(abs(found), abs(wanted))

    def _number(self, expression: Any) -> float:
        return _number_of(expression, self.nodes)

    def _refuse(self, of: Any, one: Any, why: str) -> None:
        text = f"the equation of {self._names[of]} is not solved for {self._names[one]}: {why}"
        if text not in self.refused:
            self.refused.append(text)


def _number_of(expression: Any, nodes: Mapping[Any, Node]) -> float:
    """Return the number of an expression where it has one, else NaN."""
    try:
        return restated(expression, nodes).value
    except NotRestated:
        return float("nan")


_UNKNOWN = sympy.Symbol("unknown", real=True)


def _like(number: float, name: str | None = None) -> Any:
    """Return a symbol with the sign of a number: roots and logarithms then have one meaning.

    Of no name it differs from every other.
    """
    sign = "positive" if number > 0.0 else "negative" if number < 0.0 else "real"
    return sympy.Dummy(**{sign: True}) if name is None else sympy.Symbol(name, **{sign: True})


def _solved(equation: Any) -> list[Any] | None:
    """Return the solutions of ``equation = 0`` for the unknown; None where SymPy has no way."""
    try:
        found: list[Any] = sympy.solve(equation, _UNKNOWN, check=False, simplify=False)
    except Exception:  # NotImplementedError, or whatever SymPy runs into on its ways
        return None
    return found


def _plain(form: Any) -> Any:
    """Return a form in functions whose inverses SymPy knows, and in fractions.

    A root keeps its sign only above zero; what is found is compared with the numbers in any case.
    """
    third = sympy.Rational(1, 3)
    known = {
        symbol.log10: lambda x: sympy.log(x) / sympy.log(10),
        symbol.log2: lambda x: sympy.log(x) / sympy.log(2),
        symbol.Exprel: lambda x: (sympy.exp(x) - 1) / x,
        symbol.Log1prel: lambda x: sympy.log(1 + x) / x,
        symbol.Cbrt: lambda x: x**third,
        symbol.NormalCdf: lambda x: (1 + sympy.erf(x / sympy.sqrt(2))) / 2,
    }
    for kind, written in known.items():
        form = form.replace(kind, written)
    return form.xreplace({one: _fraction(float(one)) for one in form.atoms(sympy.Float)})


def _fraction(number: float) -> Any:
    return sympy.Rational(repr(number))


def _branches(form: Any, one: Any) -> Iterator[Any]:
    """Yield a form with each choice of its minima, maxima, tables and cases that rest on a symbol.

    The innermost first, so that one inside another is chosen too.
    """
    for part in sympy.postorder_traversal(form):
        choices = _choices(part) if one in part.free_symbols else ()
        if choices:
            for choice in choices:
                yield from _branches(form.xreplace({part: choice}), one)
            return
    yield form


def _choices(part: Any) -> list[Any]:
    if isinstance(part, (symbol.Greater, symbol.Smaller)):
        return list(part.args)
    if isinstance(part, sympy.Piecewise):
        return [value for value, _ in part.args]
    if isinstance(part, symbol.Table):
        (x,) = part.args
        points = [(_fraction(a), _fraction(b)) for a, b in part.points]
        return [y0 + (y1 - y0) * (x - x0) / (x1 - x0) for (x0, y0), (x1, y1) in pairwise(points)]
    return []
