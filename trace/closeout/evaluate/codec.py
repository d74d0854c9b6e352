"""Values as JSON holds them, and back by their types: the form in which both ends of a pipe speak.

A named tuple is the row of its fields, in their order, which stands in its class and nowhere else;
a tuple is a list, a mapping whose keys are no texts a list of pairs, bytes are base64. Numbers keep
every digit. Used by workers, so little is imported here.
"""

from __future__ import annotations

import binascii
from collections.abc import Callable, Mapping
from enum import Enum
from functools import cache
from types import NoneType, UnionType
from typing import Any, NamedTuple, TypeVar, Union, get_args, get_origin, get_type_hints

T = TypeVar("T", bound=tuple[Any, ...])
# What turns a value into another; None where it is left as it is.
_Turn = Callable[[Any], Any] | None


def encoded(value: tuple[Any, ...]) -> Any:
    """Return a named tuple as JSON can hold it: ``("R-1", None)`` of two fields as that row."""
    turn = _codec(type(value)).encode
    return value if turn is None else turn(value)


def decoded(kind: type[T], content: Any) -> T:
    """Return the named tuple of a class from what :func:`encoded` made of it.

    Raises:
        TypeError, ValueError: it has another form.
    """
    turn = _codec(kind).decode
    found: T = content if turn is None else turn(content)
    return found


class _Codec(NamedTuple):
    """How values of one type are turned into JSON, and back."""

    encode: _Turn = None
    decode: _Turn = None


@cache
def _codec(kind: Any) -> _Codec:
    """Return how values of a type are turned, worked out once in a process."""
    origin, arguments = get_origin(kind), get_args(kind)
    if kind in (Any, NoneType, bool, int, float, str):
        return _Codec()
    if kind is bytes:
        return _Codec(_as_text, binascii.a2b_base64)
    if origin in (Union, UnionType):
        return _union(arguments)
    if origin is tuple:
        return _tuple(arguments)
    if origin is not None and issubclass(origin, Mapping):
        return _mapping(*arguments)
    if issubclass(kind, Enum):
        return _Codec(None, kind)  # those that are texts
    return _row(kind)


def _as_text(content: bytes) -> str:
    return binascii.b2a_base64(content, newline=False).decode("ascii")


def _row(kind: Any) -> _Codec:
    hints = get_type_hints(kind)
    return _beside([_codec(hints[name]) for name in kind._fields], kind._make)


def _tuple(arguments: tuple[Any, ...]) -> _Codec:
    if len(arguments) == 2 and arguments[1] is ...:
        encode, decode = _codec(arguments[0])
        return _Codec(_all_by(encode), _then(_all_by(decode), tuple))
    return _beside([_codec(one) for one in arguments], tuple)


def _mapping(key: Any, value: Any) -> _Codec:
    if key is str:
        encode, decode = _codec(value)
        return _Codec(_values_by(encode) or dict, _values_by(decode))
    pairs = _codec(tuple[tuple[key, value], ...])
    turn = pairs.encode or list
    return _Codec(lambda some: turn(some.items()), _then(pairs.decode, dict))


def _union(arguments: tuple[Any, ...]) -> _Codec:
    """Return how a value is turned that may be None; of other choices each stays as it is."""
    some = {_codec(one) for one in arguments if one is not NoneType}
    if len(some) > 1:
        raise TypeError(f"no codec tells apart {arguments}")
    return _Codec(*(_unless_none(turn) for turn in some.pop()))


def _beside(codecs: list[_Codec], make: Callable[[Any], Any]) -> _Codec:
    """Return how values are turned that stand one beside the other, each of a type of its own."""
    encode, decode = (_each_by(turns) for turns in zip(*codecs, strict=True))
    return _Codec(encode, _then(decode, make))


# None stands for a turn that leaves everything as it is, so that whole answers mostly stay so.


def _each_by(turns: tuple[_Turn, ...]) -> _Turn:
    turned = [(place, turn) for place, turn in enumerate(turns) if turn is not None]
    if not turned:
        return None

    def some_by(values: Any) -> list[Any]:
        found = list(values)
        for place, turn in turned:
            found[place] = turn(found[place])
        return found

    return some_by


def _all_by(turn: _Turn) -> _Turn:
    return None if turn is None else lambda values: [turn(value) for value in values]


def _values_by(turn: _Turn) -> _Turn:
    return None if turn is None else lambda some: {key: turn(one) for key, one in some.items()}


def _unless_none(turn: _Turn) -> _Turn:
    return None if turn is None else lambda value: None if value is None else turn(value)


def _then(turn: _Turn, make: Callable[[Any], Any]) -> _Turn:
    return make if turn is None else lambda values: make(turn(values))
