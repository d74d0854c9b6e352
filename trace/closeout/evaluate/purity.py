"""Which analyses can be shown, from their compiled code, to touch nothing but their arguments.

Such a one reads no file, leaves nothing behind, and ends: it has no loop, calls only functions of
:mod:`closeout.math` and :mod:`math`, result classes and functions that are pure in turn, and looks
at no name but those and numbers. Evaluations of it may therefore follow each other in one process
and answer as each would in a process of its own. The test is narrow on purpose: what it does not
know is not pure, and costs a process, nothing else.
"""

from __future__ import annotations

import builtins
import dis
import math
import operator
import types
from typing import Any, NamedTuple

import closeout.math

# Instructions of Python 3.11 to 3.14 (its documentation of the module dis) that act on nothing but
# the function's own values. Jumps must lead forward, which is looked at besides.
_HARMLESS = frozenset(
    (
        "CACHE", "NOP", "RESUME", "EXTENDED_ARG", "PUSH_NULL", "POP_TOP", "COPY", "SWAP",
        "NOT_TAKEN", "LOAD_CONST", "LOAD_SMALL_INT", "LOAD_CONST_IMMORTAL", "LOAD_GLOBAL",
        "LOAD_ATTR", "LOAD_METHOD", "LOAD_FAST", "LOAD_FAST_CHECK", "LOAD_FAST_BORROW",
        "LOAD_FAST_LOAD_FAST", "STORE_FAST", "STORE_FAST_LOAD_FAST",
        "LOAD_FAST_BORROW_LOAD_FAST_BORROW", "STORE_FAST_STORE_FAST", "BINARY_OP",
        "BINARY_SUBSCR", "UNARY_NEGATIVE", "UNARY_NOT", "COMPARE_OP", "IS_OP", "TO_BOOL",
        "PRECALL", "CALL", "KW_NAMES", "CALL_KW", "RETURN_VALUE", "RETURN_CONST", "BUILD_TUPLE",
        "UNPACK_SEQUENCE", "JUMP_FORWARD", "POP_JUMP_IF_FALSE", "POP_JUMP_IF_TRUE",
        "POP_JUMP_IF_NONE", "POP_JUMP_IF_NOT_NONE", "POP_JUMP_FORWARD_IF_FALSE",
        "POP_JUMP_FORWARD_IF_TRUE", "POP_JUMP_FORWARD_IF_NONE", "POP_JUMP_FORWARD_IF_NOT_NONE",
        "JUMP_IF_FALSE_OR_POP", "JUMP_IF_TRUE_OR_POP",
    )
)  # fmt: skip
_JUMPS = frozenset((*dis.hasjrel, *dis.hasjabs))
# Flags of a code object: *args, **kwargs, generators and coroutines (module inspect).
_UNUSUAL = 0x04 | 0x08 | 0x20 | 0x80 | 0x200
_SIMPLE = (float, int, bool, types.NoneType)


class _Plain(NamedTuple):
    x: float


# What a NamedTuple has besides its fields; any other method, also one of an operator, may do more.
# The compiler adds what only readers of annotations ask for, which no formula does (3.14).
_OF_TUPLES = frozenset(
    (*vars(_Plain), "__annotate_func__", "__annotations_cache__", "__classdictcell__")
)
# As they are before any module of the project is imported, which may replace them.
_KNOWN = (
    *(getattr(closeout.math, name) for name in closeout.math.__all__ if name != "extend"),
    *(value for name, value in vars(math).items() if not name.startswith("_")),
    *(builtins.abs, builtins.float, builtins.max, builtins.min),
)
_NOTHING = object()


def is_pure(function: Any, entered: tuple[Any, ...] = ()) -> bool:
    """Return whether a function can be shown to touch nothing but its arguments.

    ``entered`` are the functions that led to it: one that leads to itself is a loop.
    """
    if not isinstance(function, types.FunctionType) or function in entered:
        return False
    code = function.__code__
    defaults = (*(function.__defaults__ or ()), *(function.__kwdefaults__ or {}).values())
    if (
        code.co_freevars
        or code.co_flags & _UNUSUAL
        or function.__dict__  # whoever likes may store something there
        or not all(map(_is_simple, defaults))
    ):
        return False
    steps = list(dis.get_instructions(code))
    return all(
        _is_harmless(step, following, function, (*entered, function))
        for step, following in zip(steps, [*steps[1:], None], strict=True)
    )


def _is_harmless(
    step: dis.Instruction,
    following: dis.Instruction | None,
    function: types.FunctionType,
    entered: tuple[Any, ...],
) -> bool:
    if step.opname not in _HARMLESS:
        return False
    if step.opcode in _JUMPS:
        return step.argval is not None and step.argval > step.offset
    if step.opname == "LOAD_CONST":  # since 3.13 also the names of a call's arguments
        names_arguments = following is not None and following.opname == "CALL_KW"
        return names_arguments or _is_simple(step.argval)
    if step.opname in ("LOAD_ATTR", "LOAD_METHOD"):
        return not step.argval.startswith("_")
    if step.opname == "LOAD_GLOBAL":
        name = step.argval
        value = function.__globals__.get(name, _builtins_of(function).get(name, _NOTHING))
        if type(value) is types.ModuleType:
            value = _taken_from(value, following)
        return _is_simple(value) or _is_known(value) or _holds(value) or is_pure(value, entered)
    return True


def _builtins_of(function: types.FunctionType) -> dict[str, Any]:
    # By name: some versions of the type stubs know this attribute of functions, others do not.
    found: dict[str, Any] = operator.attrgetter("__builtins__")(function)
    return found


def _taken_from(module: types.ModuleType, step: dis.Instruction | None) -> Any:
    if step is None or step.opname not in ("LOAD_ATTR", "LOAD_METHOD"):
        return _NOTHING
    return vars(module).get(step.argval, _NOTHING)


def _is_known(value: Any) -> bool:
    return any(value is one for one in _KNOWN)


def _holds(value: Any) -> bool:
    """Return whether a value is a NamedTuple that holds its fields and does nothing more."""
    if type(value) is not type or value.__mro__[1:] != (tuple, object):
        return False
    own = vars(value)
    made = getattr(value.__new__, "__code__", None)
    return (
        set(own) - set(own.get("_fields", ())) <= _OF_TUPLES
        and made is not None
        and made.co_filename.startswith("<string>")  # it is the one that namedtuple makes
        and all(map(_is_simple, own["_field_defaults"].values()))
    )


def _is_simple(value: Any) -> bool:
    """Return whether a value is a number, or a tuple of such; a text could be made to format."""
    if type(value) is tuple:
        return all(map(_is_simple, value))
    return type(value) in _SIMPLE
