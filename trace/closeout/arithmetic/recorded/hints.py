"""The units that an author declares for what a function takes and gives, and for a tuple's fields.

Standard library only.
"""

from __future__ import annotations

import typing
from collections.abc import Mapping
from functools import cache
from types import CodeType, FunctionType
from typing import Any

from closeout.units import Unit


def unit_of(hint: Any) -> tuple[str | None, bool]:
    """Return the unit of an annotation, and whether it is a mapping from case to value."""
    if typing.get_origin(hint) is not typing.Annotated:
        return None, False
    inner, *marks = typing.get_args(hint)
    unit = next((mark.text for mark in marks if isinstance(mark, Unit)), None)
    if inner is float:
        return unit, False
    origin = typing.get_origin(inner)
    is_mapping = isinstance(origin, type) and issubclass(origin, Mapping)
    if is_mapping and typing.get_args(inner) == (str, float):
        return unit, True
    return None, False


@cache
def hints_of(thing: Any) -> Mapping[str, Any]:
    """Return the annotations of a function or a class; none where they cannot be read.

    Of an analysis that is an error, which is told when it is found (``evaluate/describe.py``).
    """
    try:
        return typing.get_type_hints(thing, include_extras=True)
    except Exception:
        return {}


def function_of(code: CodeType, names: Mapping[str, Any]) -> FunctionType | None:
    """Return the function of which a code is, found by its name in its module, if it is there."""
    found: Any = None
    for part in code.co_qualname.split("."):
        found = names.get(part)
        if found is None:
            return None
        names = vars(found) if isinstance(found, type) else {}
    for inner in ("function", "fget", "__func__"):  # of an analysis, a property, a class method
        found = getattr(found, inner, found)
    is_it = isinstance(found, FunctionType) and found.__code__ is code
    return found if is_it else None
