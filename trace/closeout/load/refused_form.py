"""From an error of jsonschema's to plain words: rule, place, message, cure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from difflib import get_close_matches
from typing import Any

from closeout.model.amount import shorten
from closeout.model.problem import Finding, Pointer, Severity

Steps = tuple[str | int, ...]


_CURES = {
    "identifier": "use letters, digits, '-', '_' and '.', a letter first, at most 64",
    "Python identifier": "use letters, digits and '_', no digit first, at most 64",
    "name of an analysis": "write the function's name, or module.function",
    "name of a quantity": "write analysis.quantity, as pad_hold_energy.usable_energy",
    "date": "write year, month and day, as 2026-01-20",
    "amount": "write a number and its unit, as 52 W h",
    "measured value": "write a value and its uncertainty, as 57.1 W h +/- 0.4 W h (k = 2)",
    "share between 0 and 1": "write a number above 0 and below 1, as 0.99",
    "number of cases": "write it as at least 2",
    "coverage factor": "write a number of 1 or more, as 2",
}
_PLURALS = {"name of a quantity": "quantities"}
_RULES = {
    "identifier": "bad-identifier",
    "Python identifier": "bad-identifier",
    "name of an analysis": "bad-identifier",
    "date": "bad-date",
}
_TYPES = {
    "object": "keys and values",
    "array": "a list",
    "boolean": "true or false",
    "number": "a number",
}


def findings_of(error: Any, above: Steps, skip: int = 0) -> Iterator[Finding]:
    """Yield what one error of jsonschema's says; of a choice, by the branch that was meant.

    Steps begin with ``above``, in place of as many steps of the error's as ``skip`` says.
    """
    steps: Steps = (*above, *list(error.absolute_path)[skip:])
    if error.validator == "oneOf":
        yield from _choice(error, steps, above, skip)
    elif error.validator == "additionalProperties":
        yield from _unknown_keys(error, steps)
    elif error.validator == "required":
        yield _missing_key(error, steps)
    elif "propertyNames" in list(error.absolute_schema_path)[-2:]:
        yield _bad_key(error, steps)
    elif error.validator == "minProperties":
        cure = "add a value, or leave the key out"
        yield _wrong("empty-mapping", steps, f"{_label(steps)} is empty", cure)
    elif error.validator == "type" or _is_container(error.instance):
        yield _wrong_type(error, steps)
    else:
        yield _not_allowed(error, steps)


def _wrong(rule: str, steps: Steps, message: str, cure: str, *, at_key: bool = False) -> Finding:
    """Return what is wrong with the value, or its key, that the steps lead to."""
    where = Pointer("", steps)
    return Finding(rule, Severity.ERROR, where, message, cure, at_key=at_key)


def nearest(word: str, known: Sequence[str]) -> str:
    """Return a cure: the known word that is spelt most alike, else all of them."""
    alike = get_close_matches(word, known, n=1, cutoff=0.6) if len(word) <= 64 else []
    if alike:
        return f"did you mean '{alike[0]}'?"
    return "use one of: " + ", ".join(known)


def _choice(error: Any, steps: Steps, above: Steps, skip: int) -> Iterator[Finding]:
    branches = error.schema["oneOf"]
    meant = [n for n, branch in enumerate(branches) if _kind(error.instance) in _kinds(branch)]
    if len(meant) == 1:
        for below in error.context:
            if below.schema_path[0] == meant[0]:
                yield from findings_of(below, above, skip)
        return
    wanted = " or ".join(_wanted(branch) for branch in branches)
    message = f"{_label(steps)} must be {wanted}, not {_shown(error.instance)}"
    yield _wrong("wrong-type", steps, message, f"write {wanted}")


def _kind(value: object) -> str:
    return "object" if isinstance(value, dict) else "array" if isinstance(value, list) else "scalar"


def _kinds(schema: Mapping[str, Any]) -> set[str]:
    names = schema.get("type", "scalar")
    every = {names} if isinstance(names, str) else set(names)
    return {name if name in ("object", "array") else "scalar" for name in every}


def _unknown_keys(error: Any, steps: Steps) -> Iterator[Finding]:
    known = list(error.schema.get("properties", {}))
    free = [key for key in known if key not in error.instance]
    for key in error.instance:
        if key not in error.schema.get("properties", {}):
            message = f"unknown key {shorten(key)} in {_thing(error.schema)}"
            cure = nearest(key, free or known)
            yield _wrong("unknown-key", (*steps, key), message, cure, at_key=True)


def _missing_key(error: Any, steps: Steps) -> Finding:
    # jsonschema yields one error for each missing key, and names it in its message only.
    key = next(
        key
        for key in error.validator_value
        if key not in error.instance and error.message.startswith(repr(key))
    )
    part = error.schema["properties"][key]
    message = f"{_thing(error.schema)} needs the key '{key}'"
    return _wrong("missing-key", steps, message, f"add '{key}:' with {_wanted(part)}")


def _bad_key(error: Any, steps: Steps) -> Finding:
    key = error.instance
    rule, message, cure = _refused_text(error)
    return _wrong(rule, (*steps, key), message, cure, at_key=True)


def _wrong_type(error: Any, steps: Steps) -> Finding:
    wanted = _wanted(error.schema)
    message = f"{_label(steps)} must be {wanted}, not {_shown(error.instance)}"
    if isinstance(error.instance, list) and not error.instance:
        message = f"{_label(steps)} must be {wanted}, and is an empty list"
    return _wrong("wrong-type", steps, message, _how(error.schema, wanted))


def _not_allowed(error: Any, steps: Steps) -> Finding:
    if isinstance(error.instance, str) and not error.instance.strip():
        cure = f"write {_wanted(error.schema)}, or leave the key out"
        return _wrong("empty-text", steps, f"{_label(steps)} is empty", cure)
    rule, message, cure = _refused_text(error)
    return _wrong(rule, steps, f"{_label(steps)}: {message}", cure)


def _refused_text(error: Any) -> tuple[str, str, str]:
    """Return rule, message and cure of a scalar that is of the right type and yet refused."""
    schema, text = error.schema, shorten(str(error.instance))
    title = schema.get("title", "value")
    if error.validator == "format":
        rule = "bad-date" if title == "date" else "bad-amount"
        return rule, error.cause.message, error.cause.cure
    if error.validator == "enum":
        cure = nearest(str(error.instance), error.validator_value)
        return "not-allowed", f"{text} is no {title}", cure
    rule = _RULES.get(title, "not-allowed")
    if error.validator == "not":
        return rule, f"{text} is a word of the Python language", "use another name"
    if error.validator == "maxLength":
        most = error.validator_value
        return rule, f"{text} has more than {most} characters", "write it shorter"
    return rule, f"{text} is no {title}", _how(schema, _wanted(schema))


def _is_container(value: object) -> bool:
    return isinstance(value, (dict, list))


def _thing(schema: Mapping[str, Any]) -> str:
    title = str(schema.get("title", "mapping"))
    return ("an " if title[0] in "aeiou" else "a ") + title


def _wanted(schema: Mapping[str, Any]) -> str:
    if "oneOf" in schema:
        return " or ".join(_wanted(branch) for branch in schema["oneOf"])
    if "enum" in schema:
        return " or ".join(f"'{word}'" for word in schema["enum"])
    kind = schema.get("type")
    title = str(schema.get("title", ""))
    if kind == "array" and "maxItems" in schema:
        return f"a list of two {_PLURALS.get(schema['items'].get('title'), 'amounts')}"
    if kind == "boolean" or not title:
        return _TYPES.get(str(kind), "text")
    return title if title == "text" else _thing(schema)


def _how(schema: Mapping[str, Any], wanted: str) -> str:
    if schema.get("type") == "object" and schema.get("required"):
        return "write it with " + ", ".join(f"{key}:" for key in schema["required"])
    return _CURES.get(str(schema.get("title")), f"write {wanted}")


def _label(steps: Steps) -> str:
    if not steps:
        return "the file"
    *above, last = steps
    if isinstance(last, str):
        return f"'{last}'" if len(last) <= 64 else shorten(last)
    names = [step for step in above if isinstance(step, str)]
    return f"item {last + 1} of '{names[-1]}'" if names else f"item {last + 1}"


def _shown(value: object) -> str:
    if isinstance(value, dict):
        return "keys and values"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    return shorten(str(value)) if value else "empty"
