"""Which code a range or an array of samples reaches while an analysis runs on it.

Code that is allowed throughout (:mod:`closeout.arithmetic.allowed`) may be reached or not. Of the
rest, what no range reaches is free: a reader of a table opens files, catches errors and keeps what
it read, and answers on ranges what it answers on numbers. Reached is code that holds a range in an
argument, a variable, a closure, a value of its module or its result, and whatever called such code;
found is that by a profile function (:func:`sys.setprofile`), which sees each call and each return.
"""

from __future__ import annotations

import gc
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from types import CodeType, FrameType, FunctionType, MethodType, ModuleType
from typing import Any

from closeout.arithmetic.allowed import (
    Judged,
    Origin,
    callable_allowed,
    judged,
    origin,
    place,
)
from closeout.arithmetic.undecided import Guarded

# Values among which a range is looked for, before it is taken for granted that there is one.
MOST_VALUES = 2_000_000
_LEAVES = frozenset((float, int, bool, type(None), str, bytes, complex))
_OF_TUPLES = frozenset(("_asdict", "_make", "_replace"))

_known: dict[int, tuple[CodeType, Judged | Origin]] = {}


class NotAllowed(Exception):
    """Code that is not allowed was reached; the text is the construct and its place."""


class Watch:
    """Sees the code that runs, and takes note of the first reason not to believe its answer."""

    def __init__(self) -> None:
        self.reason: str | None = None
        # Calls of code that is not allowed, and that nothing has reached so far.
        self._open: list[tuple[FrameType, str]] = []

    @contextmanager
    def watching(self) -> Iterator[None]:
        """See what is called inside the context."""
        before = sys.getprofile()
        sys.setprofile(self)
        try:
            yield
        finally:
            sys.setprofile(before)
            self._open.clear()

    def __call__(self, frame: FrameType, event: str, returned: Any) -> None:
        """Take a call or a return; see :func:`sys.setprofile`."""
        if self.reason is not None:
            return
        if event == "call":
            self._called(frame)
        elif event == "return":
            self._returned(frame, returned)

    def _called(self, frame: FrameType) -> None:
        found = _judgement(frame)
        if found is Origin.ENGINE and not self._open:
            return
        if isinstance(found, Judged) and found.reason is not None:
            self._open.append((frame, found.reason))
            if found.far or _reaches(frame):
                self._refuse()
        elif self._open and _reaches(frame):
            self._refuse()
        elif found is Origin.LIBRARY:
            self._in_library(frame)
        elif isinstance(found, Judged):
            self._look_for_callables(frame)

    def _refuse(self) -> None:
        self.reason = self._open[0][1]

    def _in_library(self, frame: FrameType) -> None:
        """Refuse what gives a range to code that nobody judges."""
        code = frame.f_code
        if code.co_name in _OF_TUPLES or code.co_filename == "<string>":
            return
        caller = _caller(frame)
        if caller is not None and isinstance(_judgement(caller), Judged) and _reaches(frame):
            where = place(caller.f_code, caller.f_lineno)
            self.reason = f"`{code.co_name}` at {where} is given a range, and nobody judges it"

    def _look_for_callables(self, frame: FrameType) -> None:
        """Refuse a function that came in by an argument or a closure and is not allowed."""
        code = frame.f_code
        given = code.co_argcount + code.co_kwonlyargcount
        names = (*code.co_varnames[:given], *code.co_freevars)
        held = frame.f_locals
        for name in names:
            value = held.get(name)
            if type(value) not in _LEAVES and callable(value) and not _may_be_called(value):
                self.reason = f"`{name}` at {place(code, frame.f_lineno)} may be anything"

    def _returned(self, frame: FrameType, returned: Any) -> None:
        if self._open:
            if _reaches(frame) or holds(returned):
                self._refuse()
                return
            if self._open[-1][0] is frame:
                self._open.pop()
                self._handed_out(frame, returned)
        elif type(returned) not in _LEAVES and _judgement(frame) is Origin.LIBRARY:
            caller = _caller(frame)
            if caller is not None and isinstance(_judgement(caller), Judged):
                self._handed_out(frame, returned)

    def _handed_out(self, frame: FrameType, returned: Any) -> None:
        """Refuse what free code gives to a formula, where that could be called."""
        if any(callable(one) and not _may_be_called(one) for one in _values_in([returned])):
            where = place(frame.f_code, frame.f_code.co_firstlineno)
            self.reason = f"what `{frame.f_code.co_name}` at {where} gives may be anything"


def _may_be_called(value: Any) -> bool:
    if isinstance(value, Guarded):
        return True
    bound = getattr(value, "__self__", None)
    if type(value) is MethodType or bound is None or isinstance(bound, ModuleType):
        return callable_allowed(value)
    return type(bound) is not type  # as the `append` of a list


def _judgement(frame: FrameType) -> Judged | Origin:
    """Return what is known of the code of a frame: whose it is, or of the project's, all."""
    code = frame.f_code
    known = _known.get(id(code))
    if known is not None and known[0] is code:
        return known[1]
    found: Judged | Origin = origin(code, frame.f_globals)
    if found is Origin.PROJECT:
        found = judged(code, frame.f_globals, frame.f_builtins)
    _known[id(code)] = code, found
    return found


def _caller(frame: FrameType) -> FrameType | None:
    """Return the next frame up that is not a library's."""
    up = frame.f_back
    while up is not None and _judgement(up) is Origin.LIBRARY:
        up = up.f_back
    return up


def _reaches(frame: FrameType) -> bool:
    """Return whether a frame holds a range, or its module under a name that its code has."""
    names = frame.f_code.co_names
    own = [frame.f_globals[name] for name in names if name in frame.f_globals]
    modules = [value for value in own if type(value) is ModuleType]
    theirs = [vars(module)[name] for module in modules for name in names if name in vars(module)]
    return holds(frame.f_locals, *own, *theirs)


def holds(*values: Any) -> bool:
    """Return whether a value, or something inside of it, is a range or an array of samples."""
    return any(isinstance(one, Guarded) for one in _values_in(list(values)))


def _values_in(left: list[Any]) -> Iterator[Any]:
    """Yield values and what they hold, but for numbers and texts.

    After :data:`MOST_VALUES` comes a range that is none: nobody looked further.
    """
    seen: set[int] = set()
    while left:
        value = left.pop()
        if type(value) in _LEAVES or id(value) in seen:
            continue
        seen.add(id(value))
        if len(seen) > MOST_VALUES:
            yield Guarded()
            return
        yield value
        left += _inside(value)


def _inside(value: Any) -> list[Any]:
    if isinstance(value, (Guarded, type, ModuleType, CodeType, FrameType)):
        return []
    if isinstance(value, Mapping):
        return [*value.keys(), *value.values()] if type(value) is dict else gc.get_referents(value)
    if isinstance(value, FunctionType):
        cells = list(value.__closure__ or ())
        return [*cells, *(value.__defaults__ or ()), *(value.__kwdefaults__ or {}).values()]
    if isinstance(value, (tuple, list, set, frozenset)):
        return list(value)
    return [one for one in gc.get_referents(value) if one is not type(value)]


def watched_by(watch: Watch, evaluate: Callable[..., Any]) -> Callable[..., Any]:
    """Return an analysis that is watched whenever it runs.

    Raises:
        NotAllowed: from the call in which code is reached that is not allowed, and ever after.
    """

    def watched(point: Mapping[str, Any]) -> Any:
        try:
            with watch.watching():
                return evaluate(point)
        finally:
            if watch.reason is not None:
                raise NotAllowed(watch.reason)

    return watched
