"""A formula evaluated again from the record of one evaluation, as far as some quantities need it.

A recorded formula (:mod:`.recorded.recorded`) makes no decision in Python, so its nodes
give on ranges what the analysis would give, without the author's code around them and without the
fields that nobody asks for. What is left out is not looked at: whoever asks has to know that it is
defined over the whole box, for on numbers the analysis would fail where it is not.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Collection, Mapping
from typing import Any, NamedTuple

from closeout.arithmetic.recorded.recorded import COMPUTE, Node, Tape, Value, traced
from closeout.arithmetic.types import Key

# On ranges a comparison may be open, which the words of Python would ask for one answer.
_COMPUTE: dict[str, Callable[..., Any]] = {
    **COMPUTE, "and": operator.and_, "or": operator.or_, "not": operator.invert,
}  # fmt: skip


class _Step(NamedTuple):
    """An operation on values by their places, and the place of its result."""

    compute: Callable[..., Any]
    operands: tuple[int, ...]
    result: int


class _Program(NamedTuple):
    """The values at the start, the places of the inputs that vary, and the steps in order."""

    start: list[Any]
    places: dict[str, int]
    steps: list[_Step]


class Formula:
    """What the quantities of an analysis are made of, at fixed values of all but some inputs."""

    def __init__(
        self, tape: Tape, values: Mapping[Key, Value | float], varying: Collection[str]
    ) -> None:
        self._tape = tape
        self._values = values
        self._varying = frozenset(varying)
        self._programs: dict[Key, _Program] = {}
        self._operations = max(sum(node.operation != "input" for node in tape), 1)

    def value(self, key: Key, arguments: Mapping[str, Any]) -> Any:
        """Return a quantity at arguments of whatever arithmetic; raises what that does.

        Args:
            key: quantity and case.
            arguments: the inputs that vary, by name, and nothing else.
        """
        value = self._values[key]
        return self.node_values(key, arguments)[value.index] if isinstance(value, Node) else value

    def node_values(self, key: Key, arguments: Mapping[str, Any]) -> list[Any]:
        """Return what each node of a quantity is at arguments, by its place on the tape.

        At places of nodes that do not vary, or that the quantity does not need, stand their numbers
        at the inputs.
        """
        if key not in self._programs:
            self._programs[key] = self._program(key)
        start, places, steps = self._programs[key]
        node_values = start.copy()
        for name, place in places.items():
            node_values[place] = arguments[name]
        for compute, operands, place in steps:
            node_values[place] = compute(*[node_values[operand] for operand in operands])
        return node_values

    def share(self, key: Key) -> float:
        """Return how much of the whole formula's work a quantity takes, from 0 to 1."""
        if key not in self._programs:
            self._programs[key] = self._program(key)
        return len(self._programs[key].steps) / self._operations

    def nodes(self, key: Key) -> list[Node]:
        """Return the nodes that a quantity is made of, in order; none where it is a number."""
        value = self._values[key]
        if not isinstance(value, Node):
            return []
        needed = _needed(value)
        return [node for node in self._tape if node.index in needed]

    def _program(self, key: Key) -> _Program:
        start: list[Any] = [node.value for node in self._tape]
        places: dict[str, int] = {}
        steps: list[_Step] = []
        moving: set[int] = set()
        for node in self.nodes(key):
            if node.operation == "input":
                if node.operands[0] in self._varying:
                    places[node.operands[0]] = node.index
                    moving.add(node.index)
            elif any(operand.index in moving for operand in node.nodes):
                moving.add(node.index)
                steps.append(_Step(_COMPUTE[node.operation], _placed(node, start), node.index))
        return _Program(start, places, steps)


def _needed(value: Node) -> set[int]:
    """Return the places of the nodes that a value is made of, its own among them."""
    found: set[int] = set()
    left = [value]
    while left:
        node = left.pop()
        if node.index not in found:
            found.add(node.index)
            left.extend(node.nodes)
    return found


def _placed(node: Node, start: list[Any]) -> tuple[int, ...]:
    """Return the places of a node's operands; plain numbers and tables are given one each."""
    places = []
    for operand in node.operands:
        if isinstance(operand, Node):
            places.append(operand.index)
        else:
            places.append(len(start))
            start.append(operand)
    return tuple(places)


def formula_of(
    evaluate: Callable[[Mapping[str, Any]], Mapping[Key, Any]],
    inputs: Mapping[str, float],
    varying: Collection[str],
) -> Formula | None:
    """Return an analysis as a formula, recorded at the inputs; None where it is none."""
    try:
        tape, values = traced(evaluate, inputs)
    except MemoryError:
        raise
    except Exception:  # whatever the analysis raises on what it does not expect
        return None
    return None if tape.refused is not None else Formula(tape, values, varying)
