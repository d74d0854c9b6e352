"""Arrays of samples that an analysis can do no more with than with a number.

A plain array can be asked for its mean, its first element or whether all of it is above a limit;
what depends on that claims of all samples what holds of none of them alone. So the samples that an
analysis is given take part in arithmetic, in comparisons, in functions of :mod:`closeout.math` and
in NumPy's functions that act element by element, and refuse everything else. ``+=`` makes a new
array, as it makes a new number.
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from typing import Any, NoReturn

import numpy

from closeout import math
from closeout.arithmetic.array import functions as array_functions
from closeout.arithmetic.undecided import Guarded, refuse

_IN_PLACE = {
    "__iadd__": operator.add, "__isub__": operator.sub, "__imul__": operator.mul,
    "__itruediv__": operator.truediv, "__ipow__": operator.pow, "__ifloordiv__": operator.floordiv,
    "__imod__": operator.mod, "__iand__": operator.and_, "__ior__": operator.or_,
    "__ixor__": operator.xor,
}  # fmt: skip
# What asks for one answer, one number, a text or a place to look up, or a part of the samples.
_REFUSED = {
    **dict.fromkeys(("__bool__", "__contains__"), "one answer is asked of them"),
    **dict.fromkeys(
        ("__float__", "__int__", "__index__", "__complex__", "__round__", "__trunc__", "__floor__",
         "__ceil__", "__divmod__", "__rdivmod__"),
        "one number is asked of them",
    ),
    **dict.fromkeys(("__str__", "__repr__", "__format__"), "they cannot be written"),
    "__hash__": "they cannot be looked up",
    **dict.fromkeys(
        ("__len__", "__iter__", "__getitem__", "__setitem__", "__delitem__", "__matmul__",
         "__rmatmul__", "__imatmul__", "__copy__", "__deepcopy__", "__reduce__", "__reduce_ex__"),
        "a number has no parts",
    ),
    "__array_function__": "a function of NumPy looks at more than one at once",
}  # fmt: skip


class Samples(numpy.ndarray[Any, Any], Guarded):
    """One value for each sample; see the module. Made by :func:`guarded`."""

    def __array_ufunc__(self, ufunc: Any, method: str, *inputs: Any, **kwargs: Any) -> Any:
        """Answer a function of NumPy that acts element by element, without options."""
        if method != "__call__" or kwargs or ufunc.signature is not None:
            refuse(_message(f"`{ufunc.__name__}` of NumPy looks at more than one at once"))
        found = ufunc(*map(plain, inputs))
        return tuple(map(guarded, found)) if isinstance(found, tuple) else guarded(found)


def guarded(value: Any) -> Any:
    """Return an array as samples; whatever else there is, as it is."""
    return value.view(Samples) if type(value) is numpy.ndarray else value


def plain(value: Any) -> Any:
    """Return samples as a plain array; whatever else there is, as it is."""
    return _view(value, numpy.ndarray) if type(value) is Samples else value


_view = numpy.ndarray.view


def _message(why: str) -> str:
    return f"the values are many samples: {why}"


def _refusing(why: str) -> Callable[..., NoReturn]:
    def refusing(*_: Any, **__: Any) -> NoReturn:
        refuse(_message(why))

    return refusing


def _in_place(operate: Callable[[Any, Any], Any]) -> Callable[[Any, Any], Any]:
    return lambda self, other: operate(self, other)


for _name, _operate in _IN_PLACE.items():
    setattr(Samples, _name, _in_place(_operate))
for _name, _why in _REFUSED.items():
    setattr(Samples, _name, _refusing(_why))
for _name in dir(numpy.ndarray):
    if not _name.startswith("_"):
        setattr(Samples, _name, property(_refusing(f".{_name} is asked of them")))


class _Functions:
    """The functions of :mod:`closeout.math` on samples: those on arrays."""

    def __getattr__(self, name: str) -> Callable[..., Any]:
        function = getattr(array_functions, name)
        return lambda *values: guarded(function(*map(plain, values)))


math.extend(Samples, _Functions())
