"""Scalars of the YAML 1.2 core schema, recognised by their text.

The forms are those of the table in section 10.3.2 of the YAML 1.2.2 specification. A scalar keeps
its text in any case: what it is depends on the field that holds it.
"""

from __future__ import annotations

import re

NULL = r"(?:|~|null|Null|NULL)"
BOOLEAN = r"(?:true|True|TRUE|false|False|FALSE)"
INTEGER = r"(?:[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+)"
FLOAT = (
    r"(?:[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?"
    r"|[-+]?(?:\.inf|\.Inf|\.INF)|(?:\.nan|\.NaN|\.NAN))"
)

# Every form that is no string begins with one of these, or is empty.
LEADS = "+-.0123456789~ntfNTF"

is_null = re.compile(NULL).fullmatch
is_boolean = re.compile(BOOLEAN).fullmatch
is_integer = re.compile(INTEGER).fullmatch
is_number = re.compile(f"{INTEGER}|{FLOAT}").fullmatch
is_no_string = re.compile(f"{NULL}|{BOOLEAN}|{INTEGER}|{FLOAT}").fullmatch


class Plain(str):
    """The text of a plain scalar that the core schema reads as null, boolean or number."""

    __slots__ = ()


def number(text: str) -> float:
    """Return the nearest double of a core schema number; ValueError where the text is none."""
    if not is_number(text):
        raise ValueError(f"{text!r} is no number of the YAML 1.2 core schema")
    if text[:2] in ("0o", "0x"):
        return _of_base(text[2:], 8 if text[1] == "o" else 16)
    return float(text.lower().replace(".inf", "inf").replace(".nan", "nan"))


def _of_base(digits: str, base: int) -> float:
    try:
        return float(int(digits, base))
    except OverflowError:
        return float("inf")
