"""What goes through the pipe between tool and worker comes back as it went in."""

from __future__ import annotations

import json
from enum import Enum
from random import Random
from types import NoneType, UnionType
from typing import Any, NamedTuple, Union, get_args, get_origin, get_type_hints

import pytest

from closeout.evaluate.codec import decoded, encoded
from closeout.model.answer import Answer, Assurance, Bounds, Decided, Extent, Sought
from closeout.model.attachment import Made
from closeout.model.question import (
    AnalysisSpec,
    Argument,
    Attached,
    Described,
    Failure,
    Field,
    Question,
    Request,
)
from closeout.model.solved import SolveFound
from closeout.model.study import StudyFound

SIMPLE: dict[Any, list[Any]] = {
    bool: [False, True],
    int: [0, -7, 2**70],
    float: [0.1 + 0.2, -0.0, 5e-324, 1e300, -1.0],
    str: ["", "R-1", '\u2028"\\', "5 degC", "\U0001f6f0"],
    bytes: [b"", bytes(range(256))],
    NoneType: [None],
}


def through(value: tuple[Any, ...]) -> Any:
    """Return a value as it comes out at the other end."""
    return decoded(type(value), json.loads(json.dumps(encoded(value), allow_nan=False)))


def same(value: Any) -> bool:
    """Return whether a value comes back, with every class and every digit."""
    return repr(through(value)) == repr(value)


def drawn(kind: Any, lot: Random) -> Any:
    """Return a value of a declared type, drawn by lot."""
    origin, arguments = get_origin(kind), get_args(kind)
    if origin in (Union, UnionType):
        return drawn(lot.choice(arguments), lot)
    if origin is tuple:
        many = arguments[1:] == (...,)
        kinds = lot.randrange(3) * arguments[:1] if many else arguments
        return tuple(drawn(one, lot) for one in kinds)
    if origin is not None:
        return {drawn(arguments[0], lot): drawn(arguments[1], lot) for _ in range(lot.randrange(3))}
    if kind in SIMPLE:
        return lot.choice(SIMPLE[kind])
    if issubclass(kind, Enum):
        return lot.choice(list(kind))
    return kind(*(drawn(hint, lot) for hint in get_type_hints(kind).values()))


@pytest.mark.parametrize(
    "kind", [Answer, Request, Described, Failure, Made, StudyFound, SolveFound],
)  # fmt: skip
def test_whatever_is_asked_and_answered_comes_back(kind: type[Any]) -> None:
    lot = Random(1)
    values = [drawn(kind, lot) for _ in range(200)]
    assert len(set(map(repr, values))) > 50
    assert all(same(value) for value in values)


def test_by_hand() -> None:
    extents = {
        ("x", None): Extent(1.0, 0.5, 2.0, (("a", 0.1),), (("a", 5e-324),), low_tight=True),
        ("x", "far, by night"): Extent(None, absent="never rises"),
    }
    row = Decided("far", "met", 0.9, 0.99, 0.98, 1.0, 4096, ("a", "b"), None, (("c", -0.0),))
    spec = AnalysisSpec(
        "m.f", "analyses.m", "f", "analyses/m.py", 3, "Text\u2028", (Argument("a", "W"),),
        (Field("x", "W", True),), ("t",), 60.0, (("x", "1 W"),), (Attached("figure", "g", ""),),
    )  # fmt: skip
    for value in (
        Answer(extents, Assurance.BOUNDED, 7, (row,), True),
        Request(
            "f", Question("m.f", (("a", 1.0),), (("a", 0.0, 2.0),), "study", '{"a":1}'),
            (Sought("x", Bounds(None, 0.1 + 0.2)), Sought("y", None)), False, 60.0,
        ),
        Described("f", spec), Described("f", failure=Failure("raised", "m", "t", "p.py", 1)),
        Made((("a.svg", bytes(range(256))), ("b", b""))),
    ):  # fmt: skip
        assert same(value)
    assert through(Answer(extents, Assurance.BOUNDED, 7)).assurance is Assurance.BOUNDED


def test_a_row_of_another_length_is_refused() -> None:
    row = encoded(Failure("raised", "m", ""))
    for other in (list(row)[:-3], [*row, 1]):
        with pytest.raises(TypeError):
            decoded(Failure, other)


def test_what_no_codec_could_tell_apart_is_refused() -> None:
    class Either(NamedTuple):
        one: Bounds | tuple[str, ...]

    Either.__annotations__ = {"one": Bounds | tuple[str, ...]}
    with pytest.raises(TypeError, match="no codec tells apart"):
        encoded(Either(Bounds()))
