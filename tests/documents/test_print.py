"""The documents as a browser prints them to PDF."""

from __future__ import annotations

import json

import pytest

from tests.documents import printed
from tests.documents.packages import Package
from tests.documents.printed import Leaf
from tests.documents.survey import Seen
from tests.documents.told import none

CONTROL = "verification-control.html"
Prints = dict[str, list[Leaf]]


@pytest.fixture(scope="module")
def prints(package: Package) -> Prints:
    return package.printed()


def test_each_page_has_its_number(prints: Prints) -> None:
    none({name: printed.numbering(pages) for name, pages in prints.items()})


def test_each_page_has_the_title(prints: Prints, seen: dict[str, Seen]) -> None:
    titles = {name: (one.heading, one.title.split(" - ")[0]) for name, one in seen.items()}
    none({name: printed.without(pages, *titles[name]) for name, pages in prints.items()})


def test_each_page_has_the_commit(prints: Prints, package: Package) -> None:
    commit = json.loads((package.folder / "manifest.json").read_bytes())["snapshot"]["commit"]
    none({name: printed.without(pages, commit[:12]) for name, pages in prints.items()})


def test_no_heading_ends_a_page(prints: Prints, seen: dict[str, Seen]) -> None:
    none({name: printed.left_alone(pages, seen[name].headings) for name, pages in prints.items()})


def test_pages_of_the_control_document_are_full(prints: Prints, package: Package) -> None:
    none({CONTROL: printed.sparse(prints[CONTROL], package.requirements, least=4)})
