"""JSON Schemas of the sections of a project file, and the validators made of them.

One file of ``schemas/`` for each kind of section; what several sections share is in
``common.json``. The same schemas are published for editors and enforced by the loader.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cache, partial
from importlib import resources
from typing import Any

from closeout.load.compiled import Check, compiled
from closeout.load.formats import FORMATS
from closeout.load.scalars import Plain, is_boolean, is_integer, is_null, is_number, number
from closeout.model.errors import UserError

SECTIONS = (
    "project",
    "documents",
    "articles",
    "requirements",
    "records",
    "nonconformances",
    "waivers",
    "agreements",
    "parameters",
)
DIALECT = "https://json-schema.org/draft/2020-12/schema"
_COMMON = "common.json"

Schema = dict[str, Any]


@cache
def _published(name: str) -> Schema:
    folder = resources.files(__package__) / "schemas"
    loaded: Schema = json.loads((folder / f"{name}.json").read_text("utf-8"))
    return loaded


def section_schema(section: str) -> Schema:
    """Return the schema of a section with every reference put in place, so that it stands alone."""
    expanded = _expand(_published(section))
    assert isinstance(expanded, dict)
    return expanded


def _expand(part: Any) -> Any:
    if isinstance(part, list):
        return [_expand(item) for item in part]
    if not isinstance(part, dict):
        return part
    own = {key: _expand(value) for key, value in part.items() if key != "$ref"}
    if "$ref" not in part:
        return own
    name = part["$ref"].rpartition("/")[2]
    return {**_expand(_published("common")["$defs"][name]), **own}


def schema() -> Schema:
    """Return the JSON Schema (draft 2020-12) of a whole project file, for editors."""
    return {
        "$schema": DIALECT,
        "title": "project file",
        "type": "object",
        "additionalProperties": False,
        "properties": {section: _embedded(section) for section in SECTIONS},
        "$defs": _published("common")["$defs"],
    }


def schema_text() -> str:
    """Return the same as the JSON text of a file, which an editor reads."""
    return json.dumps(schema(), indent=2) + "\n"


def _embedded(section: str) -> Any:
    text = json.dumps({k: v for k, v in _published(section).items() if k != "$schema"})
    return json.loads(text.replace(f'"{_COMMON}#/', '"#/'))


@cache
def allows(section: str, *below: str) -> Check:
    """Return the function that is true of the values that a section's schema allows.

    With further names, of those that the part of the schema allows to which they lead.
    """
    part = section_schema(section)
    for name in below:
        part = part[name]
    return compiled(part)


@cache
def validator(section: str) -> Any:
    """Return the jsonschema validator of a section, for values whose scalars keep their text."""
    from jsonschema import FormatChecker

    formats = FormatChecker(formats=())
    for name, read in FORMATS.items():
        formats.checks(name, raises=UserError)(partial(_reads, read))
    return _validator_class()(section_schema(section), format_checker=formats)


def _reads(read: Callable[[str], object], value: object) -> bool:
    if isinstance(value, str):
        read(value)
    return True


@cache
def _validator_class() -> Any:
    """Draft 2020-12, with the types recognised by the form of the text."""
    from jsonschema import Draft202012Validator, validators

    types = Draft202012Validator.TYPE_CHECKER.redefine_many(
        {
            "string": lambda _, value: isinstance(value, str),
            "null": lambda _, value: isinstance(value, Plain) and bool(is_null(value)),
            "boolean": lambda _, value: isinstance(value, Plain) and bool(is_boolean(value)),
            "integer": lambda _, value: isinstance(value, Plain) and bool(is_integer(value)),
            "number": lambda _, value: isinstance(value, Plain) and bool(is_number(value)),
        }
    )
    bounds = {"exclusiveMinimum": _exclusive_minimum, "exclusiveMaximum": _exclusive_maximum}
    extend: Any = validators.extend  # without types in its stubs
    return extend(Draft202012Validator, bounds, type_checker=types)


def _exclusive_minimum(checker: Any, bound: float, value: object, _schema: object) -> Any:
    from jsonschema import ValidationError

    if checker.is_type(value, "number") and not number(str(value)) > bound:
        yield ValidationError(f"{value} is not above {bound}")


def _exclusive_maximum(checker: Any, bound: float, value: object, _schema: object) -> Any:
    from jsonschema import ValidationError

    if checker.is_type(value, "number") and not number(str(value)) < bound:
        yield ValidationError(f"{value} is not below {bound}")
