"""The published schemas: valid, enforced, and the same in each of their three uses."""

from __future__ import annotations

import copy
import json
import keyword
from collections.abc import Iterator
from importlib import resources
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from closeout.load import schema
from closeout.load.compiled import compiled
from closeout.load.forms import SECTIONS, allows, section_schema, validator
from closeout.load.parse import parsed
from closeout.load.scalars import Plain, is_no_string, is_null
from tests.load.memory import load_text, places
from tests.load.test_records import CHARTER, EVIDENCE, PARAMETERS, REQUIREMENTS

EXAMPLES = {
    section: value
    for text in (CHARTER, EVIDENCE, PARAMETERS, REQUIREMENTS)
    for section, value in parsed(text).value.items()
}
ODD = ["", " ", "x", "3", "1e3", "true", "null", "NO", "3 W", "2*3", "class", "9a", "test", "0.5"]


def published() -> Iterator[tuple[str, dict[str, Any]]]:
    for entry in (resources.files("closeout.load") / "schemas").iterdir():
        if entry.name.endswith(".json"):
            yield entry.name, json.loads(entry.read_text("utf-8"))


def test_there_is_one_for_each_section() -> None:
    assert {name for name, _ in published()} == {f"{name}.json" for name in (*SECTIONS, "common")}
    assert set(EXAMPLES) == set(SECTIONS)


def test_each_is_valid_against_the_metaschema() -> None:
    for _name, one in published():
        assert one["$schema"] == "https://json-schema.org/draft/2020-12/schema"
        Draft202012Validator.check_schema(one)
    Draft202012Validator.check_schema(schema())
    for section in SECTIONS:
        Draft202012Validator.check_schema(section_schema(section))


def test_python_words_are_those_of_python() -> None:
    words = dict(published())["common.json"]["$defs"]["name"]["not"]["enum"]
    assert set(keyword.kwlist) <= set(words)


def test_unknown_keyword_is_no_silent_yes() -> None:
    with pytest.raises(TypeError, match="contains"):
        compiled({"type": "array", "contains": {"type": "string"}})


def plain(value: Any) -> Any:
    """Return JSON data as an ordinary YAML 1.2 reader gives it to an editor's validator."""
    if isinstance(value, dict):
        return {key: plain(part) for key, part in value.items()}
    if isinstance(value, list):
        return [plain(part) for part in value]
    if not isinstance(value, Plain):
        return value
    if is_null(value):
        return None
    if value.lower() in ("true", "false"):
        return value.lower() == "true"
    return float(value) if value[:2] not in ("0x", "0o") else int(value, 0)


def spots(value: Any) -> Iterator[tuple[Any, Any]]:
    items = value.items() if isinstance(value, dict) else enumerate(value)
    for key, part in list(items):
        yield value, key
        if isinstance(part, (dict, list)):
            yield from spots(part)


odd_scalars = st.sampled_from(
    [*map(str, ODD), *[Plain(text) for text in ODD if is_no_string(text)]]
)
odd_values = odd_scalars | st.lists(odd_scalars, max_size=3) | st.dictionaries(
    st.sampled_from(ODD), odd_scalars, max_size=2
)  # fmt: skip


@st.composite
def changed(draw: st.DrawFn) -> tuple[str, Any]:
    """Draw a section of the examples in which up to three places hold something else."""
    section = draw(st.sampled_from(SECTIONS))
    value = copy.deepcopy(EXAMPLES[section])
    for _ in range(draw(st.integers(0, 3))):
        every = list(spots(value))
        if not every:
            break
        holder, key = every[draw(st.integers(0, len(every) - 1))]
        action = draw(st.sampled_from(["change", "drop", "add"]))
        if action == "drop":
            del holder[key]
        elif action == "add" and isinstance(holder, dict):
            holder[draw(st.sampled_from([*ODD, "titel"]))] = draw(odd_values)
        else:
            holder[key] = draw(odd_values)
    return section, value


@given(changed())
def test_compiled_function_agrees_with_jsonschema(drawn: tuple[str, Any]) -> None:
    section, value = drawn
    assert allows(section)(value) == validator(section).is_valid(value)


@given(changed())
def test_published_schema_refuses_no_more_than_the_loader(drawn: tuple[str, Any]) -> None:
    """An editor takes null for null, where the loader takes the text; formats it passes over."""
    section, value = drawn
    if any(isinstance(h[k], Plain) and is_null(h[k]) for h, k in spots(value)):
        return
    editor = Draft202012Validator(schema()).is_valid({section: plain(value)})
    ours = list(validator(section).iter_errors(value))
    if not ours:
        assert editor
    elif not any(mentions_text_only(error) for error in ours):
        assert not editor


def mentions_text_only(error: Any) -> bool:
    """Return whether an error is of a kind that is told by text, so that an editor misses it."""
    if error.validator == "oneOf":
        return any(mentions_text_only(below) for below in error.context)
    return error.validator == "format" or isinstance(error.instance, Plain)


@given(changed())
def test_every_error_is_told_with_place_and_cure(drawn: tuple[str, Any]) -> None:
    section, value = drawn
    text = json.dumps({section: value})
    loaded = load_text(text) if section != "project" else load_text(text + "\n")
    for problem in loaded.problems:
        assert problem.message
        assert problem.cure
        assert "given schemas" not in problem.message
        assert problem.line >= 1
        assert problem.column >= 1
    parsed_value = parsed(text).value[section]
    if not validator(section).is_valid(parsed_value):
        assert {rule for rule, _, _ in places(loaded)} - {"duplicate-section"}


def test_choices_are_told_by_the_branch_that_was_meant() -> None:
    text = "requirements:\n- {id: A, title: t, statement: s, source: {dokument: LSA, clause: []}}\n"
    assert places(load_text(text)) == [
        ("missing-key", 2, text.index("source") - len("requirements:")),
        ("unknown-key", 2, text.index("dokument") - len("requirements:")),
        ("wrong-type", 2, text.index("clause") - len("requirements:")),
    ]
