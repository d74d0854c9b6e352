"""What a value is that code names: data, something that may be called, or neither.

A container and an object hold data, and nothing that could be called. What may be called is known
(:data:`BUILTINS`, :mod:`closeout.math` and a few modules of Python), or a function of the project,
or a class whose every part, of its own and inherited, is one of these.
"""

from __future__ import annotations

import bisect
import builtins
import collections
import functools
import itertools
import math
import os
import sys
from collections.abc import Iterable, Iterator, Mapping
from types import (
    BuiltinFunctionType,
    BuiltinMethodType,
    FunctionType,
    GetSetDescriptorType,
    MappingProxyType,
    MemberDescriptorType,
    MethodType,
    ModuleType,
    NoneType,
)
from typing import Any

import closeout
import closeout.math
from closeout.arithmetic.code.origin import Origin, origin

BUILTINS = (
    "abs", "all", "any", "bool", "dict", "enumerate", "filter", "float", "frozenset", "int",
    "iter", "len", "list", "map", "max", "min", "next", "range", "reversed", "round", "set",
    "slice", "sorted", "sum", "tuple", "zip",
)  # fmt: skip
# Whose functions are in named tuples and dataclasses.
_HOME = os.path.dirname(os.__file__)  # `dataclasses` is not imported: evaluate/forking.py
_MAKERS = frozenset(
    ("<string>", *(os.path.join(_HOME, file) for file in ("dataclasses.py", "reprlib.py")),
     collections.__file__)
)  # fmt: skip
_DESCRIPTORS = frozenset(
    (type(vars(collections.namedtuple("_", "x"))["x"]), GetSetDescriptorType, MemberDescriptorType)
)
_MADE_IN_PYTHON = 1 << 9  # Py_TPFLAGS_HEAPTYPE
_SIMPLE = frozenset(
    (float, int, bool, NoneType, str, bytes, complex, range, type(...), closeout.Absent)
)
PLAIN_MODULES = frozenset(("datetime", "decimal", "fractions", "pathlib", "pathlib._local", "re"))
_CONTAINERS = frozenset((tuple, list, set, frozenset, dict, MappingProxyType))
_MUTABLE = frozenset((list, set, dict))
_CALLABLE = (BuiltinFunctionType, BuiltinMethodType, FunctionType, MethodType, type)
# What a class has for those who read its annotations (3.14); a formula can ask for none of it.
_OF_ANNOTATIONS = frozenset(
    ("__annotate__", "__annotate_func__", "__annotations_cache__", "__classdictcell__")
)
# What hangs on an analysis, as a formula cannot name it.
_OF_ANALYSES = frozenset(("artifacts", "figures", "function"))


def _public(module: ModuleType) -> Iterator[Any]:
    return (value for name, value in vars(module).items() if not name.startswith("_"))


# As they are before a module of the project is imported, which may replace them.
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


def is_known(value: Any) -> bool:
    """Return whether a value is one of the functions that are allowed."""
    return id(value) in _KNOWN


def _is_method(method: FunctionType, seen: frozenset[int]) -> bool:
    code = method.__code__
    if origin(code, method.__globals__) is Origin.LIBRARY:
        return code.co_filename in _MAKERS
    return is_own(method, seen)


def is_data(value: Any) -> bool:
    """Return whether a value is data, and nothing that could be called stands in it."""
    return not can_be_called(value) and _is_plain(value, set())


def is_allowed(value: Any) -> bool:
    return callable_allowed(value) if can_be_called(value) else _is_plain(value, set())


def can_be_called(value: Any) -> bool:
    return isinstance(value, _CALLABLE) or callable(value)


def callable_allowed(value: Any, seen: frozenset[int] = frozenset()) -> bool:
    """Return whether what can be called may be called: known, or code that is judged itself.

    Of that code, what it closes over may be called, too, and its defaults are data: so whatever is
    called was named in code that is judged.
    """
    if is_known(value) or _is_ufunc(value):
        return True
    if isinstance(value, type):
        return _is_record(value, seen)
    if type(value) is MethodType and not is_allowed(value.__self__):
        return False
    found = function_of(value)
    return found is not None and is_own(found, seen) and all(map(is_data, _attributes(value)))


def is_own(function: FunctionType, seen: frozenset[int] = frozenset()) -> bool:
    if id(function) in seen:
        return True
    seen |= {id(function)}
    return (
        origin(function.__code__, function.__globals__) is Origin.PROJECT
        and all(map(is_data, (*defaults_of(function), *_attributes(function))))
        and all(
            callable_allowed(cell, seen) if can_be_called(cell) else _is_plain(cell, set())
            for cell in cells_of(function)
        )
    )


def function_of(value: Any) -> FunctionType | None:
    """Return the function behind a value, itself, an analysis or a memo; None for any other."""
    if isinstance(value, (closeout.Analysis, functools._lru_cache_wrapper)):
        value = value.__wrapped__
    if type(value) is MethodType:
        value = value.__func__
    return value if type(value) is FunctionType and not is_known(value) else None


def functions_in(value: Any) -> list[FunctionType]:
    """Return the functions of the project that a value leads to: itself, or those of its class."""
    found = function_of(value)
    if found is None and not can_be_called(value):
        value = type(value)
    parts = [found]
    if isinstance(value, type) and not is_known(value):
        for kind in _own_kinds(value):
            for part in (*_parts_of(kind).values(), *_factories(kind)):
                inner = [part.fget, part.fset] if type(part) is property else [part]
                parts += [function_of(getattr(one, "__func__", one)) for one in inner]
    return [
        one
        for one in parts
        if one is not None and origin(one.__code__, one.__globals__) is Origin.PROJECT
    ]


def _is_record(kind: type, seen: frozenset[int] = frozenset()) -> bool:
    """Return whether a class is a named tuple, a frozen dataclass, or an error to be raised."""
    if id(kind) in seen:  # its methods hold it, where they say `super()`
        return True
    seen |= {id(kind)}
    if type(kind) is not type:
        return False
    frozen = getattr(vars(kind).get("__dataclass_params__"), "frozen", False)
    named = issubclass(kind, tuple) and hasattr(kind, "_fields")
    return (named or frozen is True or issubclass(kind, BaseException)) and all(
        all(_is_part(*part, seen) for part in _parts_of(one).items())
        and all(callable_allowed(factory, seen) for factory in _factories(one))
        for one in _own_kinds(kind)
    )


def _own_kinds(kind: type) -> list[type]:
    """Return a class and those that it inherits from, but for those of the interpreter itself."""
    return [one for one in kind.__mro__ if one.__flags__ & _MADE_IN_PYTHON]


def _parts_of(kind: type) -> dict[str, Any]:
    """Return what stands in a class, by its name, but for what only describes it."""
    return {name: part for name, part in vars(kind).items() if name not in _OF_ANNOTATIONS}


def _factories(kind: type) -> list[Any]:
    """Return what a dataclass calls for a field that it is not given."""
    fields = vars(kind).get("__dataclass_fields__", {}).values()
    return [one.default_factory for one in fields if callable(one.default_factory)]


def _is_part(name: str, value: Any, seen: frozenset[int]) -> bool:
    """Return whether a value may stand in a class: what its methods do is seen when they run."""
    parts = [value.fget, value.fset] if type(value) is property else [value]
    methods: list[Any] = [getattr(part, "__func__", part) for part in parts if part is not None]
    if all(type(method) is FunctionType for method in methods):
        return all(_is_method(method, seen) for method in methods)
    if type(value) in _DESCRIPTORS:
        return True
    if can_be_called(value) or hasattr(type(value), "__get__"):
        return False
    return name.startswith("__") or _is_plain(value, set())


def _is_plain(value: Any, seen: set[int]) -> bool:
    """Return whether a value is data: numbers, texts, dates, paths, and containers of such."""
    kind = type(value)
    if kind in _SIMPLE or id(value) in seen:
        return True
    if kind.__module__ in PLAIN_MODULES:
        return not callable(value)
    if _is_numpys(value):
        return value.dtype.kind in "biuf"
    seen.add(id(value))
    if kind in _CONTAINERS:
        parts: Iterable[Any] = value.items() if isinstance(value, Mapping) else value
        return all(_is_plain(part, seen) for part in parts)
    if _is_record(kind) and not isinstance(value, BaseException):
        return all(_is_plain(part, seen) for part in _fields(value))
    return False


def _fields(value: Any) -> list[Any]:
    """Return what a named tuple or a dataclass holds, in its fields and beside them."""
    items = value if isinstance(value, tuple) else ()
    slots = (getattr(value, name, None) for name in getattr(value, "__dataclass_fields__", ()))
    return [*items, *slots, *_attributes(value)]


def _attributes(value: Any) -> list[Any]:
    """Return what was set on a value, by names that a formula may have."""
    not_these = _OF_ANALYSES if isinstance(value, closeout.Analysis) else ()
    found = getattr(value, "__dict__", {}).items()
    return [
        one
        for name, one in found
        if not name.startswith("__") and name not in not_these and not _is_of_memos(one)
    ]


def _is_of_memos(value: Any) -> bool:
    """Return whether a value is what `lru_cache` hangs on each of its memos."""
    return type(value) is FunctionType and value.__code__.co_filename == functools.__file__


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


def is_mutable(value: Any) -> bool:
    """Return whether a value, or a part of it, can be changed in place."""
    if type(value) in _SIMPLE or type(value) is frozenset:
        return False
    if type(value) is FunctionType:
        return bool(value.__dict__) or any(map(is_mutable, (*cells_of(value), *defaults_of(value))))
    if type(value) in _MUTABLE or isinstance(value, functools._lru_cache_wrapper):
        return True  # what a memo gave once, it gives again
    if isinstance(value, tuple):
        return any(map(is_mutable, value))
    if isinstance(value, type):
        own = (part for kind in _own_kinds(value) for part in vars(kind).items())
        return any(is_mutable(one) for name, one in own if not name.startswith("_"))
    return not can_be_called(value) and type(value).__module__ not in PLAIN_MODULES


def cells_of(function: FunctionType) -> list[Any]:
    found = []
    for cell in function.__closure__ or ():
        try:
            found.append(cell.cell_contents)
        except ValueError:  # not filled yet
            continue
    return found


def defaults_of(function: FunctionType) -> list[Any]:
    return [*(function.__defaults__ or ()), *(function.__kwdefaults__ or {}).values()]
