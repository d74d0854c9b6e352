"""The symbolic form of an analysis: stages, each in terms of inputs and earlier stages.

A stage is a field of the result, or a value that the author gave a name to; so the formulas stay
as short as the author wrote them, and nothing is ever multiplied out. What SymPy makes of them is
in :mod:`closeout.arithmetic.symbol.expressions`. Pure: no process, no file.
"""

from __future__ import annotations

import os
import traceback
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from math import isfinite, sqrt
from types import MappingProxyType
from typing import Any, NamedTuple

from closeout import Absent
from closeout.arithmetic.code.origin import ENGINE
from closeout.arithmetic.recorded.recorded import COMPUTE, Node, NoFormula, Value
from closeout.arithmetic.recorded.watched import Call, Recording, record
from closeout.arithmetic.types import Box, Evaluate, Key

# A part of a formula with a name of its own in a function beneath becomes a stage from so many
# operations on; one without a name, from so many. Both only keep formulas on one line.
NAMED_FROM = 8
UNNAMED_FROM = 30
# What a form may differ from the number, relative to it; and relative to the largest of all points,
# for a number that is a small difference.
AGREEMENT = 1e-9
CANCELLATION = 1e-12
POINTS = 8


class Stage(NamedTuple):
    """One line of a calculation.

    ``quantity`` and ``case`` are those of the result's field, or the name that the author gave to
    the value (``field`` is False then). ``node`` is what was recorded, or a constant.
    """

    quantity: str
    case: str | None
    field: bool
    node: Value | float
    value: float


class Symbolic(NamedTuple):
    """The symbolic form of an analysis at one point, where it has one.

    ``inputs`` are the nodes of the arguments, ``at`` the numbers put in. ``stages`` come in an
    order in which each can be computed. ``reasons`` tells, by quantity and case, why one has no
    form that may be used. ``tables`` names look-ups in tables, by their nodes. ``units`` are those
    that functions of the author declare, ``calls`` the calls of his helper functions.
    """

    inputs: Mapping[str, Value]
    at: Mapping[str, float]
    stages: tuple[Stage, ...]
    reasons: Mapping[Key, str]
    tables: Mapping[Node, str]
    units: Mapping[Node, str | None] = MappingProxyType({})
    calls: tuple[Call, ...] = ()

    def stage(self, key: Key) -> Stage | None:
        """Return the stage of a quantity and case, or None where it has no form."""
        if key in self.reasons:
            return None
        return next((s for s in self.stages if s.field and (s.quantity, s.case) == key), None)

    @property
    def made(self) -> dict[Node, Stage]:
        """The stage in which each node is written out; other stages of that node only name it."""
        found: dict[Node, Stage] = {}
        for stage in self.stages:
            if isinstance(stage.node, Value) and stage.node.operation != "input":
                found.setdefault(stage.node, stage)
        return found

    def stages_of(self, key: Key) -> tuple[Stage, ...]:
        """Return the stages that a quantity and case needs, itself last; empty without a form."""
        last = self.stage(key)
        if last is None:
            return ()
        made = self.made
        nodes = nodes_below([last.node]) if isinstance(last.node, Value) else []
        needed = [id(made[node]) for node in nodes if node in made]
        return (*(one for one in self.stages if id(one) in needed and one is not last), last)


def nodes_below(values: Iterable[Node], stop: Container[Node] = ()) -> list[Node]:
    """Return values and all that they rest on, each behind its operands.

    Not what lies beneath the nodes of ``stop``, which stand for themselves.
    """
    found: dict[Node, None] = {}
    left = list(values)[::-1]
    while left:
        node = left[-1]
        missing = [] if node in stop else [one for one in node.nodes if one not in found]
        if missing:
            left += missing[::-1]
        else:
            found[left.pop()] = None
    return list(found)


def replayed(
    nodes: Iterable[Node],
    point: Mapping[str, float],
    more: Mapping[str, Callable[..., Any]] | None = None,
) -> dict[Node, Any]:
    """Return the number of each node at a point of the arguments; raises what the numbers raise.

    Args:
        nodes: in an order in which each can be computed.
        point: the arguments, by name.
        more: operations beside those of an analysis.
    """
    compute = {**COMPUTE, **(more or {})}
    found: dict[Node, Any] = {}
    for node in nodes:
        if node.operation == "input":
            found[node] = point[node.operands[0]]
        else:
            operands = (found[one] if isinstance(one, Node) else one for one in node.operands)
            found[node] = compute[node.operation](*operands)
    return found


def symbolic(
    evaluate: Evaluate,
    inputs: Mapping[str, float],
    box: Box = (),
    keys: Sequence[Key] | None = None,
) -> Symbolic:
    """Return the symbolic form of an analysis, as far as it agrees with the numbers.

    It is compared with the number at the inputs and at eight points of the box. Nothing is raised
    for an analysis that has no symbolic form: ``reasons`` says why.

    Args:
        evaluate: the analysis on plain numbers and on whatever else ``closeout.math`` takes; it
            must hand on the values as they are, without turning them into floats.
        inputs: the point, by argument.
        box: low and high end of the arguments that have a spread.
        keys: the quantities and cases that are wanted; None is all of them.
    """
    try:
        recording = record(evaluate, inputs)
    except Exception as error:
        return _none(evaluate, inputs, keys, _why(error))
    wanted = [key for key in recording.values if keys is None or key in keys]
    reasons: dict[Key, str] = {}
    for key in wanted:
        if isinstance(value := recording.values[key], Absent):
            reasons[key] = f"it has no value: {value.reason}"
    usable = [key for key in wanted if key not in reasons]
    reasons |= _disagreements(evaluate, inputs, box, recording, usable)
    stages = _stages(recording, usable)
    return Symbolic(
        recording.inputs, dict(inputs), stages, reasons, recording.tables, recording.units,
        recording.calls,
    )  # fmt: skip


def _none(
    evaluate: Evaluate, inputs: Mapping[str, float], keys: Sequence[Key] | None, reason: str
) -> Symbolic:
    if keys is None:
        keys = list(evaluate(inputs))
    return Symbolic({}, dict(inputs), (), dict.fromkeys(keys, reason), {})


def _why(error: Exception) -> str:
    """Return why an analysis could not be evaluated on symbols, with the author's line."""
    text = _first_line(error)
    if not isinstance(error, NoFormula):
        text = f"on symbols it raises {type(error).__name__}: {text}"
    frames = traceback.extract_tb(error.__traceback__)
    own = [f for f in frames if not f.filename.startswith((ENGINE, "<"))]
    # Inside a worker the files of the project have names from its root.
    own = [f for f in own if not os.path.isabs(f.filename)] or own[-1:]
    if not own:
        return text
    name = own[-1].filename
    shown = os.path.basename(name) if os.path.isabs(name) else name
    return f"{text} ({shown}:{own[-1].lineno})"


def _first_line(error: Exception) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0][:300]


def _stages(recording: Recording, keys: Sequence[Key]) -> tuple[Stage, ...]:
    """Return the lines of the calculation.

    The fields that are constants, inputs handed on, or the same value as an earlier one come last.
    """
    names = _stage_names(recording, keys)
    stages = [
        Stage(*names[node], node, node.value)
        for node in _needed(recording, keys)
        if node in names and isinstance(node, Value)
    ]
    for key in keys:
        value = recording.values[key]
        if not isinstance(value, Value):
            stages.append(Stage(*key, True, value, float(value)))
        elif names.get(value, ())[:2] != key:
            stages.append(Stage(*key, True, value, value.value))
    return tuple(stages)


def _needed(recording: Recording, keys: Sequence[Key]) -> list[Node]:
    """Return the nodes that the wanted values rest on, in an order in which to compute them.

    The lines of a hand calculation: a field follows what it needs, and the fields keep their order
    as far as that allows.
    """
    seen: set[Node] = set()
    found: list[Node] = []
    for key in keys:
        value = recording.values[key]
        if not isinstance(value, Value) or value in seen:
            continue
        part: set[Node] = set()
        open_: list[Node] = [value]
        while open_:
            node = open_.pop()
            if node not in seen:
                seen.add(node)
                part.add(node)
                open_ += node.nodes
        found += sorted(part, key=lambda node: node.index)
    return found


def _stage_names(
    recording: Recording, keys: Sequence[Key]
) -> dict[Node, tuple[str, str | None, bool]]:
    """Return which nodes become stages, and how each is called: quantity, case, is it a field."""
    found: dict[Node, tuple[str, str | None, bool]] = {}
    for key in keys:
        value = recording.values[key]
        if isinstance(value, Value) and value.operation != "input":
            found.setdefault(value, (*key, True))
    taken = {(quantity, case) for quantity, case, _ in found.values()}
    taken |= {(name, None) for name in recording.inputs}
    taken |= set(recording.values)
    size: dict[Node, int] = {}
    for node in _needed(recording, keys):
        if node.operation == "input":
            continue
        size[node] = 1 + sum(size.get(n, 0) for n in node.nodes if n not in found)
        if node in found or not isinstance(node, Value):
            continue
        name = recording.names.get(node)
        wanted = name is not None and (name.depth <= recording.depth or size[node] >= NAMED_FROM)
        if wanted or size[node] >= UNNAMED_FROM:
            called = (name.name, name.case) if wanted and name is not None else ("term", None)
            # A quantity of the result that is not asked for is called what it is.
            own = recording.values.get(called) is node
            found[node] = (*(called if own else _free(called, taken)), False)
    return found


def _free(called: Key, taken: set[Key]) -> Key:
    """Return a name that is not taken yet, numbered where it is, and take it."""
    name, case = called
    number = 1
    while (called := (name if number == 1 else f"{name}_{number}", case)) in taken:
        number += 1
    taken.add(called)
    return called


def _disagreements(
    evaluate: Evaluate,
    inputs: Mapping[str, float],
    box: Box,
    recording: Recording,
    keys: Sequence[Key],
) -> dict[Key, str]:
    """Return which quantities differ from the numbers, and where."""
    values = {key: recording.values[key] for key in keys}
    nodes = nodes_below(value for value in values.values() if isinstance(value, Value))
    points = [dict(inputs), *_points(inputs, box)]
    reasons: dict[Key, str] = {}
    pairs: dict[Key, list[tuple[float, float]]] = {key: [] for key in keys}
    for point in points:
        number = evaluate(point)
        try:
            form = replayed(nodes, point)
        except (ArithmeticError, ValueError, TypeError) as error:
            text = f"its symbolic form has no value at {_shown(point, box)}: {error}"
            return dict.fromkeys(keys, text)
        for key, value in values.items():
            if isinstance(missing := number.get(key), Absent) or missing is None:
                reasons.setdefault(key, f"it has no value at {_shown(point, box)}")
            else:
                on_symbols = form[value] if isinstance(value, Value) else value
                pairs[key].append((float(missing), on_symbols))
    for key, both in pairs.items():
        largest = max((abs(number) for number, _ in both), default=0.0)
        for point, (value, on_symbols) in zip(points, both, strict=False):
            if key not in reasons and not _agree(value, on_symbols, largest):
                text = f"on symbols it gives {on_symbols!r}, on numbers {value!r}"
                reasons[key] = f"{text}, at {_shown(point, box)}"
    return reasons


def _agree(number: float, form: float, largest: float) -> bool:
    if isinstance(form, complex) or not isfinite(form):
        return False
    allowed = max(AGREEMENT * abs(number), CANCELLATION * largest)
    return abs(number - form) <= allowed


def _points(inputs: Mapping[str, float], box: Box) -> list[dict[str, float]]:
    """Return eight points spread over the box: an additive sequence, square roots of primes."""
    if not box:
        return []
    steps = [sqrt(prime) % 1.0 for prime in _primes(len(box))]
    return [
        dict(inputs)
        | {
            name: low + ((0.5 + k * step) % 1.0) * (high - low)
            for (name, low, high), step in zip(box, steps, strict=True)
        }
        for k in range(1, POINTS + 1)
    ]


def _primes(count: int) -> list[int]:
    found: list[int] = []
    candidate = 2
    while len(found) < count:
        if all(candidate % prime for prime in found):
            found.append(candidate)
        candidate += 1
    return found


def _shown(point: Mapping[str, float], box: Box) -> str:
    return ", ".join(f"{name} = {point[name]!r}" for name, _, _ in box) or "the inputs"
