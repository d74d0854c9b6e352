"""What a formula may be made of, for ranges and arrays to speak of every point of a box.

An evaluation on ranges proves something only where the code does with a range what it would do
with each number in it. Code that inspects its arguments (``isinstance``, ``match``, ``is``),
that catches what a range raises, or that keeps something for the next evaluation, can do otherwise.
Which code that is cannot be listed; so what is *allowed* is listed: instructions
(:mod:`.code.instructions`), names, values. Whatever else there is gives a reason, the
construct with its line, and the analysis is searched instead.

A code object is judged once, whatever evaluates it; a forked process inherits what is known.
"""

from __future__ import annotations

import operator
from collections.abc import Iterator, Mapping
from types import BuiltinFunctionType, CodeType, FunctionType, ModuleType
from typing import Any, NamedTuple

from closeout.arithmetic.code.instructions import (
    Step,
    against,
    is_in_place,
    is_written_out,
    line_of,
    name_of,
    steps,
)
from closeout.arithmetic.code.named import (
    cells_of,
    defaults_of,
    functions_in,
    is_allowed,
    is_mutable,
    is_own,
)
from closeout.arithmetic.code.origin import is_librarys, place

# Attributes of named tuples that begin with an underscore all the same.
_OF_TUPLES = frozenset(("_asdict", "_fields", "_make", "_replace"))
# Ways to frames, code and namespaces, by which code reaches what it was not given; the texts that
# ask a value for its attributes themselves ("{0.__class__}"); and what hangs on an analysis.
_WAYS_ROUND = frozenset(
    (
        "ag_frame", "artifacts", "cr_frame", "f_back", "f_builtins", "f_code", "f_globals",
        "f_locals", "figures", "format", "format_map", "gi_code", "gi_frame", "gi_yieldfrom", "mro",
        "tb_frame",
    )
)  # fmt: skip
_NEAR = frozenset(("artifacts", "figures", "format", "format_map", "mro"))
# What reaches further than its own arguments, wherever it stands.
_FAR_REACHING = frozenset(
    (
        "_getframe", "_current_frames", "currentframe", "eval", "exec", "gc", "get_objects",
        "get_referents", "get_referrers", "globals", "inspect", "locals", "modules", "setprofile",
        "settrace", "stack", "vars", *_WAYS_ROUND - _NEAR,
    )
)  # fmt: skip
# Methods by which a container is changed.
_CHANGES = frozenset(
    (
        "add", "append", "appendleft", "clear", "discard", "extend", "extendleft", "insert",
        "insort", "insort_left", "insort_right", "pop", "popitem", "popleft", "remove", "reverse",
        "rotate", "setdefault", "sort", "update",
    )
)  # fmt: skip
# Of what stands under a name, nothing can be stored inside.
_CLOSED = (ModuleType, BuiltinFunctionType)
_MISSING = object()


class Judged(NamedTuple):
    """What was found of a code object.

    ``reason`` is the first construct that is not allowed, with its place; None where all of it is.
    ``uses`` are the functions that it may call. ``changes`` is whether it might change a value in
    place, ``mutable`` whether it names values that can be changed; ``far`` whether it may reach
    what it was not given.
    """

    reason: str | None
    uses: tuple[FunctionType, ...]
    changes: bool
    mutable: bool
    far: bool


class Place(NamedTuple):
    """A name of a module, or a variable that a function holds, and where to look for it."""

    name: str
    holder: Mapping[str, Any]


class Shown(NamedTuple):
    """What is known of an analysis before it runs, from all the code that it may come to.

    ``pure`` is whether all of that is allowed; ``keeps`` whether it might keep something that
    outlives an evaluation, at one of the ``places``.
    """

    pure: bool
    keeps: bool
    places: tuple[Place, ...] = ()


NOTHING_SHOWN = Shown(False, True)

_judged: dict[int, tuple[CodeType, Judged]] = {}


def shown(function: Any) -> Shown:
    """Return what can be said of an analysis, or another function, from its code alone."""
    function = getattr(function, "function", function)
    if type(function) is not FunctionType:
        return NOTHING_SHOWN
    left, seen = [function], {id(function)}
    places: dict[tuple[str, int], Place] = {}
    changes = mutable = False
    pure = True
    while left:
        one = left.pop()
        cells, defaults = cells_of(one), defaults_of(one)
        pure &= is_own(one)
        mutable |= any(map(is_mutable, (*cells, *defaults)))
        places.update(_places(one))
        new = [use for cell in cells for use in functions_in(cell) if id(use) not in seen]
        for code in _nested(one.__code__):
            found = judged(code, one.__globals__, _builtins_of(one))
            pure &= found.reason is None
            changes |= found.changes
            mutable |= found.mutable
            new += [use for use in found.uses if id(use) not in seen]
        seen.update(map(id, new))
        left += new
    keeps = not pure or (changes and mutable)
    return Shown(pure, keeps, tuple(places.values()) if keeps else ())


def _places(function: FunctionType) -> Iterator[tuple[tuple[str, int], Place]]:
    """Yield the names under which a function could find again what it stored."""
    names = function.__globals__
    for code in _nested(function.__code__):
        own = [name for name in code.co_names if name in names]
        holders = [vars(names[name]) for name in own if type(names[name]) is ModuleType]
        for holder in (names, *holders):
            if holder is names or _is_ours(holder):
                for name in code.co_names:
                    if name in holder and type(holder[name]) not in _CLOSED:
                        yield (name, id(holder)), Place(name, holder)
    name = function.__name__
    yield (name, id(function)), Place(name, {name: function})


def _is_ours(names: Mapping[str, Any]) -> bool:
    return not is_librarys(str(names.get("__file__", "<frozen ")))


def _builtins_of(function: FunctionType) -> Mapping[str, Any]:
    # By name: some versions of the type stubs know this attribute of functions, others do not.
    found: Mapping[str, Any] = operator.attrgetter("__builtins__")(function)
    return found


def judged(code: CodeType, names: Mapping[str, Any], inbuilt: Mapping[str, Any]) -> Judged:
    """Return what is known of a code object, whose globals and builtins are given."""
    known = _judged.get(id(code))
    if known is None or known[0] is not code:
        known = _judged[id(code)] = code, _Judge(code, names, inbuilt).judged()
    return known[1]


def _nested(code: CodeType) -> Iterator[CodeType]:
    yield code
    for one in code.co_consts:
        if isinstance(one, CodeType):
            yield from _nested(one)


class _Judge:
    """Looks at each instruction of a code object."""

    def __init__(
        self, code: CodeType, names: Mapping[str, Any], inbuilt: Mapping[str, Any]
    ) -> None:
        self._code = code
        self._names = names
        self._inbuilt = inbuilt
        self._uses: list[FunctionType] = []
        self._mutable = False

    def judged(self) -> Judged:
        """Return what was found."""
        if type(self._code) is not CodeType:
            return Judged("it is no code of Python", (), True, True, True)
        all_steps = steps(self._code)
        reason = None
        for i, step in enumerate(all_steps):
            speaks = self._against(step, i, all_steps)
            if speaks is not None and reason is None:
                reason = self._placed(step, *speaks)
        return Judged(
            reason,
            tuple(self._uses),
            any(map(self._is_change, all_steps)),
            self._mutable,
            not _FAR_REACHING.isdisjoint(self._code.co_names),
        )

    def _placed(self, step: Step, what: str, why: str) -> str:
        return f"{what} at {place(self._code, line_of(step, self._code))} {why}"

    def _is_change(self, step: Step) -> bool:
        if step.name in ("STORE_SUBSCR", "STORE_SLICE", "DELETE_SUBSCR") or is_in_place(step):
            return True
        if step.name == "STORE_DEREF":  # of a variable of its own, it is gone with the call
            return bool(self._code.co_freevars)
        return name_of(step, self._code) in _CHANGES

    def _against(self, step: Step, i: int, all_steps: list[Step]) -> tuple[str, str] | None:
        """Return what speaks against an instruction: how its author calls it, and why."""
        speaks = against(step)
        if speaks is not None:
            return speaks
        if step.name == "IS_OP" and not self._may_be_asked(step, all_steps[i - 1]):
            return "`is`", "inspects its arguments"
        name = name_of(step, self._code)
        if name is None:
            return None
        if step.name == "LOAD_GLOBAL":
            return self._against_global(name, all_steps[i + 1 :])
        hidden = name.startswith("_") and name not in _OF_TUPLES
        if hidden or name in _WAYS_ROUND:
            return f"`.{name}`", "inspects its arguments"
        return None

    def _may_be_asked(self, step: Step, before: Step) -> bool:
        """Return whether ``is`` asks for None, or stands before a loop that the compiler wrote."""
        none = before.name == "LOAD_CONST" and self._code.co_consts[before.argument] is None
        return (none or is_written_out(before)) and not step.target

    def _against_global(self, name: str, following: list[Step]) -> tuple[str, str] | None:
        value = self._names.get(name, self._inbuilt.get(name, _MISSING))
        for step in following:
            if type(value) is not ModuleType:
                break
            attribute = name_of(step, self._code) or ""
            if step.name not in ("LOAD_ATTR", "LOAD_METHOD") or attribute.startswith("_"):
                break
            name = f"{name}.{attribute}"
            value = vars(value).get(attribute, _MISSING)
        self._mutable |= is_mutable(value)
        self._uses += functions_in(value)
        if is_allowed(value):
            return None
        return f"`{name}`", _why_not(value)


def _why_not(value: Any) -> str:
    if value is _MISSING:
        return "is not there"
    if callable(value):
        return "inspects its arguments"
    return "holds more than numbers"
