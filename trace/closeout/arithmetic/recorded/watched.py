"""An analysis evaluated on recorded numbers, and what its author says of them meanwhile.

The names of variables, the units that functions declare, and the calls of helper functions are
seen while it runs. Standard library only.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping
from types import CodeType, FrameType, FunctionType
from typing import Any, NamedTuple

from closeout.arithmetic.recorded.hints import function_of, hints_of, unit_of
from closeout.arithmetic.recorded.recorded import Node, Value, traced
from closeout.arithmetic.types import Key

# Calls that are kept: of a loop that calls the same function again and again, the first ones.
MOST_CALLS = 2_000
# How deep tuples and mappings are looked into.
_DEEPEST = 3


class Name(NamedTuple):
    """What the author called a value: a variable, the case where it has one, how deep in calls."""

    name: str
    case: str | None
    depth: int


class Part(NamedTuple):
    """A number that a function took or gave: its name, the number, and its declared unit, if any.

    Of a result that is one number, the name is empty.
    """

    name: str
    value: Value | float
    unit: str | None


class Call(NamedTuple):
    """A call of a helper function of the author."""

    function: FunctionType
    took: tuple[Part, ...]
    gave: tuple[Part, ...]


class Recording(NamedTuple):
    """An evaluation: its inputs, what it gave, and the names that its author gave to values.

    ``values`` are nodes where they rest on an input, else plain numbers. ``tables`` names the
    functions that look a value up in a table, by the node of the look-up. ``depth`` is that of
    the analysis itself. ``units`` are declared by the functions that took or gave a value; one of
    which two are declared has the unit None. ``calls`` are in the order in which they ended.
    """

    inputs: Mapping[str, Value]
    values: Mapping[Key, Value | float]
    names: Mapping[Node, Name]
    tables: Mapping[Node, str]
    depth: int
    units: Mapping[Node, str | None]
    calls: tuple[Call, ...]


def record(
    evaluate: Callable[[Mapping[str, Any]], Mapping[Key, Any]], inputs: Mapping[str, float]
) -> Recording:
    """Evaluate an analysis once, at the inputs, on values that remember how they were made.

    Takes and raises what :func:`.recorded.traced` does.
    """
    watch = _Watch()
    before = sys.getprofile()
    sys.setprofile(watch)
    try:
        tape, values = traced(evaluate, inputs)
    finally:
        sys.setprofile(before)
    leaves = {node.operands[0]: node for node in tape[: len(inputs)] if isinstance(node, Value)}
    return Recording(
        leaves, values, watch.names, watch.tables, watch.outermost, watch.units, tuple(watch.calls)
    )


class _Watch:
    """Sees each function of the analysis begin and return.

    It keeps what its variables are called then, and what is declared of what it takes and gives.
    """

    def __init__(self) -> None:
        self.names: dict[Node, Name] = {}
        self.tables: dict[Node, str] = {}
        self.units: dict[Node, str | None] = {}
        self.calls: list[Call] = []
        self.outermost = sys.maxsize
        self._depth = 0
        self._functions: dict[CodeType, FunctionType | None] = {}
        self._took: dict[int, tuple[Part, ...]] = {}

    def __call__(self, frame: FrameType, event: str, returned: Any) -> None:
        if event == "call":
            self._depth += 1
            if not _is_ours(frame):
                self._begin(frame)
        elif event == "return":
            self._depth -= 1
            if not _is_ours(frame):
                self._keep(frame, returned)
                self._end(frame, returned)

    def _keep(self, frame: FrameType, returned: Any) -> None:
        if isinstance(returned, Value) and returned.operation == "table":
            self.tables.setdefault(returned, frame.f_code.co_name)
        for variable, value in frame.f_locals.items():
            # An argument by its own name is found in the analysis, not in who called it.
            if isinstance(value, Value) and value.is_input(variable):
                self.outermost = min(self.outermost, self._depth)
            for name, case, node in _nodes_in(variable, None, value, 0):
                known = self.names.get(node)
                if known is None or self._depth < known.depth:
                    self.names[node] = Name(name, case, self._depth)

    def _function(self, frame: FrameType) -> FunctionType | None:
        code = frame.f_code
        if code not in self._functions:
            self._functions[code] = function_of(code, frame.f_globals)
        return self._functions[code]

    def _begin(self, frame: FrameType) -> None:
        function = self._function(frame)
        if function is None:
            return
        code, hints = frame.f_code, hints_of(function)
        taken = frame.f_locals
        names = code.co_varnames[: code.co_argcount + code.co_kwonlyargcount]
        # The fields of a tuple whose method it is go by their own names.
        parts = [
            part
            for name in names
            for part in _parts("" if name == "self" else name, taken[name], hints.get(name), 0)
        ]
        self._declare(parts)
        self._took[id(frame)] = tuple(parts)

    def _end(self, frame: FrameType, returned: Any) -> None:
        took = self._took.pop(id(frame), None)
        function = self._function(frame)
        if took is None or function is None:
            return
        gave = tuple(_parts("", returned, hints_of(function).get("return"), 0))
        self._declare(gave)
        if gave and len(self.calls) < MOST_CALLS:
            self.calls.append(Call(function, took, gave))

    def _declare(self, parts: Iterator[Part] | list[Part] | tuple[Part, ...]) -> None:
        for part in parts:
            if part.unit is not None and isinstance(part.value, Value):
                known = self.units.setdefault(part.value, part.unit)
                if known != part.unit:
                    self.units[part.value] = None


def _is_ours(frame: FrameType) -> bool:
    """A comprehension has no name of its own; the tool's frames are no matter of the author."""
    module = frame.f_globals.get("__name__") or ""
    return frame.f_code.co_name.startswith("<") or module.partition(".")[0] == "closeout"


def _nodes_in(
    name: str, case: str | None, value: Any, level: int
) -> Iterator[tuple[str, str | None, Node]]:
    """Yield the values that a variable holds: itself, by case, or by the name of a field."""
    if isinstance(value, Value):
        if value.operation != "input":
            yield name, case, value
    elif level < _DEEPEST and isinstance(value, Mapping):
        for key, one in value.items():
            if isinstance(key, str):
                yield from _nodes_in(name, key, one, level + 1)
    elif level < _DEEPEST and _is_named(value):
        for field, one in zip(value._fields, value, strict=True):
            yield from _nodes_in(field, case, one, level + 1)


def _is_named(value: Any) -> bool:
    return isinstance(value, tuple) and hasattr(value, "_fields")


def _parts(name: str, value: Any, hint: Any, level: int) -> Iterator[Part]:
    """Yield the numbers that something holds, with the unit that is declared of each."""
    unit, _ = unit_of(hint)
    if isinstance(value, Value) or (isinstance(value, (int, float)) and not _is_flag(value)):
        yield Part(name, value, unit)
    elif level < _DEEPEST and isinstance(value, Mapping):
        for key, one in value.items():
            if isinstance(key, str):
                inner = next(iter(_parts("", one, None, _DEEPEST)), None)
                if inner is not None:
                    yield Part(f"{name}[{key}]", inner.value, unit)
                else:
                    yield from _parts(f"{name}[{key}]", one, None, level + 1)
    elif level < _DEEPEST and _is_named(value):
        kind: Any = type(value)
        hints = hints_of(kind)
        for field, one in zip(value._fields, value, strict=True):
            label = f"{name}.{field}" if name else field
            yield from _parts(label, one, hints.get(field), level + 1)


def _is_flag(value: Any) -> bool:
    return isinstance(value, bool)
