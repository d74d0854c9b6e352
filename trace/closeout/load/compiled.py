"""A schema as one function that says yes or no, for the many items in which nothing is wrong.

jsonschema takes about twenty times as long for an item. It stays the authority: what this function
refuses is given to jsonschema, which says what is wrong, and tests hold the two against each
other. A keyword that is not known here is an error, never passed over.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from closeout.load.formats import is_of_format
from closeout.load.scalars import Plain, is_boolean, is_integer, is_null, is_number, number

Check = Callable[[Any], bool]
Schema = Mapping[str, Any]

_SAYS_NOTHING = {"$schema", "title", "description", "examples"}
_FORMS: dict[str, Callable[[str], object]] = {
    "null": is_null,
    "boolean": is_boolean,
    "integer": is_integer,
    "number": is_number,
}


def compiled(schema: Schema) -> Check:
    """Return the function that is true of exactly the values that the schema allows.

    Raises:
        TypeError: the schema has a keyword that this module does not know.
    """
    checks: list[Check] = []
    left = set(schema) - _SAYS_NOTHING
    for keywords, build in _BUILDERS:
        if left & keywords:
            checks.append(build(schema))
            left -= keywords
    if left:
        raise TypeError(f"keywords that cannot be compiled: {', '.join(sorted(left))}")
    return _all(checks)


def _all(checks: list[Check]) -> Check:
    if len(checks) == 1:
        return checks[0]
    if len(checks) == 2:
        one, two = checks
        return lambda value: one(value) and two(value)
    return lambda value: all(check(value) for check in checks)


def _type(schema: Schema) -> Check:
    wanted = schema["type"]
    names = {wanted} if isinstance(wanted, str) else set(wanted)
    classes = {"string": str, "object": dict, "array": list}
    whole = tuple(classes[name] for name in names if name in classes)
    forms = [] if "string" in names else [_FORMS[name] for name in names if name in _FORMS]
    if not forms:
        return lambda value: isinstance(value, whole)

    def holds(value: Any) -> bool:
        if isinstance(value, whole):
            return True
        return isinstance(value, Plain) and any(form(value) for form in forms)

    return holds


def _text(schema: Schema) -> Check:
    shortest, longest = schema.get("minLength", 0), schema.get("maxLength", float("inf"))
    found = re.compile(schema.get("pattern", "")).search
    form = schema.get("format")

    def holds(value: Any) -> bool:
        if not isinstance(value, str):
            return True
        if not (shortest <= len(value) <= longest and found(value)):
            return False
        return form is None or is_of_format(form, value)

    return holds


def _bounds(schema: Schema) -> Check:
    low = schema.get("exclusiveMinimum", float("-inf"))
    high = schema.get("exclusiveMaximum", float("inf"))

    def holds(value: Any) -> bool:
        if not isinstance(value, Plain) or not is_number(value):
            return True
        return bool(low < number(value) < high)

    return holds


def _enum(schema: Schema) -> Check:
    allowed = frozenset(schema["enum"])
    return lambda value: isinstance(value, str) and value in allowed


def _not(schema: Schema) -> Check:
    refused = compiled(schema["not"])
    return lambda value: not refused(value)


def _one_of(schema: Schema) -> Check:
    branches = [compiled(branch) for branch in schema["oneOf"]]
    return lambda value: sum(branch(value) for branch in branches) == 1


def _object(schema: Schema) -> Check:
    properties = {key: compiled(part) for key, part in schema.get("properties", {}).items()}
    other = _other(schema.get("additionalProperties", True))
    named = compiled(schema["propertyNames"]) if "propertyNames" in schema else None
    required = frozenset(schema.get("required", ()))
    least = schema.get("minProperties", 0)

    def holds(value: Any) -> bool:
        if not isinstance(value, dict):
            return True
        if not (required <= value.keys() and len(value) >= least):
            return False
        for key, part in value.items():
            if named is not None and not named(key):
                return False
            if not properties.get(key, other)(part):
                return False
        return True

    return holds


def _other(schema: bool | Schema) -> Check:
    if isinstance(schema, bool):
        return lambda _value: schema
    return compiled(schema)


def _array(schema: Schema) -> Check:
    item = compiled(schema["items"]) if "items" in schema else None
    least, most = schema.get("minItems", 0), schema.get("maxItems", float("inf"))

    def holds(value: Any) -> bool:
        if not isinstance(value, list):
            return True
        if not least <= len(value) <= most:
            return False
        if item is not None:
            for part in value:
                if not item(part):
                    return False
        return True

    return holds


_BUILDERS: tuple[tuple[frozenset[str], Callable[[Schema], Check]], ...] = (
    (frozenset({"type"}), _type),
    (frozenset({"pattern", "minLength", "maxLength", "format"}), _text),
    (frozenset({"exclusiveMinimum", "exclusiveMaximum"}), _bounds),
    (frozenset({"enum"}), _enum),
    (frozenset({"not"}), _not),
    (frozenset({"oneOf"}), _one_of),
    (
        frozenset(
            {"properties", "additionalProperties", "propertyNames", "required", "minProperties"}
        ),
        _object,
    ),
    (frozenset({"items", "minItems", "maxItems"}), _array),
)
