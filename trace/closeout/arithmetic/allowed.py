"""What a formula may be made of, for ranges and arrays to speak of every point of a box.

An evaluation on ranges proves something only where the code does with a range what it would do
with each number in it. Code that looks at what it is given (``isinstance``, ``match``, ``is``),
that catches what a range raises, or that keeps something for the next evaluation, can do otherwise.
Which code that is cannot be listed; so what is *allowed* is listed: instructions
(:mod:`closeout.arithmetic.instructions`), names, values. Whatever else there is gives a reason, the
construct with its line, and the analysis is searched instead.

A code object is judged once, whatever evaluates it; a forked process inherits what is known.
"""

from __future__ import annotations

import bisect
import builtins
import functools
import itertools
import math
import operator
import sys
from collections.abc import Iterable, Iterator, Mapping
from types import (
    BuiltinFunctionType,
    BuiltinMethodType,
    CodeType,
    FunctionType,
    MappingProxyType,
    MethodType,
    ModuleType,
    NoneType,
)
from typing import Any, NamedTuple

import closeout
import closeout.math
from closeout.arithmetic.instructions import ALLOWED as INSTRUCTIONS
from closeout.arithmetic.instructions import REFUSED, Step, is_in_place, line_of, name_of, steps
from closeout.arithmetic.origin import Origin, is_librarys, origin, place

BUILTINS = (
    "abs", "all", "any", "bool", "dict", "enumerate", "filter", "float", "frozenset", "int",
    "iter", "len", "list", "map", "max", "min", "next", "range", "reversed", "round", "set",
    "slice", "sorted", "sum", "tuple", "zip",
)  # fmt: skip
# Attributes of named tuples that begin with an underscore all the same.
_OF_TUPLES = frozenset(("_asdict", "_fields", "_make", "_replace"))
# Ways to frames, code and namespaces, by which code reaches what it was not given; and the texts
# that ask a value for its attributes themselves ("{0.__class__}").
_WAYS_ROUND = frozenset(
    (
        "ag_frame", "cr_frame", "f_back", "f_builtins", "f_code", "f_globals", "f_locals", "format",
        "format_map", "gi_code", "gi_frame", "gi_yieldfrom", "mro", "tb_frame",
    )
)  # fmt: skip
# What reaches further than its own arguments, wherever it stands.
_FAR_REACHING = frozenset(
    (
        "_getframe", "_current_frames", "currentframe", "eval", "exec", "gc", "get_objects",
        "get_referents", "get_referrers", "globals", "inspect", "locals", "modules", "setprofile",
        "settrace", "stack", "vars", *_WAYS_ROUND - {"format", "format_map", "mro"},
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
_SIMPLE = frozenset(
    (float, int, bool, NoneType, str, bytes, complex, range, type(...), closeout.Absent)
)
PLAIN_MODULES = frozenset(("datetime", "decimal", "fractions", "pathlib", "pathlib._local", "re"))
_CONTAINERS = frozenset((tuple, list, set, frozenset, dict, MappingProxyType))
_MUTABLE = frozenset((list, set, dict))
# Of what stands under a name, nothing can be kept inside.
_CLOSED = (ModuleType, BuiltinFunctionType)
_CALLABLE = (BuiltinFunctionType, BuiltinMethodType, FunctionType, MethodType, type)
_MISSING = object()


def _public(module: ModuleType) -> Iterator[Any]:
    return (value for name, value in vars(module).items() if not name.startswith("_"))


# As they are before a module of the project is imported, which may put others in their place.
_KNOWN = {
    id(value): value
    for value in (
        *(getattr(builtins, name) for name in BUILTINS),
        *(getattr(closeout.math, name) for name in closeout.math.__all__ if name != "extend"),
        *_public(math), *_public(itertools), *_public(bisect),
        functools.reduce, closeout.absent, closeout.Absent,
    )
    if callable(value)
}  # fmt: skip


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
    """Return what can be told of an analysis, or another function, from its code alone."""
    function = getattr(function, "function", function)
    if type(function) is not FunctionType:
        return NOTHING_SHOWN
    left, seen = [function], {id(function)}
    places: dict[tuple[str, int], Place] = {}
    changes = mutable = False
    pure = True
    while left:
        one = left.pop()
        cells, defaults = _cells(one), _defaults(one)
        pure &= _is_own(one)
        mutable |= any(map(_is_mutable, (*cells, *defaults)))
        places.update(_places(one))
        new = [use for cell in cells for use in _functions_in(cell) if id(use) not in seen]
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
    """Yield the names under which a function could find again what it kept."""
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
        if step.name in REFUSED:
            return REFUSED[step.name]
        if step.name not in INSTRUCTIONS:
            version = ".".join(map(str, sys.version_info[:2]))
            return f"the instruction {step.name} of Python {version}", "is not known"
        if step.name == "IS_OP" and not self._is_none(step, all_steps[i - 1]):
            return "`is`", "looks at what it is given"
        name = name_of(step, self._code)
        if name is None:
            return None
        if step.name == "LOAD_GLOBAL":
            return self._against_global(name, all_steps[i + 1 :])
        hidden = name.startswith("_") and name not in _OF_TUPLES
        if hidden or name in _WAYS_ROUND:
            return f"`.{name}`", "looks at what it is given"
        return None

    def _is_none(self, step: Step, before: Step) -> bool:
        constant = before.name == "LOAD_CONST" and self._code.co_consts[before.argument] is None
        return constant and not step.target

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
        self._mutable |= _is_mutable(value)
        self._uses += _functions_in(value)
        if _is_allowed(value):
            return None
        return f"`{name}`", _why_not(value)


def _why_not(value: Any) -> str:
    if value is _MISSING:
        return "is not there"
    if callable(value):
        return "looks at what it is given"
    return "holds more than numbers"


# Values that code names.


def is_known(value: Any) -> bool:
    """Return whether a value is one of the functions that are allowed."""
    return id(value) in _KNOWN


def _is_method(method: FunctionType) -> bool:
    made = origin(method.__code__, method.__globals__) is Origin.LIBRARY  # by namedtuple
    return made or _is_own(method)


def is_data(value: Any) -> bool:
    """Return whether a value is data, and nothing that could be called stands in it."""
    return not _can_be_called(value) and _is_plain(value, set())


def _is_allowed(value: Any) -> bool:
    return callable_allowed(value) if _can_be_called(value) else _is_plain(value, set())


def _can_be_called(value: Any) -> bool:
    return isinstance(value, _CALLABLE) or callable(value)


def callable_allowed(value: Any, seen: frozenset[int] = frozenset()) -> bool:
    """Return whether what can be called may be called: known, or code that is judged itself.

    Of that code, what it closes over may be called, too, and its defaults are data: so whatever is
    called was named in code that is judged.
    """
    if is_known(value) or _is_ufunc(value):
        return True
    if isinstance(value, type):
        return _is_record(value)
    found = function_of(value)
    return found is not None and _is_own(found, seen)


def _is_own(function: FunctionType, seen: frozenset[int] = frozenset()) -> bool:
    if id(function) in seen:
        return True
    seen |= {id(function)}
    return (
        origin(function.__code__, function.__globals__) is Origin.PROJECT
        and all(map(is_data, _defaults(function)))
        and all(
            callable_allowed(cell, seen) if _can_be_called(cell) else _is_plain(cell, set())
            for cell in _cells(function)
        )
    )


def function_of(value: Any) -> FunctionType | None:
    """Return the function behind a value, itself, an analysis or a memo; None for any other."""
    if isinstance(value, (closeout.Analysis, functools._lru_cache_wrapper)):
        value = value.__wrapped__
    if type(value) is MethodType:
        value = value.__func__
    return value if type(value) is FunctionType and not is_known(value) else None


def _functions_in(value: Any) -> list[FunctionType]:
    """Return the functions of the project that a value leads to: itself, or those of its class."""
    found = function_of(value)
    if found is None and not _can_be_called(value):
        value = type(value)
    parts = [found]
    if isinstance(value, type) and not is_known(value):
        for part in vars(value).values():
            inner = [part.fget, part.fset] if type(part) is property else [part]
            parts += [function_of(getattr(one, "__func__", one)) for one in inner]
    return [
        one
        for one in parts
        if one is not None and origin(one.__code__, one.__globals__) is Origin.PROJECT
    ]


def _is_record(kind: type) -> bool:
    """Return whether a class is a named tuple, a frozen dataclass, or an error to be raised."""
    if issubclass(kind, BaseException):
        return True
    if type(kind) is not type:
        return False
    frozen = getattr(vars(kind).get("__dataclass_params__"), "frozen", False)
    named = issubclass(kind, tuple) and hasattr(kind, "_fields")
    return (named or frozen is True) and all(_is_part(*one) for one in vars(kind).items())


def _is_part(name: str, value: Any) -> bool:
    """Return whether a value may stand in a class: what its methods do is seen when they run."""
    parts = [value.fget, value.fset] if type(value) is property else [value]
    methods: list[Any] = [getattr(part, "__func__", part) for part in parts if part is not None]
    if all(type(method) is FunctionType for method in methods):
        return all(map(_is_method, methods))
    if _can_be_called(value):
        return False
    return name.startswith("__") or _is_plain(value, set(), descriptors=True)


def _is_plain(value: Any, seen: set[int], *, descriptors: bool = False) -> bool:
    """Return whether a value is data: numbers, texts, dates, paths, and containers of such."""
    kind = type(value)
    if kind in _SIMPLE or id(value) in seen:
        return True
    if kind.__module__ in PLAIN_MODULES:
        return not callable(value)
    if descriptors and hasattr(kind, "__get__"):
        return kind.__module__ in ("builtins", "collections", "_collections")
    if _is_numpys(value):
        return value.dtype.kind in "biuf"
    seen.add(id(value))
    if kind in _CONTAINERS or (isinstance(value, tuple) and hasattr(kind, "_fields")):
        parts: Iterable[Any] = value.items() if isinstance(value, Mapping) else value
        return all(_is_plain(part, seen) for part in parts)
    if _is_record(kind):
        return all(_is_plain(part, seen) for part in vars(value).values())
    return False


def _is_numpys(value: Any) -> bool:
    numpy = sys.modules.get("numpy")
    return numpy is not None and (type(value) is numpy.ndarray or isinstance(value, numpy.generic))


def _is_ufunc(value: Any) -> bool:
    """Return whether a value is a function of NumPy that acts element by element."""
    numpy = sys.modules.get("numpy")
    return (
        numpy is not None
        and type(value) is numpy.ufunc
        and value.signature is None
        and getattr(numpy, value.__name__, None) is value
    )


def _is_mutable(value: Any) -> bool:
    """Return whether a value, or a part of it, can be changed in place."""
    if type(value) in _SIMPLE or type(value) is frozenset:
        return False
    if type(value) is FunctionType:
        return bool(value.__dict__) or any(map(_is_mutable, (*_cells(value), *_defaults(value))))
    if type(value) in _MUTABLE:
        return True
    if isinstance(value, tuple):
        return any(map(_is_mutable, value))
    if isinstance(value, type):
        own = (one for name, one in vars(value).items() if not name.startswith("_"))
        return any(type(one) in _MUTABLE for one in own)
    return not _can_be_called(value) and type(value).__module__ not in PLAIN_MODULES


def _cells(function: FunctionType) -> list[Any]:
    found = []
    for cell in function.__closure__ or ():
        try:
            found.append(cell.cell_contents)
        except ValueError:  # not filled yet
            continue
    return found


def _defaults(function: FunctionType) -> list[Any]:
    return [*(function.__defaults__ or ()), *(function.__kwdefaults__ or {}).values()]
