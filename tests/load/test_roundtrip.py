"""Data written as YAML by another library comes back the same."""

from __future__ import annotations

import json
from typing import Any

import yaml
from hypothesis import given
from hypothesis import strategies as st

from closeout.load import load
from closeout.load.encoding import find_control
from closeout.load.parse import parsed
from tests.load.memory import PROJECT, Memory

texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=12).filter(
    lambda text: not find_control(text) and "\r" not in text
)
data: st.SearchStrategy[Any] = st.recursive(
    texts, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(texts, inner, max_size=4)
)


@given(data, st.sampled_from([None, True, False]), st.booleans())
def test_pyyaml_writes_and_we_read(value: Any, flow: bool | None, unicode: bool) -> None:
    text = yaml.safe_dump(value, default_flow_style=flow, allow_unicode=unicode, width=40)
    result = parsed(text)
    assert result.problems == []
    assert result.value == value


@given(data)
def test_json_is_yaml(value: Any) -> None:
    result = parsed(json.dumps(value, ensure_ascii=False))
    assert result.problems == []
    assert result.value == value


words = st.builds("{}{}".format, st.sampled_from(["a", "1", "-", "no", "ß"]), texts)
ids = st.from_regex(r"[A-Za-z][A-Za-z0-9_.-]{0,20}", fullmatch=True)
documents = st.fixed_dictionaries({"id": ids, "title": words}, optional={"issue": words})


@given(st.lists(documents, max_size=5))
def test_documents_come_back(items: list[dict[str, str]]) -> None:
    text = yaml.safe_dump({"documents": items}, allow_unicode=True)
    loaded = load(Memory({"requirements/project.yaml": PROJECT, "requirements/a.yaml": text}))
    assert loaded.problems == ()
    assert loaded.project is not None
    assert [
        {k: v for k in ("id", "title", "issue") if (v := getattr(document, k)) is not None}
        for document in loaded.project.documents
    ] == items
