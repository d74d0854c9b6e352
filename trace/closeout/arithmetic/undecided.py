"""What ranges cannot decide: a comparison that is open, a value that may not exist.

Two ways out of a range, and why there are two. Where the analysis must go on with one answer (an
``if``, a ``float()``), nothing else is left than to stop: :class:`Undecided` is raised. Where only
a value is in doubt (a division by a range around zero, the logarithm of a range that reaches below
it), an :class:`Undefined` takes its place and passes through the rest of the formula, so that the
other quantities of the analysis are still evaluated.
"""

from __future__ import annotations

import operator
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any, NamedTuple, NoReturn

from closeout import math
from closeout.arithmetic.code.origin import Origin, origin, place

NO_SIDES: frozenset[int] = frozenset()


class Undecided(BaseException):
    """The evaluation needs one number, or one answer, where there is a range.

    ``sides`` numbers the sides of the box that the answer depends on; empty where it is not known.
    It is no Exception, so that an analysis that catches errors of its own (``except ValueError:
    return absent(...)``) does not take this for one of them.
    """

    def __init__(self, reason: str, sides: frozenset[int] = NO_SIDES) -> None:
        reason = f"{reason}{self._where()}"
        super().__init__(reason)
        self.reason = reason
        self.sides = sides
        _note(reason, sides)

    def _where(self) -> str:
        """Return the line of the analysis that asked, where one is evaluated."""
        if _watched is None:
            return ""
        frame: FrameType | None = sys._getframe(2)
        while frame is not None:
            if origin(frame.f_code, frame.f_globals) is Origin.PROJECT:
                return f" ({place(frame.f_code, frame.f_lineno)})"
            frame = frame.f_back
        return ""


class Noted(NamedTuple):
    """What could not be decided first, and the sides of the box that it depends on."""

    reason: str
    sides: frozenset[int]


_watched: list[Noted] | None = None


@contextmanager
def watched() -> Iterator[list[Noted]]:
    """Collect what cannot be decided inside the context, also where the analysis drops it.

    An analysis may catch what is raised (``except:``), or leave aside a value that does not exist
    at some point (an unused field, the other branch of a ``where``). On numbers it would fail
    there, so nothing that came out may pass for an answer of every point.
    """
    global _watched
    before, _watched = _watched, []
    try:
        yield _watched
    finally:
        _watched = before


def _note(reason: str, sides: frozenset[int]) -> None:
    if _watched is not None:
        _watched.append(Noted(reason, sides))


def noted(reason: str, sides: frozenset[int]) -> Undefined:
    """Return a value that may not exist, of which note is taken."""
    _note(reason, sides)
    return Undefined(reason, sides)


def refuse(reason: str) -> NoReturn:
    """Refuse what asks a value that stands for many numbers for one, and take note of it."""
    raise Undecided(reason)


class Guarded:
    """A value that stands for many numbers, and refuses what asks it for one of them."""

    __slots__ = ()


class Refusing(Guarded):
    """What ranges and their comparisons refuse alike: to be distinguished from a number.

    Each refusal raises :class:`Undecided`, so that note is taken of it even where the analysis
    catches what is raised. A text is given to this tool alone, which writes its reasons; and to
    everybody where nothing is evaluated.
    """

    __slots__ = ()

    @property
    def sides(self) -> frozenset[int]:
        """The sides of the box that it depends on, by number; empty where it is not known."""
        return NO_SIDES

    def _text(self) -> str:
        """Return a text that describes it."""
        raise NotImplementedError

    def _refuse(self, *_: Any, **__: Any) -> NoReturn:
        raise Undecided(f"{self._text()} is a range, and one number is needed", self.sides)

    __float__ = __int__ = __index__ = __complex__ = _refuse
    __round__ = __trunc__ = __floor__ = __ceil__ = _refuse
    __floordiv__ = __rfloordiv__ = __mod__ = __rmod__ = __divmod__ = __rdivmod__ = _refuse
    __matmul__ = __rmatmul__ = __lshift__ = __rlshift__ = __rshift__ = __rrshift__ = _refuse
    __array__ = __array_function__ = _refuse

    def __getattr__(self, name: str) -> NoReturn:
        if _watched is None:
            raise AttributeError(name)
        raise Undecided(f".{name} is asked of {self._text()}, which is a range", self.sides)

    def __hash__(self) -> int:
        if _watched is None:
            raise TypeError(f"unhashable type: {type(self).__name__!r}")
        raise Undecided(f"{self._text()} is a range, and cannot be looked up", self.sides)

    def _full_text(self) -> str:
        """Return a text that distinguishes it from whatever is not equal."""
        return self._text()

    def _refuse_text(self, caller: FrameType) -> None:
        if _watched is not None and origin(caller.f_code, caller.f_globals) is not Origin.ENGINE:
            raise Undecided(f"{self._text()} is a range, and cannot be written", self.sides)

    def __str__(self) -> str:
        self._refuse_text(sys._getframe(1))
        return self._text()

    def __repr__(self) -> str:
        self._refuse_text(sys._getframe(1))
        return self._full_text()

    def __format__(self, spec: str) -> str:
        if spec:
            self._refuse()
        self._refuse_text(sys._getframe(1))
        return self._text()


class Truth(Refusing):
    """A comparison of ranges that holds at some of their points and not at all.

    A comparison that is certain gives a plain bool. ``&`` and ``|`` work on both. An ``if`` on this
    raises :class:`Undecided`; :func:`closeout.math.where` takes it.
    """

    __slots__ = ("_sides", "reason")

    def __init__(self, reason: str, sides: frozenset[int] = NO_SIDES) -> None:
        self.reason = reason
        self._sides = sides

    @property
    def sides(self) -> frozenset[int]:
        """The sides of the box that it depends on; empty where it is not known."""
        return self._sides

    def __bool__(self) -> bool:
        raise Undecided(self.reason, self.sides)

    def __and__(self, other: Any) -> Any:
        if isinstance(other, bool):
            return self if other else False
        return self._joined(other)

    def __or__(self, other: Any) -> Any:
        if isinstance(other, bool):
            return True if other else self
        return self._joined(other)

    __rand__ = __and__
    __ror__ = __or__

    def _joined(self, other: Any) -> Any:
        if not isinstance(other, Truth):
            return NotImplemented
        return type(self)(f"{self.reason}; {other.reason}", self.sides | other.sides)

    def __eq__(self, other: object) -> NoReturn:
        raise Undecided(self.reason, self.sides)

    def _refuse(self, *_: Any, **__: Any) -> NoReturn:
        raise Undecided(self.reason, self.sides)

    # A comparison that is certain is a bool, which counts as a number.
    __float__ = __int__ = __index__ = __complex__ = __round__ = _refuse
    __neg__ = __pos__ = __abs__ = __invert__ = __lt__ = __le__ = __gt__ = __ge__ = _refuse
    __add__ = __radd__ = __sub__ = __rsub__ = __mul__ = __rmul__ = _refuse
    __truediv__ = __rtruediv__ = __pow__ = __rpow__ = __xor__ = __rxor__ = _refuse
    __array_ufunc__ = _refuse
    __hash__ = Refusing.__hash__

    def _text(self) -> str:
        return f"Truth({self.reason!r})"


class OneNumber(Refusing):
    """What a range has in common with every other range: it is not one number.

    Whatever needs one (``float()``, ``round()``, a function of :mod:`math` or NumPy, ``==``) raises
    :class:`Undecided`. ``==`` is refused even where it is certainly false: ``if x == 0:`` guards a
    formula at one point, and a range that holds the point would take the other branch for it.
    """

    __slots__ = ()
    __hash__ = Refusing.__hash__

    def __array_ufunc__(self, function: Any, method: str, *values: Any, **options: Any) -> Any:
        """Take part in arithmetic with a number of NumPy; refuse every other function of its."""
        operate = _OPERATIONS.get(function.__name__)
        if operate is None or method != "__call__" or options:
            self._refuse()
        return operate(*map(self._plain, values))

    def _plain(self, value: Any) -> Any:
        if isinstance(value, Guarded) or type(value) in (float, int, bool):
            return value
        if getattr(value, "shape", None) != () or value.dtype.char not in _EXACT:
            self._refuse()
        return value.item()

    def __eq__(self, other: object) -> NoReturn:
        raise Undecided(f"== on a range is refused: {self} == {other}", self.sides)

    def __ne__(self, other: object) -> NoReturn:
        raise Undecided(f"!= on a range is refused: {self} != {other}", self.sides)


# Types of NumPy that count as a float or an int beside a float: no single precision.
_EXACT = "dbhilqBHILQ"
# Functions of NumPy that its numbers call for an operator of Python.
_OPERATIONS: dict[str, Callable[..., Any]] = {
    "add": operator.add, "subtract": operator.sub, "multiply": operator.mul,
    "divide": operator.truediv, "true_divide": operator.truediv, "power": operator.pow,
    "less": operator.lt, "less_equal": operator.le, "greater": operator.gt,
    "greater_equal": operator.ge,
}  # fmt: skip


class Undefined(OneNumber):
    """A value that may not exist at some point of the ranges, with the reason.

    Arithmetic, comparisons and every function of :mod:`closeout.math` answer with it again; so it
    passes through ``where`` as a condition, too.
    """

    __slots__ = ("_sides", "reason")

    def __init__(self, reason: str, sides: frozenset[int] = NO_SIDES) -> None:
        self.reason = reason
        self._sides = sides

    @property
    def sides(self) -> frozenset[int]:
        """The sides of the box that the existence depends on; empty where it is not known."""
        return self._sides

    def _again(self, *_: Any) -> Undefined:
        return self

    __neg__ = __pos__ = __abs__ = _again
    __add__ = __radd__ = __sub__ = __rsub__ = __mul__ = __rmul__ = _again
    __truediv__ = __rtruediv__ = __pow__ = __rpow__ = _again
    __lt__ = __le__ = __gt__ = __ge__ = _again
    __and__ = __rand__ = __or__ = __ror__ = _again

    def __bool__(self) -> bool:
        raise Undecided(self.reason, self._sides)

    def _text(self) -> str:
        return f"Undefined({self.reason!r})"


def first_undefined(*values: Any) -> Undefined | None:
    """Return the first of the values that may not exist, None where all do."""
    return next((value for value in values if isinstance(value, Undefined)), None)


class _Functions:
    """The functions of :mod:`closeout.math` on a value that may not exist."""

    def __getattr__(self, name: str) -> Any:
        if name not in math.__all__:
            raise AttributeError(name)
        return first_undefined


math.extend(Undefined, _Functions())
