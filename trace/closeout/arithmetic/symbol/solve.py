"""A formula solved for one input where its limit is met, each solution put into the analysis.

Pure: no process, no file. SymPy is imported here, inside of functions.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from closeout.arithmetic.recorded.recorded import Node, Tape, Value
from closeout.arithmetic.study.break_even import margin_of, value_of
from closeout.arithmetic.study.derivation import written
from closeout.arithmetic.study.worst_corners import MOST_CORNERS, WorstCorners
from closeout.arithmetic.symbol.symbolic import Symbolic, nodes_below, symbolic
from closeout.arithmetic.types import Box, Evaluate, Key
from closeout.model.answer import Bounds
from closeout.model.solved import Formula, Solution, SolvedLimit, SolveFound

if TYPE_CHECKING:
    from closeout.arithmetic.symbol.restated import Restated

# The name of the limit in a solved formula.
LIMIT = "limit"
# A formula of more operations is not written; its numbers are.
MOST_WRITTEN = 120
# How near the analysis comes to the limit, relative to the limit or to its value at the inputs.
REACHED = 1e-9
# On which side the criterion holds is looked at so far from a solution, relative to it.
BESIDE = 1e-6


class _Found(NamedTuple):
    """A solution, and the form of the analysis where it was recorded."""

    solution: Restated
    form: Symbolic


def solve(
    evaluate: Evaluate, inputs: Mapping[str, float], box: Box, detail: Mapping[str, Any]
) -> SolveFound:
    """Return what an input is where a quantity reaches each of its limits.

    Args:
        evaluate: the analysis on numbers and on recorded values, which it must let through.
        inputs: the nominal point.
        box: low and high end of each parameter that has a spread.
        detail: ``quantity``, ``case``, ``at_least``, ``at_most`` (in the analysis' unit, None where
            there is none), ``parameter``, ``corner`` (names and values at the worst point).
    """
    key: Key = (detail["quantity"], detail["case"])
    evaluate(inputs)
    form = symbolic(evaluate, inputs, box, [key])
    stage = form.stage(key)
    if stage is None:
        return SolveFound(form.reasons.get(key, "it gives no number"), False, ())
    node = form.inputs[detail["parameter"]]
    acts = isinstance(stage.node, Value) and node in set(nodes_below([stage.node]))
    limits = [(name, detail[name]) for name in ("at_least", "at_most") if detail[name] is not None]
    solved = tuple(
        _Limit(evaluate, inputs, box, detail, name, bound).solved(form)
        for name, bound in (limits if acts else ())
    )
    return SolveFound(None, acts, solved)


class _Limit:
    """One limit, and what is found of it."""

    def __init__(
        self,
        evaluate: Evaluate,
        inputs: Mapping[str, float],
        box: Box,
        detail: Mapping[str, Any],
        limit: str,
        bound: float,
    ) -> None:
        self._evaluate, self._inputs, self._box = evaluate, inputs, box
        self._key: Key = (detail["quantity"], detail["case"])
        self._name: str = detail["parameter"]
        self._corner = dict(detail["corner"])
        self._limit, self._bound = limit, bound
        self._bounds = Bounds(None, bound) if limit == "at_most" else Bounds(bound)
        self._size = max(abs(bound), abs(float(evaluate(inputs)[self._key])))
        self._reasons: list[str] = []
        self._formulas: list[Formula] = []
        self._solutions: list[Solution] = []

    def solved(self, form: Symbolic) -> SolvedLimit:
        """Return the solutions with the other inputs at nominal, then at worst."""
        found = self._isolated(form)
        self._at("nominal", self._inputs, found, True)
        if self._corner:
            self._at_worst(found)
        return SolvedLimit(
            self._limit, self._bound, tuple(self._formulas), tuple(self._solutions),
            tuple(self._reasons),
        )  # fmt: skip

    def _isolated(self, form: Symbolic) -> list[_Found]:
        """Return the formulas that hold at the point at which the analysis was recorded."""
        from closeout.arithmetic.symbol.expressions import forms
        from closeout.arithmetic.symbol.isolate import Isolation
        from closeout.arithmetic.symbol.restated import NotRestated, restated

        stage = form.stage(self._key)
        if stage is None or not isinstance(stage.node, Value):
            return []
        on = forms(form, self._key)
        names: dict[Node, str] = {node: name for name, node in form.inputs.items()}
        names |= {node: one.quantity for node, one in form.made.items()}
        limit = Value(Tape(), "input", (LIMIT,), self._bound)
        search = Isolation(on, names, form.inputs[self._name], limit)
        tables = {node.operands[1]: name for node, name in form.tables.items()}
        found = []
        for solution in search.solutions(stage.node):
            try:
                found.append(_Found(restated(solution, search.nodes, tables), form))
            except NotRestated as error:
                search.refused.append(f"a solution cannot be written: {error}")
        self._reasons += [text for text in search.refused if text not in self._reasons]
        return found

    def _at_worst(self, found: list[_Found]) -> None:
        """Take the solutions at the corner that is worst where the limit is met."""
        corners = WorstCorners(
            self._evaluate, self._inputs, self._box, self._key, self._bounds,
            tuple(self._corner.items()),
        )  # fmt: skip
        for _ in range(MOST_CORNERS):
            corner = corners.worst
            values = [one for one in self._numbers(corner, found) if one is not None]
            if not values:
                # Another branch of the formula may hold there.
                found = self._isolated(symbolic(self._evaluate, corner, (), [self._key]))
                values = [one for one in self._numbers(corner, found) if one is not None]
            nearest = min(values, key=lambda x: abs(x - self._inputs[self._name]), default=None)
            settled = nearest is None or not corners.improve(self._name, nearest)
            if settled:
                break
        self._at("worst", corners.worst, found, settled)

    def _numbers(self, point: Mapping[str, float], found: list[_Found]) -> list[float | None]:
        """Return the number of each solution at a point, None where it is none of the analysis."""
        return [self._number(point, one) for one in found]

    def _number(self, point: Mapping[str, float], one: _Found) -> float | None:
        try:
            number = one.solution.at({**point, LIMIT: self._bound})
        except (ArithmeticError, ValueError, TypeError):
            return None
        value = value_of(self._evaluate, {**point, self._name: number}, self._key)
        reached = value is not None and abs(value - self._bound) <= REACHED * self._size
        return number if reached else None

    def _at(
        self, label: str, point: Mapping[str, float], found: list[_Found], settled: bool
    ) -> None:
        """Take note of the solutions at a point, the nearest to the input first."""
        at = self._inputs[self._name]
        solutions: list[Solution] = []
        for one, number in zip(found, self._numbers(point, found), strict=True):
            if number is not None and number not in [known.value for known in solutions]:
                reached = value_of(self._evaluate, {**point, self._name: number}, self._key)
                assert reached is not None  # else it is none of the numbers
                below, above = [self._holds(point, number, sign) for sign in (-1.0, 1.0)]
                solutions.append(
                    Solution(label, self._place(one), number, reached, below, above, settled)
                )
        self._solutions += sorted(solutions, key=lambda known: abs(known.value - at))

    def _holds(self, point: Mapping[str, float], number: float, sign: float) -> bool | None:
        """Return whether the criterion holds a little below or above a solution."""
        step = BESIDE * (abs(number) or abs(self._inputs[self._name]) or 1.0)
        beside = {**point, self._name: number + sign * step}
        margin = margin_of(value_of(self._evaluate, beside, self._key), self._bounds)
        return None if margin is None else margin >= 0.0

    def _place(self, one: _Found) -> int | None:
        """Return the place of a formula among those that are written; None where it is too long."""
        own = one.form.made
        operations = one.solution.operations(own)
        if operations > MOST_WRITTEN:
            text = f"a formula of {operations} operations is not written: it is too long to read"
            self._reasons += [text] * (text not in self._reasons)
            return None
        name = self._name
        tables = {**one.form.tables, **one.solution.tables}
        formula = written(lambda w: w.name(name, None), one.solution.node, own, tables)
        if formula not in self._formulas:
            self._formulas.append(formula)
        return self._formulas.index(formula)
