"""Whatever the project's files declare is named in a document, for people and for programs."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.documents.packages import Package
from tests.documents.told import none

SECTIONS = ("requirements", "records", "waivers", "nonconformances", "articles", "documents")


def declared(project: Path, section: str) -> Iterator[str]:
    """Yield the identifiers of a section, read without the tool."""
    for path in sorted(project.glob("requirements/**/*.yaml")):
        content: dict[str, Any] = yaml.safe_load(path.read_bytes())
        yield from (item["id"] for item in content.get(section, ()))


def words(text: str) -> set[str]:
    """Return the words of a document, marks of HTML and Markdown left out."""
    return set(re.findall(r"[\w.-]*\w", re.sub(r"<[^>]*>", " ", text).replace("\\", "")))


@pytest.mark.parametrize("kind", ["html", "md"])
@pytest.mark.parametrize("section", SECTIONS)
def test_each_item_is_named_in_a_document(package: Package, section: str, kind: str) -> None:
    files = {name: data for name, data in package.files.items() if name.endswith(f".{kind}")}
    named = set().union(*(words(data.decode()) for data in files.values()))
    items = list(declared(package.project, section))
    assert items
    none({kind: [f"{item} is in no document" for item in items if item not in named]})
