"""What code keeps from one evaluation to the next: the values of its modules, looked at again."""

from __future__ import annotations

import functools
import gc
import operator
import sys
from collections.abc import Iterable
from types import CodeType, FrameType, FunctionType, ModuleType
from typing import Any

from closeout.arithmetic.code.allowed import Place
from closeout.arithmetic.code.named import PLAIN_MODULES
from closeout.arithmetic.undecided import Guarded

_LEAVES = frozenset((float, int, bool, type(None), str, bytes, complex))
# What is no place to keep a number: code, modules, and memos of what no range can be looked up in.
_CLOSED = (Guarded, ModuleType, CodeType, FrameType, functools._lru_cache_wrapper)


class ModuleState:
    """The values that some code names, as they were when somebody looked."""

    def __init__(self, places: Iterable[Place]) -> None:
        self._places = tuple(places)
        self._seen: list[list[tuple[Any, ...]]] = []

    def look(self) -> None:
        """Take note of the values as they are now."""
        self._seen = [_parts(place) for place in self._places]

    def of_range(self) -> str | None:
        """Return which name holds a range, as a reason; None where none does."""
        for place in self._places:
            if any(isinstance(part, Guarded) for parts in _parts(place) for part in parts):
                return _reason(place)
        return None

    def changed(self) -> str | None:
        """Return which name holds something else than at the last look, as a reason."""
        for place, before in zip(self._places, self._seen, strict=True):
            now = _parts(place)
            if len(now) != len(before) or not all(map(_same, before, now)):
                return _reason(place)
        return None


def _reason(place: Place) -> str:
    return f"`{place.name}` stores a value from one evaluation to the next"


def _same(before: tuple[Any, ...], now: tuple[Any, ...]) -> bool:
    return len(before) == len(now) and all(map(operator.is_, before, now))


def _parts(place: Place) -> list[tuple[Any, ...]]:
    """Return what a value is made of, level by level.

    The parts stay referenced, so none is replaced.
    """
    value = place.holder.get(place.name)
    found: list[tuple[Any, ...]] = [(value,)]
    seen: set[int] = set()
    left = [value]
    while left:
        one = left.pop()
        if id(one) in seen or _is_closed(one):
            continue
        seen.add(id(one))
        inside = _inside(one)
        found.append(inside)
        left += [part for part in inside if type(part) not in _LEAVES]
    return found


def _is_closed(value: Any) -> bool:
    kind = type(value)
    return kind in _LEAVES or isinstance(value, _CLOSED) or kind.__module__ in PLAIN_MODULES


def _inside(value: Any) -> tuple[Any, ...]:
    if type(value) is dict:
        return (*value.keys(), *value.values())
    if isinstance(value, (tuple, list, set, frozenset)):
        return tuple(value)
    if isinstance(value, type):
        own = (part for name, part in vars(value).items() if not name.startswith("_"))
        return tuple(part for part in own if isinstance(part, (dict, list, set)))
    if isinstance(value, FunctionType):
        defaults = (*(value.__defaults__ or ()), *(value.__kwdefaults__ or {}).values())
        return (*defaults, *(value.__closure__ or ()), *value.__dict__.values())
    numpy = sys.modules.get("numpy")
    if numpy is not None and type(value) is numpy.ndarray:
        return (sys.intern(str(hash(value.tobytes()))),)
    return tuple(gc.get_referents(value))
