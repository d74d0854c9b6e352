"""Scalars, against the table of the YAML 1.2.2 specification, section 10.3.2 (core schema)."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from closeout.load.scalars import (
    LEADS,
    is_boolean,
    is_integer,
    is_no_string,
    is_null,
    is_number,
    number,
)

# YAML 1.2.2, 10.3.2, "Tag Resolution": regular expression and resolved tag, in its order.
TABLE = [
    (r"null | Null | NULL | ~", "null"),
    (r"", "null"),
    (r"true | True | TRUE | false | False | FALSE", "bool"),
    (r"[-+]? [0-9]+", "int"),
    (r"0o [0-7]+", "int"),
    (r"0x [0-9a-fA-F]+", "int"),
    (r"[-+]? ( \. [0-9]+ | [0-9]+ ( \. [0-9]* )? ) ( [eE] [-+]? [0-9]+ )?", "float"),
    (r"[-+]? ( \.inf | \.Inf | \.INF )", "float"),
    (r"\.nan | \.NaN | \.NAN", "float"),
]


def by_the_table(text: str) -> str:
    for expression, tag in TABLE:
        if re.fullmatch(f"(?:{expression})", text, re.VERBOSE):
            return tag
    return "str"


def ours(text: str) -> str:
    if is_null(text):
        return "null"
    if is_boolean(text):
        return "bool"
    if is_integer(text):
        return "int"
    return "float" if is_number(text) else "str"


# YAML 1.2.2, Example 10.9, "Core Tag Resolution".
EXAMPLE_10_9 = {
    "null": ["null", ""],
    "bool": ["true", "True", "false", "FALSE"],
    "int": ["0", "0o7", "0x3A", "-19"],
    "float": ["0.", "-0.0", ".5", "+12e03", "-2E+05", ".inf", "-.Inf", "+.INF", ".NAN"],
}


@pytest.mark.parametrize(
    ("text", "tag"), [(text, tag) for tag, texts in EXAMPLE_10_9.items() for text in texts]
)
def test_example_of_the_specification(text: str, tag: str) -> None:
    assert ours(text) == tag
    assert by_the_table(text) == tag


@given(st.text("+-.0123456789oxeEinfNaNIFtruTRUlsA~_: ", max_size=8))
def test_agrees_with_the_table(text: str) -> None:
    assert ours(text) == by_the_table(text)
    assert bool(is_no_string(text)) == (by_the_table(text) != "str")
    if is_no_string(text):
        assert text[:1] in LEADS


# The values are those that the specification gives in example 10.9 and its plain reading.
@pytest.mark.parametrize(
    ("text", "value"),
    [("0o7", 7), ("0x3A", 58), ("-19", -19), ("+12e03", 12000), ("010", 10), ("1e-3", 0.001)],
)
def test_number(text: str, value: float) -> None:
    assert number(text) == value


def test_numbers_without_end() -> None:
    assert number("-.INF") == -math.inf
    assert math.isnan(number(".NaN"))
    assert number("0x" + "f" * 5000) == math.inf
    with pytest.raises(ValueError, match="no number"):
        number("1_000")
