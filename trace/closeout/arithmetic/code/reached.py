"""Which code a range or an array of samples reaches while an analysis runs on it.

Code that is allowed throughout (:mod:`.code.allowed`) may be reached or not. Of the
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

from closeout.arithmetic.code.allowed import Judged, judged
from closeout.arithmetic.code.named import callable_allowed
from closeout.arithmetic.code.origin import Origin, origin, place
from closeout.arithmetic.undecided import Guarded

# Values among which a range is looked for, before it is taken for granted that there is one.
MOST_VALUES = 2_000_000
_LEAVES = frozenset((float, int, bool, type(None), str, bytes, complex))
_OF_TUPLES = frozenset(("_asdict", "_make", "_replace"))

_known: dict[int, tuple[CodeType, Judged | Origin]] = {}


class NotAllowed(Exception):
    """Code that is not allowed was reached; the text is the construct and its place."""


class Watch:
    """Sees the code that runs, and takes note of the first reason not to believe its answer.

    While code runs that is not allowed and that no range reached when it was called, a range can
    come in only by what its own calls name or close over: nothing else runs meanwhile. So these
    are looked at once, and arguments and results not again.
    """

    def __init__(self) -> None:
        self.reason: str | None = None
        # The call of code that is not allowed, what speaks against it, and the code below it.
        self._free: FrameType | None = None
        self._against = ""
        self._below: set[int] = set()
        self._clear: dict[int, Any] = {}  # values below it that hold no range, which stays so

    @contextmanager
    def watching(self) -> Iterator[None]:
        """See what is called inside the context."""
        before = sys.getprofile()
        sys.setprofile(self)
        try:
            yield
        finally:
            sys.setprofile(before)
            self._free = None

    def __call__(self, frame: FrameType, event: str, returned: Any) -> None:
        """Take a call or a return; see :func:`sys.setprofile`."""
        if self.reason is not None:
            return
        if event == "call":
            if self._free is None:
                self._called(frame)
            else:
                self._called_below(frame)
        elif event == "return":
            self._returned(frame, returned)

    def _called(self, frame: FrameType) -> None:
        found = _judgement(frame)
        if found is Origin.LIBRARY:
            self._in_library(frame)
        elif isinstance(found, Judged):
            against = found.reason or self._of_entry(frame)
            if against is None:
                return
            if (found.reason and found.far) or _reaches(frame):
                self.reason = against
            else:
                self._free, self._against = frame, against
                self._below.clear()
                self._clear.clear()

    def _of_entry(self, frame: FrameType) -> str | None:
        """Return why a function that came in from outside, with the first call, is not allowed.

        Further in, whatever can be called is named in code that is judged, or handed out by code
        that is not.
        """
        if frame.f_back is None or isinstance(_judgement(frame.f_back), Judged):
            return None
        code = frame.f_code
        for name, value in frame.f_locals.items():
            if type(value) not in _LEAVES and callable(value) and not _may_be_called(value):
                return f"`{name}` at {place(code, frame.f_lineno)} may be anything"
        return None

    def _called_below(self, frame: FrameType) -> None:
        code = frame.f_code
        if id(code) in self._below and not code.co_freevars:
            return
        self._below.add(id(code))
        found = _judgement(frame)
        if isinstance(found, Judged) and (
            (found.reason and found.far)
            or _holds([*_named(frame), *_closed_over(frame)], self._clear)
        ):
            self.reason = self._against

    def _in_library(self, frame: FrameType) -> None:
        """Refuse what gives a range to code that nobody judges."""
        code = frame.f_code
        if code.co_name in _OF_TUPLES or code.co_filename == "<string>":
            return
        caller = _caller(frame)
        if caller is not None and isinstance(_judgement(caller), Judged) and _reaches(frame):
            where = place(caller.f_code, caller.f_lineno)
            self.reason = f"`{code.co_name}` at {where} is given a range, and is not checked"

    def _returned(self, frame: FrameType, returned: Any) -> None:
        if self._free is not None:
            if self._free is not frame:
                return
            self._free = None
        elif type(returned) in _LEAVES or _judgement(frame) is not Origin.LIBRARY:
            return
        caller = _caller(frame)
        if caller is not None and isinstance(_judgement(caller), Judged):
            self._handed_out(frame, returned)

    def _handed_out(self, frame: FrameType, returned: Any) -> None:
        """Refuse what free code gives to a formula, where that could be called."""
        if any(callable(one) and not _may_be_called(one) for one in _values_in([returned], {})):
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
    # Since 3.13 the variables are a view of the frame, and not a dictionary.
    return holds(*frame.f_locals.values(), *_named(frame))


def _named(frame: FrameType) -> list[Any]:
    """Return what the code of a frame names, in its module and in those that it names."""
    names = frame.f_code.co_names
    own = [frame.f_globals[name] for name in names if name in frame.f_globals]
    modules = [vars(value) for value in own if type(value) is ModuleType]
    return own + [theirs[name] for theirs in modules for name in names if name in theirs]


def _closed_over(frame: FrameType) -> list[Any]:
    variables = frame.f_locals
    return [variables.get(name) for name in frame.f_code.co_freevars]


def holds(*values: Any) -> bool:
    """Return whether a value, or something inside of it, is a range or an array of samples."""
    return _holds(list(values), {})


def _holds(values: list[Any], seen: dict[int, Any]) -> bool:
    return any(isinstance(one, Guarded) for one in _values_in(values, seen))


def _values_in(left: list[Any], seen: dict[int, Any]) -> Iterator[Any]:
    """Yield values and what they hold, but for numbers and texts, and for what was seen before.

    After :data:`MOST_VALUES` comes a range that is none: nobody looked further.
    """
    while left:
        value = left.pop()
        if type(value) in _LEAVES or id(value) in seen:
            continue
        seen[id(value)] = value
        if len(seen) > MOST_VALUES:
            yield Guarded()
            return
        yield value
        left += _inside(value)


def _inside(value: Any) -> list[Any]:
    if isinstance(value, (Guarded, type, ModuleType, CodeType, FrameType)):
        return []
    if type(value) is dict:
        return [*value.keys(), *value.values()]
    if isinstance(value, FunctionType):
        defaults = (*(value.__defaults__ or ()), *(value.__kwdefaults__ or {}).values())
        return [*(value.__closure__ or ()), *defaults]
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
