"""What a formula may be made of: each builtin and each instruction of Python is judged."""

from __future__ import annotations

import builtins
import contextlib
import opcode
import sys
from collections.abc import Iterator
from types import CodeType, FunctionType
from typing import Any

import pytest

from closeout.arithmetic.code import instructions
from closeout.arithmetic.code.allowed import Shown, judged, shown
from closeout.arithmetic.code.named import BUILTINS
from closeout.arithmetic.proof import worst
from closeout.model.answer import Assurance

Y = ("y", None)
# Names that stand among the builtins and are no functions, and errors to be raised.
DATA = {"False", "None", "True", "Ellipsis", "NotImplemented", "__debug__"}
DATA |= {name for name, value in vars(builtins).items() if isinstance(value, str)}
OTHER_LIBRARIES = sorted(
    name
    for name, value in vars(builtins).items()
    if name not in BUILTINS
    and name not in DATA
    and not (isinstance(value, type) and issubclass(value, BaseException))
)


def compiled(text: str, **names: Any) -> FunctionType:
    """Return the function ``f`` of a text, as a module of a project would hold it."""
    names_in: dict[str, Any] = {"__name__": "analyses.a", "__file__": "analyses/a.py", **names}
    exec(compile(text, "analyses/a.py", "exec", dont_inherit=True), names_in)
    function = names_in["f"]
    assert isinstance(function, FunctionType)
    return function


def assurance(function: FunctionType, known: Shown | None = None) -> tuple[Assurance, str | None]:
    """Return how surely a function of x from 1 to 5 is known, and why it is not proved."""
    evaluate = compiled("def f(point): return {('y', None): g(point['x'])}", g=function)
    found = worst.answer(evaluate, {"x": 2.0}, (("x", 1.0, 5.0),), shown=known or shown(function))
    return found.assurance, found.extents[Y].unproved


@pytest.mark.parametrize("name", OTHER_LIBRARIES)
def test_a_builtin_that_is_not_listed_is_not_proved(name: str) -> None:
    """It is named in code that a range reaches, which is all that is needed to call it."""
    how, why = assurance(compiled(f"def f(x):\n    look = {name}\n    return x * 2.0"))
    assert how is Assurance.SEARCHED
    assert f"`{name}` at analyses/a.py:2" in str(why)


@pytest.mark.parametrize("name", OTHER_LIBRARIES)
def test_nor_is_one_that_a_helper_calls_with_a_range(name: str) -> None:
    text = f"def look(x):\n    return {name} if x is None else x\ndef f(x): return look(x) * 2.0"
    how, why = assurance(compiled(text))
    assert how is Assurance.SEARCHED
    assert f"`{name}` at analyses/a.py:2" in str(why)


@pytest.mark.parametrize("name", BUILTINS)
def test_a_builtin_that_is_listed_may_be_named(name: str) -> None:
    how, why = assurance(compiled(f"def f(x):\n    known = {name}\n    return x * 2.0"))
    assert (how, why) == (Assurance.BOUNDED, None)


# By instruction: a text whose code holds it, where this interpreter has it.
_TRY = "def f(x):\n    try:\n        return x\n    except {error}:\n        return 1.0"
_GROUP = "def f(x):\n    try:\n        x = x\n    except* ValueError:\n        x = 1.0"
_WITH = "def f(x):\n    with open('a'):\n        return x"
_MATCH = "def f(x):\n    match x:\n        case {case}:\n            return 1.0\n    return x"
_ASYNC = """\
async def f(x):
    async with x as y:
        async for z in y:
            yield await z
"""
_CLASS = """\
def f(x):
    class A:
        y: float = x
        z = y
        del z
    return A
"""
_SUPER = "class A:\n    def g(self): return super().g() + super().y\ndef f(x): return A().g()"
_TYPES = "def f(x):\n    class A:\n        def g[T: (x, int)](self): ...\n    return A"
HOLDING = {
    "PUSH_EXC_INFO": _TRY.format(error="ValueError"),
    "CHECK_EXC_MATCH": _TRY.format(error="ValueError"),
    "CHECK_EG_MATCH": _GROUP,
    "PREP_RERAISE_STAR": _GROUP,
    "CLEANUP_THROW": "def f(x): yield from x",
    "BEFORE_WITH": _WITH,
    "LOAD_SPECIAL": _WITH,
    "WITH_EXCEPT_START": _WITH,
    "MATCH_CLASS": _MATCH.format(case="float()"),
    "MATCH_KEYS": _MATCH.format(case="{'a': 1}"),
    "MATCH_MAPPING": _MATCH.format(case="{}"),
    "MATCH_SEQUENCE": _MATCH.format(case="[_]"),
    "IMPORT_NAME": "def f(x):\n    import os\n    return x",
    "IMPORT_FROM": "def f(x):\n    from os import sep\n    return x",
    "IMPORT_STAR": "from math import *\ndef f(x): return x",
    "STORE_GLOBAL": "def f(x):\n    global y\n    y = x\n    return y",
    "DELETE_GLOBAL": "y = 1\ndef f(x):\n    global y\n    del y\n    return x",
    "STORE_ATTR": "def f(x):\n    f.y = x\n    return x",
    "DELETE_ATTR": "def f(x):\n    del f.y\n    return x",
    "DELETE_SUBSCR": "def f(x):\n    y = [x]\n    del y[0]\n    return x",
    "SEND": "def f(x): yield from x",
    "END_SEND": "def f(x): yield from x",
    "GET_YIELD_FROM_ITER": "def f(x): yield from x",
    **dict.fromkeys(
        ("ASYNC_GEN_WRAP", "BEFORE_ASYNC_WITH", "END_ASYNC_FOR", "GET_AITER", "GET_ANEXT",
         "GET_AWAITABLE"),
        _ASYNC,
    ),
    **dict.fromkeys(("BUILD_INTERPOLATION", "BUILD_TEMPLATE"), "def f(x): return t'{x}'"),
    "LOAD_ASSERTION_ERROR": "def f(x):\n    assert x > 0.0\n    return x",
    **dict.fromkeys(
        ("LOAD_BUILD_CLASS", "LOAD_CLASSDEREF", "LOAD_FROM_DICT_OR_DEREF", "LOAD_LOCALS",
         "LOAD_NAME", "STORE_NAME", "DELETE_NAME", "SETUP_ANNOTATIONS"),
        _CLASS,
    ),
    "LOAD_FROM_DICT_OR_GLOBALS": "class A:\n    def g[T: int](self): ...\ndef f(x): return A",
    "LOAD_SUPER_ATTR": _SUPER,
}  # fmt: skip
# Above 255 stand names for several instructions, which no code holds.
PRESENT = {name for name, number in opcode.opmap.items() if number < 256}


def codes_in(code: CodeType) -> Iterator[CodeType]:
    yield code
    for one in code.co_consts:
        if isinstance(one, CodeType):
            yield from codes_in(one)


def test_every_instruction_of_this_interpreter_is_in_a_list() -> None:
    assert instructions.unknown() == []
    assert instructions.ALLOWED.isdisjoint(instructions.REFUSED)
    assert (instructions.REFUSED.keys() & PRESENT) <= HOLDING.keys()


@pytest.mark.parametrize("name", sorted(HOLDING.keys() & PRESENT))
def test_code_that_holds_an_instruction_that_is_refused_is_not_allowed(name: str) -> None:
    whole = compile(HOLDING[name], "analyses/a.py", "exec")
    holding = [
        code for code in codes_in(whole) if name in {step.name for step in instructions.steps(code)}
    ]
    if not holding and name in ("LOAD_LOCALS", "LOAD_FROM_DICT_OR_DEREF", "LOAD_CLASSDEREF"):
        holding = list(codes_in(whole))[-1:]  # which of them a class body takes is its version's
    assert holding
    for code in holding:
        assert judged(code, {}, vars(builtins)).reason is not None


@pytest.mark.parametrize(
    "name",
    ["PUSH_EXC_INFO", "MATCH_CLASS", "IMPORT_NAME", "STORE_GLOBAL", "STORE_ATTR", "DELETE_SUBSCR",
     "LOAD_ASSERTION_ERROR", "BEFORE_WITH", "MATCH_SEQUENCE", "IMPORT_FROM"],
)  # fmt: skip
def test_an_analysis_that_holds_it_is_searched_with_the_line(name: str) -> None:
    text = HOLDING[name].replace("open('a')", "CONTEXT")
    function = compiled(text, CONTEXT=contextlib.nullcontext())
    how, why = assurance(function)
    assert how is Assurance.SEARCHED
    assert "at analyses/a.py:" in str(why)


def test_an_instruction_that_no_list_knows_is_named_with_the_interpreter(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(instructions, "ALLOWED", instructions.ALLOWED - {"BINARY_OP"})
    how, why = assurance(compiled("def f(x): return x * 2.0"))
    version = ".".join(map(str, sys.version_info[:2]))
    assert how is Assurance.SEARCHED
    assert f"the instruction BINARY_OP of Python {version} at analyses/a.py:1" in str(why)


@pytest.mark.parametrize(
    "text",
    [
        "def f(x): return 2.0 * x if all(y > 0.0 for y in (x, 2.0)) else x",
        "def f(x): return 2.0 * x if any(y > 0.0 for y in (x, 2.0)) else x",
        "def f(x): return sum(tuple(2.0 * y for y in (x, x)))",
        "def f(x, y=None): return x if y is None else y",
        "C = (2.0, 3.0, 4.0)\ndef f(x): return C[0] * x + sum(C[1:])",
    ],
)
def test_what_a_later_compiler_writes_in_another_way_is_proved_all_the_same(text: str) -> None:
    """Python 3.14 writes `all`, `any` and `tuple` of a generator as a loop behind a question."""
    assert assurance(compiled(text)) == (Assurance.BOUNDED, None)


def test_to_take_an_item_changes_nothing() -> None:
    """An operator like any other since 3.14, behind those that change a value in place."""
    assert not shown(compiled("C = [2.0]\ndef f(x): return C[0] * x")).keeps
    assert shown(compiled("C = [2.0]\ndef f(x):\n    c = C\n    c += [x]\n    return x")).keeps


@pytest.mark.parametrize("other", ["True", "False", "...", "tuple", "all", "x", "AssertionError"])
def test_is_may_ask_for_none_alone(other: str) -> None:
    how, why = assurance(compiled(f"def f(x): return 1.0 if x is {other} else 2.0 * x"))
    assert how is Assurance.SEARCHED
    assert "at analyses/a.py:1" in str(why)


def test_a_result_is_judged_however_it_is_annotated() -> None:
    """Since 3.14 a class holds a function that works out its annotations, and its namespace."""
    text = (
        "from typing import NamedTuple\nfrom dataclasses import dataclass\n"
        "class R(NamedTuple):\n    y: float\n    def twice(self): return self.y * 2.0\n"
        "@dataclass(frozen=True)\nclass D:\n    y: float\n    z: float = 1.0\n"
        "def f(x): return R(x).twice() + D(x).y + D(x, z=2.0).z"
    )
    assert assurance(compiled(text)) == (Assurance.BOUNDED, None)


def test_code_that_no_range_reaches_is_free() -> None:
    text = (
        "def table():\n    try:\n        return {'k': float('3')}\n    except ValueError:\n"
        "        return {}\ndef f(x): return x * table()['k']"
    )
    function = compiled(text)
    assert shown(function) == shown(function)
    assert not shown(function).pure
    assert assurance(function) == (Assurance.BOUNDED, None)


def test_a_way_that_only_a_part_of_the_box_takes_is_seen() -> None:
    text = (
        "def f(x):\n    if x > 3.0:\n        return 3.0 if isinstance(x, int) else x\n    return x"
    )
    how, why = assurance(compiled(text))
    assert how is Assurance.SEARCHED
    assert "`isinstance` at analyses/a.py:3" in str(why)
