"""Instructions of compiled Python, and which of them a formula may hold to be called proved.

The lists are those of Python 3.11 to 3.14 (its documentation of the module dis). An
instruction that stands in neither of them is one of an interpreter that this module does not know,
and is refused: who knows what it looks at. Read is ``co_code``, which never holds the specialised
forms that a running interpreter puts in their place. The module ``dis`` is not imported
(``evaluate/forking.py``).
"""

from __future__ import annotations

import opcode
import sys
from collections.abc import Iterator
from types import CodeType
from typing import NamedTuple

ALLOWED = frozenset(
    (
        "BINARY_OP", "BINARY_SLICE", "BINARY_SUBSCR", "BUILD_CONST_KEY_MAP", "BUILD_LIST",
        "BUILD_MAP", "BUILD_SET", "BUILD_SLICE", "BUILD_STRING", "BUILD_TUPLE", "CACHE", "CALL",
        "CALL_FUNCTION_EX", "CALL_INTRINSIC_1", "CALL_INTRINSIC_2", "CALL_KW", "COMPARE_OP",
        "CONTAINS_OP", "CONVERT_VALUE", "COPY", "COPY_FREE_VARS", "DELETE_DEREF", "DELETE_FAST",
        "DICT_MERGE", "DICT_UPDATE", "END_FOR", "EXTENDED_ARG", "FORMAT_SIMPLE", "FORMAT_VALUE",
        "FORMAT_WITH_SPEC", "FOR_ITER", "GET_ITER", "GET_LEN", "IS_OP", "JUMP_BACKWARD",
        "JUMP_BACKWARD_NO_INTERRUPT", "JUMP_FORWARD", "JUMP_IF_FALSE_OR_POP",
        "JUMP_IF_TRUE_OR_POP", "KW_NAMES", "LIST_APPEND", "LIST_EXTEND", "LIST_TO_TUPLE",
        "LOAD_ATTR", "LOAD_CLOSURE", "LOAD_COMMON_CONSTANT", "LOAD_CONST", "LOAD_DEREF",
        "LOAD_FAST", "LOAD_FAST_AND_CLEAR", "LOAD_FAST_BORROW",
        "LOAD_FAST_BORROW_LOAD_FAST_BORROW", "LOAD_FAST_CHECK", "LOAD_FAST_LOAD_FAST",
        "LOAD_GLOBAL", "LOAD_METHOD", "LOAD_SMALL_INT", "MAKE_CELL", "MAKE_FUNCTION", "MAP_ADD",
        "NOP", "NOT_TAKEN", "POP_EXCEPT", "POP_ITER",
        "POP_JUMP_BACKWARD_IF_FALSE", "POP_JUMP_BACKWARD_IF_NONE",
        "POP_JUMP_BACKWARD_IF_NOT_NONE", "POP_JUMP_BACKWARD_IF_TRUE",
        "POP_JUMP_FORWARD_IF_FALSE", "POP_JUMP_FORWARD_IF_NONE",
        "POP_JUMP_FORWARD_IF_NOT_NONE", "POP_JUMP_FORWARD_IF_TRUE", "POP_JUMP_IF_FALSE",
        "POP_JUMP_IF_NONE", "POP_JUMP_IF_NOT_NONE", "POP_JUMP_IF_TRUE", "POP_TOP", "PRECALL",
        "PUSH_NULL", "RAISE_VARARGS", "RERAISE", "RESUME", "RETURN_CONST", "RETURN_GENERATOR",
        "RETURN_VALUE", "SET_ADD", "SET_FUNCTION_ATTRIBUTE", "SET_UPDATE", "STORE_DEREF",
        "STORE_FAST", "STORE_FAST_LOAD_FAST", "STORE_FAST_STORE_FAST", "STORE_SLICE",
        "STORE_SUBSCR", "SWAP", "TO_BOOL", "UNARY_INVERT", "UNARY_NEGATIVE", "UNARY_NOT",
        "UNARY_POSITIVE", "UNPACK_EX", "UNPACK_SEQUENCE", "YIELD_VALUE",
    )
)  # fmt: skip

_LOOKS = "inspects its arguments"
_HIDES = "may hide an error"
_KEEPS = "stores a value"
_ASSERT = ("`assert`", "is skipped with python -O")
_CLASS = ("a class inside of a function", "may inspect its arguments")
_ASYNC = ("a coroutine", "runs at another time")
# By the instruction: what an author calls it, and what speaks against it.
REFUSED: dict[str, tuple[str, str]] = {
    **dict.fromkeys(
        ("PUSH_EXC_INFO", "CHECK_EXC_MATCH", "CHECK_EG_MATCH", "PREP_RERAISE_STAR", "CLEANUP_THROW",
         "BEFORE_WITH", "LOAD_SPECIAL", "WITH_EXCEPT_START"),
        ("`try` or `with`", _HIDES),
    ),
    **dict.fromkeys(
        ("MATCH_CLASS", "MATCH_KEYS", "MATCH_MAPPING", "MATCH_SEQUENCE"), ("`match`", _LOOKS)
    ),
    **dict.fromkeys(
        ("IMPORT_FROM", "IMPORT_NAME", "IMPORT_STAR"), ("`import`", "imports unchecked code")
    ),
    **dict.fromkeys(("STORE_GLOBAL", "DELETE_GLOBAL"), ("`global`", _KEEPS)),
    **dict.fromkeys(("STORE_ATTR", "DELETE_ATTR"), ("an attribute that is set", _KEEPS)),
    "DELETE_SUBSCR": ("`del`", "deletes a value"),
    **dict.fromkeys(
        ("SEND", "END_SEND", "GET_YIELD_FROM_ITER"),
        ("`yield from`", "passes on an unknown value"),
    ),
    **dict.fromkeys(
        ("ASYNC_GEN_WRAP", "BEFORE_ASYNC_WITH", "END_ASYNC_FOR", "GET_AITER", "GET_ANEXT",
         "GET_AWAITABLE"),
        _ASYNC,
    ),
    "LOAD_ASSERTION_ERROR": _ASSERT,
    **dict.fromkeys(
        ("BUILD_INTERPOLATION", "BUILD_TEMPLATE"), ("a template text", "passes on an unknown value")
    ),
    **dict.fromkeys(
        ("LOAD_BUILD_CLASS", "LOAD_CLASSDEREF", "LOAD_FROM_DICT_OR_DEREF",
         "LOAD_FROM_DICT_OR_GLOBALS", "LOAD_LOCALS", "LOAD_NAME", "STORE_NAME", "DELETE_NAME",
         "SETUP_ANNOTATIONS"),
        _CLASS,
    ),
    **dict.fromkeys(
        ("LOAD_SUPER_ATTR", "LOAD_SUPER_METHOD", "LOAD_ZERO_SUPER_ATTR", "LOAD_ZERO_SUPER_METHOD"),
        ("`super`", _LOOKS),
    ),
}  # fmt: skip
# Of the interpreter itself: they stand in no code that a compiler makes.
_INNER = frozenset(
    (
        "ANNOTATIONS_PLACEHOLDER", "ENTER_EXECUTOR", "EXIT_INIT_CHECK", "INTERPRETER_EXIT", "JUMP",
        "JUMP_IF_FALSE", "JUMP_IF_TRUE", "JUMP_NO_INTERRUPT", "POP_BLOCK", "PRINT_EXPR", "RESERVED",
        "SETUP_CLEANUP", "SETUP_FINALLY", "SETUP_WITH", "STORE_FAST_MAYBE_NULL",
    )
)  # fmt: skip
# By number, what LOAD_COMMON_CONSTANT loads (3.14): the error of an `assert`, and builtins. Before
# a loop that it writes in place of `all(... for ...)` the compiler asks whether the name still is
# the builtin's.
_ASSERTION_ERROR = 0
_BUILTINS_WRITTEN_OUT = (2, 3, 4)  # tuple, all, any
_CACHE = 0
_EXTENDED = opcode.opmap["EXTENDED_ARG"]
_JUMPS = frozenset((*opcode.hasjrel, *opcode.hasjabs))
# Since 3.12 the lowest bit of LOAD_ATTR says whether a method is to be called.
_ATTRIBUTE_SHIFT = 1 if sys.version_info >= (3, 12) else 0
# How a sequence or mapping is changed by an operator: `+=` and the like. Since 3.14 there is one
# more operator, 26, which takes an item.
_IN_PLACE = range(13, 26)


class Step(NamedTuple):
    """An instruction with its argument, where it stands, and whether one jumps to it."""

    name: str
    argument: int
    offset: int
    target: bool


def steps(code: CodeType) -> list[Step]:
    """Return the instructions of a code object in order, without caches and extensions."""
    targets: set[int] = set()
    found = []
    for op, argument, offset, following in _raw(code.co_code):
        name = opcode.opname[op]
        found.append((name, argument, offset))
        if op in _JUMPS:
            targets.add(following + 2 * (-argument if "BACKWARD" in name else argument))
    return [Step(*one, one[2] in targets) for one in found]


def _raw(text: bytes) -> Iterator[tuple[int, int, int, int]]:
    """Yield operation, argument, offset (of its extension, if it has one), and what follows."""
    extension, start = 0, None
    at = 0
    while at < len(text):
        op, argument = text[at], text[at + 1] | extension
        begin = at if start is None else start
        at += 2
        if op == _EXTENDED:
            extension, start = argument << 8, begin
            continue
        extension, start = 0, None
        while at < len(text) and text[at] == _CACHE:
            at += 2
        yield op, argument, begin, at


def name_of(step: Step, code: CodeType) -> str | None:
    """Return the global name or the attribute that an instruction takes; None for any other."""
    if step.name == "LOAD_GLOBAL":
        return code.co_names[step.argument >> 1]
    if step.name == "LOAD_ATTR":
        return code.co_names[step.argument >> _ATTRIBUTE_SHIFT]
    if step.name in ("LOAD_METHOD", "STORE_ATTR", "DELETE_ATTR"):
        return code.co_names[step.argument]
    return None


def against(step: Step) -> tuple[str, str] | None:
    """Return what speaks against an instruction, as its author calls it, and why; None if nothing.

    Which name it takes, and what stands before it, is not looked at.
    """
    version = ".".join(map(str, sys.version_info[:2]))
    if step.name in REFUSED:
        return REFUSED[step.name]
    if step.name not in ALLOWED:
        return f"the instruction {step.name} of Python {version}", "is not known"
    if step.name != "LOAD_COMMON_CONSTANT" or step.argument in _BUILTINS_WRITTEN_OUT:
        return None
    if step.argument == _ASSERTION_ERROR:
        return _ASSERT
    return f"the constant {step.argument} of Python {version}", "is not known"


def is_written_out(step: Step) -> bool:
    """Return whether an instruction loads a builtin for which the compiler writes a loop."""
    return step.name == "LOAD_COMMON_CONSTANT" and step.argument in _BUILTINS_WRITTEN_OUT


def is_in_place(step: Step) -> bool:
    """Return whether an instruction changes a value by an operator, as ``+=`` does with a list."""
    return step.name == "BINARY_OP" and step.argument in _IN_PLACE


def line_of(step: Step, code: CodeType) -> int:
    """Return the line on which an instruction stands, or the last one before it that is known."""
    line = code.co_firstlineno
    for start, end, known in code.co_lines():
        if start > step.offset:
            break
        if known is not None:
            line = known
        if start <= step.offset < end and known is not None:
            return known
    return line


def unknown() -> list[str]:
    """Return the instructions of this interpreter that no list here knows."""
    known = ALLOWED | REFUSED.keys() | _INNER
    return sorted(
        name for name in opcode.opmap if name not in known and not name.startswith("INSTRUMENTED_")
    )
